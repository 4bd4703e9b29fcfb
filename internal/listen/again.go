package listen

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"pochette/internal/pitch"
	"pochette/internal/score"
	"pochette/internal/timeline"
)

// Spot is a place worth hearing again.
type Spot struct {
	Kind        string // tempo, pitch, slip, restart, dotting, inside, scratch, touch
	First, Last int    // visits
	Start, End  float64
	Text        string  // one sentence without the place
	Weight      float64 // 1 is what is just worth telling
}

// Hearing is all that a take says.
type Hearing struct {
	Line      *Line
	Alignment *Alignment
	Plan      *Plan
	Tuning    Tuning
	Open      []int // keys of the open strings

	Notes     []Note
	Bars      []Bar
	Placed    []Placed
	Pairs     []Pair
	Figures   []Figure
	Pitches   []Pitched
	Scratches []Scratch
	Touches   []Touch
	Spots     []Spot // worth hearing again, the first first

	Quarter float64 // median of the bars, quarter notes a minute
	Steady  float64 // spread of the bars' tempo, as a fraction
	Center  float64 // median of the pitches against the reference, cents
	Spread  float64 // half of the pitches lie this near to Center, cents
}

// summarize reckons the figures of the whole and the spots.
func (h *Hearing) summarize() {
	var tempi []float64
	for _, b := range h.Bars {
		if b.Whole {
			tempi = append(tempi, b.Quarter)
		}
	}
	h.Quarter = median(tempi)
	_, sd := meanSpread(tempi)
	if h.Quarter > 0 {
		h.Steady = sd / h.Quarter
	}
	var off, dist []float64
	for _, p := range h.Pitches {
		off = append(off, p.Off)
	}
	h.Center = median(off)
	for _, o := range off {
		dist = append(dist, math.Abs(o-h.Center))
	}
	h.Spread = median(dist)
	h.Spots = slices.Concat(h.restartSpots(), h.slipSpots(), h.tempoSpots(), h.pitchSpots(), h.dottingSpots(), h.insideSpots(), h.scratchSpots(), h.touchSpots())
	slices.SortStableFunc(h.Spots, func(a, b Spot) int {
		switch {
		case a.Weight > b.Weight:
			return -1
		case a.Weight < b.Weight:
			return 1
		}
		return 0
	})
}

// Again chooses up to n spots, heaviest first, each of another kind as far as there are
// kinds, and none that lies inside one chosen before.
func (h *Hearing) Again(n int) []Spot {
	var out []Spot
	for _, fresh := range []bool{true, false} {
		for _, s := range h.Spots {
			if len(out) == n {
				return out
			}
			if slices.ContainsFunc(out, func(o Spot) bool { return o == s || o.Start <= s.Start && s.End <= o.End || fresh && o.Kind == s.Kind }) {
				continue
			}
			out = append(out, s)
		}
	}
	return out
}

// Where names the bars of a spot as a player says them.
func (h *Hearing) Where(first, last int) string {
	return timeline.Range(h.Line.Part, h.Line.Visits[first].Measure, h.Line.Visits[last].Measure)
}

// span makes the times of a spot from notes, with some air around.
func (h *Hearing) span(kind string, from, to int, weight float64, text string) Spot {
	return Spot{Kind: kind, First: h.visit(from), Last: h.visit(to), Start: max(0, h.Notes[from].Start-0.3), End: h.Notes[to].End + 0.3, Text: text, Weight: weight}
}

func (h *Hearing) visit(note int) int { return h.Line.Events[h.Notes[note].Event].Visit }

func (h *Hearing) event(note int) *Event { return &h.Line.Events[h.Notes[note].Event] }

func (h *Hearing) restartSpots() []Spot {
	var out []Spot
	for i := 1; i < len(h.Notes); i++ {
		if h.Notes[i].Resumed {
			text := fmt.Sprintf("You broke off here and went on from %s.", timeline.At(h.Line.Part, h.event(i).Measure, h.onset(i), h.event(i).Notes[0]))
			out = append(out, h.span("restart", i-1, i, 6, text))
		}
	}
	return out
}

func (h *Hearing) onset(note int) score.Tick {
	return h.Line.Part.Notes[h.event(note).Notes[0]].Onset
}

