package main

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// The committed bundle is what its source gives.
func TestBundleIsFresh(t *testing.T) {
	files, err := build("../src")
	if err != nil {
		t.Fatal(err)
	}
	kept, err := os.ReadDir("../dist")
	if err != nil {
		t.Fatal(err)
	}
	for _, k := range kept {
		if _, ok := files[k.Name()]; !ok {
			t.Errorf("dist/%s comes from no source", k.Name())
		}
	}
	for name, want := range files {
		got, err := os.ReadFile(filepath.Join("../dist", name))
		if err != nil {
			t.Errorf("%v: run go generate ./internal/desk/page", err)
		} else if !bytes.Equal(got, want) {
			t.Errorf("dist/%s is older than its source: run go generate ./internal/desk/page", name)
		}
	}
}

// The page asks nothing of another machine and carries nothing inline that the
// Content-Security-Policy forbids.
func TestPageStaysAtHome(t *testing.T) {
	files, err := build("../src")
	if err != nil {
		t.Fatal(err)
	}
	for name, text := range files {
		s := string(text)
		s = strings.ReplaceAll(s, "http://www.w3.org/", "") // names of XML namespaces, never fetched
		for _, no := range []string{"http:", "https:", "//cdn", "@import", "eval(", "new Function", ".innerHTML", "style=\"", " onclick="} {
			if strings.Contains(s, no) {
				t.Errorf("%s contains %q", name, no)
			}
		}
	}
	html := string(files["index.html"])
	if strings.Contains(html, "<style") || strings.Count(html, "<script") != strings.Count(html, "<script src=\"/desk.js\"") {
		t.Error("index.html has a script or style of its own")
	}
}

func TestBuildTellsWhere(t *testing.T) {
	dir := t.TempDir()
	for name, text := range map[string]string{"index.html": "", "icon.svg": "", "style.css": "", "main.ts": "let a: number = ;\n"} {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := build(dir); err == nil || !strings.Contains(err.Error(), "main.ts:1:") {
		t.Errorf("a broken source gives %v; want its file and line", err)
	}
	if _, err := build(filepath.Join(dir, "none")); err == nil {
		t.Error("a folder that is not there gives no error")
	}
}
