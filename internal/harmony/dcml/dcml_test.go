package dcml

import (
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"pochette/internal/harmony"
	"pochette/internal/testdata"
)

// An invented movement of two bars, with a pickup, a tie, a grace note and a
// quoted field.
const (
	someNotes = "mc\tmc_onset\tduration\ttied\ttpc\tmidi\tgracenote\tvoice\tname\n" +
		"1\t0\t1/4\t\t1\t67\t\t1\tG4\n" +
		"2\t0\t1/2\t1\t0\t60\t\t1\tC4\n" +
		"2\t1/2\t1/4\t-1\t0\t60\t\t1\tC4\n" +
		"2\t3/4\t0\t\t6\t66\tgrace16\t1\tF#4\n" +
		"2\t3/4\t1/12\t\t1\t67\t\t1\t\"G4\"\n"
	someBars = "mc\tmn\tkeysig\ttimesig\tact_dur\trepeats\tdont_count\n" +
		"1\t0\t0\t4/4\t1/4\tfirstMeasure\t1\n" +
		"2\t1\t0\t4/4\t1\tend\t\n"
	someChords = "mc\tmc_onset\tglobalkey\tlocalkey\tpedal\tnumeral\tfigbass\tchanges\trelativeroot\tcadence\tphraseend\tchord_type\troot\tbass_note\n" +
		"1\t0\tC\tI\t\tV\t\t\t\t\t{\tM\t1\t1\n" +
		"2\t0\tC\tvi\t\tV\t65\t\tiv\t\t\tMm7\t0\t-3\n" +
		"2\t1/2\tC\tvi\t\tV\t\t64\t\tHC\t}\tM\t1\t1\n"
)

func TestRead(t *testing.T) {
	p, err := Read(strings.NewReader(someNotes), strings.NewReader(someBars), strings.NewReader(someChords))
	if err != nil {
		t.Fatal(err)
	}
	q := p.Quarter
	if q%3 != 0 || len(p.Part.Measures) != 2 || p.Part.Measures[1].Start != q || !p.Part.Measures[0].Implicit || p.Part.Measures[1].RepeatTimes != 2 {
		t.Errorf("quarter %d, measures %+v", q, p.Part.Measures)
	}
	n := p.Part.Notes
	if len(n) != 5 || n[1].TieTo != 2 || n[2].TieFrom != 1 || !n[3].Grace || n[3].Sounding.String() != "F♯4" || n[4].Dur*3 != q {
		t.Errorf("%+v", n)
	}
	if len(p.Labels) != 3 || p.Home != (harmony.Key{}) {
		t.Fatalf("%+v", p.Labels)
	}
	a := p.Labels[1]
	if a.Key != (harmony.Key{Tonic: 3, Minor: true}) || !a.Applied || a.Target != -1 || !a.TargetMinor || a.Chord != (harmony.Chord{Root: 3, Quality: harmony.DominantSeventh}) || a.From != q || a.To != 3*q || a.Bass != 0 {
		t.Errorf("%+v", a)
	}
	if c := p.Labels[2]; c.Chord.Quality != harmony.CadentialMinor || c.To != 5*q {
		t.Errorf("%+v", c)
	}
	if len(p.Cadences) != 1 || p.Cadences[0].Type != "HC" || p.Cadences[0].At != 3*q || len(p.Phrases) != 1 {
		t.Errorf("%+v %v", p.Cadences, p.Phrases)
	}
}

func TestReadRefuses(t *testing.T) {
	for _, c := range []struct{ old, new, want string }{
		{"4/4", "4:4", "measures, line 2, column timesig"},
		{"2\t1/2\t1/4\t-1", "7\t1/2\t1/4\t-1", "notes, line 4, column mc"},
		{"\t1/12\t", "\tlong\t", "column duration"},
		{"\t67\t\t1\tG4\n2", "\t66\t\t1\tG4\n2", "spelling"},
		{"\tMm7\t", "\tMx7\t", "harmonies, line 3, column chord_type"},
		{"\tvi\t\tV\t65", "\tviii\t\tV\t65", "column localkey"},
		{"act_dur", "dur", "column act_dur"},
	} {
		_, err := Read(strings.NewReader(strings.Replace(someNotes, c.old, c.new, 1)), strings.NewReader(strings.Replace(someBars, c.old, c.new, 1)), strings.NewReader(strings.Replace(someChords, c.old, c.new, 1)))
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%q for %q: %v, want %q", c.new, c.old, err, c.want)
		}
	}
}

