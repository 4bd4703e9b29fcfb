package engrave

import (
	"archive/zip"
	"encoding/xml"
	"io"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"strings"
	"testing"

	"pochette/internal/testdata"
)

// readScore gives the MusicXML of a file; of an .mxl, the root file its container names.
func readScore(t testing.TB, file string) []byte {
	t.Helper()
	if path.Ext(file) != ".mxl" {
		b, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	z, err := zip.OpenReader(file)
	if err != nil {
		t.Fatal(err)
	}
	defer z.Close()
	read := func(name string) []byte {
		f, err := z.Open(name)
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		b, err := io.ReadAll(f)
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	var container struct {
		Root []struct {
			Path string `xml:"full-path,attr"`
		} `xml:"rootfiles>rootfile"`
	}
	if err := xml.Unmarshal(read("META-INF/container.xml"), &container); err != nil || len(container.Root) == 0 {
		t.Fatalf("%s: no root file in the container: %v", file, err)
	}
	return read(container.Root[0].Path)
}

// refused are the files that cannot be drawn, with a part of what is said of them.
// Sources: the unofficial MusicXML test suite, as kept in ../shared/data/musicxml/suite.
var refused = map[string]string{
	"32ad-Notations5.musicxml": "line 141: </part> ends nothing that is open", // a measure is never closed
}

// TestData draws every score of ../shared/data/musicxml and ../shared/data/bowing with
// one pool: each gives pages, or one line that says why not.
func TestData(t *testing.T) {
	if testing.Short() {
		t.Skip("draws some 190 files, which takes half a minute; run without -short")
	}
	dir := testdata.Dir(t)
	var files []string
	for _, sub := range []string{"musicxml", "bowing"} {
		err := filepath.WalkDir(filepath.Join(dir, sub), func(file string, d fs.DirEntry, err error) error {
			if d != nil && d.IsDir() && d.Name() == "xsd" {
				return filepath.SkipDir // schemas and their tables, no scores
			}
			switch path.Ext(file) {
			case ".xml", ".musicxml", ".mxl":
				if !strings.Contains(file, "quartets") { // BenchmarkLoadLong reads these
					files = append(files, file)
				}
			}
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	if len(files) < 180 {
		t.Fatalf("%d files found, 180 at least expected", len(files))
	}
	p := openPool(t, 1)
	seen := map[string]bool{}
	for _, file := range files {
		name := filepath.Base(file)
		pages, err := p.SVG(t.Context(), readScore(t, file), A4())
		want, expected := refused[name]
		switch {
		case err == nil && len(pages) == 0:
			t.Errorf("%s: no pages and no error", name)
		case err == nil && expected:
			t.Errorf("%s: drawn, but it was expected to be refused (%s)", name, want)
		case err != nil && strings.Contains(err.Error(), "\n"):
			t.Errorf("%s: the error has several lines: %q", name, err)
		case err != nil && !expected:
			t.Errorf("%s: %v", name, err)
		case err != nil && !strings.Contains(err.Error(), want):
			t.Errorf("%s: said %q, expected %q", name, err, want)
		}
		seen[name] = true
	}
	for name := range refused {
		if !seen[name] {
			t.Errorf("%s: listed as refused, but not among the data", name)
		}
	}
}
