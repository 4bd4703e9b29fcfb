package instrument

import (
	"math"
	"slices"
	"strings"
	"testing"

	"pochette/internal/pitch"
	"pochette/internal/score"
)

// The 1–4 frame in mm from semitones 1, 2, 5, 7 and 12: RESEARCH.md, Fingering,
// computed there from d(n) = L(1-2^(-n/12)) with string lengths 328, 372 and 690.
func TestFrameOfAFourth(t *testing.T) {
	from := []int{1, 2, 5, 7, 12}
	for _, c := range []struct {
		in   Instrument
		want []float64
	}{
		{Violin(), []float64{78, 73, 62, 55, 41}},
		{Viola(), []float64{88, 83, 70, 62, 46}},
		{Cello(), []float64{163, 154, 130, 116, 87}},
	} {
		for i, f := range from {
			if got := c.in.Span(f, f+5); math.Abs(got-c.want[i]) > 1 {
				t.Errorf("%v: fourth from semitone %d is %.1f mm, want %.0f", c.in.Kind, f, got, c.want[i])
			}
		}
	}
	cello := Cello() // RESEARCH.md: B flat to C in first position is about 7 cm
	if got := cello.Span(1, 3); math.Abs(got-70) > 2.5 {
		t.Errorf("cello B flat to C = %.1f mm", got)
	}
	if d := cello.Distance(12); d != 345 { // the octave halves the string: acoustics
		t.Errorf("octave at %.2f mm of 690", d)
	}
}

// RESEARCH.md, Crossings: 15–16 degrees between neighbouring strings (violin).
func TestStringPlanes(t *testing.T) {
	v := Violin()
	for s := 1; s < 4; s++ {
		if d := v.StringAngle(s) - v.StringAngle(s+1); d < 15 || d > 16 {
			t.Errorf("strings %d and %d lie %.1f degrees apart", s, s+1, d)
		}
	}
	if got := v.BowAngle([]int{2, 3}); math.Abs(got) > 1e-9 {
		t.Errorf("the middle strings' plane is %.2f degrees", got)
	}
	if c := v.Clearance(2, 1); math.Abs(c-(v.StringAngle(1)-v.StringAngle(2))/2) > 1e-9 {
		t.Errorf("clearance %.2f", c)
	}
	if v.Clearance(1, 1) < 30 || v.Clearance(4, -1) < 30 {
		t.Error("outer sides are not free")
	}
}

func TestBow(t *testing.T) {
	for _, c := range []struct {
		strs []int
		want Bowing
	}{{[]int{3}, OneString}, {[]int{2, 3}, TwoStrings}, {[]int{1, 3}, Apart}, {[]int{3, 1, 2}, ThreeTogether}, {[]int{1, 2, 3, 4}, BrokenChord}, {[]int{1, 2, 4}, Apart}} {
		if got := Bow(c.strs); got != c.want {
			t.Errorf("Bow(%v) = %v, want %v", c.strs, got, c.want)
		}
	}
	for _, c := range []struct {
		a, b []int
		want []int
	}{{[]int{1}, []int{2}, nil}, {[]int{1}, []int{3}, []int{2}}, {[]int{4}, []int{1}, []int{2, 3}}, {[]int{3, 4}, []int{1}, []int{2}}, {[]int{1, 2}, []int{2}, nil}, {nil, []int{1}, nil}} {
		if got := Skipped(c.a, c.b); !slices.Equal(got, c.want) {
			t.Errorf("Skipped(%v, %v) = %v, want %v", c.a, c.b, got, c.want)
		}
	}
	v := Violin()
	if got := v.Neighbours([]int{2, 3}); len(got) != 2 || got[0] != 1 || got[1] != 4 {
		t.Errorf("neighbours of II and III: %v", got)
	}
}

