package fingering

import (
	"math/rand/v2"
	"testing"

	"pochette/internal/instrument"
	"pochette/internal/score"
)

// Tunes as the first pages of every method have them lie in first position on all
// three instruments; common practice, no source. The tunes are ours.
func TestFirstTunesStayInFirstPosition(t *testing.T) {
	for _, c := range []struct {
		kind  instrument.Kind
		tunes []string
	}{
		{instrument.ViolinKind, []string{
			"D4 D4 A4 A4 B4 B4 A4 A4 G4 G4 F#4 F#4 E4 E4 D4 D4",
			"D4 E4 F4 D4", "G3 D4 E4 F4",
			"E5 E5 E5 E5 A4 B4 C#5 A4",
			"A4 B4 C5 D5 E5 E5 F5 E5 D5 C5 B4 A4 G#4 B4 A4 A4",
			"G3 A3 B3 C4 D4 E4 F#4 G4 A4 B4 C5 D5 E5 F#5 G5 F#5 E5 D5",
			"C4 E4 G4 C5 G4 E4 C4 D4 F4 A4 G4 F4 E4 D4 C4",
		}},
		{instrument.ViolaKind, []string{
			"G3 G3 D4 D4 E4 E4 D4 D4 C4 C4 B3 B3 A3 A3 G3 G3",
			"D4 E4 F4 G4 A4 A4 B4 A4 G4 F4 E4 D4",
			"C3 D3 E3 F3 G3 A3 B3 C4 D4 E4 F4 G4 A4 B4 C5",
		}},
		{instrument.CelloKind, []string{
			"G2 G2 D3 D3 E3 E3 D3 D3 C3 C3 B2 B2 A2 A2 G2 G2",
			"C2 D2 E2 F2 G2 A2 B2 C3 D3 E3 F3 G3 A3 B3 C4",
		}},
	} {
		in := instrument.Of(c.kind)
		for _, tune := range c.tunes {
			for _, dur := range []score.Tick{240, 480} {
				sc, p := notes(dur, tune)
				st := Analyze(sc, p, Options{Instrument: in})
				for i := range st.Grips {
					if g := &st.Grips[i]; len(g.Stops) > 0 && g.Stops[0].Finger > 0 && (g.Position > 1 || g.Hand.Place > 3) {
						t.Errorf("%v, %s, %d ticks: note %d in position %d, hand %+v: %s", c.kind, tune, dur, i+1, g.Position, g.Hand, fingers(st))
						break
					}
				}
			}
		}
	}
}

// Leaps to and fro between an open bass and notes that third position holds keep the
// hand at or below fourth position: the bow has time to skip strings. Common practice,
// no source.
func TestLeapsOverABassKeepTheHandLow(t *testing.T) {
	for _, c := range []struct {
		kind  instrument.Kind
		lines []string
	}{
		{instrument.ViolinKind, []string{
			"E5 G3 G5 G3 A5 G3 B5 D4 A4 G3 E5 G3", "G4 G3 B4 G3 D5 D4 F#5 D4 B4 G3",
			"E5 G3 G5 G3 A5 G3 B5 D4 E6 G3 E6 G3 A4 G3 E5 G3",
		}},
		{instrument.ViolaKind, []string{"E4 C3 G4 C3 B4 C3 C5 C3 D5 C3 A4 C3 E5 G3", "C4 C3 E4 C3 G4 G3 B4 G3 E4 C3", "E5 C3 E5 C3"}},
		{instrument.CelloKind, []string{"C3 C2 E3 C2 G3 G2 B3 G2 E3 C2", "C4 C2 E4 C2 G4 C2 A3 C2 E4 G2 D4 C2 B3 C2"}},
	} {
		in := instrument.Of(c.kind)
		for _, line := range c.lines {
			sc, p := notes(480, line)
			st := Analyze(sc, p, Options{Instrument: in})
			for i := range st.Grips {
				g := &st.Grips[i]
				if len(g.Stops) == 0 {
					continue
				}
				limit := 4
				if p.Notes[i].Sounding.MIDI() > in.Open[0].MIDI()+10 {
					limit = 5 // beyond the fourth finger in fourth position
				}
				for _, s := range g.Stops {
					if s.Finger > 0 && s.Position > limit {
						t.Errorf("%v, %s: note %d in position %d: %s", c.kind, line, i+1, s.Position, fingers(st))
					}
				}
			}
		}
	}
}

// Random octaves and tenths over open strings, all of which first to third position
// hold: no hand above fourth.
func TestRandomLeapsKeepTheHandLow(t *testing.T) {
	const seed = 1756
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 1))
	for _, kind := range []instrument.Kind{instrument.ViolinKind, instrument.ViolaKind, instrument.CelloKind} {
		in := instrument.Of(kind)
		top := in.Open[0].MIDI() + 7
		if kind == instrument.CelloKind {
			top = in.Open[0].MIDI() + 5
		}
		for range 20 {
			line := ""
			low := []string{"G3", "C3", "C2"}[kind]
			for range 8 {
				names := [][]string{
					{"G4", "B4", "D5", "E5", "G5", "A5"}, {"C4", "E4", "G4", "B4", "D5"}, {"C3", "E3", "G3", "B3", "D4"},
				}[kind]
				line += names[r.IntN(len(names))] + " " + low + " "
			}
			sc, p := notes(480, line)
			st := Analyze(sc, p, Options{Instrument: in})
			for i := range st.Grips {
				if g := &st.Grips[i]; len(g.Stops) > 0 && p.Notes[i].Sounding.MIDI() <= top && g.Position > 4 {
					t.Errorf("%v, %s: note %d in position %d: %s", kind, line, i+1, g.Position, fingers(st))
				}
			}
		}
	}
}
