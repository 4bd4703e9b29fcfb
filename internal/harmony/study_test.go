package harmony

import (
	"fmt"
	"strings"
	"testing"

	"pochette/internal/pitch"
	"pochette/internal/score"
)

// tune builds a part in 4/4 (or beats/4) from words: "C4:4 D4 E4:2 r:4", lengths
// in eighths, 2 where none is given; "/" ends a bar early on purpose never: bars
// fill by themselves. A "~" before a pitch ties it to the one before.
func tune(t testing.TB, beats, fifths int, text string) *score.Part {
	t.Helper()
	p := &score.Part{ID: "P1"}
	bar := score.Tick(beats * 4)
	at := score.Tick(0)
	for _, w := range strings.Fields(text) {
		name, length, _ := strings.Cut(w, ":")
		d := score.Tick(2)
		if length != "" {
			fmt.Sscan(length, &d)
		}
		d *= 2 // ticks to an eighth
		for score.Tick(len(p.Measures))*bar <= at {
			i := len(p.Measures)
			p.Measures = append(p.Measures, score.Measure{Index: i, Number: fmt.Sprint(i + 1), Start: score.Tick(i) * bar, Len: bar,
				Key: score.Key{Fifths: fifths}, Meter: score.Meter{Beats: fmt.Sprint(beats), Unit: "4", Num: beats, Den: 4, Len: bar, Groups: []score.Tick{bar}}})
		}
		if name != "r" {
			name, tied := strings.CutPrefix(name, "~")
			for k, one := range strings.Split(name, "+") {
				pi, err := pitch.Parse(one)
				if err != nil {
					t.Fatal(err)
				}
				id := score.NoteID(len(p.Notes))
				n := score.Note{ID: id, Head: id - score.NoteID(k), Chord: k > 0, Measure: len(p.Measures) - 1, Onset: at, Dur: d, Voice: "1", Written: pi, Sounding: pi, TieFrom: score.NoNote, TieTo: score.NoNote}
				if tied {
					n.TieFrom, p.Notes[id-1].TieTo = id-1, id
				}
				p.Notes = append(p.Notes, n)
			}
		}
		at += d
	}
	return p
}

// chords that no textbook would read otherwise, in chords of four notes.
const plainCadence = "G2+D3+B3+G4:4 C3+E3+A3+G4:2 C3+E3+A3+C5:2 D3+C4+F#4+A4:8 G2+D3+B3+G4:8"

func TestPlainCadence(t *testing.T) {
	p := tune(t, 4, 1, "G2+D3+B3+G4:8 E3+G3+B3+G4:8 C3+E3+G3+C5:8 D3+C4+F#4+A4:8 G2+D3+B3+G4:8")
	s := Analyze(p, 4)
	if s.Home != (Key{1, false}) {
		t.Fatalf("home %s", s.Home)
	}
	var got []string
	for i := range s.Chords {
		got = append(got, s.Chords[i].Label())
	}
	if want := "I vi IV V7 I"; strings.Join(got, " ") != want {
		t.Errorf("read %v, want %s", got, want)
	}
	if n := s.Chords[3].Chord.Name(); n != "D dominant seventh" {
		t.Error(n)
	}
	if s.Chords[4].Role != Arrives || s.Chords[3].Role != LeadsOn {
		t.Errorf("roles %s, %s", s.Chords[3].Role, s.Chords[4].Role)
	}
	if !(s.Chords[3].Tension > s.Chords[4].Tension) {
		t.Error("the dominant is no tenser than the tonic")
	}
	if len(s.Cadences) == 0 || s.Cadences[len(s.Cadences)-1].Type != PerfectAuthentic || s.Cadences[len(s.Cadences)-1].Chord != 4 {
		t.Errorf("cadences %+v of %+v", s.Cadences, s.candidates(DefaultWeights()))
	}
}

