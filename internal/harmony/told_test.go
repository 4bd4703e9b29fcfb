package harmony

import (
	"slices"
	"strings"
	"testing"

	"pochette/internal/score"
)

// setChords is a study of a part with chords in C that are set here, each from its
// tick to the next.
func setChords(p *score.Part, minor bool, end score.Tick, at []score.Tick, chords ...Chord) *Study {
	s := &Study{part: p, q: 4}
	k := Key{0, minor}
	for i, ch := range chords {
		c := ChordSpan{From: at[i], To: end, Chord: ch, Key: k, BassTone: ch.Root, Gap: 100}
		if i+1 < len(at) {
			c.To = at[i+1]
		}
		f := slices.IndexFunc(functions[mode(minor)], func(f function) bool { return f.root == ch.Root && f.quality == ch.Quality })
		c.fn = &functions[mode(minor)][f]
		c.Roman, c.Applied, c.Target = c.fn.roman(minor), c.fn.applied, c.fn.target
		c.Measure = int(c.From) / int(p.Measures[0].Len)
		s.Chords = append(s.Chords, c)
	}
	s.Keys = []KeySpan{{To: end, Key: k, Home: k, Pivot: -1}}
	return s
}

// The bass of a broken chord is its lowest note, wherever in the chord it stands; a
// fifth in a line alone makes no six-four, below a struck chord it does (figures as in
// common textbooks).
func TestBassOfBrokenChords(t *testing.T) {
	for _, c := range []struct {
		name, text string
		chord      Chord
		figures    string
		bass       string
		guessed    bool
	}{
		{"fifth first, root below later", "D5 C5 B4 G4", Chord{1, Major}, "", "G", false},
		{"third first, root below later", "Ab4 C5 F4 Ab4", Chord{-1, Minor}, "", "F", false},
		{"leading note last and lowest", "F4 Ab4 D4 B3", Chord{5, DiminishedSeventh}, "7", "B", false},
		{"third stays lowest", "E4 G4 C5 G4", Chord{0, Major}, "6", "E", false},
		{"fifth touched later", "C5 G4 C5 E5", Chord{0, Major}, "", "C", true},
		{"fifth first in a line", "G4 C5 E5 C5", Chord{0, Major}, "", "C", true},
		{"fifth under a struck chord", "G3+C4+E4:8", Chord{0, Major}, "64", "G", false},
		{"seventh lowest", "F3 G4 B4 D5", Chord{1, DominantSeventh}, "2", "F", false},
		{"a passing note below is no bass", "E4 D4 E4 G4", Chord{0, Major}, "6", "E", false},
	} {
		g := newGrid(tune(t, 4, 0, c.text), 4)
		x := ChordSpan{Chord: c.chord}
		x.setBass(g, Segment{From: 0, To: len(g.units)}, 0)
		if x.Figures != c.figures || x.BassTone.String() != c.bass || x.Guessed != c.guessed {
			t.Errorf("%s: figures %q over %s, guessed %v", c.name, x.Figures, x.BassTone, x.Guessed)
		}
	}
}

// A cadential six-four is the tonic triad over the dominant (common textbooks), and a
// seventh chord has another numeral than its triad.
func TestSixFourIsNamedAsTonic(t *testing.T) {
	c := ChordSpan{Chord: Chord{1, CadentialMinor}, Roman: function{root: 1, quality: CadentialMinor, class: clDominant}.roman(true)}
	c.Figures = Figures(c.Chord.Quality, 0)
	if n := c.Chord.Name(); n != "C minor triad over G" || c.Label() != "i64" {
		t.Errorf("%s, %s", n, c.Label())
	}
	r := Reading{Key: Key{0, true}, Chord: Chord{1, DominantSeventh}, Roman: "V"}
	if r.Label() != "V7" {
		t.Error(r.Label())
	}
	r = Reading{Chord: Chord{2, DominantSeventh}, Roman: "V/V"}
	if r.Label() != "V7/V" {
		t.Error(r.Label())
	}
}

// A dissonance on the beat with the same pitch just before it on a weaker place and a
// step down after it is a suspension, whatever stands between and whatever chord the
// preparation falls in; without the preparation an appoggiatura (common textbooks).
func TestPreparedIsSuspension(t *testing.T) {
	for _, c := range []struct {
		name, text string
		note       int
		kind       NonChordKind
	}{
		{"after another note", "C4 E4 C5:1 E4:1 C5:1 E4:1 C5 B4 G4:4", 6, Suspension},
		{"on the eighth before, which is foreign too", "B3 D4 G4 G4:1 C5:1 C5 B4 G4:4", 5, Suspension},
		{"not prepared", "C4 E4 G4 E4 C5 B4 G4:4", 4, Appoggiatura},
		{"the pitch lies a bar back", "C5 E4 G4 E4 C5 B4 G4:4", 4, Appoggiatura},
	} {
		a := Chord{0, Major}
		if c.text[0] == 'B' {
			a = Chord{1, Major}
		}
		s := setChords(tune(t, 4, 0, c.text), false, 1000, []score.Tick{0, 16}, a, Chord{1, Major})
		s.nonChord()
		i := slices.IndexFunc(s.NonChord, func(x NonChord) bool { return int(x.Note) == c.note })
		if i < 0 || s.NonChord[i].Kind != c.kind {
			t.Errorf("%s: %+v", c.name, s.NonChord)
		}
	}
}

