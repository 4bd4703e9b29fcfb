package learn

import (
	"math"

	"pochette/internal/fingering"
	"pochette/internal/instrument"
	"pochette/internal/score"
)

// Lowest is the agreement of the plainest rule: every note as low as it goes, on
// the highest string that has it, in first position, beyond it with the fourth
// finger in the lowest position.
func Lowest(w *Work) (a Agreement) {
	for _, p := range w.Pieces {
		for id, t := range p.Truth {
			n := &p.Score.Parts[0].Notes[id]
			for str := 1; str <= 4; str++ {
				semi := n.Sounding.MIDI() - violinOpen[4-str]
				if semi < 0 {
					continue
				}
				steps := n.Sounding.Diatonic() - []int{37, 33, 29, 25}[str-1]
				switch {
				case semi == 0:
					a.Note(t, str, 1, 0)
				case semi <= 7:
					a.Note(t, str, 1, min(4, max(1, steps)))
				default:
					a.Note(t, str, steps-3, 4)
				}
				break
			}
		}
	}
	return a
}

// Hand counts what the hand has to do in a plan.
type Hand struct{ Notes, Shifts, Stretches, Quick, Rushed int }

// Add sums.
func (h *Hand) Add(o Hand) {
	h.Notes, h.Shifts, h.Stretches, h.Quick, h.Rushed = h.Notes+o.Notes, h.Shifts+o.Shifts, h.Stretches+o.Stretches, h.Quick+o.Quick, h.Rushed+o.Rushed
}

// HandOf counts over the plans of a work, one a text, or, given, over the plans
// with each player's strings and fingers given.
func HandOf(w *Work, weights *fingering.Weights, given bool) (h Hand) {
	seen := map[string]bool{}
	for _, p := range w.Pieces {
		k := textOf(p)
		if seen[k] && !given {
			continue
		}
		seen[k] = true
		o := fingering.Options{Instrument: instrument.Violin(), Weights: weights, HidePrinted: true}
		if given {
			o.Decided = decided(p)
		}
		h.Add(countHand(fingering.Analyze(p.Score, p.Score.Parts[0], o)))
	}
	return h
}

func decided(p *Piece) map[score.NoteID]fingering.Decision {
	out := map[score.NoteID]fingering.Decision{}
	for id, t := range p.Truth {
		if t.OK {
			out[score.NoteID(id)] = fingering.Decision{Finger: fingering.Use(int8(t.Finger)), String: t.String}
		}
	}
	return out
}

func countHand(st *fingering.Study) (h Hand) {
	h.Shifts = len(st.Shifts)
	for _, f := range st.Findings {
		if f.Kind == "quick-shift" {
			h.Quick++
		}
	}
	for _, s := range st.Shifts {
		if s.Cover != fingering.Silence && math.Abs(s.MM)/1000 > s.Seconds {
			h.Rushed++
		}
	}
	for i := range st.Grips {
		stops := st.Grips[i].Stops
		h.Notes += len(stops)
		for a := range stops {
			for b := range stops[:a] {
				if stops[a].Finger == 0 || stops[b].Finger == 0 {
					continue
				}
				lo, hi := stops[a].Semitone, stops[b].Semitone
				if math.Abs(st.Instrument.Span(min(lo, hi), max(lo, hi))) > st.Instrument.MaxStretch() {
					h.Stretches++
				}
			}
		}
	}
	return h
}
