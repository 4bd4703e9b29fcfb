package learn

import (
	"pochette/internal/fingering"
	"pochette/internal/instrument"
	"pochette/internal/score"
)

// Agreement counts notes on which string, position, finger and all three agree
// with a player's; Stop is string and finger.
type Agreement struct{ N, String, Position, Finger, All, Stop int }

// Add sums.
func (a *Agreement) Add(b Agreement) {
	a.N, a.String, a.Position, a.Finger, a.All, a.Stop = a.N+b.N, a.String+b.String, a.Position+b.Position, a.Finger+b.Finger, a.All+b.All, a.Stop+b.Stop
}

// Note counts one note.
func (a *Agreement) Note(t Truth, str, pos, fin int) {
	if !t.OK {
		return
	}
	a.N++
	s, p, f := str == t.String, samePosition(t.Position, pos) || t.Finger == 0 && fin == 0, fin == t.Finger
	for _, c := range []struct {
		ok bool
		n  *int
	}{{s, &a.String}, {p, &a.Position}, {f, &a.Finger}, {s && p && f, &a.All}, {s && f, &a.Stop}} {
		if c.ok {
			*c.n++
		}
	}
}

// Compare counts a plan against a player.
func Compare(p *Piece, st *fingering.Study) (a Agreement) {
	got := map[score.NoteID]*fingering.Stop{}
	for i := range st.Grips {
		for k := range st.Grips[i].Stops {
			if s := &st.Grips[i].Stops[k]; !s.Held {
				got[s.Note] = s
			}
		}
	}
	for id, t := range p.Truth {
		s := got[score.NoteID(id)]
		if s == nil {
			a.Note(t, -1, -1, -1)
			continue
		}
		a.Note(t, s.String, s.Position, int(s.Finger))
	}
	return a
}

// Measure fingers every text of a work once and compares it with its players.
func Measure(w *Work, weights *fingering.Weights) (a Agreement) {
	plans := map[string]*fingering.Study{}
	for _, p := range w.Pieces {
		k := textOf(p)
		if plans[k] == nil {
			plans[k] = fingering.Analyze(p.Score, p.Score.Parts[0], fingering.Options{Instrument: instrument.Violin(), Weights: weights, HidePrinted: true})
		}
		a.Add(Compare(p, plans[k]))
	}
	return a
}

// samePosition: the sets have no half position; players number it with the first.
func samePosition(theirs, ours int) bool { return theirs == max(ours, 1) }
