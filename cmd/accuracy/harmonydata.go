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

// readHarmony reads data/harmony (DCMLab/bach_solo), in order of name.
func readHarmony(data string) ([]harmony.Labelled, error) {
	dir := filepath.Join(data, "harmony")
	files, err := filepath.Glob(filepath.Join(dir, "harmonies", "*.tsv"))
	if err != nil {
		return nil, err
	}
	if len(files) == 0 {
		return nil, fmt.Errorf("no *.tsv in %s", filepath.Join(dir, "harmonies"))
	}
	var names []string
	for _, f := range files {
		names = append(names, strings.TrimSuffix(filepath.Base(f), ".harmonies.tsv"))
	}
	return dcml.Corpus(names, func(kind, name string) (io.ReadCloser, error) {
		return os.Open(filepath.Join(dir, kind, name+"."+kind+".tsv"))
	})
}