func TestRoman(t *testing.T) {
	for _, c := range []struct {
		s     string
		minor bool
		at    harmony.Tone
		low   bool
	}{{"V", false, 1, false}, {"vi", false, 3, true}, {"III", true, -3, false}, {"bII", true, -5, false}, {"#vii", true, 5, true}, {"V/V", false, 2, false}, {"V/vi", false, 4, false}} {
		at, low, err := chain(c.s, c.minor)
		if err != nil || at != c.at || low != c.low {
			t.Errorf("%s: %d %v %v", c.s, at, low, err)
		}
	}
}

// Every movement of the shared data reads; its home key as labelled is the one
// found from the notes (DCMLab/bach_solo).
func TestCorpusAndHomeKeys(t *testing.T) {
	for _, l := range corpus(t) {
		if k, _, _, ok := harmony.HomeKey(l.Part); !ok || k != l.Home {
			t.Errorf("%s: home key %s, labelled %s", l.Name, k, l.Home)
		}
		for i, x := range l.Labels {
			if i > 0 && x.From != l.Labels[i-1].To {
				t.Fatalf("%s: label %d begins at %d, the one before ends at %d", l.Name, i, x.From, l.Labels[i-1].To)
			}
		}
	}
}

// The first suite, read with weights learned from the others: well above the simple
// methods of docs/ACCURACY.md (chord of the bar: root 55 %), so that a fault of the
// learning or the search shows. DCMLab/bach_solo.
func TestHeldOutSuite(t *testing.T) {
	var train, held []harmony.Labelled
	for _, l := range corpus(t) {
		if l.Group == "BWV1007" {
			held = append(held, l)
		} else {
			train = append(train, l)
		}
	}
	if len(held) == 0 || len(train) == 0 {
		t.Skip("the shared data holds no suite to leave out")
	}
	w, err := harmony.Fit(train, harmony.UsualSettings())
	if err != nil {
		t.Fatal(err)
	}
	var n, key, root float64
	for _, l := range held {
		for _, c := range harmony.AnalyzeWith(l.Part, l.Quarter, w).Chords {
			for _, x := range l.Labels {
				over := float64(min(c.To, x.To)-max(c.From, x.From)) / float64(l.Quarter)
				if over <= 0 {
					continue
				}
				n += over
				if c.Key == x.Key {
					key += over
				}
				if c.Chord.Root == x.Chord.Root {
					root += over
				}
			}
		}
	}
	t.Logf("key %.1f %%, root %.1f %% of %.0f quarters", 100*key/n, 100*root/n, n)
	if key < 0.70*n || root < 0.62*n {
		t.Errorf("key %.1f %%, root %.1f %% of %.0f quarters", 100*key/n, 100*root/n, n)
	}
}

// corpus reads the shared movements, or skips.
func corpus(t *testing.T) []harmony.Labelled {
	t.Helper()
	dir := filepath.Join(testdata.Dir(t), "harmony")
	files, err := filepath.Glob(filepath.Join(dir, "harmonies", "*.tsv"))
	if err != nil || len(files) == 0 {
		t.Skipf("no labels in %s", dir)
	}
	var names []string
	for _, f := range files {
		names = append(names, strings.TrimSuffix(filepath.Base(f), ".harmonies.tsv"))
	}
	all, err := Corpus(names, func(kind, name string) (io.ReadCloser, error) {
		return os.Open(filepath.Join(dir, kind, name+"."+kind+".tsv"))
	})
	if err != nil {
		t.Fatal(err)
	}
	return all
}

func FuzzRead(f *testing.F) {
	f.Add(someNotes, someBars, someChords)
	f.Add("mc\n\"", "mc\tmn\n1", "")
	f.Fuzz(func(t *testing.T, notes, bars, chords string) {
		p, err := Read(strings.NewReader(notes), strings.NewReader(bars), strings.NewReader(chords))
		if err != nil {
			return
		}
		if len(p.Part.Measures) == 0 {
			t.Fatal("no measures and no error")
		}
	})
}
