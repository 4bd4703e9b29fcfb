// Command bundle makes ../dist from ../src: the TypeScript as one script, the style
// sheet, and the two files that need no work. Its result is committed, so that a
// build of the program needs none of it; a test tells when it is older than its source.
package main

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"github.com/evanw/esbuild/pkg/api"
)

func main() {
	if err := run("."); err != nil {
		fmt.Fprintln(os.Stderr, "bundle:", err)
		os.Exit(1)
	}
}

// run writes the files into dist of a folder that has src.
func run(dir string) error {
	files, err := build(filepath.Join(dir, "src"))
	if err != nil {
		return err
	}
	dist := filepath.Join(dir, "dist")
	if err := os.MkdirAll(dist, 0o755); err != nil {
		return err
	}
	for name, text := range files {
		if err := os.WriteFile(filepath.Join(dist, name), text, 0o644); err != nil {
			return err
		}
	}
	return nil
}

// asIs are taken over unchanged.
var asIs = []string{"index.html", "icon.svg"}

// build gives the files of the page by name. The same source gives the same bytes.
func build(src string) (map[string][]byte, error) {
	out := map[string][]byte{}
	for _, name := range asIs {
		text, err := os.ReadFile(filepath.Join(src, name))
		if err != nil {
			return nil, err
		}
		out[name] = text
	}
	abs, err := filepath.Abs(src)
	if err != nil {
		return nil, err
	}
	result := api.Build(api.BuildOptions{
		AbsWorkingDir: abs,
		EntryPointsAdvanced: []api.EntryPoint{
			{InputPath: "main.ts", OutputPath: "desk"},
			{InputPath: "style.css", OutputPath: "desk"},
		},
		Outdir:            abs, // names only: nothing is written
		Bundle:            true,
		Format:            api.FormatIIFE,
		Target:            api.ES2022,
		Charset:           api.CharsetUTF8,
		MinifyWhitespace:  true,
		MinifySyntax:      true,
		MinifyIdentifiers: false, // a trace of an error stays readable
		LegalComments:     api.LegalCommentsNone,
	})
	if len(result.Errors) > 0 {
		m := result.Errors[0]
		if m.Location == nil {
			return nil, errors.New(m.Text)
		}
		return nil, fmt.Errorf("%s:%d:%d: %s", m.Location.File, m.Location.Line, m.Location.Column+1, m.Text)
	}
	for _, f := range result.OutputFiles {
		out[filepath.Base(f.Path)] = f.Contents
	}
	return out, nil
}
