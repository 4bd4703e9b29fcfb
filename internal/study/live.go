package study

import (
	"cmp"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"

	"pochette/internal/bowing"
	"pochette/internal/decide"
	"pochette/internal/fingering"
	"pochette/internal/score"
	"pochette/internal/technique/joint"
	"pochette/internal/timeline"
)

// Live is a study that is kept at hand while decisions come and go: the solver
// stays, and only what a decision reaches is worked out again. It is not safe for
// concurrent use.
type Live struct {
	*Study
	// Print is the part as the source has it; Study.Part differs from it by the
	// slurs that were decided.
	Print *score.Part

	request Request
	printed *score.Score
	decoded []score.Finding                 // of reading the file
	bases   []*base                         // the one in use in front
	planned map[score.NoteID]decide.Settled // what the plan obeys; nil before the first
	wanted  Wanted                          // what it was made of
}

// base is a solver that was laid out with some decisions, and where it is now.
type base struct {
	score   *score.Score
	part    *score.Part
	played  *score.Part
	slurs   []score.SlurChange
	solver  *joint.Solver
	baked   map[score.NoteID]decide.Settled
	decided map[score.NoteID]decide.Settled // what it obeys, baked ones included
}

// keptBases is how many solvers are kept, so that a step back over a slur or a lock
// finds the one from before.
const keptBases = 3

// ErrDecided wraps the reason why a decision cannot be obeyed.
var ErrDecided = errors.New("this cannot be taken so")

// freshDecisions is how many of the newest decisions a solver takes one by one, so
// that the next steps back are quick; older ones are laid out with the part.
const freshDecisions = 12

// OpenLive reads a file as Analyze does, and plans nothing yet: Set does. The
// decisions of the request are not looked at.
func OpenLive(r Request) (*Live, error) {
	s, err := opened(r)
	if err != nil {
		return nil, err
	}
	s.Reading.read(false)
	r.Data = nil // the source has it
	l := &Live{Study: s, Print: s.Part, request: r, printed: s.Score, decoded: s.Findings}
	s.Findings = nil
	return l, nil
}

// Wanted is what a plan has to obey.
type Wanted struct {
	// Decided is what a person settled: it is printed, and findings tell of it.
	Decided map[score.NoteID]decide.Settled
	// Held is obeyed too, where nothing is decided, without a word or a sign.
	Held map[score.NoteID]decide.Settled
	// Order names notes of the newest decisions, the newest last.
	Order []score.NoteID
	Slurs []score.SlurChange
}

// all are the decisions that the solver is asked to obey.
func (w *Wanted) all() map[score.NoteID]decide.Settled {
	out := maps.Clone(w.Held)
	if out == nil {
		out = map[score.NoteID]decide.Settled{}
	}
	for id, d := range w.Decided {
		held := out[id]
		if d.Finger == nil && d.Position == nil && d.String == 0 {
			d.Finger, d.String, d.Position = held.Finger, held.String, held.Position
		}
		if d.Bow == "" {
			d.Bow = held.Bow
		}
		out[id] = d
	}
	return out
}

// Set plans anew. Where what is wanted leaves no plan the error wraps ErrDecided and
// nothing is changed. It is quick where few decisions differ from those before.
func (l *Live) Set(w Wanted) error {
	decided := w.all()
	b, err := l.baseFor(&w, decided)
	if err != nil {
		return err
	}
	if err := b.steps(decided, w.Order); err != nil {
		return errors.Join(err, l.back(b))
	}
	before := l.Study
	l.use(b)
	s := *l.Study
	s.Score, s.Part, s.Decided = b.score, b.part, w.Decided
	l.follow(s, b)
	if id, ok := l.disobeyed(decided); !ok && l.planned != nil {
		l.Study = before
		err := fmt.Errorf("%w: no hand can take %s in %s with %s", ErrDecided, l.Print.Notes[id].Sounding.Name(), timeline.AtNote(l.Print, id), lowered(joint.DecisionText(jointDecision(decided[id]))))
		return errors.Join(err, l.back(b))
	}
	l.planned, l.wanted = decided, w
	return nil
}

