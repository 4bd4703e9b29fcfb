package pace

import (
	"fmt"
	"math"

	"pochette/internal/score"
	"pochette/internal/timeline"
)

// Steadiness tells how steady what should be steady is. A bar should be steady unless
// a broadening, a breath that adds time, a hold or a tempo decided for it is there.
type Steadiness struct {
	Bars, Steady int     // played bars, and those that should be steady
	Bent         int     // of the steady ones those with give and take
	Worst        float64 // largest deviation of a steady bar from the metronome, a ratio (0.02 is 2 %)
	WorstBar     int     // played bar, -1 for none
	Late         float64 // largest distance in seconds of a note at the beginning of a bar from the bar line
	Inside       float64 // largest distance of a note from the even division of its bar, in seconds
	InsideBar    int
}

// noticed is the change of tempo that is just noticed, as a ratio, in notes longer
// than about 250 ms (Friberg and Sundberg 1995, from memory).
const noticed = 0.025

// steadiness is measured on what came out: bars and notes, not the curves.
func (b *builder) steadiness() Steadiness {
	s := Steadiness{Bars: len(b.plan.Bars), WorstBar: -1, InsideBar: -1}
	for v := range b.plan.Bars {
		bar := &b.plan.Bars[v]
		ratio, told := b.baseRatio(bar.Measure)
		metronome := (b.clock.pos[v+1] - b.clock.pos[v]) / ratio
		if bar.Broadens || bar.Pause > 0 || told || metronome <= 0 {
			continue
		}
		s.Steady++
		if bar.Power != 1 {
			s.Bent++
		}
		if off := math.Abs(bar.Seconds/metronome - 1); off > s.Worst {
			s.Worst, s.WorstBar = off, v
		}
	}
	for i := range b.plan.Notes {
		n := &b.plan.Notes[i]
		bar := &b.plan.Bars[n.Bar]
		e := &b.in.Events[n.Event]
		m := &b.in.Part.Measures[bar.Measure]
		if e.Onset == m.Start && e.Measure == bar.Measure && !n.Grace && (n.Event == 0 || !b.in.Events[n.Event-1].Grace) {
			s.Late = max(s.Late, math.Abs(n.Onset-bar.Start))
		}
		if n.Grace || bar.Broadens || bar.Pause > 0 || m.Len <= 0 || e.Measure != bar.Measure {
			continue
		}
		even := bar.Start + bar.Seconds*float64(e.Onset-m.Start)/float64(m.Len)
		if off := math.Abs(n.Onset - even); off > s.Inside {
			s.Inside, s.InsideBar = off, n.Bar
		}
	}
	return s
}

// check tells what should be steady and is not, and which decisions did nothing.
func (b *builder) check() []score.Finding {
	b.plan.Steadiness = b.steadiness()
	s := &b.plan.Steadiness
	var out []score.Finding
	if s.WorstBar >= 0 && s.Worst > noticed {
		m := b.plan.Bars[s.WorstBar].Measure
		f := b.finding("pace-unsteady", score.Caution, b.in.Part.Measures[m].Start)
		f.Text = fmt.Sprintf("The bar should be steady, but is %.1f %% off the metronome.", 100*s.Worst)
		f.Why = fmt.Sprintf("A change of about %.1f %% is just noticed; the arch of the phrase is laid on with its amount times %.1f %%.", 100*noticed, 100*archSize)
		f.Suggestion = "Lower the arch (arch=1 or arch=0), or take a tempo for these bars."
		out = append(out, f)
	}
	if !b.plan.Complete {
		f := b.finding("pace-cut", score.Caution, 0)
		f.Text = "The repeats ask for more bars than are planned; the plan stops there."
		out = append(out, f)
	}
	for i := range b.o.Decisions {
		if why := b.idle(&b.o.Decisions[i]); why != "" {
			d := &b.o.Decisions[i]
			f := score.Finding{Kind: "pace-decision-idle", Grade: score.Caution, Part: b.in.Part.ID, At: score.Nowhere, To: score.Nowhere}
			if d.Placed {
				f = b.finding(f.Kind, f.Grade, d.At)
			} else if d.Last >= 0 {
				f = b.finding(f.Kind, f.Grade, b.in.Part.Measures[d.First].Start)
			}
			f.Text = fmt.Sprintf("The decision %q changes nothing: %s.", d.Text, why)
			out = append(out, f)
		}
	}
	return out
}

func (b *builder) finding(kind string, g score.Grade, at score.Tick) score.Finding {
	loc := timeline.At(b.in.Part, b.measureAt(at), at, score.NoNote)
	return score.Finding{Kind: kind, Grade: g, Part: b.in.Part.ID, At: loc, To: loc}
}

// idle says why a decision did nothing, "" where it did.
func (b *builder) idle(d *Decision) string {
	switch d.Key {
	case Dotting:
		for i := range b.plan.Figures {
			if d.forFigure(&b.plan.Figures[i]) {
				return ""
			}
		}
		return "no dotted figure stands there"
	case Inequality:
		if d.Value != 1 && b.plan.Unequal == 0 {
			return "there are no pairs of equal notes by step that may be unequal"
		}
	case Power:
		for v := range b.plan.Bars {
			if bar := &b.plan.Bars[v]; d.covers(bar.Measure) && (bar.Power != 1 || d.Value == 1) {
				return ""
			}
		}
		return "the bars broaden as a whole, or another decision holds"
	case Broadening:
		if d.Value == 1 {
			return ""
		}
		for _, br := range b.plan.Broadenings {
			if br.Decided {
				return ""
			}
		}
		return "fewer than two notes begin there, or another broadening holds"
	case Hold, Breath:
		if !d.Placed || d.Value == 0 {
			return ""
		}
		for _, n := range b.plan.Breaths {
			if n.Decided && n.Hold == (d.Key == Hold) && (n.Hold || n.At == d.At) {
				return ""
			}
		}
		return "no note begins there, or nothing is before it"
	case Level:
		if d.Placed && b.endOfEventAt(d.At) == d.At {
			return "no note begins there"
		}
	}
	return ""
}
