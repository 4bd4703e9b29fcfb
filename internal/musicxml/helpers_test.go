package musicxml

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"testing"

	"pochette/internal/score"
	"pochette/internal/testdata"
)

// readable are all shared scores that can be opened, with what Decode gives.
type readable struct {
	name     string
	data     []byte
	src      *Source
	score    *score.Score
	findings []score.Finding
}

// groups of shared files, as patterns below the shared data.
var (
	suiteFiles = []string{"musicxml/suite/*"}
	realFiles  = []string{"musicxml/solo/*", "musicxml/quartets/*", "bowing/etudes/*", "bowing/solos/*"}
)

func loadFile(t testing.TB, path string) (readable, error) {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	r := readable{name: filepath.Base(path), data: data}
	if r.src, err = Open(data, r.name); err != nil {
		return r, err
	}
	r.score, r.findings, err = Decode(r.src)
	return r, err
}

func loadShared(t testing.TB, patterns ...string) []readable {
	t.Helper()
	var out []readable
	for _, f := range testdata.Scores(t, patterns...) {
		if r, err := loadFile(t, f); err == nil {
			out = append(out, r)
		}
	}
	return out
}

// suite loads one file of the MusicXML test suite (cuthbertLab/musicxmlTestSuite).
func suite(t testing.TB, name string) readable {
	t.Helper()
	r, err := loadFile(t, filepath.Join(testdata.Dir(t), "musicxml", "suite", name))
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// mustDecode reads a document that must be readable.
func mustDecode(t testing.TB, xml []byte) (*Source, *score.Score, []score.Finding) {
	t.Helper()
	src, err := Open(xml, "test.musicxml")
	if err != nil {
		t.Fatal(err)
	}
	sc, fs, err := Decode(src)
	if err != nil {
		t.Fatal(err)
	}
	return src, sc, fs
}

// validator checks documents against the MusicXML 4.0 schema with xmllint.
type validator struct {
	schema, dir string
	n           int
}

func newValidator(t testing.TB) *validator {
	t.Helper()
	if _, err := exec.LookPath("xmllint"); err != nil {
		t.Skip("xmllint is not installed: schema validation left out")
	}
	return &validator{schema: filepath.Join(testdata.Dir(t), "musicxml", "xsd", "musicxml-local.xsd"), dir: t.TempDir()}
}

// check validates several documents in one run (loading the schema is what
// takes the time) and gives the names of those that are not valid.
func (v *validator) check(t testing.TB, docs map[string][]byte) (invalid []string, log string) {
	t.Helper()
	args := []string{"--nonet", "--noout", "--schema", v.schema}
	path := map[string]string{}
	names := make([]string, 0, len(docs))
	for n := range docs {
		names = append(names, n)
	}
	slices.Sort(names)
	for _, n := range names {
		v.n++
		p := filepath.Join(v.dir, filepath.Base(n)+"."+string(rune('a'+v.n%26))+".xml")
		if err := os.WriteFile(p, docs[n], 0o600); err != nil {
			t.Fatal(err)
		}
		path[n] = p
		args = append(args, p)
	}
	out, err := exec.Command("xmllint", args...).CombinedOutput()
	for _, n := range names {
		if !bytes.Contains(out, []byte(path[n]+" validates\n")) {
			invalid = append(invalid, n)
		}
	}
	if err == nil && len(invalid) > 0 {
		t.Fatalf("xmllint reports success but not for %v:\n%s", invalid, out)
	}
	return invalid, string(out)
}

// bare is a copy of a score without spans, to compare what two documents say.
func bare(s *score.Score) *score.Score {
	c := *s
	c.Parts = nil
	for _, p := range s.Parts {
		q := *p
		q.Measures, q.Notes = slices.Clone(p.Measures), slices.Clone(p.Notes)
		q.Slurs, q.Directions = slices.Clone(p.Slurs), slices.Clone(p.Directions)
		for i := range q.Measures {
			q.Measures[i].Src = score.Span{}
		}
		for i := range q.Notes {
			q.Notes[i].Src = score.Span{}
		}
		for i := range q.Slurs {
			q.Slurs[i].StartSrc, q.Slurs[i].EndSrc = score.Span{}, score.Span{}
		}
		for i := range q.Directions {
			q.Directions[i].Src = score.Span{}
		}
		c.Parts = append(c.Parts, &q)
	}
	return &c
}
