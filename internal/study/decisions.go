package study

import (
	"errors"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"

	"pochette/internal/bowing"
	"pochette/internal/decide"
	"pochette/internal/fingering"
	"pochette/internal/instrument"
	"pochette/internal/score"
	"pochette/internal/timeline"
)

// resolve finds the notes of the decisions. One that cannot be obeyed stops the
// study before anything is made.
func (s *Study) resolve(r Request) error {
	if r.DecisionsPart != "" && findPart(s.Score, r.DecisionsPart) != s.PartIndex {
		return fmt.Errorf("%s: these decisions are for the part %q, not for part %d, %s", r.DecisionsFile, r.DecisionsPart, s.PartIndex+1, partName(s.Part))
	}
	settled, found := decide.Resolve(s.Part, r.Decisions, s.Instrument.Strings())
	var wrong []string
	for _, f := range found {
		wrong = append(wrong, f.Text)
	}
	if len(found) == 0 {
		wrong = s.notOpen(settled)
	}
	if len(wrong) == 0 {
		s.Decided = settled
		return nil
	}
	text := wrong[0]
	if n := len(wrong) - 1; n > 0 {
		text += fmt.Sprintf(" (and %s)", count(n, "more is wrong", "more are wrong"))
	}
	if strings.HasPrefix(text, decide.CommandLine+": ") {
		return OptionError{errors.New(text)}
	}
	return errors.New(text)
}

// notOpen tells, a line each, where an open string (finger 0) is decided for a note that
// no string, or not the one decided, is tuned to. Over a printed harmonic 0 is its sign.
func (s *Study) notOpen(settled map[score.NoteID]decide.Settled) (out []string) {
	for _, id := range slices.Sorted(maps.Keys(settled)) {
		d, n := settled[id], &s.Part.Notes[id]
		if d.Finger == nil || *d.Finger != 0 || n.Has(score.Harmonic) {
			continue
		}
		open, names := false, []string(nil)
		for i, o := range slices.Backward(s.Instrument.Open) {
			open = open || o.MIDI() == n.Sounding.MIDI() && (d.String == 0 || d.String == i+1)
			names = append(names, o.String())
		}
		if open {
			continue
		}
		what := fmt.Sprintf("%s is no open string of this %v (%s)", n.Sounding, s.Instrument.Kind, strings.Join(names, " "))
		if d.String > 0 && d.String <= len(s.Instrument.Open) {
			what = fmt.Sprintf("the open string %s is %s, not %s", instrument.Numeral(d.String), s.Instrument.Open[d.String-1], n.Sounding)
		}
		out = append(out, fmt.Sprintf("%s: finger 0 at %s: %s", d.Place, timeline.AtNote(s.Part, id), what))
	}
	return out
}

// takes says whether a stop is what a decided finger asks for: 0 over a printed harmonic
// is its sign.
func (s *Study) takes(st *fingering.Stop, finger int8) bool {
	return st.Finger == finger || finger == 0 && st.Touch == fingering.Natural && s.Part.Notes[st.Note].Has(score.Harmonic)
}

func directionOf(d decide.Direction) bowing.Direction {
	switch d {
	case decide.Down:
		return bowing.Down
	case decide.Up:
		return bowing.Up
	}
	return bowing.None
}

// fixed are the notes whose fingering was decided.
func (s *Study) fixed() map[score.NoteID]bool {
	out := map[score.NoteID]bool{}
	for id, d := range s.Decided {
		out[id] = d.Finger != nil || d.String > 0 || d.Position != nil
	}
	return out
}

// decidedMarks are the marks that the decisions put into the part, in score
// order: what the plan obeys. What no hand can obey is a finding of the hand's
// study and not printed. A decided position prints the finger that it leads to.
func (s *Study) decidedMarks() []score.NoteMark {
	of := timeline.EventOf(s.Part, s.Hand.Events)
	strokes, _ := strokeOfEvents(s.Bow)
	var out []score.NoteMark
	ids := make([]score.NoteID, 0, len(s.Decided))
	for id := range s.Decided {
		ids = append(ids, id)
	}
	slices.Sort(ids)
	for _, id := range ids {
		d := s.Decided[id]
		if of[id] < 0 {
			continue
		}
		if dir := directionOf(d.Bow); dir != bowing.None && strokes[of[id]] >= 0 {
			out = append(out, score.NoteMark{Note: s.signNote(strokes[of[id]]), Mark: score.Mark{Kind: dir.Mark(), Origin: score.Decided}})
		}
		g := &s.Hand.Grips[of[id]]
		i := slices.IndexFunc(g.Stops, func(st fingering.Stop) bool { return st.Note == id })
		if i < 0 {
			continue
		}
		st := &g.Stops[i]
		if d.Finger != nil && *d.Finger == 0 && s.takes(st, 0) {
			out = append(out, score.NoteMark{Note: id, Mark: fingerMark(0)})
		} else if d.Finger != nil && *d.Finger == st.Finger || d.Finger == nil && d.Position != nil && *d.Position == st.Position && st.Finger > 0 {
			out = append(out, score.NoteMark{Note: id, Mark: fingerMark(st.Finger)})
		}
		if d.String > 0 && d.String == st.String {
			out = append(out, score.NoteMark{Note: id, Mark: score.Mark{Kind: score.String, Text: strconv.Itoa(st.String), Origin: score.Decided}})
		}
	}
	return out
}

