package study

import (
	"fmt"

	"pochette/internal/bowing"
	"pochette/internal/form"
	"pochette/internal/harmony"
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

// PlanPace plans the time of the part. It is not safe for concurrent use of one study:
// what harmony and form told is kept. The error is an OptionError: a decision that
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
	in := pace.Input{Part: s.Part, Quarter: s.Score.Quarter, Events: events, Base: s.Pace, Facts: s.paceFacts(events)}
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

// paceFacts asks harmony and form again for the numbers behind their sentences; they
// are asked once for a study.
func (s *Study) paceFacts(events []timeline.Event) pace.Facts {
	if s.facts != nil {
		return *s.facts
	}
	h := harmony.Analyze(s.Part, s.Score.Quarter)
	in := form.Input{Score: s.Score, Part: s.Part, Events: events}
	var f pace.Facts
	for i := range h.Chords {
		c := &h.Chords[i]
		f.Chords = append(f.Chords, pace.Chord{From: c.From, To: c.To, Tension: c.Tension, Name: fmt.Sprintf("%s in %s", c.Label(), c.Key)})
	}
	for _, c := range h.Cadences {
		f.Cadences = append(f.Cadences, pace.Cadence{At: c.At, Kind: cadenceKind(c.Type), Strength: c.Strength})
		in.Cadences = append(in.Cadences, form.Cadence{At: c.At, Kind: cadenceKind(c.Type), Strength: c.Strength})
	}
	for _, p := range h.Pairs {
		f.Pairs = append(f.Pairs, pace.Pair{Strong: p.Strong, Weak: p.Weak})
	}
	st := form.Analyze(in)
	for _, p := range st.Phrases {
		f.Phrases = append(f.Phrases, pace.Phrase{From: p.From, To: p.To, Arrival: p.Arrival, Sure: p.Sure, Overlaps: p.Overlaps})
	}
	for _, x := range st.Sections {
		f.Sections = append(f.Sections, pace.Section{From: x.From, To: x.To, Name: x.Name, Hard: x.By == form.EdgeRepeat || x.By == form.EdgeDouble || x.By == form.EdgeFinal})
	}
	for _, x := range st.Facts {
		if x.Kind == "dotted-beside-triplets" {
			s.dotted = append(s.dotted, fmt.Sprintf("%s Source: %s. Settle it with --dotting 2:1, 3:1 or more.", x.Words.At(form.Player), x.Source))
		}
	}
	s.facts = &f
	return f
}
