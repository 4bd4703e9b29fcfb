package learn

import (
	"fmt"
	"strings"
)

// Players counts over all pairs of players of one text on which notes they take
// string, position and finger alike.
func Players(w *Work) (pairs, alike int) {
	for i, p := range w.Pieces {
		for _, q := range w.Pieces[:i] {
			if textOf(p) != textOf(q) {
				continue
			}
			for k, t := range p.Truth {
				if u := q.Truth[k]; t.OK && u.OK {
					pairs++
					if t == u {
						alike++
					}
				}
			}
		}
	}
	return pairs, alike
}

// Again compares a player with herself: pairs of places of one piece where a note
// and reach notes on either side have the same pitches and lengths, and how often
// she takes the note alike. What differs there nothing in those notes can tell.
func (p *Piece) Again(reach int) (pairs, alike int) {
	notes := p.Score.Parts[0].Notes
	seen := map[string][]int{}
	for i := reach; i+reach < len(notes); i++ {
		if !p.Truth[i].OK {
			continue
		}
		var b strings.Builder
		for k := i - reach; k <= i+reach; k++ {
			fmt.Fprint(&b, notes[k].Sounding.MIDI(), ":", notes[k].Dur, ":", notes[k].Onset-notes[i].Onset, " ")
		}
		key := b.String()
		for _, j := range seen[key] {
			pairs++
			if p.Truth[i] == p.Truth[j] {
				alike++
			}
		}
		seen[key] = append(seen[key], i)
	}
	return pairs, alike
}
