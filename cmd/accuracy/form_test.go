package main

import (
	"strings"
	"testing"

	"pochette/internal/form"
	"pochette/internal/testdata"
)

// The weights in the program are those that the data give (DCMLab/bach_solo,
// phrase marks); on failure the log has the new table.
func TestFormWeightsAreFitted(t *testing.T) {
	if testing.Short() {
		t.Skip("fitting takes ten seconds")
	}
	pieces, err := readFormPieces(testdata.Dir(t))
	if err != nil {
		t.Fatal(err)
	}
	got := form.Fit(formExamples(pieces, -1))
	if d := formDistance(got, form.Fitted(false)); d > 0.002 {
		t.Errorf("the table differs by %.3f from what the data give:\n%s", d, got.Go())
	}
}

// Read over the real movements: every sentence at every level is one, and phrases
// cover each section without gap or overlap.
func TestFormOfRealMovements(t *testing.T) {
	pieces, err := readFormPieces(testdata.Dir(t))
	if err != nil {
		t.Fatal(err)
	}
	for _, pc := range pieces {
		st := form.Analyze(pc.in)
		if len(st.Phrases) == 0 || len(st.Sections) == 0 {
			t.Errorf("%s: no phrases or sections", pc.name)
			continue
		}
		for i, p := range st.Phrases {
			if i > 0 && p.From != st.Phrases[i-1].To && p.From != st.Sections[p.Section].From {
				t.Errorf("%s: phrase %d begins at %d, the one before ends at %d", pc.name, i, p.From, st.Phrases[i-1].To)
			}
			if p.Arrival < p.From || p.Arrival >= p.To && !p.Overlaps {
				t.Errorf("%s: phrase %d arrives at %d, outside %d to %d", pc.name, i, p.Arrival, p.From, p.To)
			}
			for _, at := range p.Rests {
				if at <= p.From || at >= p.Arrival {
					t.Errorf("%s: phrase %d rests at %d, outside %d to %d", pc.name, i, at, p.From, p.Arrival)
				}
			}
			checkWords(t, pc.name, p.Words)
		}
		if last := st.Phrases[len(st.Phrases)-1]; last.To != st.Sections[len(st.Sections)-1].To {
			t.Errorf("%s: the last phrase ends at %d, the movement at %d", pc.name, last.To, st.Sections[len(st.Sections)-1].To)
		}
		for _, x := range st.Sections {
			checkWords(t, pc.name, x.Words)
		}
		for _, x := range st.Hemiolas {
			checkWords(t, pc.name, x.Words)
			t.Logf("%s: %s", pc.name, x.Words.Scholar)
		}
		for _, x := range st.Tags {
			checkWords(t, pc.name, x.Words)
			t.Logf("%s: %s", pc.name, x.Words.Scholar)
		}
		for _, x := range st.Meters {
			checkWords(t, pc.name, x.Words)
		}
		for _, x := range st.Facts {
			checkWords(t, pc.name, x.Words)
		}
	}
}

func checkWords(t *testing.T, name string, w form.Words) {
	t.Helper()
	for _, s := range []string{w.Student, w.Player, w.Scholar} {
		if s == "" || !strings.HasSuffix(s, ".") || strings.Contains(s, "%!") || strings.Contains(s, "  ") {
			t.Errorf("%s: no sentence: %q", name, s)
		}
	}
}
