package main

import (
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"pochette/internal/harmony"
	"pochette/internal/harmony/dcml"
)

// fitHarmony learns the weights of the harmony reading from data/harmony and
// writes them. The same data gives the same file.
func fitHarmony(data, out string) error {
	dir := filepath.Join(data, "harmony")
	files, err := filepath.Glob(filepath.Join(dir, "harmonies", "*.tsv"))
	if err != nil {
		return err
	}
	if len(files) == 0 {
		return fmt.Errorf("no *.tsv in %s", filepath.Join(dir, "harmonies"))
	}
	var names []string
	for _, f := range files {
		names = append(names, strings.TrimSuffix(filepath.Base(f), ".harmonies.tsv"))
	}
	all, err := dcml.Corpus(names, func(kind, name string) (io.ReadCloser, error) {
		return os.Open(filepath.Join(dir, kind, name+"."+kind+".tsv"))
	})
	if err != nil {
		return err
	}
	w, err := harmony.Fit(all, harmony.UsualSettings())
	if err != nil {
		return err
	}
	text := "# Weights of the harmony reading; features.go and cadence.go say what each counts.\n# Written by go run ./cmd/fit harmony: do not edit.\n" + w.String()
	if _, err := harmony.ParseWeights(text); err != nil {
		return fmt.Errorf("the fitted table does not read back: %w", err)
	}
	return os.WriteFile(out, []byte(text), 0o644)
}