// Slip is a note that sounded otherwise than printed, or did not sound.
type Slip struct {
	Event   int
	Missing bool
	Note    int // index among the notes measured: the note itself, or the one after what is missing
	Heard   []int
}

// Slips lists them in the order of the take.
func (h *Hearing) Slips() []Slip {
	var out []Slip
	for i := range h.Notes {
		n := &h.Notes[i]
		for m := n.Missing; m > 0; m-- {
			if e := n.Event - m; e >= 0 && !h.Line.Events[e].Grace {
				out = append(out, Slip{Event: e, Missing: true, Note: i})
			}
		}
		if n.Wrong {
			s := Slip{Event: n.Event, Note: i}
			for _, t := range n.Tones {
				s.Heard = append(s.Heard, t.Heard)
			}
			out = append(out, s)
		}
	}
	return out
}

// Say tells a slip: what is printed and what sounds.
func (h *Hearing) Say(s Slip) string {
	names := func(keys []int) string {
		var out []string
		key := h.Line.Part.Measures[h.Line.Events[s.Event].Measure].Key.Fifths
		for _, k := range keys {
			out = append(out, pitch.FromMIDI(k, key).String())
		}
		return strings.Join(out, " ")
	}
	var printed []string
	for _, id := range h.Line.Events[s.Event].Notes {
		printed = append(printed, h.Line.Part.Notes[id].Sounding.String())
	}
	if s.Missing {
		return fmt.Sprintf("%s is printed and is not heard.", strings.Join(printed, " "))
	}
	return fmt.Sprintf("%s is printed, %s sounds.", strings.Join(printed, " "), names(s.Heard))
}

func (h *Hearing) slipSpots() []Spot {
	var out []Spot
	for _, s := range h.Slips() {
		from, to := max(0, s.Note-1), min(len(h.Notes)-1, s.Note+1)
		out = append(out, h.span("slip", from, to, 4, h.Say(s)))
	}
	return out
}

// tempoSpots: bars that are quicker or slower than those around, or than planned.
func (h *Hearing) tempoSpots() []Spot {
	var out []Spot
	for i, b := range h.Bars {
		if !b.Whole {
			continue
		}
		ratio, against := 0.0, "the bars around"
		if b.Planned > 0 && h.Quarter > 0 {
			ratio, against = b.Quarter/b.Planned, "planned"
		} else {
			var near []float64
			for k := max(0, i-4); k < min(len(h.Bars), i+5); k++ {
				if k != i && h.Bars[k].Whole {
					near = append(near, h.Bars[k].Quarter)
				}
			}
			if len(near) < 4 {
				continue
			}
			ratio = b.Quarter / median(near)
		}
		d := math.Log(ratio)
		if math.Abs(d) < 0.06 || d < 0 && h.closes(i) {
			continue
		}
		word := "quicker"
		if d < 0 {
			word = "slower"
		}
		text := fmt.Sprintf("This bar goes at %.0f quarter notes a minute, %.0f %% %s than %s.", b.Quarter, 100*math.Abs(ratio-1), word, against)
		out = append(out, h.span("tempo", b.First, b.Last, math.Abs(d)/0.06, text))
	}
	return out
}

// closes: a bar is the last, or play goes back or over a repeat after it, or a double bar
// stands there: it may be broad.
func (h *Hearing) closes(bar int) bool {
	v := h.Bars[bar].Visit
	m := h.Line.Visits[v].Measure
	if v+1 == len(h.Line.Visits) || h.Line.Visits[v+1].Measure != m+1 || h.Line.Part.Measures[m+1].RepeatStart {
		return true
	}
	return h.Line.Part.Measures[m].RepeatTimes > 0 || h.Line.Part.Measures[m].RightBar != "" && h.Line.Part.Measures[m].RightBar != "regular"
}

