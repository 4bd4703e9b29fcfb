package bowing

import (
	"pochette/internal/score"
	"pochette/internal/timeline"
)

// link says that bow b is played directly after bow a at least once.
type link struct {
	a, b int
	gap  float64 // seconds of silence or plucking between, the least of all times
	jump bool    // over a repeat, an ending or a jump: not neighbours as written
}

// transitions walks the music in the order it is played and notes which strokes
// follow each other. Neighbours on paper that never meet in time (the end of a
// first ending and the second ending) get no link. Measures that are never
// played are linked as written. m.links is in order of first meeting.
func (m *model) transitions() {
	order, complete := timeline.PlayOrder(m.p)
	if !complete {
		m.findings = append(m.findings, score.Finding{Kind: "repeats-too-long", Grade: score.Caution, At: score.Nowhere, To: score.Nowhere,
			Text: "The repeats ask for more playing than is followed here; bow directions were checked over the first part of it only."})
	}
	w := walk{m: m, seen: map[[2]int]int{}, prev: -1, first: -1}
	w.index()
	for k, v := range order {
		w.visit(v.Measure, k > 0 && v.Measure != order[k-1].Measure+1)
	}
	m.last, m.opening = max(w.prev, 0), max(w.first, 0)
	m.linkUnplayed()
}

// walk is the state of one run through the music. clock is performed time in
// ticks at the start of the present visit.
type walk struct {
	m      *model
	seen   map[[2]int]int
	begins [][]int // bows that begin in each measure
	over   []int   // the bow that sounds over the left bar line of each measure, or -1
	first  int
	prev   int
	prevAt score.Tick // performed end of prev
	clock  score.Tick
}

func (w *walk) index() {
	m := w.m
	w.begins = make([][]int, len(m.p.Measures))
	w.over = make([]int, len(m.p.Measures))
	for i := range w.over {
		w.over[i] = -1
	}
	for b := range m.bowed {
		s := m.bow(b)
		w.begins[s.Measure] = append(w.begins[s.Measure], b)
		for i := s.Measure + 1; i < len(w.over) && m.p.Measures[i].Start < s.End(); i++ {
			w.over[i] = b
		}
	}
}

func (w *walk) visit(measure int, jumped bool) {
	ms := &w.m.p.Measures[measure]
	if jumped && w.prev >= 0 {
		w.prevAt = min(w.prevAt, w.clock) // a stroke over the bar line is cut by the jump
		if b := w.over[measure]; b >= 0 && b != w.prev {
			w.meet(b, w.clock, ms, jumped)
		}
	}
	for _, b := range w.begins[measure] {
		w.meet(b, w.clock+w.m.bow(b).Onset-ms.Start, ms, jumped)
	}
	w.clock += ms.Len
}

func (w *walk) meet(b int, at score.Tick, ms *score.Measure, jumped bool) {
	s := w.m.bow(b)
	if w.prev >= 0 {
		gap := w.m.seconds(s.Onset, max(0, at-w.prevAt))
		key := [2]int{w.prev, b}
		if i, ok := w.seen[key]; ok {
			w.m.links[i].gap = min(w.m.links[i].gap, gap)
		} else {
			w.seen[key] = len(w.m.links)
			w.m.links = append(w.m.links, link{w.prev, b, gap, b != w.prev+1 || (jumped && s.Onset == ms.Start)})
		}
	}
	if w.first < 0 {
		w.first = b
	}
	w.prev, w.prevAt = b, w.clock+s.End()-ms.Start
}

// linkUnplayed ties strokes that no playing reaches to their neighbour on paper.
func (m *model) linkUnplayed() {
	reached := make([]bool, len(m.bowed))
	for _, l := range m.links {
		reached[l.b] = true
	}
	for b := 1; b < len(m.bowed); b++ {
		if !reached[b] {
			a, s := m.bow(b-1), m.bow(b)
			m.links = append(m.links, link{a: b - 1, b: b, gap: m.seconds(s.Onset, max(0, s.Onset-a.End()))})
		}
	}
}
