package fingering

import (
	"fmt"
	"slices"

	"pochette/internal/instrument"
	"pochette/internal/pitch"
	"pochette/internal/score"
	"pochette/internal/timeline"
)

// maxHeld bounds how many sounding notes the search tries to keep; an
// instrument of four strings can hold three.
const maxHeld = 4

// maxStruck bounds the notes of a chord that are tried together; of a larger one
// perString are for each string, those that lie lowest on it.
const (
	maxStruck = 8
	perString = 3
)

// maxLeavings bounds the grips of a chord of which notes are left out: the ways to
// leave out grow without end, and so would the search; the least costly by themselves
// are kept. Chords that can be played keep all their grips.
const maxLeavings = 200

// fill makes the grips of one event. Marks that no grip can obey are dropped
// with a finding, notes that no grip can reach are left out with one; the search
// goes on around them.
func (pr *Problem) fill(l *layer, e *timeline.Event, r *reader) {
	struck := pr.tones(l, e, r)
	var states []state
	if len(struck) > 0 {
		states = pr.withHeld(struck, e)
	}
	if len(states) == 0 && len(struck) > 0 {
		if merged := pr.mergeUnisons(l, struck); len(merged) < len(struck) {
			struck = merged
			states = pr.withHeld(struck, e)
		}
	}
	if len(states) == 0 && len(struck) > 0 {
		states = pr.relax(l, struck, e, r)
	}
	if len(states) == 0 && len(struck) > 0 {
		states = pr.leaveOut(l, struck, e)
	}
	if len(states) == 0 {
		states = []state{{hand: instrument.Hand{Place: -1}, open: true, lo: 1, hi: int8(pr.o.Instrument.Strings()), lost: int8(min(100, len(struck)))}}
	}
	l.states = states
	pr.alive = map[score.NoteID]bool{}
	for i := range states {
		for _, c := range states[i].cells {
			pr.alive[c.note] = true
		}
	}
}

// tones of an event: what is out of range goes to l.lost, an artificial
// harmonic written as two notes becomes one.
func (pr *Problem) tones(l *layer, e *timeline.Event, r *reader) []tone {
	in := &pr.o.Instrument
	low, high := in.Range()
	var out []tone
	for _, id := range e.Struck {
		n := &pr.p.Notes[id]
		t := tone{note: id, key: n.Sounding.MIDI(), harmonic: n.Has(score.Harmonic), trill: n.Has(score.Trill), plucked: n.Has(score.LeftHandPlucked), want: r.wantOf(id), steps: pr.steps(n.Sounding)}
		if base := len(out) - 1; t.harmonic && base >= 0 && artificial(&out[base], &t) {
			out[base].touchUp, out[base].harmonic = t.key-out[base].key, false
			if out[base].want.none() {
				out[base].want.str, out[base].want.by[1] = t.want.str, t.want.by[1]
			}
			continue
		}
		switch {
		case t.key < low, t.key > high && !t.harmonic:
			pr.beyond(l, id, t.key)
		default:
			if t.harmonic && t.key > high+24 {
				t.harmonic = false
			}
			if t.want.fingers == 1 && (t.harmonic || t.want.by[0] == score.Printed && pr.zeroIsHarmonic(&t)) {
				t.want.fingers, t.sounds, t.harmonic = 0, !t.harmonic, true
			}
			t.mayTouch = pr.mayTouch(&t, e.Struck, e.Held)
			l.at.octaves = l.at.octaves || t.mayTouch
			out = append(out, t)
		}
	}
	if pr.struck == nil {
		pr.struck = map[score.NoteID]tone{}
	}
	for _, t := range out {
		pr.struck[t.note] = t
	}
	return out
}

// zeroIsHarmonic: a printed 0 over a note that no open string has but that a
// string sounds as a natural harmonic is the harmonic's sign (common practice,
// no source). A decided one is the open string, unless a harmonic is printed.
func (pr *Problem) zeroIsHarmonic(t *tone) bool {
	found := false
	for _, o := range pr.o.Instrument.Open {
		n := t.key - o.MIDI()
		if n == 0 {
			return false
		}
		for _, h := range harmonicNodes {
			found = found || h.sound == n
		}
	}
	return found
}

// artificial: the upper note, touched, a third, fourth or fifth above the
// stopped one.
func artificial(base, t *tone) bool {
	d := t.key - base.key
	return base.touchUp == 0 && d >= 3 && d <= 7 && d != 6
}

// mergeUnisons lets one stop serve two voices that strike the same pitch, where
// two strings cannot.
func (pr *Problem) mergeUnisons(l *layer, struck []tone) []tone {
	var out []tone
	for _, t := range struck {
		i := slices.IndexFunc(out, func(o tone) bool {
			return o.key == t.key && o.touchUp == t.touchUp && pr.p.Notes[o.note].Voice != pr.p.Notes[t.note].Voice
		})
		if i < 0 {
			out = append(out, t)
			continue
		}
		if l.twins == nil {
			l.twins = map[score.NoteID]score.NoteID{}
		}
		l.twins[out[i].note] = t.note
	}
	return out
}

