package harmony

import (
	"sort"

	"pochette/internal/score"
)

// silent says that nothing sounds in a segment.
func (g *grid) silent(seg Segment) bool {
	for u := seg.From; u < seg.To; u++ {
		if !g.units[u].empty {
			return false
		}
	}
	return true
}

// lowestChordTone finds the lowest tone of a chord that sounds in [from, to).
// late says that it is struck after from.
func (g *grid) lowestChordTone(c Chord, from, to score.Tick) (id score.NoteID, late bool) {
	notes := g.p.Notes
	id = score.NoNote
	at := sort.Search(len(notes), func(i int) bool { return notes[i].Onset >= from })
	see := func(i int) {
		n := &notes[i]
		if n.Rest || n.Grace || n.Cue || n.Unpitched || g.ends[i] <= from || n.TieFrom != score.NoNote && n.Onset > from {
			return
		}
		if c.role(ToneOf(n.Sounding)) < foreign && (id == score.NoNote || n.Sounding.MIDI() < notes[id].Sounding.MIDI()) {
			id, late = score.NoteID(i), n.Onset > from
		}
	}
	for i := at - 1; i >= 0 && i >= at-12; i-- { // what was struck before and still sounds
		see(i)
	}
	for i := at; i < len(notes) && notes[i].Onset < to; i++ {
		see(i)
	}
	return id, late
}

// under says that another tone of the chord sounds together with a note at a tick.
func (g *grid) under(c Chord, id score.NoteID, at score.Tick) bool {
	notes := g.p.Notes
	own := ToneOf(notes[id].Sounding)
	i := sort.Search(len(notes), func(i int) bool { return notes[i].Onset > at }) - 1
	for back := 0; i >= 0 && back < 12; i, back = i-1, back+1 {
		n := &notes[i]
		if t := ToneOf(n.Sounding); sounds(n) && g.ends[i] > at && t != own && c.role(t) < foreign {
			return true
		}
	}
	return false
}

// second is the best reading of a segment other than the one chosen.
type second struct {
	State
	gap float64
}

// joinScore is the score of joinFeatures.
func (s *scored) joinScore(a, b State, at int) float64 {
	v := 0.0
	s.joinFeatures(a, b, at, func(i int, x float64) { v += s.w.w[i] * x })
	return v
}

// seconds finds for each segment the best other chord or key with the segments
// around it left as they are. A chord with the same notes in another key counts
// only where the key around allows it, as its joins tell.
func (s *scored) seconds(path []Segment) []second {
	out := make([]second, len(path))
	unit, acc, whole := make([]float64, len(s.chords)), make([]float64, len(s.chords)), make([]float64, len(s.chords))
	key, keyAcc := make([]float64, len(s.keys)), make([]float64, len(s.keys))
	f := s.flat()
	states := make([]float64, f.n)
	for i, seg := range path {
		clear(acc)
		clear(keyAcc)
		clear(states)
		var sp span
		for u := seg.To - 1; u >= seg.From; u-- {
			s.chordUnit(u, unit)
			s.keyUnit(u, key)
			for c, v := range unit {
				acc[c] += v
			}
			for k, v := range key {
				keyAcc[k] += v
			}
			if s.gain != nil {
				for y, v := range s.gain.state[u] {
					states[y] += v
				}
			}
			if u == seg.To-1 {
				sp = startSpan(&s.g.units[u])
			} else {
				sp = sp.before(&s.g.units[u])
			}
		}
		s.wholeScores(sp, acc, whole)
		out[i] = s.second(path, i, &sp, whole, keyAcc, func(y State) float64 { return states[f.at[y.Key]+y.Fn] })
	}
	return out
}

func (s *scored) second(path []Segment, i int, sp *span, whole, keyAcc []float64, won func(State) float64) second {
	seg := path[i]
	value := func(y State) float64 {
		m, c := mode(s.keys[y.Key].Minor), s.chord[y.Key][y.Fn]
		v := whole[c] + keyAcc[y.Key] + s.number[m][sp.degree(s.keys[y.Key])][y.Fn] + won(y)
		if i > 0 {
			v += s.joinScore(path[i-1].State, y, seg.From)
		} else {
			s.openFeatures(y, func(f int, x float64) { v += s.w.w[f] * x })
		}
		if i < len(path)-1 {
			v += s.joinScore(y, path[i+1].State, seg.To)
		} else {
			s.closeFeatures(y, func(f int, x float64) { v += s.w.w[f] * x })
		}
		return v
	}
	own := value(seg.State)
	best := second{gap: 1e18}
	for k, row := range s.chord {
		if k != seg.Key && !s.beside(path, i, k) {
			continue
		}
		for f := range row {
			y := State{k, f}
			if y == seg.State {
				continue
			}
			if g := own - value(y); g < best.gap {
				best = second{y, g}
			}
		}
	}
	return best
}

// beside says that key k is that of a neighbouring segment.
func (s *scored) beside(path []Segment, i, k int) bool {
	return i > 0 && path[i-1].Key == k || i < len(path)-1 && path[i+1].Key == k
}
