package technique

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"pochette/internal/fingering"
	"pochette/internal/instrument"
	"pochette/internal/pitch"
	"pochette/internal/score"
	"pochette/internal/timeline"
)

// held builds an Input by hand: events of one length on a violin at 60 quarters
// a minute, each "NOTE/STRING-FINGER@PLACE" or a chord of them joined by "+", or
// "r"; ")" after an event binds it to the one before. The first finger's place is
// in semitones, taken from before where it is not given.
func held(t *testing.T, in instrument.Instrument, eighths bool, text string) Input {
	t.Helper()
	const q = 480
	dur := score.Tick(q)
	if eighths {
		dur = q / 2
	}
	ws := strings.Fields(text)
	p := &score.Part{ID: "P1", Directions: []score.Direction{{Kind: "metronome", Tempo: 60}}}
	meter := score.Meter{Num: 4, Den: 4, Beats: "4", Unit: "4", Len: 4 * q, Groups: []score.Tick{4 * q}}
	for i := 0; i <= len(ws)*int(dur)/(4*q); i++ {
		p.Measures = append(p.Measures, score.Measure{Index: i, Number: fmt.Sprint(i + 1), Start: score.Tick(i) * 4 * q, Len: 4 * q, Meter: meter})
	}
	out := Input{Instrument: in, Part: p, Pace: timeline.PaceOf(&score.Score{Quarter: q}, p)}
	hand := instrument.Hand{Place: 2, Shape: in.Shapes()[0]}
	stroke, last := -1, -1
	for i, w := range ws {
		at := score.Tick(i) * dur
		e := timeline.Event{Onset: at, Dur: dur, Measure: int(at / (4 * q))}
		g := fingering.Grip{Event: i, Shift: -1}
		w, slurred := strings.CutSuffix(w, ")")
		if !slurred {
			stroke++
		}
		var strs []int
		if w == "r" {
			e.Rest = true
		} else {
			w, place, ok := strings.Cut(w, "@")
			if before := hand.Place; ok {
				fmt.Sscan(place, &hand.Place)
				if d := hand.Place - before; last >= 0 && (d > 1 || d < -1) {
					g.Shift = len(out.Shifts)
					cover := fingering.BowChange
					if slurred {
						cover = fingering.UnderSlur
					}
					if last < i-1 {
						cover = fingering.Silence
					}
					out.Shifts = append(out.Shifts, fingering.Shift{Event: i, From: last, FromPlace: int(before), ToPlace: int(hand.Place), FromPos: 1, ToPos: 3, Cover: cover,
						MM: in.Distance(float64(hand.Place)) - in.Distance(float64(before)), Seconds: out.Pace.Seconds(out.Events[last].Onset, at)})
				}
			}
			g.Hand = hand
			for _, s := range strings.Split(w, "+") {
				var str int
				var f int8
				name, where, _ := strings.Cut(s, "/")
				if _, err := fmt.Sscanf(where, "%d-%d", &str, &f); err != nil {
					t.Fatalf("%q: %v", s, err)
				}
				pt, err := pitch.Parse(name)
				if err != nil {
					t.Fatal(err)
				}
				n := score.Note{ID: score.NoteID(len(p.Notes)), Onset: at, Dur: dur, Measure: e.Measure, Sounding: pt, Written: pt, TieFrom: score.NoNote, TieTo: score.NoNote}
				p.Notes = append(p.Notes, n)
				e.Struck = append(e.Struck, n.ID)
				strs = append(strs, str)
				semi := in.Semitone(str, pt)
				g.Stops = append(g.Stops, fingering.Stop{Note: n.ID, String: str, Finger: f, Semitone: semi, Extension: in.WideSpan(hand, int(f), semi)})
			}
			if g.Shift >= 0 {
				sh := &out.Shifts[g.Shift]
				for _, a := range out.Grips[last].Stops {
					for _, b := range g.Stops {
						sh.SameFinger = sh.SameFinger || a.Finger > 0 && a.Finger == b.Finger && a.String == b.String
					}
				}
			}
			last = i
		}
		out.Events, out.Grips, out.Strings = append(out.Events, e), append(out.Grips, g), append(out.Strings, strs)
		out.Stroke, out.Lifted = append(out.Stroke, stroke), append(out.Lifted, false)
	}
	return out
}

