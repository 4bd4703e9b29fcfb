package fingering

import (
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