// Non-chord notes over chords that are set here, so that the test is of the
// classes alone. Examples as in the common textbooks.
func TestNonChordClasses(t *testing.T) {
	major := func(root Tone) Chord { return Chord{root, Major} }
	for _, c := range []struct {
		name  string
		text  string
		cut   score.Tick // where the second chord begins
		a, b  Chord
		note  int
		kind  NonChordKind
		after bool // accented
	}{
		{"passing", "C4 D4 E4 C4 C4:8", 16, major(0), major(0), 1, PassingNote, false},
		{"neighbour", "E4 F4 E4 C4 C4:8", 16, major(0), major(0), 1, NeighbourNote, false},
		{"suspension struck again", "C4 E4 C5 C5 C5 B4 G4:4", 16, major(0), major(1), 4, Suspension, true},
		{"suspension held over", "C4 E4 G4 C5 ~C5 B4 G4:4", 16, major(0), major(1), 3, Suspension, true},
		{"appoggiatura", "C4 E4 G4 C4 A4 G4 D4:4", 16, major(0), major(1), 4, Appoggiatura, true},
		{"anticipation", "C4 E4 G4 D5 D5:4 B4:4", 16, major(0), major(1), 3, Anticipation, false},
		{"escape", "C4 E4 G4 A4 D4 B4 G4:4", 16, major(0), major(1), 3, EscapeNote, false},
	} {
		p := tune(t, 4, 0, c.text)
		s := &Study{part: p, q: 4}
		fn := &functions[0][0]
		s.Chords = []ChordSpan{{From: 0, To: c.cut, Chord: c.a, fn: fn}, {From: c.cut, To: 1000, Chord: c.b, fn: fn}}
		s.nonChord()
		var got *NonChord
		for i := range s.NonChord {
			if int(s.NonChord[i].Note) == c.note {
				got = &s.NonChord[i]
			}
		}
		if got == nil {
			t.Errorf("%s: note %d is not found foreign: %+v", c.name, c.note, s.NonChord)
			continue
		}
		if got.Kind != c.kind || got.Accented != c.after {
			t.Errorf("%s: %s, accented %v", c.name, got.Kind, got.Accented)
		}
		if c.kind == Suspension && (len(s.Pairs) != 1 || s.part.Notes[s.Pairs[0].Weak].Sounding.Step != pitch.B) {
			t.Errorf("%s: pairs %v", c.name, s.Pairs)
		}
	}
}

func TestSequences(t *testing.T) {
	p := tune(t, 4, 0, "C5:1 D5:1 E5:1 C5:1 B4:1 C5:1 D5:1 B4:1 A4:1 B4:1 C5:1 A4:1 G4:1 A4:1 B4:1 G4:1 C4:8")
	s := &Study{part: p, q: 4}
	s.sequences()
	if len(s.Seqs) != 1 {
		t.Fatalf("%+v", s.Seqs)
	}
	q := s.Seqs[0]
	if q.Count != 4 || q.Step != -1 || q.Length != 8 || q.From != 0 || q.To != 32 {
		t.Errorf("%+v", q)
	}
	// the same figure on one degree is no sequence
	p = tune(t, 4, 0, "C5:1 D5:1 E5:1 C5:1 C5:1 D5:1 E5:1 C5:1 C5:1 D5:1 E5:1 C5:1 C4:4")
	s = &Study{part: p, q: 4}
	if s.sequences(); len(s.Seqs) != 0 {
		t.Errorf("%+v", s.Seqs)
	}
}

func TestPedal(t *testing.T) {
	p := tune(t, 4, 0, "C3+E4+G4:4 C3+F4+A4:4 C3+D4+G4+B4:4 C3+E4+G4:4")
	s := &Study{part: p, q: 4}
	fn := &functions[0][0]
	for i, c := range []Chord{{0, Major}, {-1, Major}, {1, Major}, {0, Major}} {
		s.Chords = append(s.Chords, ChordSpan{From: score.Tick(8 * i), To: score.Tick(8*i + 8), Chord: c, fn: fn})
	}
	s.pedals()
	if len(s.Pedals) != 1 || s.Pedals[0].Degree != "I" || s.Pedals[0].Chords != [2]int{0, 3} {
		t.Errorf("%+v", s.Pedals)
	}
}

