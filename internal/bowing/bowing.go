// Package bowing finds the strokes of a part and the directions the bow takes:
// as written (every slur as printed, directions simply alternate), where that
// comes out the wrong way round and why it matters, and a proposal that rights
// it with the fewest and easiest changes.
//
// The proposal is an exact cheapest assignment of directions to strokes. Marks
// that are printed or decided are hard constraints. The cost is a sum of named
// terms (see Rules): what each stroke wants from the meter, chords and accents,
// and what it costs to follow a stroke by another in the same direction. It is
// strongly weighted rather than lexicographic: no preference below a bar start
// can buy a retake without a rest, and one bar start alone buys only an easy
// one. Printed slurs change only when allowed; Options.Fewest and
// Options.Strict count changes before they weigh anything (see fewest.go).
//
// Repeats and jumps add edges between the strokes that meet there, so that the
// same marks work every time through (see transitions.go, solve.go).
package bowing

import (
	"pochette/internal/score"
	"pochette/internal/timeline"
)

// Direction of a stroke. None: no bow at all (pizzicato, tremolo).
type Direction int8

// The directions.
const (
	None Direction = iota
	Down
	Up
)

func (d Direction) String() string { return [...]string{"none", "down", "up"}[d] }

// Opposite turns the bow round; None stays None.
func (d Direction) Opposite() Direction {
	switch d {
	case Down:
		return Up
	case Up:
		return Down
	}
	return None
}

// Mark is the printed sign of a direction.
func (d Direction) Mark() score.MarkKind {
	if d == Up {
		return score.UpBow
	}
	return score.DownBow
}

// Change tells how a stroke follows the one played before it.
type Change int8

// The ways of following. Alternate also holds across a rest; AfterRest is the
// same direction again with a rest (or plucked notes) between, so that the bow
// has time to travel back; Retake lifts and sets the bow again without a rest;
// Link takes a second articulated stroke in the direction of the first. Split
// begins the second half of a printed slur, Join binds two detached strokes:
// both only with Options.MayChangeSlurs.
const (
	Alternate Change = iota
	Begin
	AfterRest
	Retake
	Link
	Split
	Join
)

func (c Change) String() string {
	return [...]string{"alternate", "begin", "after-rest", "retake", "link", "split", "join"}[c]
}

// Stroke is all notes taken in one bow direction without a change.
type Stroke struct {
	First, Last int // events, inclusive
	Notes       []score.NoteID
	Measure     int // index of the measure in which it begins
	Onset, Dur  score.Tick
	Direction   Direction
	Change      Change
	Fixed       bool         // its direction is printed or decided
	Pizzicato   bool         // plucked, or tremolo: takes no direction
	Why         []score.Term // what this direction costs here; empty where nothing speaks against it
	Use         Use          // how much of the hair it takes
}

// End is the first tick after the stroke.
func (s *Stroke) End() score.Tick { return s.Onset + s.Dur }

// Options of a study.
type Options struct {
	// MayChangeSlurs allows splitting printed slurs and joining detached notes.
	MayChangeSlurs bool
	// Decided directions, by any note of the stroke; they overrule printed marks.
	Decided map[score.NoteID]Direction
	// Weights of the rules; nil for those of the profile.
	Weights *Weights
	// Profile names one of Profiles; "" for common practice. Analyze panics on a
	// name that ProfileNamed does not know.
	Profile string
	// Fewest asks for the fewest changes: of all plans those that leave the fewest
	// runs the wrong way round that are long or do not right themselves, of these the
	// ones with the fewest changes of the printed text (slurs split or added; none
	// unless MayChangeSlurs), then with the fewest retakes, links and openings the
	// other way round, of these the one of least cost. Exactly: fewest.go.
	Fewest bool
	// Strict asks for the print as it stands: no change of the text, and no retake,
	// link or fresh start beyond what marks force. It overrules MayChangeSlurs and
	// Fewest. What comes out wrong is told in the findings.
	Strict bool
	// Alternatives asks for so many of the cheapest plans, the first included.
	Alternatives int
	// Pace of the part; nil for timeline.PaceOf.
	Pace *timeline.Pace
}

// ChangeAt is one place where the proposal asks for something the reader would
// not do by himself.
type ChangeAt struct {
	Kind   Change
	Stroke int // index into Study.Proposed
	At     score.Loc
	Text   string       // one sentence a player would use
	Terms  []score.Term // what the change buys, largest first
	Cost   float64      // of the change itself
	CostOf []score.Term // what Cost is the sum of
	Leave  float64      // how much more the same plan would cost without it, turned round up to the next change
	Chord  bool         // it is there for a chord: that is what it buys most
}

// Study is what Analyze finds.
type Study struct {
	Events   []timeline.Event
	Written  []Stroke
	Proposed []Stroke
	Changes  []ChangeAt
	Plan     score.Plan
	Findings []score.Finding
	// Alternatives are the cheapest plans, cheapest first, as many as were asked
	// for; the first costs what the proposal costs.
	Alternatives []Alternative
}

// Alternative is another plan: its strokes, its cost by the weights, and what it
// changes: slurs split or added, retakes and links.
type Alternative struct {
	Strokes     []Stroke
	Cost        float64
	Text, Signs int
}

// Analyze studies one part. It never fails: what is wrong with the printed
// marks, or too long to solve at once, is a finding. Time grows linearly with
// the number of strokes for a fixed number of open repeats (see solve.go).
func Analyze(sc *score.Score, p *score.Part, o Options) *Study {
	m := newModel(sc, p, o)
	st := &Study{Events: m.events}
	if len(p.Measures) == 0 || len(m.bowed) == 0 {
		st.Written, st.Proposed = m.strokes, m.strokes
		st.Findings = m.findings
		return st
	}
	m.asWritten()
	m.findBinds()
	states := m.best()
	st.Alternatives = m.alternatives()
	m.fill(st, states)
	return st
}

// fill makes a study of one state for each bow.
func (m *model) fill(st *Study, states []int) {
	st.Written = m.writtenStrokes()
	st.Proposed = m.proposedStrokes(states)
	st.Plan = m.plan(states, st.Proposed)
	st.Changes = m.changes(states, st)
	m.resolveImplied(st)
	m.wrongWay(st)
	m.repeatFindings(st)
	m.seeUse(st)
	st.Findings = m.findings
}

// best solves in the mode that is asked for.
func (m *model) best() []int {
	m.setMode()
	return m.solve(m.problem())
}

// alternatives ranks the plans of the mode in force.
func (m *model) alternatives() []Alternative {
	if m.o.Alternatives <= 0 {
		return nil
	}
	var out []Alternative
	for _, numbers := range solveBest(m.problem(), m.dropped, m.o.Alternatives) {
		states := m.decode(numbers)
		a := Alternative{Strokes: m.proposedStrokes(states)}
		a.Cost = m.plan(states, a.Strokes).Cost
		for _, s := range a.Strokes {
			switch s.Change {
			case Split:
				a.Text++
			case Retake, Link:
				a.Signs++
			}
		}
		for b, s := range states {
			if g := m.bindAt(b, s); g != nil && g.first == b {
				a.Text++
			}
		}
		out = append(out, a)
	}
	return out
}