// use brings a base to the front.
func (l *Live) use(b *base) {
	l.bases = slices.DeleteFunc(l.bases, func(o *base) bool { return o == b })
	l.bases = slices.Insert(l.bases, 0, b)
	l.bases = l.bases[:min(len(l.bases), keptBases)]
}

// back brings a base from a plan that was refused to the one that stands.
func (l *Live) back(b *base) error {
	if l.planned == nil {
		return nil
	}
	if !sameSlurs(b.slurs, l.wanted.Slurs) || !b.serves(l.planned) {
		l.bases = slices.DeleteFunc(l.bases, func(o *base) bool { return o == b })
		var err error
		if b, err = l.baseFor(&l.wanted, l.planned); err != nil {
			return err
		}
	}
	if err := b.steps(l.planned, l.wanted.Order); err != nil {
		return err
	}
	l.use(b)
	return nil
}

func lowered(s string) string { return strings.ToLower(s[:1]) + s[1:] }

// disobeyed finds a note whose decision is new and that the plan does not take so:
// the solver passes over some that no hand can obey, as it does for files.
func (l *Live) disobeyed(decided map[score.NoteID]decide.Settled) (score.NoteID, bool) {
	is := map[score.NoteID]*fingering.Stop{}
	for i := range l.Hand.Grips {
		for k := range l.Hand.Grips[i].Stops {
			if st := &l.Hand.Grips[i].Stops[k]; !st.Held {
				is[st.Note] = st
			}
		}
	}
	for _, id := range slices.Sorted(maps.Keys(decided)) {
		d := decided[id]
		if was, ok := l.planned[id]; ok && sameDecision(was, d) || d.Finger == nil && d.String == 0 && d.Position == nil {
			continue
		}
		st := is[id]
		if st == nil || d.Finger != nil && !l.takes(st, *d.Finger) || d.String != 0 && st.String != d.String || d.Position != nil && st.Position != *d.Position {
			return id, false
		}
	}
	return 0, true
}

// baseFor finds a solver that can take the decisions one by one, or lays out a new one.
func (l *Live) baseFor(w *Wanted, decided map[score.NoteID]decide.Settled) (*base, error) {
	for _, b := range l.bases {
		if sameSlurs(b.slurs, w.Slurs) && b.serves(decided) {
			return b, nil
		}
	}
	return l.layOut(w, decided)
}

// serves says that all baked decisions stand still, and that not so much is new that
// a new solver would be quicker.
func (b *base) serves(decided map[score.NoteID]decide.Settled) bool {
	for id, d := range b.baked {
		if now, ok := decided[id]; !ok || !sameDecision(d, now) {
			return false
		}
	}
	differ := 0
	for id, d := range decided {
		if was, ok := b.decided[id]; !ok || !sameDecision(was, d) {
			differ++
		}
	}
	return differ <= 2*freshDecisions
}

func sameDecision(a, b decide.Settled) bool {
	same := func(x, y *int8) bool { return x == nil && y == nil || x != nil && y != nil && *x == *y }
	pos := a.Position == nil && b.Position == nil || a.Position != nil && b.Position != nil && *a.Position == *b.Position
	return same(a.Finger, b.Finger) && a.String == b.String && pos && a.Bow == b.Bow
}

func sameSlurs(a, b []score.SlurChange) bool {
	return slices.EqualFunc(a, b, func(x, y score.SlurChange) bool {
		return slices.Equal(x.Remove, y.Remove) && slices.Equal(x.Add, y.Add)
	})
}

// steps brings the solver from what it obeys to other decisions.
func (b *base) steps(now map[score.NoteID]decide.Settled, order []score.NoteID) error {
	for _, id := range slices.Sorted(maps.Keys(b.decided)) {
		if _, ok := now[id]; !ok {
			b.solver.Undo(id)
			delete(b.decided, id)
		}
	}
	for _, id := range inOrder(now, order) {
		d := now[id]
		if old, ok := b.decided[id]; ok && sameDecision(old, d) {
			continue
		}
		if _, err := b.solver.Decide(id, jointDecision(d)); err != nil {
			return fmt.Errorf("%w: %w", ErrDecided, err)
		}
		b.decided[id] = d
	}
	return nil
}

