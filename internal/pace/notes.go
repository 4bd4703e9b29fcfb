package pace

import (
	"cmp"
	"slices"

	"pochette/internal/score"
	"pochette/internal/timeline"
)

// loudness of an event.
type loudness struct {
	level  float64
	terms  []score.Term
	accent bool
}

// notes plays all events of all bars.
func (b *builder) notes() {
	lv := b.levels()
	loud := make([]loudness, len(b.in.Events))
	for i := range b.in.Events {
		loud[i].level, loud[i].terms, loud[i].accent = lv.of(i)
	}
	of := timeline.EventOf(b.in.Part, b.in.Events)
	for v, visit := range b.clock.visits {
		fresh := !b.goesOn(v - 1)
		if fresh {
			b.tails(v, of, loud)
		}
		r := b.eventsOf[visit.Measure]
		for i := r[0]; i < r[1]; {
			j := i
			for j < r[1] && b.in.Events[j].Grace {
				j++
			}
			graces := j - i
			if j < r[1] && !b.in.Events[j].Rest || graces > 0 {
				b.playGroup(v, i, graces, loud, fresh && i == r[0])
			}
			i = max(j+1, i+1)
			if graces > 0 && (j >= r[1] || b.in.Events[j].Onset != b.in.Events[j-1].Onset) {
				i = j // the graces stood alone
			}
		}
	}
	b.trim()
}

// goesOn says that after a played bar the next measure as written is played.
func (b *builder) goesOn(v int) bool {
	vs := b.clock.visits
	return v >= 0 && v+1 < len(vs) && vs[v+1].Measure == vs[v].Measure+1
}

// playGroup plays grace notes and the event they belong to. Slashed ones come before
// the beat, out of the time of the note before; the others take the time of the note
// after them, their written value, at most half of it (treatise of 1756, ch. IX, from
// memory).
func (b *builder) playGroup(v, first, graces int, loud []loudness, fresh bool) {
	ev := b.in.Events
	m := &b.in.Part.Measures[b.clock.visits[v].Measure]
	main := first + graces
	alone := graces > 0 && (main >= len(ev) || ev[main].Measure != m.Index || ev[main].Onset != ev[first].Onset)
	at := ev[first].Onset - m.Start
	beat := b.clock.onset(v, at)
	if alone || graces > 0 && ev[main].Rest {
		b.gracesBefore(v, first, graces, beat, loud)
		if alone {
			return
		}
	} else if graces > 0 {
		before := b.in.Part.Notes[ev[first].Struck[0]].Slash
		if before && beat-b.lastOnset() > 1e-3 && len(b.plan.Notes) > 0 {
			b.gracesBefore(v, first, graces, beat, loud)
		} else {
			beat = b.gracesOn(v, first, graces, beat, loud)
		}
	}
	if e := &ev[main]; !e.Rest {
		b.play(v, main, beat, loud[main], fresh)
	}
}

func (b *builder) lastOnset() float64 {
	if n := len(b.plan.Notes); n > 0 {
		return b.plan.Notes[n-1].Onset
	}
	return 0
}

// longestGrace in seconds, of a note that is played before the beat.
const longestGrace = 0.08

func (b *builder) gracesBefore(v, first, n int, beat float64, loud []loudness) {
	each := min(longestGrace, (beat-b.lastOnset())/2/float64(n))
	if len(b.plan.Notes) == 0 {
		each = min(longestGrace, beat/float64(n))
	}
	if each <= 0 {
		return // no time there is: they are left out
	}
	for k := range n {
		on := beat - each*float64(n-k)
		b.playFor(v, first+k, on, on+each, loud[first+k])
	}
}

// gracesOn plays them on the beat and gives the onset of what follows.
func (b *builder) gracesOn(v, first, n int, beat float64, loud []loudness) float64 {
	ev := b.in.Events
	m := &b.in.Part.Measures[b.clock.visits[v].Measure]
	main := &ev[first+n]
	room := (b.clock.release(v, min(main.Onset-m.Start+main.Dur, m.Len)) - beat) / 2
	sum := 0.0
	lengths := make([]float64, n)
	for k := range n {
		quarters := graceQuarters(b.in.Part.Notes[ev[first+k].Struck[0]].Value)
		lengths[k] = 60 / max(1, b.in.Base.Quarter(main.Onset)*b.clock.ratio[v]) * quarters
		sum += lengths[k]
	}
	squeeze := min(1, room/sum)
	for k := range n {
		next := beat + lengths[k]*squeeze
		b.playFor(v, first+k, beat, next, loud[first+k])
		beat = next
	}
	return beat
}

// valueQuarters are the lengths of the values that grace notes have; an eighth where
// none is given.
var valueQuarters = map[string]float64{"half": 2, "quarter": 1, "eighth": 0.5, "16th": 0.25, "32nd": 0.125, "64th": 0.0625, "128th": 0.03125}

func graceQuarters(v score.Value) float64 {
	if q := valueQuarters[v.Type]; q > 0 {
		return q
	}
	return 0.5
}

// playFor plays an event from one time to another.
func (b *builder) playFor(v, i int, on, off float64, l loudness) {
	from := len(b.plan.Notes)
	b.play(v, i, on, l, false)
	for k := from; k < len(b.plan.Notes); k++ {
		b.plan.Notes[k].Release = off
	}
}