// Positions on the A string of the violin: first to third as in Grove, A Dictionary
// of Music and Musicians, vol. 3, 1883, p. 20, "Positions" (P. David), which counts
// chromatic alterations in; a first finger a semitone or a tone above the open
// string is first position there too ("Shift", E. J. Payne, same volume). The rest
// goes on in the same way. That A sharp is half position: from memory.
func TestPositionsOfTheAString(t *testing.T) {
	v := Violin()
	for _, c := range []struct {
		note   string
		finger int
		place  int8
		want   int
	}{
		{"B4", 1, 2, 1}, {"Bb4", 1, 1, 1}, {"A#4", 1, 1, 0}, {"C5", 2, 2, 1}, {"C#5", 2, 2, 1}, {"D5", 3, 2, 1}, {"E5", 4, 2, 1},
		{"B4", 2, 1, 0}, {"C5", 1, 3, 2}, {"D5", 2, 3, 2}, {"D5", 1, 5, 3}, {"E5", 2, 5, 3}, {"F5", 3, 5, 3}, {"G5", 4, 5, 3},
		{"E5", 1, 7, 4}, {"F5", 1, 8, 5}, {"F#5", 1, 9, 5}, {"G5", 1, 10, 6}, {"A5", 1, 12, 7}, {"B5", 1, 14, 8},
		{"F5", 4, 2, 1}, // extended fourth finger: the hand stays
	} {
		p, err := pitch.Parse(c.note)
		if err != nil {
			t.Fatal(err)
		}
		steps := p.Diatonic() - v.Open[1].Diatonic()
		if got := PositionOf(Hand{c.place, Square}, c.finger, steps, p.MIDI()-69); got != c.want {
			t.Errorf("%s with finger %d, hand at %d: position %d, want %d", c.note, c.finger, c.place, got, c.want)
		}
	}
}

func TestParsePosition(t *testing.T) {
	for s, want := range map[string]int{"III. Pos.": 3, "3rd pos.": 3, "half position": 0, "1. Lage": 1, "IIIa pos.": 3, "second position": 2, "in 5th position": 5, "halbe Lage": 0, "VII pos": 7} {
		if got, ok := ParsePosition(s); !ok || got != want {
			t.Errorf("ParsePosition(%q) = %d, %v, want %d", s, got, ok, want)
		}
	}
	for _, s := range []string{"", "espressivo", "pos", "compose", "poco a poco", "99th position"} {
		if got, ok := ParsePosition(s); ok {
			t.Errorf("ParsePosition(%q) = %d", s, got)
		}
	}
}

func FuzzParsePosition(f *testing.F) {
	f.Add("III. Pos.")
	f.Add("½ lage")
	f.Fuzz(func(t *testing.T, s string) {
		if p, ok := ParsePosition(s); ok && (p < 0 || p > 14) {
			t.Errorf("position %d", p)
		}
	})
}

func TestParseTuning(t *testing.T) {
	open, err := ParseTuning("G3,D4,A4,E5")
	if err != nil || open[0].String() != "E5" || open[3].String() != "G3" {
		t.Fatalf("%v, %v", open, err)
	}
	v, err := Violin().Tuned(open[:3])
	if err == nil {
		t.Errorf("three strings on a violin: %v", v.Open)
	}
	for _, s := range []string{"", "G3", "G3,D4,A4,x", "E5,A4,D4,G3", "G3,G3,A4,E5", strings.Repeat("C2,", 9) + "C3"} {
		if _, err := ParseTuning(s); err == nil {
			t.Errorf("ParseTuning(%q) found nothing wrong", s)
		} else if strings.Contains(err.Error(), "\n") {
			t.Errorf("more than one line: %v", err)
		}
	}
}

func FuzzParseTuning(f *testing.F) {
	f.Add("G3,D4,A4,E5")
	f.Add("A3,E4,A4,E5")
	f.Fuzz(func(t *testing.T, s string) {
		open, err := ParseTuning(s)
		for i := 1; err == nil && i < len(open); i++ {
			if open[i].MIDI() >= open[i-1].MIDI() {
				t.Errorf("%q: %v", s, open)
			}
		}
	})
}

