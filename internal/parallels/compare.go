package parallels

import (
	"slices"
	"strings"

	"pochette/internal/score"
)

// compare lists all differences of a passage.
func (r *reader) compare(p *Passage, index int) []Difference {
	c := &comparison{r: r, p: p, index: index}
	c.rhythms()
	for i, col := range p.cols {
		if col.both() {
			c.notes(i, col)
		}
	}
	c.slurs()
	return c.out
}

type comparison struct {
	r     *reader
	p     *Passage
	index int
	out   []Difference
}

// add records a difference at a column. A side without a note there gets the last one
// before.
func (c *comparison) add(k Aspect, col int, inA, inB string) {
	a, b := c.sides(col)
	if inA == "" {
		inA = "none"
	}
	if inB == "" {
		inB = "none"
	}
	c.out = append(c.out, Difference{Passage: c.index, Aspect: k, A: c.r.steps[a].note, B: c.r.steps[b].note, InA: inA, InB: inB, colA: a, colB: b, col: col,
		edge: col < c.p.lead || col >= len(c.p.cols)-c.p.trail})
}

func (c *comparison) sides(col int) (a, b int) {
	a, b = -1, -1
	for i := col; i >= 0 && (a < 0 || b < 0); i-- { // the first column has both
		if a < 0 {
			a = c.p.cols[i].a
		}
		if b < 0 {
			b = c.p.cols[i].b
		}
	}
	return a, b
}

// notes compares what stands on two notes struck at the same moment.
func (c *comparison) notes(i int, col column) {
	x, y := &c.r.steps[col.a], &c.r.steps[col.b]
	switch {
	case y.dia-x.dia != c.p.Shift.Diatonic && y.key-x.key == c.p.Shift.Chromatic && c.p.unmoved():
		c.add(PitchAspect, i, "written "+c.r.name(col.a), c.r.name(col.b))
	case y.dia-x.dia != c.p.Shift.Diatonic:
		c.add(PitchAspect, i, c.r.name(col.a), c.carried(col))
	case !c.p.answers(x, y):
		c.add(Accidental, i, c.r.name(col.a), c.carried(col))
	}
	pairs := []struct {
		k    Aspect
		a, b string
	}{{Articulation, x.articulate, y.articulate}, {Ornament, x.ornament, y.ornament}, {Chord, x.under, y.under}, {Bow, x.bow, y.bow}, {Dynamic, x.dynamic, y.dynamic}}
	for _, v := range pairs {
		if v.a != v.b {
			c.add(v.k, i, v.a, v.b)
		}
	}
	if c.p.Shift.Diatonic == 0 && c.p.Shift.Chromatic == 0 && x.finger != y.finger {
		c.add(Finger, i, x.finger, y.finger)
	}
}

func (p *Passage) unmoved() bool { return p.Shift.Diatonic == 0 && p.Shift.Chromatic == 0 }

// answers says that one note, at the staff place that the transposition asks for,
// answers the other: with the same alteration against its signature (as a tonal answer
// has), or at the same number of semitones as most notes (a real one). Unmoved notes
// answer by their semitones.
func (p *Passage) answers(x, y *step) bool {
	real := y.key-x.key == p.Shift.Chromatic
	if p.unmoved() && !p.Tonal {
		return real
	}
	return real || x.relative == y.relative
}

// carried names the note of the other place, and what it would be in this one, so that
// a difference of an accidental is seen to be one where the places are transposed.
func (c *comparison) carried(col column) string {
	name := c.r.name(col.b)
	if c.p.Shift.Diatonic == 0 && c.p.Shift.Chromatic == 0 {
		return name
	}
	return name + " (here it would be " + c.r.carry(c.p, &Difference{colA: col.a, colB: col.b}, true).String() + ")"
}

func (r *reader) written(id score.NoteID) string { return r.p.Notes[id].Written.String() }

func (r *reader) name(i int) string { return r.p.Notes[r.steps[i].note].Written.String() }

// rhythms joins neighbouring columns whose lengths differ into one difference.
func (c *comparison) rhythms() {
	cols := c.p.cols
	for i := 0; i < len(cols); i++ {
		if !c.uneven(cols[i]) {
			continue
		}
		j := i
		for j+1 < len(cols) && c.uneven(cols[j+1]) {
			j++
		}
		c.add(Rhythm, i, c.lengths(i, j, true), c.lengths(i, j, false))
		i = j
	}
}

func (c *comparison) uneven(col column) bool {
	return !col.both() || c.r.steps[col.a].dur != c.r.steps[col.b].dur
}

// lengths names the lengths of one side from column i to j.
func (c *comparison) lengths(i, j int, a bool) string {
	var out []string
	for ; i <= j; i++ {
		k := c.p.cols[i].b
		if a {
			k = c.p.cols[i].a
		}
		if k >= 0 {
			out = append(out, c.r.length(c.r.steps[k].dur))
		}
	}
	return strings.Join(out, " ")
}

