package study

import (
	"errors"
	"fmt"

	"pochette/internal/instrument"
	"pochette/internal/score"
)

// errPercussion refuses what has no pitches.
var errPercussion = errors.New("is for percussion and has no pitches that a bow can play; choose another part with --part")

// refusePercussion refuses a part that begins in the percussion clef, or of which most
// notes have no pitch.
func (s *Study) refusePercussion() error {
	struck, unpitched := 0, 0
	for i := range s.Part.Notes {
		if n := &s.Part.Notes[i]; n.Struck() && !n.Cue {
			struck++
			if n.Unpitched {
				unpitched++
			}
		}
	}
	clef := ""
	for i := range s.Part.Measures {
		if c := s.Part.Measures[i].Clefs; len(c) > 0 {
			clef = c[0].Sign
			break
		}
	}
	if clef == "percussion" || 2*unpitched > struck {
		return fmt.Errorf("part %d (%s) %w", s.PartIndex+1, partName(s.Part), errPercussion)
	}
	return nil
}

// guessFinding tells what instrument was guessed where the part names none of the
// three, or another.
func (s *Study) guessFinding(r Request) []score.Finding {
	if r.Instrument != "" {
		return nil
	}
	in, why, ok := instrument.Guess(s.Part)
	other := instrument.Stranger(s.Part)
	if ok && !guessedFromNotes(s.Part) {
		return nil
	}
	f := score.Finding{Kind: "instrument-guessed", Grade: score.Caution, Part: s.Part.ID, At: score.Nowhere, To: score.Nowhere}
	switch {
	case other != "":
		_, why, _ = instrument.GuessNotes(s.Part)
		f.Text = fmt.Sprintf("The part is for %q, not for violin, viola or cello; it is read as a %s part.", other, in.Kind)
	default:
		f.Text = fmt.Sprintf("The part does not name its instrument; it is read as a %s part.", in.Kind)
		if ok {
			f.Grade = score.Remark
		}
	}
	f.Why = "It is taken so because " + why + "."
	if s.Part.Staves > 1 {
		f.Why += fmt.Sprintf(" It has %d staves, which are played as one.", s.Part.Staves)
	}
	f.Suggestion = "Say the instrument with --instrument where that is wrong"
	if len(s.Score.Parts) > 1 {
		f.Suggestion += ", or choose another part with --part (there is " + partList(s.Score) + ")"
	}
	f.Suggestion += "."
	return []score.Finding{f}
}

// guessedFromNotes says that neither name nor sound nor MIDI program told the instrument.
func guessedFromNotes(p *score.Part) bool {
	bare := *p
	bare.Notes, bare.Measures = nil, nil
	_, _, ok := instrument.Guess(&bare)
	return !ok
}

// passedOver adds to the findings of slurs that lack an end what the bow does there.
func passedOver(fs []score.Finding) {
	for i := range fs {
		if f := &fs[i]; f.Kind == "slur-unmatched" {
			f.Why = "Where it should bind notes is not known, so it is passed over: the bow changes as if it were not there."
			f.Suggestion = "Where these notes belong under one bow, give the slur both its ends in the file."
		}
	}
}
