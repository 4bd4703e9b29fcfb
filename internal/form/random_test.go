package form

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"pochette/internal/pitch"
	"pochette/internal/score"
	"pochette/internal/timeline"
)

// Whatever a file holds, the form can be read: no panic, phrases lie in order, and
// every sentence is one.
func TestRandomParts(t *testing.T) {
	seed := uint64(20261127)
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 4))
	for round := range 400 {
		in := randomInput(r)
		st := Analyze(in)
		for i := 1; i < len(st.Phrases); i++ {
			if st.Phrases[i].From < st.Phrases[i-1].Arrival {
				t.Fatalf("round %d: phrase %d begins at %d, before the arrival of the last at %d", round, i, st.Phrases[i].From, st.Phrases[i-1].Arrival)
			}
		}
		var said []Words
		for _, x := range st.Sections {
			said = append(said, x.Words)
		}
		for _, x := range st.Phrases {
			said = append(said, x.Words)
		}
		for _, x := range st.Tags {
			said = append(said, x.Words)
		}
		for _, x := range st.Hemiolas {
			said = append(said, x.Words)
		}
		for _, x := range st.Meters {
			said = append(said, x.Words)
		}
		for _, x := range st.Facts {
			said = append(said, x.Words)
		}
		for _, w := range said {
			for _, l := range []Level{Student, Player, Scholar} {
				if s := w.At(l); !strings.HasSuffix(s, ".") || strings.Contains(s, "%!") || strings.Contains(s, "NaN") {
					t.Fatalf("round %d: no sentence: %q", round, s)
				}
			}
		}
	}
}

// randomInput makes a part with odd meters, empty, short and long measures,
// repeats, endings, senza misura, rests, ties and grace notes.
func randomInput(r *rand.Rand) Input {
	p := &score.Part{ID: "P1", Staves: 1}
	var at score.Tick
	meter := score.Meter{}
	for i := range r.IntN(30) {
		if i == 0 || r.IntN(6) == 0 {
			meter = randomMeter(r)
		}
		long := meter.Len
		if long == 0 || r.IntN(5) == 0 {
			long = score.Tick(r.IntN(200))
		}
		m := score.Measure{Index: i, Number: fmt.Sprint(i), Implicit: r.IntN(6) == 0, Start: at, Len: long, Meter: meter, RepeatStart: r.IntN(8) == 0,
			RightBar: []string{"", "", "light-light", "light-heavy"}[r.IntN(4)]}
		if r.IntN(8) == 0 {
			m.RepeatTimes = 2
		}
		if r.IntN(8) == 0 {
			m.Endings = []int{1 + r.IntN(2)}
		}
		for on := at; on < at+long; {
			dur := min(at+long-on, []score.Tick{6, 12, 16, 24, 36, 48, 96}[r.IntN(7)])
			id := score.NoteID(len(p.Notes))
			q := pitch.Pitch{Step: pitch.Step(r.IntN(7)), Alter: int8(r.IntN(3) - 1), Octave: int8(2 + r.IntN(4))}
			n := score.Note{ID: id, Measure: i, Onset: on, Dur: dur, Voice: "1", Staff: 1, Head: id, TieFrom: score.NoNote, TieTo: score.NoNote, Written: q, Sounding: q, Rest: r.IntN(5) == 0}
			if !n.Rest && r.IntN(10) == 0 {
				n.Grace, n.Dur = true, 0
			}
			if last := id - 1; last >= 0 && !n.Rest && !n.Grace && !p.Notes[last].Rest && !p.Notes[last].Grace && r.IntN(10) == 0 {
				n.TieFrom, p.Notes[last].TieTo = last, id
			}
			p.Notes = append(p.Notes, n)
			if !n.Grace {
				on += dur
			}
		}
		p.Measures = append(p.Measures, m)
		at += long
	}
	in := Input{Score: &score.Score{Quarter: quarter, Title: []string{"", "Gigue", "Sarabande", "Menuet"}[r.IntN(4)]}, Part: p, Events: timeline.Events(p)}
	for on := score.Tick(0); r.IntN(2) == 0 && on < at; on += score.Tick(48 + r.IntN(800)) {
		in.Cadences = append(in.Cadences, Cadence{At: on, Kind: []string{"perfect authentic", "half", "deceptive"}[r.IntN(3)], Strength: r.Float64()})
	}
	return in
}

func randomMeter(r *rand.Rand) score.Meter {
	if r.IntN(10) == 0 {
		return score.Meter{}
	}
	num, den := 1+r.IntN(13), []int{1, 2, 4, 8, 16}[r.IntN(5)]
	full := score.Tick(4*quarter*num) / score.Tick(den)
	m := score.Meter{Beats: fmt.Sprint(num), Unit: fmt.Sprint(den), Num: num, Den: den, Len: full, Groups: []score.Tick{full}}
	if num == 5 {
		unit := full / 5
		m.Beats, m.Groups = "3+2", []score.Tick{3 * unit, 2 * unit}
	}
	return m
}