// play strikes an event.
func (b *builder) play(v, i int, on float64, l loudness, fresh bool) {
	e := &b.in.Events[i]
	for k, id := range e.Struck {
		n := b.struck(v, i, id)
		n.Onset, n.Level, n.Terms, n.Accent, n.Chord, n.InChord = on, l.level, l.terms, l.accent, len(e.Struck), k
		n.Begins = n.Begins || fresh
		n.Grace = e.Grace
		if !e.Grace {
			n.Release = b.releaseOf(v, i, id, on)
		}
		b.plan.Notes = append(b.plan.Notes, n)
	}
}

// struck is a note with its stroke.
func (b *builder) struck(v, i int, id score.NoteID) Note {
	x := &b.in.Part.Notes[id]
	n := Note{Note: id, Event: i, Bar: v, Stroke: b.strokeOf[i], Key: x.Sounding.MIDI(), Cents: int(x.Sounding.Cents), Begins: !b.in.Events[i].Slurred,
		Plucked: x.Has(score.NotePizzicato) || x.Has(score.LeftHandPlucked) || x.Has(score.SnapPizzicato)}
	if n.Stroke >= 0 {
		s := &b.in.Strokes[n.Stroke]
		n.Begins = s.First == i
		n.Bow, n.Again = s.Direction, s.Again && n.Begins
		n.Plucked = n.Plucked || s.Plucked
	}
	if !n.Begins && b.dotted1(x) {
		n.Begins, n.Again = true, true // dots under a slur: the bow stops and goes on
	}
	n.Begins = n.Begins || n.Plucked
	return n
}

func (b *builder) dotted1(n *score.Note) bool {
	return n.Has(score.Staccato) || n.Has(score.Staccatissimo) || n.Has(score.DetachedLegato)
}

// sounding shares of a note's length (common practice, no source).
var soundingShare = []struct {
	kind  score.MarkKind
	share float64
}{
	{score.Staccatissimo, 0.4}, {score.Spiccato, 0.45}, {score.Staccato, 0.55}, {score.DetachedLegato, 0.8}, {score.Tenuto, 1},
}

// The silence at a change of bow: a share of the note, at most so many seconds.
const changeShare, changeMost = 0.08, 0.03

// releaseOf is where a struck note ends: as written, ties counted in, as far as the
// bars are played as written; before a breath that is taken from it; shorter by
// articulation.
func (b *builder) releaseOf(v, i int, id score.NoteID, on float64) float64 {
	c, p := b.clock, b.in.Part
	end := b.ends[id]
	w := v
	for end > p.Measures[c.visits[w].Measure].Start+c.length(w) && b.goesOn(w) {
		w++
	}
	at := min(end-p.Measures[c.visits[w].Measure].Start, c.length(w))
	off := c.release(w, at)
	if s := b.taken[place{w, at}]; s > 0 {
		off -= min(s, (off-on)/2)
	}
	amount := b.amountAt(Articulation, b.in.Events[i].Measure, b.o.Amounts.Articulation)
	if amount <= 0 {
		return off
	}
	long := off - on
	gap := 0.0
	if b.attackFollows(i) {
		gap = min(changeMost, changeShare*long)
	}
	for _, s := range soundingShare {
		if p.Notes[id].Has(s.kind) {
			gap = max(gap, (1-s.share)*long)
			if s.share == 1 {
				gap = min(gap, changeMost/2)
			}
			break
		}
	}
	return off - min(amount*gap, 0.9*long)
}

// attackFollows says that what comes after an event is attacked anew, or is silence.
func (b *builder) attackFollows(i int) bool {
	for k := i + 1; k < len(b.in.Events); k++ {
		if e := &b.in.Events[k]; !e.Grace {
			if st := b.strokeOf[k]; st >= 0 {
				return b.in.Strokes[st].First == k
			}
			return e.Rest || !e.Slurred
		}
	}
	return true
}

// tails strikes anew what is tied over into a bar that is reached by a jump: its
// beginning was not played.
func (b *builder) tails(v int, of []int, loud []loudness) {
	m := b.clock.visits[v].Measure
	if v > 0 && b.clock.visits[v-1].Measure+1 == m {
		return
	}
	ids := b.tailOf[m]
	for k, id := range ids {
		i := of[id]
		if i < 0 {
			continue
		}
		on := b.clock.onset(v, 0)
		n := b.struck(v, i, id)
		n.Onset, n.Level, n.Terms, n.Begins, n.Chord, n.InChord = on, loud[i].level, loud[i].terms, true, len(ids), k
		n.Release = b.releaseOf(v, i, id, on)
		b.plan.Notes = append(b.plan.Notes, n)
	}
}

// trim ends a note that is written to end where another begins no later than that one
// begins: grace notes before the beat take its time. It puts the notes in order.
func (b *builder) trim() {
	ns := b.plan.Notes
	sortNotes(ns)
	for i := range ns {
		for k := i + 1; k < len(ns) && k <= i+ns[i].Chord; k++ { // the first that begins later
			if ns[k].Onset > ns[i].Onset {
				if ns[k].Grace {
					ns[i].Release = min(ns[i].Release, ns[k].Onset)
				}
				break
			}
		}
		ns[i].Release = max(ns[i].Release, ns[i].Onset+1e-3)
	}
	if n := len(b.clock.start); n > 0 {
		b.plan.Seconds = b.clock.start[n-1]
	}
}

// sortNotes puts notes in order of onset, chords from the lowest up.
func sortNotes(ns []Note) {
	slices.SortStableFunc(ns, func(x, y Note) int {
		if c := cmp.Compare(x.Onset, y.Onset); c != 0 {
			return c
		}
		return x.InChord - y.InChord
	})
}
