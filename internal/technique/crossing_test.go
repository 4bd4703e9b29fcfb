package technique

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"pochette/internal/instrument"
	"pochette/internal/pitch"
	"pochette/internal/score"
	"pochette/internal/timeline"
)

// bowed builds an Input from a shorthand on a violin at 60 quarters a minute, an
// eighth an event: "1" string 1, "34" a double stop, "r" a rest; ")" after an
// event binds it to the one before.
func bowed(text string) Input {
	const q = 8
	words := strings.Fields(text)
	l := score.Tick(len(words)) * q / 2
	p := &score.Part{Measures: []score.Measure{{Number: "1", Len: l, Meter: score.Meter{Num: 4, Den: 4, Beats: "4", Unit: "4", Len: 4 * q, Groups: []score.Tick{4 * q}}}}}
	p.Directions = []score.Direction{{Kind: "metronome", Tempo: 60}}
	in := Input{Instrument: instrument.Violin(), Part: p, Pace: timeline.PaceOf(&score.Score{Quarter: q}, p)}
	stroke := -1
	for i, w := range words {
		e := timeline.Event{Onset: score.Tick(i) * q / 2, Dur: q / 2}
		var strs []int
		if w == "r" {
			e.Rest = true
		} else {
			for _, c := range strings.TrimSuffix(w, ")") {
				strs = append(strs, int(c-'0'))
				n := score.Note{ID: score.NoteID(len(p.Notes)), Onset: e.Onset, Dur: e.Dur, Sounding: pitch.FromMIDI(60+len(p.Notes), 0)}
				p.Notes = append(p.Notes, n)
				e.Struck = append(e.Struck, n.ID)
			}
		}
		if !strings.HasSuffix(w, ")") {
			stroke++
		}
		in.Events, in.Strings, in.Stroke, in.Lifted = append(in.Events, e), append(in.Strings, strs), append(in.Stroke, stroke), append(in.Lifted, false)
	}
	return in
}

func summary(cs []Crossing) string {
	var out []string
	for _, c := range cs {
		s := fmt.Sprintf("%s>%s", StringsName(c.FromStrings), StringsName(c.ToStrings))
		if len(c.Skipped) > 0 {
			s += fmt.Sprintf(" over %v", c.Skipped)
		}
		if c.Slurred {
			s += " slurred"
		}
		if c.Rest {
			s += " free"
		}
		if len(c.Touch) > 0 {
			s += fmt.Sprintf(" touch %v", c.Touch)
		}
		out = append(out, s)
	}
	return strings.Join(out, "; ")
}

func TestCrossings(t *testing.T) {
	for _, c := range []struct{ in, want string }{
		{"1 1 1", ""},
		{"2 1", "II>I"},
		{"1 2", "I>II touch [3]"},
		{"4 3", "IV>III touch [2]"},
		{"1 3)", "I>III over [2] slurred touch [2 4]"},
		{"1 r 3", "I>III over [2] free touch [4]"},
		{"34 12", "IV+III>II+I"},
		{"34 23", "IV+III>III+II touch [1]"},
		{"4 1234 1", "IV>IV+III touch [2]; II+I>I"}, // a chord is broken upwards
	} {
		in := bowed(c.in)
		if got := summary(Crossings(in)); got != c.want {
			t.Errorf("%q\n got %s\nwant %s", c.in, got, c.want)
		}
	}
}

// Fitts 1954: the index of difficulty is log2(2A/W). On an inner string of a
// bridge with equal steps the window is one step and an adjacent crossing tilts
// by one step: 1 bit; in half a second, 2 bits a second; slurred, half the time.
func TestLoadOfAnAdjacentCrossing(t *testing.T) {
	if c := Crossings(bowed("1 2"))[0]; math.Abs(c.Load-2) > 1e-9 || math.Abs(c.Seconds-0.5) > 1e-9 {
		t.Errorf("load %v in %v s, want 2 in 0.5", c.Load, c.Seconds)
	}
	if c := Crossings(bowed("1 2)"))[0]; math.Abs(c.Load-4) > 1e-9 {
		t.Errorf("slurred load %v, want 4", c.Load)
	}
	// RESEARCH: 15–16 degrees between neighbouring violin strings
	if c := Crossings(bowed("2 1"))[0]; c.Angle < 15 || c.Angle > 16 {
		t.Errorf("angle %v", c.Angle)
	}
}

