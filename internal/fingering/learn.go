package fingering

import "pochette/internal/score"

// What learning needs of a Problem: the terms of its nodes and edges, and the
// stops of its states.

// Terms is how many terms there are; see TermNames.
func Terms() int { return int(nTerms) }

// AddNode adds x times the terms of a state to v, which is indexed like TermNames.
func (pr *Problem) AddNode(i, s int, x float64, v []float64) {
	l := &pr.layers[i]
	pr.m.node(&l.states[s], &l.at, &tally{w: &pr.m.w, vals: (*[nTerms]float64)(v), by: x})
}

// AddEdge adds x times the terms of a way between neighbours to v.
func (pr *Problem) AddEdge(i, from, to int, x float64, v []float64) {
	l := &pr.layers[i]
	pr.m.edge(&pr.layers[i-1].states[from], &l.states[to], &l.pass, &tally{w: &pr.m.w, vals: (*[nTerms]float64)(v), by: x})
}

// Reweigh replaces the weights of the problem, in the order of TermNames; the
// lattice stays.
func (pr *Problem) Reweigh(w []float64) {
	copy(pr.m.w[:], w)
	for i := range pr.layers {
		pr.weighNodes(&pr.layers[i])
	}
}

func (pr *Problem) weighNodes(l *layer) {
	l.nodes = make([]float64, len(l.states))
	for s := range l.states {
		t := tally{w: &pr.m.w}
		pr.m.node(&l.states[s], &l.at, &t)
		l.nodes[s] = t.sum
	}
}

// Event is the event of a layer.
func (pr *Problem) Event(i int) int { return pr.layers[i].event }

// Stops of a state: one for each note struck that the state reaches, and the
// held ones.
func (pr *Problem) Stops(i, s int) []Stop {
	st := &pr.layers[i].states[s]
	var out []Stop
	for k := range st.cells {
		out = append(out, pr.stops(st, &st.cells[k])...)
	}
	return out
}

// Lost says how many struck notes a state leaves out.
func (pr *Problem) Lost(i, s int) int { return int(pr.layers[i].states[s].lost) }

// Struck are the notes of a layer.
func (pr *Problem) Struck(i int) []score.NoteID { return pr.Events[pr.layers[i].event].Struck }

// FingerColumns lists, as indices into TermNames, the columns of the tables of
// which every single note pays exactly one cell, whatever finger takes it.
func FingerColumns() (out [][]int) {
	for _, b := range tables {
		if b.first != firstFinger && b.first != firstPace {
			continue
		}
		for c := range b.cols {
			var col []int
			for r := range b.rows {
				col = append(col, int(b.first)+r*len(b.cols)+c)
			}
			out = append(out, col)
		}
	}
	return out
}
