package fingering

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"pochette/internal/instrument"
	"pochette/internal/score"
)

func tastes(st *Study) (out []*Stop) {
	for i := range st.Grips {
		for k := range st.Grips[i].Stops {
			if s := &st.Grips[i].Stops[k]; s.Taste {
				out = append(out, s)
			}
		}
	}
	return out
}

// The octave of the string at the top of a run, long, with the hand in third
// position before and after: the fourth finger reaches out for the harmonic where
// that is wished, and a shift is spared (C. Davidoff, Violoncell-Schule, 1888, part
// 3, art. I; that it is the fourth finger's on the violin: common practice).
func TestHarmonicSparesShift(t *testing.T) {
	for _, c := range []struct {
		kind instrument.Kind
		run  string
		str  int
	}{
		{instrument.ViolinKind, "A5 B5 C6 E6 C6 B5 A5", 1},
		{instrument.ViolaKind, "D5 E5 F5 A5 F5 E5 D5", 1},
		{instrument.CelloKind, "E4 F#4 G4 A4 G4 F#4 E4", 1}, // 1 2 3 extended, beyond which the fourth reaches
	} {
		in := instrument.Of(c.kind)
		shifts := map[Harmonics]int{}
		for _, h := range []Harmonics{HarmonicsPrinted, HarmonicsAsNeeded, HarmonicsMore} {
			sc, p := notes(240, c.run)
			first := score.Mark{Kind: score.Fingering, Text: "1"}
			p.Notes[0].Marks = append(p.Notes[0].Marks, first, score.Mark{Kind: score.String, Text: "1"})
			last := len(p.Notes) - 1
			p.Notes[last].Marks = append(p.Notes[last].Marks, first, score.Mark{Kind: score.String, Text: "1"})
			st := Analyze(sc, p, Options{Instrument: in, Harmonics: h})
			shifts[h] = len(st.Shifts)
			got := tastes(st)
			if h == HarmonicsPrinted {
				if len(got) > 0 {
					t.Errorf("%v: a harmonic that nobody asked for: %+v", c.kind, *got[0])
				}
				continue
			}
			if len(got) != 1 || got[0].Semitone != 12 || got[0].String != c.str || got[0].Touch != Natural {
				t.Errorf("%v, taste %d: %d harmonics, %d shifts, cost %.2f", c.kind, h, len(got), len(st.Shifts), st.Plan.Cost)
				continue
			}
			top := (last + 1) / 2
			if g := &st.Grips[top]; len(g.Terms) == 0 || !strings.Contains(Why(st, top), "harmonic") {
				t.Errorf("%v: %q, terms %v", c.kind, Why(st, top), g.Terms)
			}
			kinds := map[score.MarkKind]string{}
			for _, m := range Needed(st) {
				if m.Note == got[0].Note {
					kinds[m.Mark.Kind] = m.Mark.Text
				}
			}
			if kinds[score.Harmonic] != "natural" || kinds[score.String] != "1" || kinds[score.Fingering] == "" {
				t.Errorf("%v: marks of the harmonic %v", c.kind, kinds)
			}
		}
		if shifts[HarmonicsAsNeeded] > shifts[HarmonicsPrinted] {
			t.Errorf("%v: %d shifts with the harmonic, %d without", c.kind, shifts[HarmonicsAsNeeded], shifts[HarmonicsPrinted])
		}
	}
}

// A printed finger means a stopped note, a chord is not touched, and a note inside
// a run neither.
func TestHarmonicIsLeftAlone(t *testing.T) {
	for _, text := range []string{"E6", "E5+E6 A5", "D6 E6 F6 G6 F6"} {
		sc, p := notes(240, text)
		if text == "E6" {
			p.Notes[0].Marks = []score.Mark{{Kind: score.Fingering, Text: "3"}}
		}
		if got := tastes(Analyze(sc, p, Options{Harmonics: HarmonicsAsNeeded})); len(got) > 0 {
			t.Errorf("%s: %+v", text, *got[0])
		}
	}
}

// Whatever the part: harmonics of taste are lone notes at an octave or two of the
// string, never those that the print asks for; a taste never makes a plan dearer
// than it would be with the same grips and no harmonics in it (more candidates,
// charges on harmonics alone), and no taste leaves the plan as it was.
func TestHarmonicProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k := instrument.Kind(rapid.IntRange(0, 2).Draw(t, "kind"))
		sc, p := drawPart(t, k, rapid.IntRange(1, 6).Draw(t, "events"))
		in := instrument.Of(k)
		plain := Analyze(sc, p, Options{Instrument: in})
		asked := Analyze(sc, p, Options{Instrument: in, Harmonics: HarmonicsAsNeeded})
		if len(tastes(plain)) > 0 {
			t.Fatal("a harmonic without a taste for it")
		}
		if plain.Exact && asked.Exact && asked.Plan.Cost > plain.Plan.Cost+1e-6 {
			t.Fatalf("with harmonics allowed the plan costs %v, without %v", asked.Plan.Cost, plain.Plan.Cost)
		}
		for _, s := range tastes(asked) {
			n := in.Semitone(s.String, p.Notes[s.Note].Sounding)
			if n != s.Semitone || n != 12 && n != 24 || s.Touch != Natural || s.Finger == 0 {
				t.Fatalf("%+v for %v", *s, p.Notes[s.Note].Sounding)
			}
		}
	})
}

