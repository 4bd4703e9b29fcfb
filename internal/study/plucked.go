package study

import (
	"fmt"
	"slices"

	"pochette/internal/fingering"
	"pochette/internal/instrument"
	"pochette/internal/score"
	"pochette/internal/timeline"
)

// plucked is the part as it is played: a + over a note of a string part
// (MusicXML <stopped>) is plucked by the left hand and takes no bow. The part
// itself comes back where there is none.
func plucked(p *score.Part) *score.Part {
	if !slices.ContainsFunc(p.Notes, func(n score.Note) bool { return leftPlucked(&n) }) {
		return p
	}
	q := *p
	q.Notes = slices.Clone(p.Notes)
	for i := range q.Notes {
		if n := &q.Notes[i]; leftPlucked(n) {
			n.Marks = append(slices.Clone(n.Marks), score.Mark{Kind: score.LeftHandPlucked})
		}
	}
	return &q
}

func leftPlucked(n *score.Note) bool { return n.Has(score.Stopped) && !n.Has(score.LeftHandPlucked) }

// pluckedFindings tells where no finger is free to pluck with: it has to lie
// above the one that stops the note, and to stop none beside it.
func (s *Study) pluckedFindings(played *score.Part) []score.Finding {
	if played == s.Part {
		return nil
	}
	var out []score.Finding
	for i := range s.Hand.Grips {
		stops := s.Hand.Grips[i].Stops
		for _, st := range stops {
			if st.Held || !leftPlucked(&s.Part.Notes[st.Note]) || fingerFree(stops, st) {
				continue
			}
			why := "the fourth stops it"
			if st.Finger != 4 {
				why = "those above the one that stops it stop other notes"
			}
			at := timeline.AtNote(s.Part, st.Note)
			out = append(out, score.Finding{Kind: "left-hand-pizzicato", Grade: score.Caution, Part: s.Part.ID, At: at, To: at, Notes: []score.NoteID{st.Note},
				Text:       fmt.Sprintf("The left hand has no finger free to pluck %s: %s.", s.Part.Notes[st.Note].Sounding.Name(), why),
				Why:        "A finger above the one that stops the note plucks it.",
				Suggestion: "Decide a lower finger, or pluck with the right hand."})
		}
	}
	return out
}

// fingerFree says that a finger above that of a stop stops nothing; the thumb lies
// behind the first.
func fingerFree(stops []fingering.Stop, s fingering.Stop) bool {
	for f := s.Finger%instrument.Thumb + 1; f <= 4; f++ {
		if !slices.ContainsFunc(stops, func(o fingering.Stop) bool { return o.Finger == f }) {
			return true
		}
	}
	return false
}

// reachFindings tells of grips that open the hand beyond the limit it was said
// to have: printed or decided fingers can ask for that, a plan of its own must not.
func (s *Study) reachFindings() []score.Finding {
	var out []score.Finding
	in := &s.Instrument
	for i := range s.Hand.Grips {
		g := &s.Hand.Grips[i]
		limit := in.MaxReach()
		if len(g.Stops) > 1 {
			limit = in.MaxStretch()
		}
		for _, st := range g.Stops {
			if st.Held || st.Extension == 0 || st.Semitone <= int(g.Hand.Place) {
				continue
			}
			if span := in.Span(int(g.Hand.Place), st.Semitone); span > limit {
				at := timeline.AtNote(s.Part, st.Note)
				out = append(out, score.Finding{Kind: "beyond-reach", Grade: score.Caution, Part: s.Part.ID, At: at, To: at, Notes: []score.NoteID{st.Note}, Weight: span - limit,
					Text:       fmt.Sprintf("%s lies %.0f mm from the first finger's place in %s; this hand reaches %.0f mm.", s.Part.Notes[st.Note].Sounding.Name(), span, instrument.PositionName(g.Position), limit),
					Why:        "Distances are reckoned from the string's length; the limit is that of the hand that was given.",
					Suggestion: "Move the hand for it, or decide another finger or string."})
			}
		}
	}
	return out
}