func TestLoadGrows(t *testing.T) {
	load := func(s string) float64 { return Crossings(bowed(s))[0].Load }
	if !(load("3 2") < load("4 2") && load("4 2") < load("4 2)")) {
		t.Errorf("adjacent %v, over a string %v, slurred %v", load("3 2"), load("4 2"), load("4 2)"))
	}
	if !(load("4 12") > load("4 1")) {
		t.Errorf("onto two strings %v, onto one %v", load("4 12"), load("4 1"))
	}
}

func TestCrossingProperties(t *testing.T) {
	sets := []string{"1", "2", "3", "4", "12", "23", "34", "123", "234", "1234", "r", "1)", "2)", "3)", "4)"}
	rapid.Check(t, func(t *rapid.T) {
		ws := rapid.SliceOfN(rapid.SampledFrom(sets), 1, 30).Draw(t, "events")
		if strings.HasSuffix(ws[0], ")") {
			ws[0] = "1"
		}
		in := bowed(strings.Join(ws, " "))
		all := Crossings(in)
		for _, c := range all {
			if c.From >= c.To || c.Seconds <= 0 || math.IsNaN(c.Load) || math.IsInf(c.Load, 0) || c.Load < 0 {
				t.Fatalf("%v: %+v", ws, c)
			}
			for _, s := range c.Touch {
				if slices.Contains(c.ToStrings, s) {
					t.Fatalf("%v: %+v may touch the string it goes to", ws, c)
				}
			}
		}
		seen := map[int]bool{}
		for i, s := range Spots(in, all) {
			if s.First >= s.Last || len(s.Skeleton) < 2 {
				t.Fatalf("%v: spot %+v", ws, s)
			}
			for _, c := range s.Crossings {
				if seen[c.To] {
					t.Fatalf("%v: crossing into %d in two spots", ws, c.To)
				}
				seen[c.To] = true
			}
			if i > 0 && Spots(in, all)[i-1].Load < s.Load {
				t.Fatalf("%v: spots out of order", ws)
			}
		}
	})
}

func TestSpotsAndFindings(t *testing.T) {
	in := bowed("4 3) 2) 1) 2 3) 4)")
	all := Crossings(in)
	spots := Spots(in, all)
	if len(spots) != 1 || spots[0].SkeletonText(4) != "IV III II I …" {
		t.Fatalf("spots %+v", spots)
	}
	fs := Findings(in, all, spots)
	if len(fs) != 1 || fs[0].Kind != "crossing-spot" || !strings.HasPrefix(fs[0].Text, "6 string crossings in a row (5 inside a slur)") {
		t.Errorf("findings %+v", fs)
	}
	in = bowed("4 2)")
	all = Crossings(in)
	fs = Findings(in, all, nil)
	if len(fs) != 1 || fs[0].Kind != "skipped-string" || !strings.Contains(fs[0].Text, "over string III (D), which may sound") {
		t.Errorf("findings %+v", fs)
	}
	if got := Spots(bowed("1 2 1 r 2 1 2"), Crossings(bowed("1 2 1 r 2 1 2"))); len(got) != 0 {
		t.Errorf("two crossings and two: no spot wanted, got %+v", got)
	}
}

// A spot that is one crossing is told as one, not as "1 crossing in a row".
func TestOneCrossingSentence(t *testing.T) {
	for _, c := range []struct {
		c    Crossing
		want string
	}{
		{Crossing{Skipped: []int{2}}, "A string crossing over a string between."},
		{Crossing{Skipped: []int{2, 3}, Slurred: true}, "A string crossing over two strings between, inside a slur."},
	} {
		if got := oneCrossing(&c.c); got != c.want {
			t.Errorf("%q, want %q", got, c.want)
		}
	}
}