// The nodes of the ideal string: partial n sounds n times as high as the open string
// and is touched at k/n of it for every k that shares no divisor with n (acoustics of
// the ideal string; J. W. S. Rayleigh, The Theory of Sound, vol. 1, ch. VI, from
// memory). The table has all of the partials 2 to 6 up to two octaves, each at the
// nearest tempered semitone, which is no further than a quarter of one.
func TestHarmonicNodes(t *testing.T) {
	type node struct{ touch, sound int }
	want := map[node]bool{}
	for n := 2; n <= 6; n++ {
		for k := 1; k < n; k++ {
			if gcd(k, n) > 1 {
				continue
			}
			touch, sound := -12*math.Log2(1-float64(k)/float64(n)), 12*math.Log2(float64(n))
			near := node{int(math.Round(touch)), int(math.Round(sound))}
			if off := max(math.Abs(touch-float64(near.touch)), math.Abs(sound-float64(near.sound))); off > 0.25 {
				t.Errorf("partial %d at %d/%d lies %.2f from a semitone", n, k, n, off)
			}
			if near.touch <= 24 {
				want[near] = true
			}
		}
	}
	for _, h := range harmonicNodes {
		if !want[node{h.touch, h.sound}] {
			t.Errorf("no node at %d that sounds %d", h.touch, h.sound)
		}
		delete(want, node{h.touch, h.sound})
	}
	for h := range want {
		t.Errorf("the table lacks the node at %d that sounds %d", h.touch, h.sound)
	}
}

func gcd(a, b int) int {
	for b > 0 {
		a, b = b, a%b
	}
	return a
}

// Of the nodes of a printed harmonic the one is taken that lies where the hand is: in
// first position for a tune there, which is not lifted out of it because the harmonic
// sounds high; in the hand above where fingers hold it there (the partial 5 is touched
// at 4, 9 and 16 semitones). Common practice, no source.
func TestPrintedHarmonicNearTheHand(t *testing.T) {
	for _, c := range []struct {
		kind           instrument.Kind
		text           string // the harmonic in the middle, given by its sound
		first, str     string // a finger printed on the first and last note; the string of all others
		onString, semi int
	}{
		{instrument.ViolinKind, "D4 E4 F#4 G4 F#6 G4 F#4 E4 D4", "", "", 3, 4},
		{instrument.ViolinKind, "A4 B4 C#5 D5 A6 D5 C#5 B4 A4", "", "", 2, 5},
		{instrument.ViolinKind, "F#5 G5 A5 F#6 A5 G5 F#5", "1", "2", 3, 9},
		{instrument.ViolaKind, "G3 A3 B3 C4 B5 C4 B3 A3 G3", "", "", 3, 4},
		{instrument.ViolaKind, "B4 C5 D5 B5 D5 C5 B4", "1", "2", 3, 9},
		{instrument.CelloKind, "C2 D2 E2 F2 E4 F2 E2 D2 C2", "", "", 4, 4},
	} {
		sc, p := notes(480, c.text)
		mid := len(p.Notes) / 2
		p.Notes[mid].Marks = []score.Mark{{Kind: score.Harmonic, Text: "natural"}}
		for i := range p.Notes {
			if c.first != "" && i != mid {
				p.Notes[i].Marks = []score.Mark{{Kind: score.String, Text: c.str}}
			}
			if c.first != "" && (i == 0 || i == len(p.Notes)-1) {
				p.Notes[i].Marks = append(p.Notes[i].Marks, score.Mark{Kind: score.Fingering, Text: c.first})
			}
		}
		st := Analyze(sc, p, Options{Instrument: instrument.Of(c.kind)})
		if s := st.Grips[mid].Stops[0]; s.Touch != Natural || s.String != c.onString || s.Semitone != c.semi || len(st.Shifts) > 0 {
			t.Errorf("%v, %s: %+v, %d shifts", c.kind, c.text, s, len(st.Shifts))
		}
	}
}

// A tune of first position with harmonics in it, whose nodes all lie under the hand
// there, stays there.
func TestHarmonicsLeaveTheTuneLow(t *testing.T) {
	sc, p := notes(960, "D4 E4 F4 G4 D6 A4 G4 A5 G4 A4 F#6 E6 D4 A6 D4 B6 G4")
	for i := range p.Notes {
		if p.Notes[i].Sounding.MIDI() >= 81 {
			p.Notes[i].Marks = []score.Mark{{Kind: score.Harmonic, Text: "natural"}}
		}
	}
	st := Analyze(sc, p, Options{})
	for i := range st.Grips {
		if g := &st.Grips[i]; len(g.Stops) > 0 && g.Position > 1 {
			t.Errorf("%v: position %d, string %d finger %d", p.Notes[g.Stops[0].Note].Sounding, g.Position, g.Stops[0].String, g.Stops[0].Finger)
		}
	}
}

// What the left hand plucks is not stopped by the fourth finger, which leaves none to
// pluck: the open string, or another finger, takes it. Common practice, no source.
func TestLeftHandPlucksWithAFinger(t *testing.T) {
	for _, text := range []string{"B4 C5 D5 E5 D5 C5 B4", "A4 B4 D5 A5 D5 B4 A4", "E4 F4 G4 A4 G4 F4 E4"} {
		sc, p := notes(240, text)
		p.Notes[3].Marks = []score.Mark{{Kind: score.LeftHandPlucked}}
		if s := Analyze(sc, p, Options{}).Grips[3].Stops[0]; s.Finger == 4 {
			t.Errorf("%s: %+v", text, s)
		}
	}
}