// What is leaned on stands on a felt beat; a passing note inside a slur is not.
func TestLeanOnlyOnBeats(t *testing.T) {
	count := func(edit func(p *score.Part)) int {
		p := tune(t, 4, 0, "A4 G4:1 E4:1 E4 F4:1 E4:1 C4:8")
		edit(p)
		s := setChords(p, false, 1000, []score.Tick{0}, Chord{0, Major})
		s.nonChord()
		return len(s.Pairs)
	}
	if n := count(func(*score.Part) {}); n != 2 { // A on 1, F on 4 of four quarters
		t.Errorf("%d pairs in common time", n)
	}
	half := func(p *score.Part) {
		for i := range p.Measures {
			p.Measures[i].Meter.Num, p.Measures[i].Meter.Den = 2, 2
		}
	}
	if n := count(half); n != 1 {
		t.Errorf("%d pairs in cut time", n)
	}
	slur := func(p *score.Part) { p.Slurs = []score.Slur{{Start: 3, End: 5}} }
	if n := count(slur); n != 1 {
		t.Errorf("%d pairs with a slur over the second", n)
	}
}

// A suspension that is held is told where the new chord enters.
func TestSuspensionUnderItsChord(t *testing.T) {
	p := tune(t, 4, 0, "C4 E4 G4 C5 ~C5 B4 G4:4")
	s := setChords(p, false, 64, []score.Tick{0, 16}, Chord{0, Major}, Chord{1, Major})
	s.nonChord()
	fs := s.pairFindings(Player)
	if len(fs) != 1 || fs[0].At.Measure != 1 || fs[0].At.Beat != "1" || fs[0].Text != "A suspension on C, released on B." || fs[0].Why != "" {
		t.Errorf("%+v", fs)
	}
}

// Six-fours end no cadence and make no dominant; a half cadence wants V on its root.
func TestNoCadenceOnSixFours(t *testing.T) {
	p := tune(t, 4, 0, "D4+G4:4 A3+C4+E4:4")
	s := setChords(p, false, 16, []score.Tick{0, 8}, Chord{1, Major}, Chord{3, Minor})
	s.Chords[0].Inversion = 2
	if k, ok := s.kindOf(1); ok {
		t.Errorf("V64-vi is a %s", k)
	}
	s = setChords(p, false, 16, []score.Tick{0, 8}, Chord{2, Minor}, Chord{1, Major})
	s.Chords[1].Inversion = 1
	if k, ok := s.kindOf(1); ok {
		t.Errorf("ii-V6 is a %s", k)
	}
	s = setChords(p, false, 16, []score.Tick{0, 8}, Chord{1, CadentialMajor}, Chord{1, Major})
	if k, ok := s.kindOf(1); !ok || k != Half {
		t.Errorf("I64-V: %s, %v", k, ok)
	}
}

// While nothing sounds no chord is told and no cadence.
func TestSilence(t *testing.T) {
	theme := "G2+D3+B3+G4:8 C3+E3+G3+C5:8 D3+C4+F#4+A4:8 G2+D3+B3+G4:8 "
	p := tune(t, 4, 1, theme+strings.Repeat("r:8 ", 6)+theme)
	s := Analyze(p, 4)
	from, to := p.Measures[4].Start, p.Measures[10].Start
	silent := 0
	for i := range s.Chords {
		c := &s.Chords[i]
		if inside := c.From >= from && c.To <= to; c.Silent != inside {
			t.Errorf("chord %d to %d: silent %v", c.From, c.To, c.Silent)
		} else if inside {
			silent++
		}
	}
	for _, c := range s.Cadences {
		if c.At >= from && c.At <= to {
			t.Errorf("%s at %d", c.Type, c.At)
		}
	}
	if len(s.Cadences) == 0 {
		t.Error("no cadence outside the rest either")
	}
	for _, l := range []Level{Student, Player, Scholar} {
		for _, f := range s.Findings(l) {
			if f.Kind == "chord" && f.At.Measure >= 4 && f.At.Measure < 10 {
				t.Errorf("told in silence: %s", f.Text)
			}
		}
	}
	t.Logf("%d silent chords", silent)
	// two sounding chords with more than a bar of rest between them
	q := tune(t, 4, 0, "G3+B3+D4:8 r:8 r:8 C3+C4:8")
	u := setChords(q, false, 64, []score.Tick{0, 48}, Chord{1, Major}, Chord{0, Major})
	if !u.unheard(1) {
		t.Error("a step over two bars of rest counts as heard")
	}
	q = tune(t, 4, 0, "G3+B3+D4:6 r C3+C4:8")
	u = setChords(q, false, 32, []score.Tick{0, 16}, Chord{1, Major}, Chord{0, Major})
	if u.unheard(1) {
		t.Error("a step over a quarter rest counts as unheard")
	}
}

