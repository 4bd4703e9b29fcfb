package fingering

import (
	"fmt"
	"math"
	"slices"
	"strconv"

	"pochette/internal/instrument"
	"pochette/internal/score"
	"pochette/internal/timeline"
)

// Analyze fingers a part. It never fails: what cannot be played or obeyed is a
// finding. The same grip serves every repeat; ways over repeats and jumps count
// once each, as the written ones do.
func Analyze(sc *score.Score, p *score.Part, o Options) *Study {
	pr := NewProblem(sc, p, o)
	return pr.Study(pr.Solve())
}

// Study writes out a solution.
func (pr *Problem) Study(sol Solution) *Study {
	st := &Study{Instrument: pr.o.Instrument, Events: pr.Events, Findings: slices.Clone(pr.Findings), Exact: sol.Exact, Gap: sol.Gap, part: pr.p, score: pr.sc, pace: pr.o.Pace}
	st.Grips = make([]Grip, len(pr.Events))
	for i := range st.Grips {
		st.Grips[i] = Grip{Event: i, Shift: -1}
	}
	st.Plan.Cost = sol.Cost
	for k := range pr.layers {
		pr.writeGrip(st, sol.States, k)
	}
	pr.moves(st, sol.States)
	st.Plan.Terms = pr.weighted(pr.Features(sol.States))
	for i := range st.Grips {
		st.Plan.Marks = append(st.Plan.Marks, pr.marks(&st.Grips[i])...)
	}
	if !sol.Exact {
		st.Findings = append(st.Findings, score.Finding{Kind: "fingering-inexact", Grade: score.Remark, At: score.Nowhere, To: score.Nowhere,
			Text: fmt.Sprintf("The repeats tie so many places that the search was cut short; this fingering may cost up to %.2f more than the best.", sol.Gap)})
	}
	return st
}

func named(v []float64) []score.Term {
	var out []score.Term
	for k, x := range v {
		if x != 0 {
			out = append(out, score.Term{Name: termNames[k], Value: x})
		}
	}
	return out
}

// weighted names terms by what they cost: their value times the weight.
func (pr *Problem) weighted(v []float64) []score.Term {
	costs := make([]float64, len(v))
	for k, x := range v {
		costs[k] = x * pr.m.w[k]
	}
	return named(costs)
}

// writeGrip fills the grip of one layer. Terms hold weighted costs.
func (pr *Problem) writeGrip(st *Study, path []int, k int) {
	l := &pr.layers[k]
	s := &l.states[path[k]]
	g := &st.Grips[l.event]
	g.Hand = s.hand
	g.Unplayable = l.why
	vals := pr.terms(path, k)
	for t := range vals {
		vals[t] *= pr.m.w[t]
		g.Cost += vals[t]
	}
	g.Terms = named(vals[:])
	for i := range s.cells {
		stops := pr.stops(s, &s.cells[i])
		g.Stops = append(g.Stops, stops...)
		if twin, ok := l.twins[s.cells[i].note]; ok {
			stops[0].Note = twin
			g.Stops = append(g.Stops, stops[0])
		}
	}
	g.LeftOut = pr.leftOut(l, g)
	g.OpenMore = pr.openInstead(path, k)
	if l.why != "" {
		pr.unplayable(st, l, g)
	}
	if k == 0 {
		return
	}
	before := &pr.layers[k-1].states[path[k-1]]
	for _, id := range s.gone {
		if sounds(before, id) {
			g.LetGo = append(g.LetGo, id)
			pr.letGo(st, path, k, id)
		}
	}
}

// stops writes a cell out, an artificial harmonic as its two notes.
func (pr *Problem) stops(s *state, c *cell) []Stop {
	steps := pr.p.Notes[c.note].Sounding.Diatonic() - pr.o.Instrument.Open[c.str-1].Diatonic()
	if c.touch != Pressed && int(c.semi) != pr.o.Instrument.Semitone(int(c.str), pr.p.Notes[c.note].Sounding) {
		steps = -99 // written where it sounds: the staff says nothing of the hand
	}
	st := Stop{Note: c.note, String: int(c.str), Finger: c.finger, Semitone: int(c.semi), Touch: c.touch, Held: c.held, Taste: c.taste,
		Extension: pr.o.Instrument.WideSpan(s.hand, int(c.finger), int(c.semi))}
	f := int(c.finger)
	if f == 0 {
		f, steps = 1, -99
	}
	st.Position = instrument.PositionOf(s.hand, f, steps, int(c.semi))
	out := []Stop{st}
	if c.touch != Artificial || c.held {
		return out
	}
	if up := pr.touched(c); up != score.NoNote {
		t := st
		t.Note, t.Semitone = up, pr.o.Instrument.Semitone(int(c.str), pr.p.Notes[up].Sounding)
		t.Finger = 4
		if c.finger == instrument.Thumb {
			t.Finger = 3
		}
		out = append(out, t)
	}
	return out
}

