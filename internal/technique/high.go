package technique

import (
	"fmt"
	"strings"

	"pochette/internal/fingering"
	"pochette/internal/instrument"
	"pochette/internal/score"
)

// HighRun is a passage in which the hand stays in fifth position or above, or the
// cellist's thumb on the string, for stayingBars or more.
type HighRun struct {
	First, Last int     // events, both with a finger down
	Bars        float64 // how long it lasts, in bars of its first measure
	Low, High   int     // least and greatest place of the first finger, semitones
	Thumb, Bare bool    // some of it with the thumb on the string, some without
	Strings     []int   // those stopped, highest first
}

// fifthPlace is the lower of the two places of the first finger in fifth position, a
// sixth above the open string: from there no part of the hand or the arm rests where it
// does below, and the steps are much narrower. stayingBars is how long the hand must stay
// to make a passage of it. Common practice, no source.
const (
	fifthPlace  = 8
	stayingBars = 2
)

// High finds the passages that stay high, in order. An open string or a rest does not
// end one, a hand set lower does.
func High(in Input) []HighRun {
	var out []HighRun
	first, last := -1, -1
	end := func() {
		if first >= 0 {
			if r := highRun(&in, first, last); r.Bars >= stayingBars {
				out = append(out, r)
			}
		}
		first = -1
	}
	for i := range in.Grips {
		g := &in.Grips[i]
		stopped := len(stoppedStrings(g)) > 0
		switch {
		case stopped && high(g):
			if first < 0 {
				first = i
			}
			last = i
		case stopped || len(g.Stops) > 0 && !high(g):
			end()
		}
	}
	end()
	return out
}

func high(g *fingering.Grip) bool {
	return g.Hand.Shape == instrument.Capo || g.Hand.Place >= fifthPlace
}

func stoppedStrings(g *fingering.Grip) (out []int) {
	for _, s := range g.Stops {
		if s.Finger > 0 {
			out = append(out, s.String)
		}
	}
	return out
}

func highRun(in *Input, first, last int) HighRun {
	r := HighRun{First: first, Last: last, Low: 99}
	on := map[int]bool{}
	for i := first; i <= last; i++ {
		g := &in.Grips[i]
		strs := stoppedStrings(g)
		if len(strs) == 0 {
			continue
		}
		for _, s := range strs {
			on[s] = true
		}
		r.Low, r.High = min(r.Low, int(g.Hand.Place)), max(r.High, int(g.Hand.Place))
		thumb := g.Hand.Shape == instrument.Capo
		r.Thumb, r.Bare = r.Thumb || thumb, r.Bare || !thumb
	}
	for s := 1; s <= in.Instrument.Strings(); s++ {
		if on[s] {
			r.Strings = append(r.Strings, s)
		}
	}
	e := &in.Events[last]
	if bar := in.Part.Measures[in.Events[first].Measure].Len; bar > 0 {
		r.Bars = float64(e.Onset+e.Dur-in.Events[first].Onset) / float64(bar)
	}
	return r
}

// HighFindings tells each passage that stays high.
func HighFindings(in Input) []score.Finding {
	var out []score.Finding
	for _, r := range High(in) {
		f := score.Finding{Kind: "stays-high", Grade: score.Remark, At: place(in, r.First), To: place(in, r.Last), Weight: r.Bars}
		for i := r.First; i <= r.Last; i++ {
			f.Notes = append(f.Notes, in.Events[i].Struck...)
		}
		f.Text = r.text()
		f.Why = r.why(&in.Instrument)
		f.Suggestion = r.landmark(&in)
		out = append(out, f)
	}
	return out
}

func (r *HighRun) text() string {
	what := "The hand stays in fifth position or above"
	switch {
	case r.Thumb && !r.Bare:
		what = "The thumb stays on the string"
	case r.Thumb:
		what = "The hand stays high, in part with the thumb on the string,"
	}
	var names []string
	for _, s := range r.Strings {
		names = append(names, instrument.Numeral(s))
	}
	on := "string " + names[0]
	if n := len(names) - 1; n > 0 {
		on = "strings " + strings.Join(names[:n], ", ") + " and " + names[n]
	}
	return fmt.Sprintf("%s for %s, on %s.", what, strings.Replace(fmt.Sprintf("%.1f bars", r.Bars), ".0 ", " ", 1), on)
}

// why tells how narrow the steps are there.
func (r *HighRun) why(in *instrument.Instrument) string {
	wide, narrow, first := in.Span(r.Low, r.Low+2), in.Span(r.High, r.High+2), in.Span(2, 4)
	text := fmt.Sprintf("%.0f mm", wide)
	if n := fmt.Sprintf("%.0f", narrow); n != fmt.Sprintf("%.0f", wide) {
		text = fmt.Sprintf("%.0f down to %s mm", wide, n)
	}
	return fmt.Sprintf("A whole tone from the first finger on is %s wide there, and %.0f mm in first position.", text, first)
}

// landmark names the first place where the octave of a string lies under a finger of the
// hand: the harmonic at half the string tells whether the hand is where it should be.
func (r *HighRun) landmark(in *Input) string {
	for i := r.First; i <= r.Last; i++ {
		g := &in.Grips[i]
		strs := stoppedStrings(g)
		if len(strs) == 0 {
			continue
		}
		for f := 1; f <= instrument.Thumb; f++ {
			if wide, ok := instrument.Fits(g.Hand, f, half, false); !ok || wide > 0 {
				continue
			}
			octave := in.Instrument.Open[strs[0]-1]
			octave.Octave++
			return fmt.Sprintf("The hand can be checked at %s against the harmonic at half the string, %s on string %s, which lies under the %s.",
				place(*in, i), octave, instrument.Numeral(strs[0]), fingerNames[f])
		}
	}
	return ""
}

// half is the semitone at half the string.
const half = 12

var fingerNames = [...]string{1: "first finger", 2: "second finger", 3: "third finger", 4: "fourth finger", instrument.Thumb: "thumb"}