// pitchSpots: notes that lie far from the reference, and pitches that do so each time.
func (h *Hearing) pitchSpots() []Spot {
	var out []Spot
	by := map[pitch.Pitch][]int{}
	for i, p := range h.Pitches {
		by[p.Sounding] = append(by[p.Sounding], i)
		d := p.Off - h.Center
		if math.Abs(d) < 20 || math.Abs(d) < 3*p.Sure {
			continue
		}
		text := fmt.Sprintf("%s is %.0f cents %s the others, against %s tuning.", p.Sounding, math.Abs(d), aboveBelow(d), h.Tuning.Name())
		out = append(out, h.span("pitch", p.Note, p.Note, math.Abs(d)/20, text))
	}
	for key, list := range by {
		var v []float64
		for _, i := range list {
			v = append(v, h.Pitches[i].Off-h.Center)
		}
		m := median(v)
		_, sd := meanSpread(v)
		if len(v) < 4 || math.Abs(m) < 8 || math.Abs(m) < 2*sd/math.Sqrt(float64(len(v))) {
			continue
		}
		first, last := h.Pitches[list[0]], h.Pitches[list[0]]
		for _, i := range list {
			if h.Pitches[i].Note-first.Note < 40 {
				last = h.Pitches[i]
			}
		}
		text := fmt.Sprintf("%s lies %.0f cents %s the other notes, in the middle of %d times, against %s tuning.", key, math.Abs(m), aboveBelow(m), len(v), h.Tuning.Name())
		out = append(out, h.span("pitch", first.Note, last.Note, math.Abs(m)/8*1.2, text))
	}
	slices.SortStableFunc(out, func(a, b Spot) int { // the map's order must not show
		if a.Start != b.Start {
			if a.Start < b.Start {
				return -1
			}
			return 1
		}
		return strings.Compare(a.Text, b.Text)
	})
	return out
}

func aboveBelow(d float64) string {
	if d < 0 {
		return "below"
	}
	return "above"
}

// dottingSpots: single pairs far from what the figure usually is, or figures that are
// far from the plan.
func (h *Hearing) dottingSpots() []Spot {
	var out []Spot
	for _, p := range h.Pairs {
		for _, f := range h.Figures {
			d := p.Fraction - f.Median
			if f.Name != p.Figure || f.Count < 4 || math.Abs(d) < 0.05 {
				continue
			}
			word := "longer"
			if d < 0 {
				word = "shorter"
			}
			text := fmt.Sprintf("The long note of this %s takes %.0f %% of the two, elsewhere %.0f %%: it is %s here.", p.Figure, 100*p.Fraction, 100*f.Median, word)
			out = append(out, h.span("dotting", p.Note, p.Note+1, math.Abs(d)/0.05, text))
		}
	}
	return out
}

// insideSpots: notes that come early or late inside a bar that is itself steady.
func (h *Hearing) insideSpots() []Spot {
	late := make([]float64, len(h.Placed))
	for i, p := range h.Placed {
		late[i] = math.Abs(p.Late)
	}
	usual := max(0.02, median(late))
	var out []Spot
	for _, p := range h.Placed {
		if math.Abs(p.Late) < 0.08 || math.Abs(p.Late) < 4*usual {
			continue
		}
		word := "after"
		if p.Late < 0 {
			word = "before"
		}
		text := fmt.Sprintf("At %s the note comes %.0f ms %s its place in the bar.", timeline.At(h.Line.Part, h.event(p.Note).Measure, h.onset(p.Note), h.event(p.Note).Notes[0]), 1000*math.Abs(p.Late), word)
		out = append(out, h.span("inside", max(0, p.Note-1), p.Note, math.Abs(p.Late)/0.1, text))
	}
	return out
}

func (h *Hearing) scratchSpots() []Spot {
	var out []Spot
	for _, s := range h.Scratches {
		sure := "perhaps"
		if s.By > 2*scratchOver {
			sure = "very likely"
		}
		out = append(out, h.span("scratch", s.Note, s.Note, min(2.5, s.By/scratchOver), fmt.Sprintf("The note begins rougher than the others (%s a scratch of the bow: %.0f times as much noise as usual).", sure, s.By)))
	}
	return out
}

func (h *Hearing) touchSpots() []Spot {
	var out []Spot
	for _, t := range h.Touches {
		sure := "perhaps"
		if t.Share > 0.85 {
			sure = "likely"
		}
		name := pitch.FromMIDI(t.Key, 0).String()
		out = append(out, h.span("touch", t.Note, t.Note, 1.5*t.Share, fmt.Sprintf("The open %s sounds along, %.0f dB under the note (%s: seen in %.0f %% of it).", name, -t.Level, sure, 100*t.Share)))
	}
	return out
}