// extent is a slur inside a passage as columns; -1 and beyond stand for ends outside.
type extent struct{ from, to int }

const beyond = 1 << 30

// slurs compares the slurs. What begins with the last column or ends with the first
// belongs to what is around the passage.
func (c *comparison) slurs() {
	a, b := c.extents(true), c.extents(false)
	a, b = without(a, b), without(b, a)
	for _, g := range groups(a, b) {
		from := min(first(g[0]), first(g[1]))
		to := max(last(g[0]), last(g[1]))
		at := from
		if from < 0 {
			at = min(to, len(c.p.cols)-1)
		}
		c.add(Slur, at, c.slurText(g[0], true), c.slurText(g[1], false))
	}
}

func first(e []extent) int {
	if len(e) == 0 {
		return beyond
	}
	return e[0].from
}

func last(e []extent) int {
	m := -1
	for _, x := range e {
		m = max(m, x.to)
	}
	return m
}

// extents gives the slurs of one side that begin or end inside the passage.
func (c *comparison) extents(a bool) []extent {
	col := c.columnsOf(a)
	inA, inB := ends(c.p.cols)
	lo, hi := inA[0], inA[1]
	if !a {
		lo, hi = inB[0], inB[1]
	}
	var out []extent
	for _, s := range c.r.slursWithin(lo, hi) {
		e := extent{-1, beyond}
		if s.from >= lo {
			e.from = col[s.from-lo]
		}
		if s.to <= hi {
			e.to = col[s.to-lo]
		}
		if e.from < 0 && e.to <= 0 || e.to == beyond && e.from >= len(c.p.cols)-1 || e.from < 0 && e.to == beyond || e.from == e.to {
			continue
		}
		out = append(out, e)
	}
	return out
}

// columnsOf gives for each step of one side its column; a step that the other side
// has not is counted with the last moment that both have, so that a slur over a note
// more does not differ for that reason.
func (c *comparison) columnsOf(a bool) []int {
	var out []int
	both := 0
	for i, k := range c.p.cols {
		if k.both() {
			both = i
		}
		if a && k.a >= 0 || !a && k.b >= 0 {
			out = append(out, both)
		}
	}
	return out
}

// longestSlur bounds how far back a slur that reaches into a passage may begin, in slurs.
const longestSlur = 8

// slursWithin gives the slurs with an end between the steps lo and hi.
func (r *reader) slursWithin(lo, hi int) []slur {
	at, _ := slices.BinarySearchFunc(r.slurs, lo, func(s slur, v int) int { return s.from - v })
	var out []slur
	for i := max(0, at-longestSlur); i < len(r.slurs) && r.slurs[i].from <= hi; i++ {
		if r.slurs[i].to >= lo {
			out = append(out, r.slurs[i])
		}
	}
	return out
}

func without(a, b []extent) []extent {
	var out []extent
	for _, e := range a {
		if !slices.Contains(b, e) {
			out = append(out, e)
		}
	}
	return out
}

// groups joins slurs of both sides that overlap: one slur over four notes against two
// over two each is one difference.
func groups(a, b []extent) [][2][]extent {
	type one struct {
		extent
		side int
	}
	var all []one
	for _, e := range a {
		all = append(all, one{e, 0})
	}
	for _, e := range b {
		all = append(all, one{e, 1})
	}
	slices.SortStableFunc(all, func(x, y one) int { return x.from - y.from })
	var out [][2][]extent
	end := -1
	for i, e := range all {
		if i == 0 || e.from >= end {
			out = append(out, [2][]extent{})
			end = -1
		}
		g := &out[len(out)-1]
		g[e.side] = append(g[e.side], e.extent)
		end = max(end, e.to)
	}
	return out
}

// slurText says what slurs of one side cover.
func (c *comparison) slurText(es []extent, a bool) string {
	var out []string
	for _, e := range es {
		switch {
		case e.from < 0:
			out = append(out, "a slur from before to "+c.noteAt(e.to, a))
		case e.to == beyond:
			out = append(out, "a slur from "+c.noteAt(e.from, a)+" on")
		default:
			out = append(out, "a slur from "+c.noteAt(e.from, a)+" to "+c.noteAt(e.to, a))
		}
	}
	return strings.Join(out, " and ")
}

func (c *comparison) noteAt(col int, a bool) string {
	x, y := c.sides(min(col, len(c.p.cols)-1))
	if a {
		return c.r.name(x)
	}
	return c.r.name(y)
}

// length names a length, see lengthName.
func (r *reader) length(d score.Tick) string {
	name, ok := r.lengthNames[d]
	if !ok {
		name = lengthName(d, r.sc.Quarter)
		r.lengthNames[d] = name
	}
	return name
}