func fingerMark(f int8) score.Mark {
	if f == instrument.Thumb {
		return score.Mark{Kind: score.ThumbPosition, Origin: score.Decided}
	}
	return score.Mark{Kind: score.Fingering, Text: strconv.Itoa(int(f)), Origin: score.Decided}
}

// signNote carries the bow sign of a stroke: of what is struck first the stem of
// the highest note.
func (s *Study) signNote(stroke int) score.NoteID {
	struck := s.Hand.Events[s.Bow.Proposed[stroke].First].Struck
	return s.Part.Notes[struck[len(struck)-1]].Head
}

// families of marks that exclude each other on one note.
func family(k score.MarkKind) string {
	switch k {
	case score.UpBow, score.DownBow:
		return "bow"
	case score.Fingering, score.ThumbPosition, score.OpenString:
		return "finger"
	}
	return string(k)
}

// says is what a mark means, in a word that can be compared.
func says(m score.Mark) string {
	switch m.Kind {
	case score.OpenString:
		return "0"
	case score.Fingering, score.String:
		return m.Text
	}
	return string(m.Kind)
}

// withDecided puts decided marks among the proposed: one of a family on a note
// takes the place of a proposed one, and what the print says already is not said
// again.
func (s *Study) withDecided(proposed []score.NoteMark) []score.NoteMark {
	decided := s.decidedMarks()
	out := slices.DeleteFunc(proposed, func(m score.NoteMark) bool {
		return slices.ContainsFunc(decided, func(d score.NoteMark) bool {
			return d.Note == m.Note && family(d.Mark.Kind) == family(m.Mark.Kind)
		})
	})
	for _, d := range decided {
		same := slices.ContainsFunc(s.Part.Notes[d.Note].Marks, func(m score.Mark) bool {
			return family(m.Kind) == family(d.Mark.Kind) && says(m) == says(d.Mark)
		})
		if !same {
			out = append(out, d)
		}
	}
	return out
}

// unbowed tells of directions decided for what takes no bow.
func (s *Study) unbowed() []score.Finding {
	of := timeline.EventOf(s.Part, s.Hand.Events)
	strokes, _ := strokeOfEvents(s.Bow)
	var out []score.Finding
	for id, d := range s.Decided {
		if d.Bow == "" || of[id] >= 0 && strokes[of[id]] >= 0 {
			continue
		}
		at := timeline.AtNote(s.Part, id)
		out = append(out, score.Finding{Kind: "decided-without-bow", Grade: score.Caution, Part: s.Part.ID, At: at, To: at, Notes: []score.NoteID{id},
			Text: fmt.Sprintf("A direction of the bow was decided for %s, which takes no bow; it is passed over.", s.Part.Notes[id].Sounding.Name()), Why: "What is plucked or played as a tremolo has no direction."})
	}
	slices.SortFunc(out, func(a, b score.Finding) int { return int(a.Notes[0] - b.Notes[0]) })
	return out
}

// againstPrint tells where a decided mark stands beside a printed one that says
// something else: the printed element is never taken away.
func (s *Study) againstPrint() []score.Finding {
	var out []score.Finding
	for _, d := range s.Marks {
		if d.Mark.Origin != score.Decided {
			continue
		}
		for _, m := range s.Part.Notes[d.Note].Marks {
			if family(m.Kind) != family(d.Mark.Kind) || says(m) == says(d.Mark) {
				continue
			}
			at := timeline.AtNote(s.Part, d.Note)
			out = append(out, score.Finding{Kind: "decided-against-print", Grade: score.Remark, Part: s.Part.ID, At: at, To: at, Notes: []score.NoteID{d.Note},
				Text: fmt.Sprintf("The print has %s, and %s was decided.", markWords(m), markWords(d.Mark)),
				Why:  "The plan obeys the decision; both signs stand in the part, since what is printed is never taken away."})
			break
		}
	}
	return out
}

// markWords says a mark as a player does.
func markWords(m score.Mark) string {
	switch m.Kind {
	case score.UpBow:
		return "an up-bow"
	case score.DownBow:
		return "a down-bow"
	case score.ThumbPosition:
		return "the thumb"
	case score.OpenString:
		return "the open string"
	case score.Fingering:
		return "finger " + m.Text
	case score.String:
		if n, err := strconv.Atoi(m.Text); err == nil {
			return "string " + instrument.Numeral(n)
		}
		return "string " + m.Text
	}
	return string(m.Kind)
}