func hard(in Input) *Hardness { return Hard(in, Crossings(in)) }

func points(d Difficulty, part string) float64 {
	for _, p := range d.Parts {
		if p.Name == part {
			return p.Value
		}
	}
	return 0
}

func TestDifficultyScale(t *testing.T) {
	for load, want := range map[float64]float64{0: 0, 1: 50, 2: 75, 3: 87.5} {
		if got := (loads{Speed: load}).difficulty().Score; math.Abs(got-want) > 1e-9 {
			t.Errorf("load %g scores %g, want %g", load, got, want)
		}
	}
}

// Each part speaks where its cause is, and nowhere else.
func TestPartsOfDifficulty(t *testing.T) {
	v := instrument.Violin()
	for _, c := range []struct{ line, part string }{
		{"B4/2-1 C5/2-2 D5/2-3", ""},
		{"B4/2-1 D5/2-1@5", "shift"},
		{"B4/2-1 E4/3-1", "crossing"},
		{"B4/2-1 F5/2-4", "stretch"}, // fourth finger raised in first position
		{"r B4/2-1 E4/3-1+C5/2-2", "chord"},
		{"A4/2-0 C6/2-3@12", "unprepared"}, // from an open string up to the octave
	} {
		h := hard(held(t, v, false, c.line))
		d := h.Events[len(h.Events)-1]
		if c.part == "" && d.Load != 0 || c.part != "" && points(d, c.part) <= 0 {
			t.Errorf("%s: %+v, want %q", c.line, d, c.part)
		}
	}
	if d := hard(held(t, v, false, "B4/2-1 D5/2-3 F#5/2-3@5")).Events[2]; points(d, "unprepared") > 0 || points(d, "shift") <= 0 {
		t.Errorf("a finger slides along its string and is called unprepared: %+v", d)
	}
}

// Fitts 1954 on the hand: from the first to the third position of the violin the
// first finger goes 328·(2^(-2/12) - 2^(-5/12)) = 46.5 mm; within 30 cents, 4.26 mm
// there, 4.45 bits; in a second, 0.445 of ten bits.
func TestLoadOfAShift(t *testing.T) {
	in := held(t, instrument.Violin(), false, "B4/2-1 D5/2-1@5")
	h := hard(in)
	if got := h.Events[1].Load; math.Abs(got-0.445) > 0.002 {
		t.Errorf("load %.4f, want 0.445", got)
	}
	slurred := hard(held(t, instrument.Violin(), false, "B4/2-1 D5/2-1@5)")).Events[1].Load
	if math.Abs(slurred-2*h.Events[1].Load) > 1e-9 {
		t.Errorf("under a slur %.4f, want twice %.4f", slurred, h.Events[1].Load)
	}
}

func TestDifficultyGrows(t *testing.T) {
	v := instrument.Violin()
	last := func(line string, eighths bool) float64 {
		h := hard(held(t, v, eighths, line))
		return h.Events[len(h.Events)-1].Load
	}
	for _, c := range [][2]string{
		{"B4/2-1 D5/2-1@5", "B4/2-1 F5/2-1@8"},                   // further
		{"B4/2-1 D5/2-1@5", "B4/2-1 D5/2-1@5)"},                  // less hidden
		{"B4/2-1 E4/3-1", "B4/2-1 A3/4-1"},                       // over a string
		{"B4/2-1 E4/3-1+C5/2-2", "B4/2-1 A3/4-1+F#4/3-2+D5/2-3"}, // more fingers
		{"A4/2-0 F5/2-1@8", "A4/2-0 A5/2-1@12"},                  // higher
	} {
		if a, b := last(c[0], false), last(c[1], false); a >= b {
			t.Errorf("%s: %.3f, %s: %.3f", c[0], a, c[1], b)
		}
	}
	if a, b := last("B4/2-1 D5/2-1@5", false), last("B4/2-1 D5/2-1@5", true); a >= b {
		t.Errorf("slow %.3f, quick %.3f", a, b)
	}
	// one stretch, two hands
	small, err := instrument.Set(instrument.ViolinKind, instrument.Setup{Hand: "small"})
	if err != nil {
		t.Fatal(err)
	}
	line := "B4/2-1 F5/2-4"
	if a, b := hard(held(t, v, false, line)).Events[1].Load, hard(held(t, small, false, line)).Events[1].Load; a >= b {
		t.Errorf("average hand %.3f, small hand %.3f", a, b)
	}
}

