package study

import (
	"fmt"

	"pochette/internal/form"
	"pochette/internal/harmony"
	"pochette/internal/pace"
)

// harmonyFacts keeps the numbers behind what harmony tells, for a plan of time.
func (rd *Reading) harmonyFacts(st *harmony.Study) {
	f := &rd.facts
	for i := range st.Chords {
		c := &st.Chords[i]
		f.Chords = append(f.Chords, pace.Chord{From: c.From, To: c.To, Tension: c.Tension, Name: fmt.Sprintf("%s in %s", c.Label(), c.Key)})
	}
	for _, c := range st.Cadences {
		f.Cadences = append(f.Cadences, pace.Cadence{At: c.At, Kind: cadenceKind(c.Type), Strength: c.Strength})
	}
	for _, p := range st.Pairs {
		f.Pairs = append(f.Pairs, pace.Pair{Strong: p.Strong, Weak: p.Weak})
	}
}

// formFacts keeps the numbers behind what form tells.
func (rd *Reading) formFacts(st *form.Study) {
	f := &rd.facts
	for _, p := range st.Phrases {
		f.Phrases = append(f.Phrases, pace.Phrase{From: p.From, To: p.To, Arrival: p.Arrival, Sure: p.Sure, Overlaps: p.Overlaps})
	}
	for _, x := range st.Sections {
		f.Sections = append(f.Sections, pace.Section{From: x.From, To: x.To, Name: x.Name, Hard: x.By == form.EdgeRepeat || x.By == form.EdgeDouble || x.By == form.EdgeFinal})
	}
	for _, x := range st.Facts {
		if x.Kind == "dotted-beside-triplets" {
			rd.dotted = append(rd.dotted, fmt.Sprintf("%s Source: %s. Settle it with --dotting 2:1, 3:1 or more.", x.Words.At(form.Player), x.Source))
		}
	}
}
