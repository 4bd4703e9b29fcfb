package listen

import (
	"math"
)

// Plan is what a take is compared with. As printed, all its fields are empty: a bar
// divides evenly and no tempo is meant.
type Plan struct {
	// At is the planned time of each event of the line in seconds, from any beginning.
	At []float64
	// Bar is the planned length of each visit in seconds, Start its planned beginning on
	// the clock of At.
	Bar, Start []float64
	// Level is the planned loudness of each event in dB, relative to anything.
	Level []float64
}

func (p *Plan) timed(l *Line) bool {
	return p != nil && len(p.At) == len(l.Events) && len(p.Bar) == len(l.Visits) && len(p.Start) == len(l.Visits)
}

// place of an event in its bar as planned: 0 at its beginning, 1 at its end.
func (p *Plan) place(l *Line, event int) float64 {
	e := &l.Events[event]
	v := &l.Visits[e.Visit]
	if p.timed(l) && p.Bar[e.Visit] > 0 {
		return (p.At[event] - p.Start[e.Visit]) / p.Bar[e.Visit]
	}
	if v.Len <= 0 {
		return 0
	}
	return (e.At - v.At) / v.Len
}

// Bar is one playing of a measure as heard.
type Bar struct {
	Visit      int
	Start, End float64 // seconds
	Quarter    float64 // quarter notes a minute
	Planned    float64 // the same as planned, 0 where nothing is
	First      int     // index of its first and last note among those measured
	Last       int
	Level      float64 // dB relative to full scale, mean over its notes by length
	// Whole: nothing broke off inside and both its ends stand on notes that were heard;
	// else its ends are drawn from the notes around.
	Whole bool
}

// Placed is where a note came inside its bar.
type Placed struct {
	Note    int     // index among the notes measured
	At      float64 // 0 … 1 of the bar
	Planned float64 // the same as planned
	Late    float64 // seconds after the plan at the bar's own tempo; negative: before
}

// Bars reckons the bars of a take and the time inside them.
func Bars(l *Line, notes []Note, plan *Plan) ([]Bar, []Placed) {
	var bars []Bar
	var placed []Placed
	for i := 0; i < len(notes); {
		v := l.Events[notes[i].Event].Visit
		j := i + 1
		for j < len(notes) && l.Events[notes[j].Event].Visit == v && !notes[j].Resumed {
			j++
		}
		if b, ok := barOf(l, notes, i, j, plan); ok {
			bars = append(bars, b)
			for k := i; k < j && b.Whole; k++ {
				if l.Events[notes[k].Event].Grace {
					continue
				}
				p := Placed{Note: k, At: (notes[k].Start - b.Start) / (b.End - b.Start), Planned: plan.place(l, notes[k].Event)}
				p.Late = (p.At - p.Planned) * (b.End - b.Start)
				placed = append(placed, p)
			}
		}
		i = j
	}
	return bars, placed
}

// barOf reckons the bar that notes i up to j lie in.
func barOf(l *Line, notes []Note, i, j int, plan *Plan) (Bar, bool) {
	visit := l.Events[notes[i].Event].Visit
	v := &l.Visits[visit]
	if v.Len <= 0 {
		return Bar{}, false
	}
	b := Bar{Visit: visit, First: i, Last: j - 1}
	start, ok1 := timeAt(l, notes, i, j, v.At)
	end, ok2 := timeAt(l, notes, i, j, v.At+v.Len)
	b.Start, b.End = start, end
	if math.IsNaN(start) || math.IsNaN(end) || end-start < 0.05 {
		return Bar{}, false
	}
	b.Whole = ok1 && ok2
	b.Quarter = v.Len * 60 / (end - start)
	if plan.timed(l) && plan.Bar[visit] > 0 {
		b.Planned = v.Len * 60 / plan.Bar[visit]
	}
	sum, dur := 0.0, 0.0
	for _, n := range notes[i:j] {
		d := n.End - n.Start
		sum, dur = sum+d*math.Pow(10, n.Level/10), dur+d
	}
	b.Level = 10 * math.Log10(max(1e-10, sum/max(dur, 1e-9)))
	return b, true
}

// timeAt finds when a moment of the line came in the bar of notes i up to j: the onset
// of the note that stands there, else drawn between the notes around it where play
// went through (sure is then false only where it is drawn beyond them).
func timeAt(l *Line, notes []Note, i, j int, at float64) (t float64, sure bool) {
	from, to := i, j-1 // play goes through from..to
	for from > 0 && !notes[from].Resumed && !notes[from].SkippedTo && notes[from-1].Event < notes[from].Event {
		from--
		if l.Events[notes[from].Event].At < at-8 {
			break
		}
	}
	for to+1 < len(notes) && !notes[to+1].Resumed && notes[to+1].Event > notes[to].Event && l.Events[notes[to].Event].At < at {
		if notes[to+1].SkippedTo { // the bar after follows at once all the same
			if l.Events[notes[to+1].Event].First && l.Events[notes[to+1].Event].At == l.Visits[l.Events[notes[to+1].Event].Visit].At {
				if v := &l.Visits[l.Events[notes[i].Event].Visit]; at == v.At+v.Len {
					return notes[to+1].Start, true
				}
			}
			break
		}
		to++
	}
	lo, hi := -1, -1
	for k := from; k <= to; k++ {
		x := l.Events[notes[k].Event].At
		if l.Events[notes[k].Event].Grace {
			continue
		}
		if math.Abs(x-at) < 1e-6 {
			return notes[k].Start, true
		}
		if x < at {
			lo = k
		} else if hi < 0 {
			hi = k
		}
	}
	return drawn(l, notes, lo, hi, from, to, at)
}

// drawn lays a straight line through two notes: those around the moment, or the last
// two before or the first two after it.
func drawn(l *Line, notes []Note, lo, hi, from, to int, at float64) (float64, bool) {
	sure := lo >= 0 && hi >= 0
	if lo < 0 {
		lo, hi = hi, hi+1
	} else if hi < 0 {
		lo, hi = lo-1, lo
	}
	if lo < from || hi > to || lo < 0 {
		return math.NaN(), false
	}
	a, b := l.Events[notes[lo].Event].At, l.Events[notes[hi].Event].At
	if b-a < 1e-6 {
		return math.NaN(), false
	}
	return notes[lo].Start + (at-a)/(b-a)*(notes[hi].Start-notes[lo].Start), sure
}