func (pr *Problem) steps(p pitch.Pitch) func(int) int {
	return func(str int) int { return p.Diatonic() - pr.o.Instrument.Open[str-1].Diatonic() }
}

// withHeld builds the grips of the struck tones together with every selection
// of the notes still sounding. There are none where the struck tones alone have
// none, so that letting go is always a way out.
func (pr *Problem) withHeld(struck []tone, e *timeline.Event) []state {
	held, at := e.Held, e.Onset
	if len(held) == 0 {
		return pr.gen.build(struck)
	}
	alone := pr.gen.build(struck)
	if len(alone) == 0 {
		return nil
	}
	// what no grip of the event before holds cannot be held on
	held = slices.DeleteFunc(slices.Clone(held), func(id score.NoteID) bool { return !pr.alive[id] })
	if len(held) == 0 {
		return alone
	}
	considered := slices.Clone(held)
	if len(considered) > maxHeld {
		slices.SortFunc(considered, func(a, b score.NoteID) int { return int(b - a) })
		considered = considered[:maxHeld]
	}
	var out []state
	for mask := 1<<len(considered) - 1; mask > 0; mask-- {
		tones := slices.Clone(struck)
		gone := slices.Clone(held)
		for i, id := range considered {
			if mask&(1<<i) == 0 {
				continue
			}
			gone = slices.DeleteFunc(gone, func(g score.NoteID) bool { return g == id })
			t := pr.struck[id]
			t.held, t.want = true, want{}
			tones = append(tones, t)
		}
		for _, s := range pr.gen.build(tones) {
			s.gone, s.rest = gone, pr.restOf(gone, at)
			out = append(out, s)
		}
	}
	for _, s := range alone {
		s.gone, s.rest = held, pr.restOf(held, at)
		out = append(out, s)
	}
	return out
}

// restOf gives for each note the share of its sounding length that lies after at.
func (pr *Problem) restOf(notes []score.NoteID, at score.Tick) []float64 {
	out := make([]float64, len(notes))
	for i, id := range notes {
		n := &pr.p.Notes[id]
		end := n.End()
		for next, steps := n.TieTo, 0; next != score.NoNote && steps < len(pr.p.Notes); steps++ {
			end = max(end, pr.p.Notes[next].End())
			next = pr.p.Notes[next].TieTo
		}
		if end > n.Onset {
			out[i] = min(1, max(0, float64(end-at)/float64(end-n.Onset)))
		}
	}
	return out
}

// part of a want.
type ask struct{ tone, part int }

// relax drops marks until there is a grip: one mark, then two, then all; printed
// ones before decided ones, positions before fingers before strings.
func (pr *Problem) relax(l *layer, struck []tone, e *timeline.Event, r *reader) []state {
	if len(struck) > pr.o.Instrument.Strings() {
		return nil // no mark stands in the way, but the number
	}
	var asks []ask
	for _, by := range []score.Origin{score.Printed, score.Decided} {
		for _, part := range []int{2, 0, 1} {
			for i := range struck {
				if struck[i].want.has(part) && struck[i].want.by[part] == by {
					asks = append(asks, ask{i, part})
				}
			}
		}
	}
	if len(asks) == 0 {
		return nil
	}
	try := func(drop ...ask) []state {
		tones := slices.Clone(struck)
		for _, a := range drop {
			tones[a.tone].want.drop(a.part)
		}
		states := pr.withHeld(tones, e)
		if len(states) > 0 {
			for _, a := range drop {
				r.dropped(&struck[a.tone], a.part)
			}
			copy(struck, tones)
		}
		return states
	}
	for _, a := range asks {
		if s := try(a); len(s) > 0 {
			return s
		}
	}
	for i, a := range asks {
		for _, b := range asks[i+1:] {
			if s := try(a, b); len(s) > 0 {
				return s
			}
		}
	}
	return try(asks...)
}

func (w *want) has(part int) bool {
	return part == 0 && w.fingers != 0 || part == 1 && w.str != 0 || part == 2 && w.hasPos
}

func (w *want) drop(part int) {
	switch part {
	case 0:
		w.fingers = 0
	case 1:
		w.str = 0
	default:
		w.hasPos = false
	}
}

// dropped reports a mark that cannot be obeyed.
func (r *reader) dropped(t *tone, part int) {
	name := r.p.Notes[t.note].Sounding.String()
	by := t.want.by[part].String()
	var text string
	switch part {
	case 0:
		text = fmt.Sprintf("the %s finger (%s) cannot take %s here; it is passed over", by, t.want.fingerList(), name)
		if t.want.fingers == 1 {
			text = fmt.Sprintf("the %s 0 stands on %s, which is no open string here; it is passed over", by, name)
		}
	case 1:
		text = fmt.Sprintf("%s cannot be taken as %s on %s; the string is passed over", name, by, r.o.Instrument.StringName(min(int(t.want.str), r.o.Instrument.Strings())))
	default:
		text = fmt.Sprintf("%s cannot be taken in %s as %s; the position is passed over", name, instrument.PositionName(int(t.want.pos)), by)
	}
	grade := score.Caution
	r.find(t.note, "fingering-impossible", grade, text)
}

