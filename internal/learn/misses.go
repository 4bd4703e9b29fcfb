package learn

import (
	"fmt"

	"pochette/internal/fingering"
	"pochette/internal/instrument"
	"pochette/internal/score"
)

// Misses sorts the notes on which a plan and a player differ.
type Misses struct {
	N         int
	Kinds     map[string]int // by what differs
	Places    map[string]int // ours and theirs, string numeral and position
	Runs      [3]int         // misses in a run of 1-3, of 4-15, of 16 notes or more
	JoinedIn  int            // misses whose predecessor is a miss as well
	PaceNotes [3]int         // notes in quick, moderate, slow surroundings (by their length: to 0.2 s, to 0.7 s, longer)
	PaceRight [3]int
}

// Kinds of difference, from the hand to the finger.
const (
	LowerString  = "they take a lower string in a higher position"
	HigherString = "they take a higher string in a lower position"
	OtherString  = "they take another string, the position no higher for a lower one"
	HigherPlace  = "same string, their hand is higher"
	LowerPlace   = "same string, their hand is lower"
	OtherFinger  = "same string and position, another finger"
	OpenString   = "open string against a stopped one"
	OnlyNumber   = "string and finger agree, the position is numbered otherwise"
	NotTaken     = "no stop of ours"
)

// MissesOf compares a work's plan with its players.
func MissesOf(w *Work, weights *fingering.Weights) *Misses {
	m := &Misses{Kinds: map[string]int{}, Places: map[string]int{}}
	plans := map[string]*fingering.Study{}
	for _, p := range w.Pieces {
		k := textOf(p)
		if plans[k] == nil {
			plans[k] = fingering.Analyze(p.Score, p.Score.Parts[0], fingering.Options{Instrument: instrument.Violin(), Weights: weights, HidePrinted: true})
		}
		m.count(p, plans[k])
	}
	return m
}

func (m *Misses) count(p *Piece, st *fingering.Study) {
	got := map[score.NoteID]*fingering.Stop{}
	for i := range st.Grips {
		for k := range st.Grips[i].Stops {
			if s := &st.Grips[i].Stops[k]; !s.Held {
				got[s.Note] = s
			}
		}
	}
	run := 0
	flush := func() {
		switch {
		case run == 0:
		case run <= 3:
			m.Runs[0] += run
		case run < 16:
			m.Runs[1] += run
		default:
			m.Runs[2] += run
		}
		run = 0
	}
	for id := range p.Truth {
		t := &p.Truth[id]
		if !t.OK {
			continue
		}
		m.N++
		pace := paceOf(p, id)
		m.PaceNotes[pace]++
		s := got[score.NoteID(id)]
		if s != nil && t.Agrees(s) {
			m.PaceRight[pace]++
			flush()
			continue
		}
		if run++; run > 1 {
			m.JoinedIn++
		}
		m.Kinds[kindOf(t, s)]++
		if s != nil {
			m.Places[fmt.Sprintf("%s | %s", place(s.String, s.Finger == 0, s.Position), place(t.String, t.Finger == 0, t.Position))]++
		}
	}
	flush()
}

func place(str int, open bool, pos int) string {
	if open {
		return instrument.Numeral(str) + " open"
	}
	return fmt.Sprintf("%s, %s", instrument.Numeral(str), instrument.PositionName(max(pos, 1)))
}

func paceOf(p *Piece, id int) int {
	sec := float64(p.Score.Parts[0].Notes[id].Dur) / quarter * 60 / tempo
	switch {
	case sec <= 0.2:
		return 0
	case sec <= 0.7:
		return 1
	}
	return 2
}

func kindOf(t *Truth, s *fingering.Stop) string {
	switch {
	case s == nil:
		return NotTaken
	case s.String == t.String && int(s.Finger) == t.Finger:
		return OnlyNumber
	case (s.Finger == 0) != (t.Finger == 0):
		return OpenString
	case t.String > s.String && t.Position > max(1, s.Position):
		return LowerString
	case t.String < s.String && t.Position < max(1, s.Position):
		return HigherString
	case t.String != s.String:
		return OtherString
	case t.Position > max(1, s.Position):
		return HigherPlace
	case t.Position < max(1, s.Position):
		return LowerPlace
	}
	return OtherFinger
}

// Add sums.
func (m *Misses) Add(o *Misses) {
	if m.Kinds == nil {
		m.Kinds, m.Places = map[string]int{}, map[string]int{}
	}
	m.N, m.JoinedIn = m.N+o.N, m.JoinedIn+o.JoinedIn
	for k, v := range o.Kinds {
		m.Kinds[k] += v
	}
	for k, v := range o.Places {
		m.Places[k] += v
	}
	for i := range m.Runs {
		m.Runs[i] += o.Runs[i]
		m.PaceNotes[i] += o.PaceNotes[i]
		m.PaceRight[i] += o.PaceRight[i]
	}
}