// Moving every note and signature by an interval moves every key and chord by it
// and changes nothing else.
func TestTransposition(t *testing.T) {
	text := "G2+D3+B3+G4:4 A3:1 B3:1 C4:1 D4:1 D3+C4+F#4+A4:8 G3:1 B3:1 D4:1 G4:1 E4:1 C#4:1 A3:1 G3:1 F#3:4 D3:4 G2+D3+B3+G4:8"
	a := Analyze(tune(t, 4, 1, text), 4)
	for _, iv := range []pitch.Interval{{Diatonic: 1, Chromatic: 2}, {Diatonic: -2, Chromatic: -3}, {Diatonic: 3, Chromatic: 5}} {
		p := tune(t, 4, 1, text)
		d := ToneOf(pitch.Pitch{Octave: 4}.Transpose(iv))
		for i := range p.Notes {
			p.Notes[i].Sounding = p.Notes[i].Sounding.Transpose(iv)
		}
		for i := range p.Measures {
			p.Measures[i].Key.Fifths += int(d)
		}
		b := Analyze(p, 4)
		if b.Home.Tonic != a.Home.Tonic+d || len(b.Chords) != len(a.Chords) {
			t.Fatalf("%+v: home %s for %s, %d chords for %d", iv, b.Home, a.Home, len(b.Chords), len(a.Chords))
		}
		for i := range a.Chords {
			x, y := &a.Chords[i], &b.Chords[i]
			if x.Label() != y.Label() || y.Key.Tonic != x.Key.Tonic+d || x.From != y.From || x.Tension != y.Tension {
				t.Errorf("%+v: chord %d is %s in %s, was %s in %s", iv, i, y.Label(), y.Key, x.Label(), x.Key)
			}
		}
	}
}

// Two movements in one file are read each by itself, with notes and measures of the
// whole.
func TestMovements(t *testing.T) {
	one := "G2+D3+B3+G4:8 E3+G3+B3+G4:8 C3+E3+G3+C5:8 D3+C4+F#4+A4:8 G2+D3+B3+G4:8"
	two := "D3+F3+A3+D4:8 G3+Bb3+D4:8 A2+G3+C#4+E4:8 D3+F3+A3+D4:8"
	p := tune(t, 4, 1, one+" "+two)
	p.Measures[4].RightBar = "light-heavy"
	for i := 5; i < 9; i++ {
		p.Measures[i].Number, p.Measures[i].Key.Fifths = fmt.Sprint(i-4), -1
	}
	s := Analyze(p, 4)
	last := s.Chords[len(s.Chords)-1]
	if s.Home != (Key{1, false}) || s.Keys[len(s.Keys)-1].Home != (Key{2, true}) || last.Measure != 8 || last.Movement != 1 {
		t.Fatalf("%s, %+v, last chord %+v", s.Home, s.Keys, last)
	}
	if n := p.Notes[last.Bass]; n.Measure != 8 || n.Sounding.String() != "D3" {
		t.Errorf("bass %s in measure %d", n.Sounding, n.Measure)
	}
}

// Nothing to read is no trouble.
func TestEmptyParts(t *testing.T) {
	for _, p := range []*score.Part{{}, tune(t, 4, 0, "r:8 r:8"), tune(t, 3, 0, "C4:1"), {Notes: []score.Note{{Rest: true, TieFrom: -1, TieTo: -1}}}} {
		s := Analyze(p, 4)
		for _, l := range []Level{Student, Player, Scholar} {
			s.Findings(l)
		}
	}
}

func TestFindingsAreSentences(t *testing.T) {
	r := tune(t, 4, 0, strings.Repeat("C4:1 E4:1 G4:1 C5:1 F4:1 A4:1 C5:1 F5:1 G4:1 B4:1 D5:1 F5:1 E5:1 D5:1 C5:1 G4:1 ", 6)+plainCadence)
	s := Analyze(r, 4)
	for _, l := range []Level{Student, Player, Scholar} {
		fs := s.Findings(l)
		if len(fs) < 3 {
			t.Errorf("only %d findings", len(fs))
		}
		for _, f := range fs {
			if f.Text == "" || !strings.HasSuffix(f.Text, ".") || strings.Contains(f.Text, "%!") || f.Kind == "" {
				t.Errorf("%q", f.Text)
			}
			if f.At.Measure < 0 || f.At.Measure >= len(r.Measures) {
				t.Errorf("%q: no place", f.Text)
			}
		}
	}
}