func TestPassagesAndBars(t *testing.T) {
	in := held(t, instrument.Violin(), false, "B4/2-1 C5/2-2 B4/2-1 C5/2-2 B4/2-1 C5/2-2 A5/2-3@7) C5/2-2@2) A5/2-3@7) B4/2-1@2) C5/2-2 B4/2-1")
	h := hard(in)
	if len(h.Passages) != 1 || h.Passages[0].First != 6 || h.Passages[0].Last != 8 {
		t.Fatalf("passages %+v", h.Passages)
	}
	if len(h.Bars) < 3 || h.Bars[0].Score != 0 || h.Bars[1].Score <= 0 || h.Bars[1].Hardest < 6 {
		t.Errorf("bars %+v", h.Bars)
	}
	if h.Bars[0].Word() != "easy" {
		t.Errorf("%v", h.Bars[0].Text())
	}
	if m := Moment(in, Crossings(in), 6); !strings.Contains(m, "The hand goes") || !strings.Contains(m, "under a slur") {
		t.Errorf("%q", m)
	}
	if m := Moment(in, Crossings(in), 1); m != "" {
		t.Errorf("an easy note asks for %q", m)
	}
}

func TestDifficultyProperties(t *testing.T) {
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 1))
	words := []string{"B4/2-1@2", "C5/2-2", "D5/2-1@5", "A5/2-1@12", "A4/2-0", "E4/3-1+C5/2-2", "E5/1-0", "r", "C5/2-2)", "E4/3-1)", "D5/2-1@5)"}
	for range 500 {
		var line []string
		for range 1 + r.IntN(20) {
			line = append(line, words[r.IntN(len(words))])
		}
		line[0] = strings.TrimSuffix(line[0], ")")
		in := held(t, instrument.Violin(), true, strings.Join(line, " "))
		h := hard(in)
		for i, d := range append(slices.Clone(h.Events), h.Whole) {
			sum := 0.0
			for _, p := range d.Parts {
				sum += p.Value
				if PartWords(p.Name) == "" || p.Value <= 0 {
					t.Fatalf("%v: part %+v", line, p)
				}
			}
			if d.Score < 0 || d.Score > 100 || math.Abs(sum-d.Score) > 1e-9 {
				t.Fatalf("%v, event %d: %+v adds up to %g", line, i, d, sum)
			}
		}
		for _, p := range h.Passages {
			if p.First > p.Last || p.Hardest < p.First || p.Hardest > p.Last {
				t.Fatalf("%v: passage %+v", line, p)
			}
		}
		checkHints(t, in, Prepare(in, h))
	}
}

// runsBySplitting is the definition of maximalRuns: the best run, then left and
// right of it.
func runsBySplitting(g []float64, off int) []run {
	best, from, to := 0.0, -1, -1
	for i := range g {
		sum := 0.0
		for j := i; j < len(g); j++ {
			if sum += g[j]; sum > best {
				best, from, to = sum, i, j
			}
		}
	}
	if from < 0 {
		return nil
	}
	out := append(runsBySplitting(g[:from], off), run{off + from, off + to})
	return append(out, runsBySplitting(g[to+1:], off+to+1)...)
}

func TestMaximalRuns(t *testing.T) {
	// the example of Ruzzo and Tompa 1999: 4 -5 3 -3 1 2 -2 2 -2 1 5 has the runs
	// 4, 3 and 1 2 -2 2 -2 1 5
	got := maximalRuns([]float64{4, -5, 3, -3, 1, 2, -2, 2, -2, 1, 5})
	if !slices.Equal(got, []run{{0, 0}, {2, 2}, {4, 10}}) {
		t.Errorf("%v", got)
	}
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 2))
	for range 3000 {
		g := make([]float64, r.IntN(14))
		for i := range g {
			g[i] = r.Float64()*2 - 1.1
		}
		if a, b := maximalRuns(g), runsBySplitting(g, 0); !slices.Equal(a, b) {
			t.Fatalf("%v\n got %v\nwant %v", g, a, b)
		}
	}
}

func paceAt(p *score.Part, tempo float64) timeline.Pace {
	p.Directions = []score.Direction{{Kind: "metronome", Tempo: tempo}}
	return timeline.PaceOf(&score.Score{Quarter: 480}, p)
}
