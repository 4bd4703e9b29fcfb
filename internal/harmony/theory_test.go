package harmony

import (
	"strings"
	"testing"

	"pochette/internal/pitch"
)

// Chord distances within a major key from the tonic: Lerdahl, Tonal Pitch Space
// (2001, ch. 2), as given in RESEARCH.md: ii 8, iii 7, IV 5, V 5, vi 7, vii 8.
// Regions from I: from memory of the same chapter (V 7, IV 7, vi 7, i 7, iii 9, ii 10).
func TestTonalPitchSpace(t *testing.T) {
	home := Key{0, false}
	tonic := Chord{0, Major}
	for _, c := range []struct {
		name  string
		chord Chord
		key   Key
		want  int
	}{
		{"I", Chord{0, Major}, home, 0},
		{"ii", Chord{2, Minor}, home, 8}, {"iii", Chord{4, Minor}, home, 7}, {"IV", Chord{-1, Major}, home, 5},
		{"V", Chord{1, Major}, home, 5}, {"vi", Chord{3, Minor}, home, 7}, {"vii°", Chord{5, Diminished}, home, 8},
		{"I of V", Chord{1, Major}, Key{1, false}, 7}, {"I of IV", Chord{-1, Major}, Key{-1, false}, 7},
		{"i of vi", Chord{3, Minor}, Key{3, true}, 7}, {"i", Chord{0, Minor}, Key{0, true}, 7},
		{"i of iii", Chord{4, Minor}, Key{4, true}, 9}, {"i of ii", Chord{2, Minor}, Key{2, true}, 10},
	} {
		if got := Distance(tonic, home, c.chord, c.key); got != c.want {
			t.Errorf("I to %s: %d, want %d", c.name, got, c.want)
		}
	}
	// the space is the same in every key
	for d := Tone(-6); d <= 6; d++ {
		if got := Distance(Chord{d, Major}, Key{d, false}, Chord{d + 2, Minor}, Key{d, false}); got != 8 {
			t.Errorf("I to ii in %s: %d", Key{d, false}, got)
		}
	}
}

// Names and spelling as common textbooks have them.
func TestNames(t *testing.T) {
	g := Key{1, false}
	if got := (Chord{g.Tonic + 5, HalfDiminished}).Name(); got != "F♯ half-diminished seventh" {
		t.Error(got)
	}
	for _, c := range []struct {
		p    string
		want Tone
	}{{"C4", 0}, {"F#4", 6}, {"Gb4", -6}, {"B2", 5}, {"Bb2", -2}, {"E#5", 11}, {"Fb3", -8}} {
		p, err := pitch.Parse(c.p)
		if err != nil {
			t.Fatal(err)
		}
		if got := ToneOf(p); got != c.want || got.String() != p.Name() || got.Class() != p.Class() {
			t.Errorf("%s: %d %s", c.p, got, got)
		}
	}
	for k, want := range map[Key]string{{-3, false}: "E♭ major", {-3, true}: "E♭ minor", {3, true}: "A minor", {6, true}: "F♯ minor"} {
		if k.String() != want {
			t.Errorf("%v, want %s", k, want)
		}
	}
}

// Numerals of the vocabulary, with figures: the common textbooks' way of writing.
func TestNumerals(t *testing.T) {
	have := [2]map[string]Chord{{}, {}}
	for m := range 2 {
		for _, f := range functions[m] {
			s := f.roman(m == 1)
			have[m][s+" "+f.quality.String()] = Chord{f.root, f.quality}
			if strings.Contains(s, "?") {
				t.Errorf("mode %d: %s has no name", m, s)
			}
		}
	}
	for _, c := range []struct {
		mode  int
		name  string
		tones string // over C
	}{
		{0, "V dominant seventh", "G B D F"}, {0, "vii° diminished triad", "B D F"}, {0, "viiø half-diminished seventh", "B D F A"},
		{0, "vii°/V diminished triad", "F♯ A C"}, {0, "vii°/V diminished seventh", "F♯ A C E♭"}, {0, "V/ii dominant seventh", "A C♯ E G"}, {0, "N major triad", "D♭ F A♭"},
		{0, "It Italian sixth", "F♯ A♭ C"}, {0, "Fr French sixth", "F♯ A♭ C D"}, {0, "Ger German sixth", "F♯ A♭ C E♭"},
		{0, "V/IV dominant seventh", "C E G B♭"}, {0, "vii°/vi diminished seventh", "G♯ B D F"}, {0, "♭VI major triad", "A♭ C E♭"},
		{1, "vii° diminished seventh", "B D F A♭"}, {1, "iiø half-diminished seventh", "D F A♭ C"}, {1, "VI major triad", "A♭ C E♭"}, {1, "III major triad", "E♭ G B♭"},
		{1, "VII major triad", "B♭ D F"}, {1, "V/III dominant seventh", "B♭ D F A♭"}, {1, "N major triad", "D♭ F A♭"}, {1, "V/VII dominant seventh", "F A C E♭"}, {1, "III+ augmented triad", "E♭ G B"},
	} {
		ch, ok := have[c.mode][c.name]
		if !ok {
			t.Errorf("mode %d: no %s", c.mode, c.name)
			continue
		}
		var s []string
		for _, x := range ch.Tones() {
			s = append(s, x.String())
		}
		if got := strings.Join(s, " "); got != c.tones {
			t.Errorf("%s: %s, want %s", c.name, got, c.tones)
		}
	}
	for _, c := range []struct {
		q    Quality
		inv  Inversion
		want string
	}{{Major, 0, ""}, {Minor, 1, "6"}, {Diminished, 2, "64"}, {DominantSeventh, 0, "7"}, {DominantSeventh, 1, "65"}, {HalfDiminished, 2, "43"}, {MinorSeventh, 3, "2"}, {GermanSixth, 0, "65"}, {FrenchSixth, 1, "43"}, {ItalianSixth, 0, "6"}} {
		if got := Figures(c.q, c.inv); got != c.want {
			t.Errorf("%s, inversion %d: %q, want %q", c.q, c.inv, got, c.want)
		}
	}
	if got := (&ChordSpan{Roman: "V/ii", Figures: "65"}).Label(); got != "V65/ii" {
		t.Error(got)
	}
}

func TestKeysInKeys(t *testing.T) {
	for _, c := range []struct {
		k, home Key
		want    string
	}{{Key{1, false}, Key{0, false}, "V"}, {Key{3, true}, Key{0, false}, "vi"}, {Key{-3, false}, Key{0, true}, "III"}, {Key{1, true}, Key{0, true}, "v"},
		{Key{-5, false}, Key{0, false}, "♭II"}, {Key{-2, false}, Key{0, true}, "VII"}, {Key{3, true}, Key{0, true}, "♯vi"}} {
		if got := c.k.RomanIn(c.home); got != c.want {
			t.Errorf("%s in %s: %s, want %s", c.k, c.home, got, c.want)
		}
	}
}

func TestWeightsRoundTrip(t *testing.T) {
	w := NewWeights()
	for i := range w.w {
		w.w[i] = float64(i%97)/8 - 6
	}
	w.Learned = []string{"a", "b"}
	v, err := ParseWeights(w.String())
	if err != nil {
		t.Fatal(err)
	}
	for i := range w.w {
		if v.w[i] != w.w[i] {
			t.Fatalf("weight %d: %g, want %g", i, v.w[i], w.w[i])
		}
	}
	for _, bad := range []string{"nothing 1", "same chord x", "same", "same chord NaN"} {
		if _, err := ParseWeights(bad); err == nil {
			t.Errorf("%q was read", bad)
		}
	}
}
