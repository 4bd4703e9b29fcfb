package bowing

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"

	"pochette/internal/musicxml"
	"pochette/internal/score"
	"pochette/internal/testdata"
)

// Real and deliberately odd files (the MusicXML test suite, solo movements,
// quartets, études with printed bows; see the data's README) are studied without
// a fault, every printed mark is kept, and every stroke has its place.
func TestRealScores(t *testing.T) {
	strokes, parts := 0, 0
	for _, folder := range []string{"musicxml/suite", "musicxml/solo", "musicxml/quartets", "bowing/etudes", "bowing/solos"} {
		for _, path := range testdata.Scores(t, folder+"/*") {
			data, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			sc, _, err := musicxml.Read(bytes.NewReader(data), filepath.Base(path))
			if err != nil {
				continue // the reader's own tests look at these
			}
			for _, p := range sc.Parts {
				parts++
				strokes += studyReal(t, filepath.Base(path), sc, p)
			}
		}
	}
	if parts < 150 || strokes < 15000 {
		t.Errorf("only %d parts with %d strokes were studied", parts, strokes)
	}
}

func studyReal(t *testing.T, name string, sc *score.Score, p *score.Part) int {
	t.Helper()
	for _, may := range []bool{false, true} {
		st := Analyze(sc, p, Options{MayChangeSlurs: may})
		if !may && len(st.Plan.SlurChanges) > 0 {
			t.Errorf("%s: slurs changed without leave", name)
		}
		for i, s := range st.Proposed {
			if s.Pizzicato != (s.Direction == None) || len(s.Notes) == 0 {
				t.Errorf("%s, stroke %d: %+v", name, i, s)
			}
			if i > 0 && s.First <= st.Proposed[i-1].Last {
				t.Errorf("%s, stroke %d overlaps the one before", name, i)
			}
			n := &p.Notes[s.Notes[0]]
			up, down := n.Has(score.UpBow), n.Has(score.DownBow)
			if !s.Pizzicato && up != down && up != (s.Direction == Up) && !st.contradicts(s.Notes[0]) {
				t.Errorf("%s, stroke %d: %v against its printed mark", name, i, s.Direction)
			}
		}
		for _, mk := range st.Plan.Marks {
			if n := &p.Notes[mk.Note]; n.Has(score.UpBow) || n.Has(score.DownBow) || n.Rest {
				t.Errorf("%s: a mark is proposed on note %d, which has one or is a rest", name, mk.Note)
			}
		}
	}
	return len(gather(p, Analyze(sc, p, Options{}).Events))
}

func (st *Study) contradicts(id score.NoteID) bool {
	for _, f := range st.Findings {
		if f.Kind == "two-bows-on-one-note" || f.Kind == "bow-against-slur" {
			for _, n := range f.Notes {
				if n == id {
					return true
				}
			}
		}
	}
	return false
}