// touched finds the note above an artificial harmonic's base.
func (pr *Problem) touched(c *cell) score.NoteID {
	base := &pr.p.Notes[c.note]
	for i := range pr.p.Notes {
		n := &pr.p.Notes[i]
		if d := n.Sounding.MIDI() - base.Sounding.MIDI(); n.Onset == base.Onset && n.Grace == base.Grace && !n.Rest && n.Has(score.Harmonic) && d >= 3 && d <= 7 && d != 6 {
			return n.ID
		}
	}
	return score.NoNote
}

func (pr *Problem) leftOut(l *layer, g *Grip) []score.NoteID {
	var out []score.NoteID
	for _, id := range pr.Events[l.event].Struck {
		found := false
		for _, s := range g.Stops {
			found = found || s.Note == id
		}
		if !found {
			out = append(out, id)
		}
	}
	return out
}

func (pr *Problem) shift(st *Study, a, b *state, last, k int) Shift {
	l, from := &pr.layers[k], &pr.layers[last]
	sh := Shift{Event: l.event, From: from.event, FromPlace: int(a.hand.Place), ToPlace: int(b.hand.Place),
		FromPos: st.Grips[from.event].Position, ToPos: st.Grips[l.event].Position,
		MM:      pr.m.travel(a, b),
		Seconds: l.pass.timeFor(a, b), Cover: pr.m.cover(a, b, &l.pass)}
	for i := range a.cells {
		for j := range b.cells {
			c, d := &a.cells[i], &b.cells[j]
			sh.SameFinger = sh.SameFinger || c.finger > 0 && c.finger == d.finger && c.str == d.str && c.semi != d.semi
		}
	}
	return sh
}

// quickShift reports a shift that leaves the hand less than a tenth of a second
// for a way of more than 40 mm, about the fastest that hands go (common
// practice, no source).
func (pr *Problem) quickShift(st *Study, l *layer) {
	sh := &st.Shifts[len(st.Shifts)-1]
	if sh.Seconds >= 0.1 || math.Abs(sh.MM) < 40 || sh.Cover == Silence {
		return
	}
	at := timeline.AtNote(pr.p, pr.Events[l.event].Struck[0])
	st.Findings = append(st.Findings, score.Finding{Kind: "quick-shift", Grade: score.Caution, At: at, To: at, Notes: pr.Events[l.event].Struck,
		Text:   fmt.Sprintf("The hand has %.2f s to move %.0f mm here.", sh.Seconds, math.Abs(sh.MM)),
		Why:    fmt.Sprintf("That is %.1f m/s, %s; fast hands go at about 1 m/s.", math.Abs(sh.MM)/1000/sh.Seconds, sh.Cover),
		Weight: math.Abs(sh.MM) / 1000 / sh.Seconds})
}

// marks of one grip: a fingering and a string for every struck note.
func (pr *Problem) marks(g *Grip) []score.NoteMark {
	var out []score.NoteMark
	for _, s := range g.Stops {
		if s.Held {
			continue
		}
		origin := score.Proposed
		if _, ok := pr.o.Decided[s.Note]; ok {
			origin = score.Decided
		}
		out = append(out, fingerMark(s, origin), stringMark(s, origin))
		if s.Taste {
			out = append(out, harmonicMark(s))
		}
	}
	return out
}

func fingerMark(s Stop, by score.Origin) score.NoteMark {
	m := score.Mark{Kind: score.Fingering, Text: strconv.Itoa(int(s.Finger)), Origin: by}
	if s.Finger == instrument.Thumb {
		m = score.Mark{Kind: score.ThumbPosition, Origin: by}
	}
	return score.NoteMark{Note: s.Note, Mark: m}
}

// harmonicMark is the ring over a natural harmonic of taste.
func harmonicMark(s Stop) score.NoteMark {
	return score.NoteMark{Note: s.Note, Mark: score.Mark{Kind: score.Harmonic, Text: "natural", Origin: score.Proposed}}
}

func stringMark(s Stop, by score.Origin) score.NoteMark {
	return score.NoteMark{Note: s.Note, Mark: score.Mark{Kind: score.String, Text: strconv.Itoa(s.String), Origin: by}}
}
