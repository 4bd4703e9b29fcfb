package form

import (
	"fmt"
	"strings"
	"testing"

	"pochette/internal/pitch"
	"pochette/internal/score"
	"pochette/internal/timeline"
)

const quarter = 48

// music builds a part: words such as "C4:48" (pitch and ticks), "r:24" (rest),
// "C3+E4:48" (chord), "(" and ")" around slurs, "~" after a note ties it to the
// next, "||" a double bar, ":|" a repeat at the end of the bar just filled. The
// first bar has pickup ticks where that is not 0.
func music(t testing.TB, num, den int, pickup score.Tick, text string) Input {
	t.Helper()
	sc := &score.Score{Quarter: quarter, Title: "Study"}
	p := &score.Part{ID: "P1", Staves: 1}
	full := score.Tick(4*quarter*num) / score.Tick(den)
	meter := score.Meter{Beats: fmt.Sprint(num), Unit: fmt.Sprint(den), Num: num, Den: den, Len: full, Groups: []score.Tick{full}}
	var at score.Tick
	bar := func() int { return len(p.Measures) - 1 }
	next := func() {
		long := full
		if len(p.Measures) == 0 && pickup > 0 {
			long = pickup
		}
		n := len(p.Measures) + 1
		if pickup > 0 {
			n--
		}
		p.Measures = append(p.Measures, score.Measure{Index: len(p.Measures), Number: fmt.Sprint(n), Implicit: pickup > 0 && n == 0, Start: at, Len: long, Meter: meter})
	}
	open, tied := score.NoNote, score.NoNote
	for _, w := range strings.Fields(text) {
		switch w {
		case "(":
			open = score.NoteID(len(p.Notes))
			continue
		case ")":
			p.Slurs = append(p.Slurs, score.Slur{Number: 1, Start: open, End: score.NoteID(len(p.Notes) - 1)})
			continue
		case "||":
			p.Measures[bar()].RightBar = "light-light"
			continue
		case ":|":
			p.Measures[bar()].RightBar, p.Measures[bar()].RepeatTimes = "light-heavy", 2
			continue
		}
		if len(p.Measures) == 0 || at >= p.Measures[bar()].Start+p.Measures[bar()].Len {
			next()
		}
		w, ties := strings.CutSuffix(w, "~")
		names, ticks, ok := strings.Cut(w, ":")
		var long score.Tick
		if _, err := fmt.Sscan(ticks, &long); !ok || err != nil {
			t.Fatalf("%q: want pitch:ticks", w)
		}
		head := score.NoteID(len(p.Notes))
		for _, name := range strings.Split(names, "+") {
			n := score.Note{ID: score.NoteID(len(p.Notes)), Measure: bar(), Onset: at, Dur: long, Voice: "1", Staff: 1, Head: head, Chord: score.NoteID(len(p.Notes)) != head, TieFrom: score.NoNote, TieTo: score.NoNote}
			if name == "r" {
				n.Rest = true
			} else {
				ph, err := pitch.Parse(name)
				if err != nil {
					t.Fatal(err)
				}
				n.Written, n.Sounding = ph, ph
			}
			if tied != score.NoNote {
				n.TieFrom, p.Notes[tied].TieTo = tied, n.ID
				tied = score.NoNote
			}
			p.Notes = append(p.Notes, n)
		}
		if ties {
			tied = head
		}
		at += long
	}
	if end := p.Measures[bar()].Start + p.Measures[bar()].Len; at != end {
		t.Fatalf("the last bar ends at %d, the notes at %d", end, at)
	}
	sc.Parts = []*score.Part{p}
	return Input{Score: sc, Part: p, Events: timeline.Events(p)}
}

// bars repeats a text.
func bars(n int, text string) string { return strings.Repeat(text+" ", n) }
