package study

import (
	"pochette/internal/bowing"
	"pochette/internal/pace"
	"pochette/internal/timeline"
)

// PaceOptions say how the time is planned.
type PaceOptions struct {
	// Steady keeps the bars of one tempo equally long.
	Steady bool
	// Metronome plans nothing: the print by the metronome.
	Metronome bool
	// AsWritten takes the strokes as the slurs are printed, not the proposal.
	AsWritten bool
	// Decide are decisions as ParsePace reads them, the later ones holding.
	Decide []string
}

// Paced is a plan of time with the study that it rests on.
type Paced struct {
	*pace.Plan
	study  *Study
	events []timeline.Event
	Source timeline.PaceSource
}

// Study is the study that the plan is of.
func (p *Paced) Study() *Study { return p.study }

// PlanPace plans the time of the part. The error is an OptionError: a decision that
// cannot be read or placed.
func (s *Study) PlanPace(o PaceOptions) (*Paced, error) {
	out := pace.Options{Amounts: pace.Proposed()}
	switch {
	case o.Metronome:
		out.Amounts = pace.Amounts{}
	case o.Steady:
		out.Amounts = pace.Steady()
	}
	for _, text := range o.Decide {
		d, err := ParsePace(s.Part, s.Score.Quarter, text)
		if err != nil {
			return nil, OptionError{err}
		}
		out.Decisions = append(out.Decisions, d)
	}
	events := s.Bow.Events
	in := pace.Input{Part: s.Part, Quarter: s.Score.Quarter, Events: events, Base: s.Pace, Facts: s.Reading.facts}
	strokes := s.Bow.Proposed
	if o.AsWritten {
		strokes = s.Bow.Written
	}
	for _, st := range strokes {
		in.Strokes = append(in.Strokes, pace.Stroke{First: st.First, Last: st.Last, Direction: paceDirection(st.Direction), Plucked: st.Pizzicato && st.Direction == bowing.None && plucks(s, st),
			Again: st.Change == bowing.Retake || st.Change == bowing.Link || st.Change == bowing.AfterRest})
	}
	return &Paced{Plan: pace.New(in, out), study: s, events: events, Source: s.Pace.Source}, nil
}

// plucks says that a stroke without direction is plucked and no tremolo.
func plucks(s *Study, st bowing.Stroke) bool {
	for _, id := range st.Notes {
		if s.Part.Notes[id].Has("tremolo") {
			return false
		}
	}
	return true
}

func paceDirection(d bowing.Direction) pace.Direction {
	switch d {
	case bowing.Down:
		return pace.Down
	case bowing.Up:
		return pace.Up
	}
	return pace.NoBow
}