func TestGuess(t *testing.T) {
	for name, want := range map[string]Kind{
		"Violine": ViolinKind, "Violon I": ViolinKind, "Vln. 2": ViolinKind, "Violino solo": ViolinKind, "Geige": ViolinKind,
		"Bratsche": ViolaKind, "Alto": ViolaKind, "Viola": ViolaKind, "Vla.": ViolaKind,
		"Violoncello": CelloKind, "Cello": CelloKind, "VC": CelloKind, "Violoncelle": CelloKind, "Violoncelli": CelloKind,
	} {
		in, why, ok := Guess(&score.Part{Name: name})
		if !ok || in.Kind != want || !strings.Contains(why, name) {
			t.Errorf("%q: %v (%s), want %v", name, in.Kind, why, want)
		}
	}
	for _, name := range []string{"Alto Sax", "Flute", "Double Bass"} {
		if in, why, ok := Guess(&score.Part{Name: name}); ok {
			t.Errorf("%q taken for a %v: %s", name, in.Kind, why)
		}
	}
	for _, q := range []*score.Part{{Name: "Flute", Program: 41}, {Name: "Piano"}, {Name: "Timpani"}, {Name: "Part 1", Sound: "wind.flutes.flute"}} {
		if in, why, ok := Guess(q); ok || Stranger(q) == "" {
			t.Errorf("%q (%s) taken for a %v: %s", q.Name, q.Sound, in.Kind, why)
		}
	}
	if other := Stranger(&score.Part{Name: "Violin, with piano"}); other != "" {
		t.Errorf("a violin part is for %q", other)
	}
	p := &score.Part{Program: 43}
	if in, _, ok := Guess(p); !ok || in.Kind != CelloKind {
		t.Errorf("MIDI program 43 is the cello (General MIDI level 1), got %v", in.Kind)
	}
	c3, _ := pitch.Parse("C3")
	p = &score.Part{Notes: []score.Note{{Sounding: c3}}, Measures: []score.Measure{{Clefs: []score.Clef{{Sign: "C", Line: 3}}}}}
	if in, why, ok := Guess(p); !ok || in.Kind != ViolaKind {
		t.Errorf("alto clef with C3: %v (%s)", in.Kind, why)
	}
}

func TestHandReach(t *testing.T) {
	for _, c := range []struct {
		h            Hand
		finger, semi int
		wide         int
		ok           bool
	}{
		{Hand{2, Square}, 1, 2, 0, true}, {Hand{2, Square}, 1, 1, 1, true}, {Hand{2, Square}, 4, 7, 0, true}, {Hand{2, Square}, 4, 8, 1, true}, {Hand{2, Square}, 2, 7, 0, false},
		{Hand{2, Closed}, 4, 5, 0, true}, {Hand{2, Extended}, 4, 6, 0, true}, {Hand{2, Closed}, 4, 6, 0, false}, {Hand{9, Closed}, 1, 9, 0, false},
		{Hand{14, Capo}, Thumb, 12, 0, true}, {Hand{14, Capo}, 3, 17, 0, true}, // thumb and third finger: a fourth on one string, an octave across two
	} {
		if w, ok := Fits(c.h, c.finger, c.semi, false); ok != c.ok || ok && w != c.wide {
			t.Errorf("Fits(%v, %d, %d) = %d, %v", c.h, c.finger, c.semi, w, ok)
		}
	}
	v := Violin()
	if mm := v.WideSpan(Hand{2, Square}, 4, 8); math.Abs(mm-v.Span(7, 8)) > 1e-9 {
		t.Errorf("fourth finger extended by %.1f mm, want %.1f", mm, v.Span(7, 8))
	}
	if mm := v.WideSpan(Hand{2, Square}, 1, 1); math.Abs(mm-v.Span(1, 2)) > 1e-9 {
		t.Errorf("first finger drawn back by %.1f mm, want %.1f", mm, v.Span(1, 2))
	}
	if mm := v.WideSpan(Hand{2, Square}, 3, 5); mm != 0 {
		t.Errorf("third finger in its place lies %.1f mm out", mm)
	}
}