// inOrder lists the decided notes, those of order last and as there.
func inOrder(decided map[score.NoteID]decide.Settled, order []score.NoteID) []score.NoteID {
	rank := map[score.NoteID]int{}
	for i, id := range order {
		rank[id] = i + 1
	}
	out := slices.Collect(maps.Keys(decided))
	slices.SortFunc(out, func(a, b score.NoteID) int { return cmp.Or(rank[a]-rank[b], int(a-b)) })
	return out
}

// layOut makes a new solver. All but the newest decisions are laid out with it.
func (l *Live) layOut(w *Wanted, decided map[score.NoteID]decide.Settled) (*base, error) {
	b := &base{slurs: w.Slurs, baked: map[score.NoteID]decide.Settled{}}
	if err := l.applySlurs(b); err != nil {
		return nil, err
	}
	ids := inOrder(decided, w.Order)
	for _, id := range ids[:max(0, len(ids)-freshDecisions)] {
		b.baked[id] = decided[id]
	}
	b.played = plucked(b.part)
	s := *l.Study
	s.Decided = b.baked
	b.solver = joint.NewSolver(b.score, b.played, joint.Options{Bow: s.bowOptions(l.request), Hand: s.handOptions(l.request)})
	if b.solver.Plan() == nil {
		return nil, fmt.Errorf("%w: the signs leave no plan", ErrDecided)
	}
	b.decided = maps.Clone(b.baked)
	return b, nil
}

// applySlurs gives the base a part with its slurs changed.
func (l *Live) applySlurs(b *base) error {
	b.score, b.part = l.printed, l.Print
	if len(b.slurs) == 0 {
		return nil
	}
	gone := map[int]bool{}
	p := *l.Print
	p.Slurs = nil
	for _, c := range b.slurs {
		for _, i := range c.Remove {
			if i < 0 || i >= len(l.Print.Slurs) {
				return fmt.Errorf("%w: the part has no slur %d", ErrDecided, i)
			}
			gone[i] = true
		}
		p.Slurs = append(p.Slurs, c.Add...)
	}
	for i, sl := range l.Print.Slurs {
		if !gone[i] {
			p.Slurs = append(p.Slurs, sl)
		}
	}
	slices.SortStableFunc(p.Slurs, func(a, b score.Slur) int { return cmp.Or(int(a.Start-b.Start), int(a.End-b.End)) })
	sc := *l.printed
	sc.Parts = slices.Clone(sc.Parts)
	sc.Parts[l.PartIndex] = &p
	b.score, b.part = &sc, &p
	return nil
}

// follow fills the study from the solver's plan, as Analyze does.
func (l *Live) follow(s Study, b *base) {
	s.Joint = b.solver.Plan()
	s.Bow, s.Hand = s.Joint.BowStudy(), s.Joint.HandStudy()
	s.Findings = slices.Clone(l.decoded)
	s.follow(l.request, b.played)
	s.compared = func() *Compared { return &Compared{} }
	l.Study = &s
}

// AlternativeIn is the cheapest plan that a player would call different between
// two measures; false where there is none.
func (l *Live) AlternativeIn(first, last int) (Other, bool) {
	a, ok := l.bases[0].solver.AlternativeIn(first, last)
	if !ok {
		return Other{}, false
	}
	return Other{a, a.Otherwise(l.Joint), a.Beats(l.Joint), a.Changes(l.Joint)}, true
}

// Free is a second study of the same print with no decisions: the proposal.
func (l *Live) Free() (*Live, error) {
	s := *l.Study
	f := &Live{Study: &s, Print: l.Print, request: l.request, printed: l.printed, decoded: l.decoded}
	return f, f.Set(Wanted{})
}

// DecisionOf is what a settled note asks of the solver.
func DecisionOf(d decide.Settled) joint.Decision { return jointDecision(d) }

// FingersOfAll are the proposed fingers of every note.
func (l *Live) FingersOfAll() []score.NoteMark {
	return withAll(fingering.Needed(l.Hand), l.Hand.Plan.Marks)
}

// Title of the piece, "Untitled" where the file has none.
func (l *Live) Title() string { return l.title() }

// StrokeOf gives for each event its stroke, -1 for none.
func StrokeOf(b *bowing.Study) []int {
	strokes, _ := strokeOfEvents(b)
	return strokes
}