// The same notes over and over are no close each time; with one note changed they may.
func TestOstinatoIsNoCadence(t *testing.T) {
	at := []score.Tick{0, 8, 16, 24}
	one, five := Chord{0, Major}, Chord{1, Major}
	s := setChords(tune(t, 4, 0, "G3 G3 C4 C4 G3 G3 C4 C4"), false, 32, at, five, one, five, one)
	if !s.unmoved(3) || s.unmoved(1) {
		t.Errorf("ostinato: %v, first time: %v", s.unmoved(3), s.unmoved(1))
	}
	s = setChords(tune(t, 4, 0, "G3 B3 C4 C4 G3 G3 C4 C4"), false, 32, at, five, one, five, one)
	if s.unmoved(3) {
		t.Error("another dominant counts as an ostinato")
	}
}

// An applied chord is told to lead only where its leading note sounds and no other
// reading is close; the player is told the other, the student neither.
func TestAppliedChordsAreSure(t *testing.T) {
	seven := Chord{0, DominantSeventh} // V7/iv in C minor
	with, without := "C4 E4 G4 Bb4 F4+Ab4:8", "C4 G4 C4 Bb4 F4+Ab4:8"
	study := func(text string, close bool) *Study {
		s := setChords(tune(t, 4, -3, text), true, 32, []score.Tick{0, 16}, seven, Chord{-1, Minor})
		if close {
			c := &s.Chords[0]
			c.Ambiguous, c.Gap, c.Second = true, 0.01, Reading{Key: c.Key, Chord: Chord{0, MinorSeventh}, Roman: "i"}
		}
		return s
	}
	texts := func(s *Study, l Level) string {
		var out []string
		for _, f := range s.chordFindings(l) {
			out = append(out, f.Text)
		}
		return strings.Join(out, " ")
	}
	for _, c := range []struct {
		s    *Study
		l    Level
		want string
	}{
		{study(with, false), Player, "C dominant seventh: it leads to F, degree IV, and resolves there."},
		{study(with, false), Student, "This chord leads to F, and resolves there."},
		{study(without, false), Player, ""},
		{study(without, false), Scholar, "V/iv (C dominant seventh) in C minor. The leading note E does not sound."},
		{study(with, true), Student, ""},
		{study(with, true), Player, "May also be heard as the C minor seventh, i7 in C minor."},
	} {
		if got := texts(c.s, c.l); got != c.want {
			t.Errorf("level %d: %q, want %q", c.l, got, c.want)
		}
	}
}

// The peak of tension is told only where its chord is read for sure.
func TestPeakIsSure(t *testing.T) {
	s := setChords(tune(t, 4, 0, "C4 E4 G4 C5 B3+D4+G4:8"), false, 32, []score.Tick{0, 16}, Chord{0, Major}, Chord{1, Major})
	s.Chords[1].Tension = 9
	told := func() bool {
		return slices.ContainsFunc(s.curveFindings(Player), func(f score.Finding) bool { return f.Kind == "tension-peak" })
	}
	if !told() {
		t.Error("a sure peak is not told")
	}
	if s.Chords[1].Ambiguous = true; told() {
		t.Error("a doubtful peak is told")
	}
}

// A cadence is told once, in a sentence that does not contradict itself.
func TestCadenceWords(t *testing.T) {
	s := setChords(tune(t, 4, 0, "G3+D4+B4:4 C3+G3+C5:4"), false, 16, []score.Tick{0, 8}, Chord{1, Major}, Chord{0, Major})
	for _, c := range []struct {
		strength float64
		want     string
	}{{0.4, "Perfect authentic cadence in C major, lightly marked."}, {0.8, "Perfect authentic cadence in C major."}, {0.95, "Perfect authentic cadence in C major, strongly marked."}} {
		s.Cadences = []Cadence{{At: 8, Chord: 1, Key: Key{}, Strength: c.strength}}
		if f := s.cadenceFindings(Player)[0]; f.Text != c.want || f.Why != "" {
			t.Errorf("%q %q", f.Text, f.Why)
		}
	}
}