func (w want) fingerList() string {
	s := ""
	for f := int8(0); f <= instrument.Thumb; f++ {
		if w.fingers&(1<<f) == 0 {
			continue
		}
		if s != "" {
			s += " or "
		}
		if f == instrument.Thumb {
			s += "thumb"
		} else {
			s += fmt.Sprint(f)
		}
	}
	return s
}

// leaveOut finds the largest sets of the struck tones that some grip reaches.
// The marks of the chord are dropped with it.
func (pr *Problem) leaveOut(l *layer, struck []tone, e *timeline.Event) []state {
	l.say(pr.whyNot(struck))
	tones := slices.Clone(struck)
	for i := range tones {
		tones[i].want = want{}
	}
	tones = pr.lowestOnStrings(tones)
	for size := min(len(tones), pr.o.Instrument.Strings()); size > 0; size-- {
		var out []state
		for mask := 1<<len(tones) - 1; mask > 0; mask-- {
			var sub []tone
			for i := range tones {
				if mask&(1<<i) != 0 {
					sub = append(sub, tones[i])
				}
			}
			if len(sub) != size || !pr.stringsFor(sub, 0) {
				continue
			}
			for _, s := range pr.withHeld(sub, e) {
				s.lost = int8(min(100, len(struck)-size))
				out = append(out, s)
			}
		}
		if len(out) > 0 {
			return pr.cheapest(out, &l.at)
		}
	}
	return nil
}

// cheapest keeps at most maxLeavings grips, in their order.
func (pr *Problem) cheapest(states []state, at *moment) []state {
	if len(states) <= maxLeavings {
		return states
	}
	costs := make([]float64, len(states))
	for i := range states {
		t := tally{w: &pr.m.w}
		pr.m.node(&states[i], at, &t)
		costs[i] = t.sum
	}
	sorted := slices.Clone(costs)
	slices.Sort(sorted)
	limit := sorted[maxLeavings-1]
	out := states[:0]
	for i := range states {
		if costs[i] <= limit && len(out) < maxLeavings {
			out = append(out, states[i])
		}
	}
	return out
}

// lowestOnStrings keeps of too many tones those that lie nearest to the nut on a
// string, perString of each: there the hand is not asked to leave its place, and the
// open strings are among them.
func (pr *Problem) lowestOnStrings(tones []tone) []tone {
	if len(tones) <= maxStruck {
		return tones
	}
	type spot struct{ tone, semi int }
	keep := make([]bool, len(tones))
	for s := 1; s <= pr.o.Instrument.Strings(); s++ {
		var on []spot
		for i := range tones {
			for _, p := range pr.gen.placesOf(&tones[i]) {
				if p.str == s {
					on = append(on, spot{i, p.semi})
				}
			}
		}
		slices.SortStableFunc(on, func(a, b spot) int { return a.semi - b.semi })
		for _, o := range on[:min(perString, len(on))] {
			keep[o.tone] = true
		}
	}
	var out []tone
	for i := range tones {
		if keep[i] {
			out = append(out, tones[i])
		}
	}
	return out
}

// whyNot says why the tones have no grip, and what helps where that is more than
// to strike fewer at once.
func (pr *Problem) whyNot(tones []tone) (why, advice string) {
	in := &pr.o.Instrument
	if len(tones) > in.Strings() {
		return fmt.Sprintf("%d notes are struck together on %d strings", len(tones), in.Strings()), ""
	}
	for i := range tones {
		for j := range tones[:i] {
			a, b := &tones[j], &tones[i]
			if sa, sb := pr.gen.placesOf(a), pr.gen.placesOf(b); len(sa) == 1 && len(sb) == 1 && sa[0].str == sb[0].str {
				lower, upper := pr.p.Notes[a.note].Sounding, pr.p.Notes[b.note].Sounding
				if lower.MIDI() > upper.MIDI() {
					lower, upper = upper, lower
				}
				return fmt.Sprintf("%v and %v both lie only on %s", lower, upper, in.StringName(sa[0].str)),
					fmt.Sprintf("strike %v after %v, or tune the strings so that they part (--tuning)", upper, lower)
			}
		}
	}
	names := ""
	for i := range tones {
		if i > 0 {
			names += ", "
		}
		names += pr.p.Notes[tones[i].note].Sounding.String()
	}
	if !pr.stringsFor(tones, 0) {
		return fmt.Sprintf("%s cannot be shared out over neighbouring strings", names), ""
	}
	return fmt.Sprintf("%s would stretch the hand beyond its reach", names), ""
}

// stringsFor: can the tones from i on take different, neighbouring strings?
func (pr *Problem) stringsFor(tones []tone, used uint) bool {
	if len(tones) == 0 {
		for used&1 == 0 {
			used >>= 1
		}
		return used&(used+1) == 0
	}
	for _, p := range pr.gen.placesOf(&tones[0]) {
		if bit := uint(1) << p.str; used&bit == 0 && pr.stringsFor(tones[1:], used|bit) {
			return true
		}
	}
	return false
}
