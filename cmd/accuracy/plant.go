package main

import (
	"math/rand/v2"
	"slices"

	"pochette/internal/parallels"
	"pochette/internal/pitch"
	"pochette/internal/score"
	"pochette/internal/timeline"
)

// spot is a note in a place of two bars that comes back, and the note that stands
// for it there.
type spot struct {
	here, there score.NoteID
	exact       bool // at the same pitch
	alike       bool // the two are altered alike against the signature, and lie as many semitones apart as most notes of the place
}

// spots looks for places that have a parallel by a definition of its own, not by the
// search that is measured: two whole bars in a row whose single notes have the same
// onsets, lengths and staff intervals as those of two other bars of the movement that
// do not overlap them; six notes at least.
func spots(p *score.Part) []spot {
	bars := make([][]*score.Note, len(p.Measures))
	full := make([]bool, len(p.Measures))
	for _, e := range timeline.Events(p) {
		if len(e.Struck) == 0 || e.Grace {
			continue
		}
		n := &p.Notes[e.Struck[0]]
		bars[n.Measure] = append(bars[n.Measure], n)
		full[n.Measure] = full[n.Measure] || len(e.Struck) > 1 || len(e.Held) > 0
	}
	starts := append(timeline.Movements(p), len(p.Measures))
	var out []spot
	seen := map[score.NoteID]bool{}
	for k := 0; k+1 < len(starts); k++ {
		for a := starts[k]; a+1 < starts[k+1]; a++ {
			for b := a + 2; b+1 < starts[k+1]; b++ {
				if full[a] || full[a+1] || full[b] || full[b+1] || len(bars[a])+len(bars[a+1]) < 6 {
					continue
				}
				x, y := append(slices.Clone(bars[a]), bars[a+1]...), append(slices.Clone(bars[b]), bars[b+1]...)
				if !sameBars(p, a, b, x, y) {
					continue
				}
				apart := usualInterval(x, y)
				for i := range x {
					s := spot{here: x[i].ID, there: y[i].ID, exact: x[0].Written == y[0].Written}
					s.alike = against(p, x[i]) == against(p, y[i]) && y[i].Written.MIDI()-x[i].Written.MIDI() == apart
					if !seen[s.here] && !seen[s.there] {
						seen[s.here] = true
						out = append(out, s)
					}
				}
			}
		}
	}
	return out
}

// usualInterval is by how many semitones most notes of y lie above those of x.
func usualInterval(x, y []*score.Note) int {
	count := map[int]int{}
	best, most := 0, 0
	for i := range x {
		d := y[i].Written.MIDI() - x[i].Written.MIDI()
		count[d]++
		if count[d] > most {
			best, most = d, count[d]
		}
	}
	return best
}

// against is the alteration of a note against its bar's signature.
func against(p *score.Part, n *score.Note) int {
	return int(n.Written.Alter) - pitch.KeyAlter(p.Measures[n.Measure].Key.Fifths, n.Written.Step)
}

func sameBars(p *score.Part, a, b int, x, y []*score.Note) bool {
	if len(x) != len(y) || p.Measures[a].Len != p.Measures[b].Len || p.Measures[a+1].Len != p.Measures[b+1].Len ||
		timeline.Offset(p, a) != 0 || timeline.Offset(p, b) != 0 {
		return false
	}
	for i := range x {
		if x[i].Onset-p.Measures[a].Start != y[i].Onset-p.Measures[b].Start || x[i].Dur != y[i].Dur ||
			x[i].Written.Diatonic()-x[0].Written.Diatonic() != y[i].Written.Diatonic()-y[0].Written.Diatonic() {
			return false
		}
	}
	return true
}

// copyOf copies a part so far that a planted difference leaves the first as it was.
func copyOf(p *score.Part) *score.Part {
	q := *p
	q.Notes = slices.Clone(p.Notes)
	q.Slurs = slices.Clone(p.Slurs)
	return &q
}

// planting makes one kind of difference at a spot; it says no where the spot does not
// allow it, or where the two places differ in that already. reach is how many notes
// the difference covers.
type planting struct {
	name   string
	aspect parallels.Aspect
	plant  func(q *score.Part, s spot, r *rand.Rand) (reach int, ok bool)
}

func slurAt(p *score.Part, id score.NoteID) int {
	return slices.IndexFunc(p.Slurs, func(s score.Slur) bool { return s.Start == id })
}

func underSlur(p *score.Part, id score.NoteID) bool {
	return slices.ContainsFunc(p.Slurs, func(s score.Slur) bool {
		return min(s.Start, s.End) <= id && id <= max(s.Start, s.End)
	})
}

func addMark(q *score.Part, id score.NoteID, k score.MarkKind, text string) {
	q.Notes[id].Marks = append(slices.Clone(q.Notes[id].Marks), score.Mark{Kind: k, Text: text})
}

func marking(k score.MarkKind, text string) func(*score.Part, spot, *rand.Rand) (int, bool) {
	return func(q *score.Part, s spot, _ *rand.Rand) (int, bool) {
		if q.Notes[s.here].Has(k) || q.Notes[s.there].Has(k) {
			return 0, false
		}
		addMark(q, s.here, k, text)
		return 0, true
	}
}

var plantings = []planting{
	{"slur taken away", parallels.Slur, func(q *score.Part, s spot, _ *rand.Rand) (int, bool) {
		i, j := slurAt(q, s.here), slurAt(q, s.there)
		if i < 0 || j < 0 || q.Slurs[i].End-s.here != q.Slurs[j].End-s.there {
			return 0, false
		}
		n := int(q.Slurs[i].End - s.here)
		q.Slurs = slices.Delete(q.Slurs, i, i+1)
		return n, true
	}},
	{"slur added", parallels.Slur, func(q *score.Part, s spot, _ *rand.Rand) (int, bool) {
		next := s.here + 1
		if int(next) >= len(q.Notes) || int(s.there)+1 >= len(q.Notes) || !q.Notes[next].Struck() || q.Notes[next].Grace || q.Notes[next].Onset != q.Notes[s.here].End() ||
			q.Notes[next].Measure != q.Notes[s.here].Measure || underSlur(q, s.here) || underSlur(q, next) || underSlur(q, s.there) || underSlur(q, s.there+1) {
			return 0, false
		}
		q.Slurs = append(q.Slurs, score.Slur{Number: 1, Start: s.here, End: next})
		return 1, true
	}},
	{"dot added", parallels.Articulation, marking(score.Staccato, "")},
	{"accent added", parallels.Articulation, marking(score.Accent, "")},
	{"articulation taken away", parallels.Articulation, func(q *score.Part, s spot, _ *rand.Rand) (int, bool) {
		for _, k := range []score.MarkKind{score.Staccato, score.Tenuto, score.Accent, score.Staccatissimo} {
			if q.Notes[s.here].Has(k) && q.Notes[s.there].Has(k) {
				q.Notes[s.here].Marks = slices.DeleteFunc(slices.Clone(q.Notes[s.here].Marks), func(m score.Mark) bool { return m.Kind == k })
				return 0, true
			}
		}
		return 0, false
	}},
	{"trill added", parallels.Ornament, marking(score.Trill, "")},
	{"up-bow added", parallels.Bow, marking(score.UpBow, "")},
	{"finger added", parallels.Finger, func(q *score.Part, s spot, r *rand.Rand) (int, bool) {
		if !s.exact {
			return 0, false
		}
		return marking(score.Fingering, "3")(q, s, r)
	}},
	{"alteration changed", parallels.Accidental, func(q *score.Part, s spot, r *rand.Rand) (int, bool) {
		a := &q.Notes[s.here]
		if a.TieTo != score.NoNote || !s.alike {
			return 0, false
		}
		d := int8(1 - 2*r.IntN(2))
		a.Written.Alter += d
		a.Sounding.Alter += d
		return 0, true
	}},
	{"pitch changed", parallels.PitchAspect, func(q *score.Part, s spot, r *rand.Rand) (int, bool) {
		a := &q.Notes[s.here]
		if a.TieTo != score.NoNote {
			return 0, false
		}
		iv := []pitch.Interval{{Diatonic: 1, Chromatic: 2}, {Diatonic: -1, Chromatic: -2}, {Diatonic: 2, Chromatic: 4}, {Diatonic: -2, Chromatic: -3}}[r.IntN(4)]
		a.Written, a.Sounding = a.Written.Transpose(iv), a.Sounding.Transpose(iv)
		return 0, true
	}},
	{"rhythm dotted", parallels.Rhythm, func(q *score.Part, s spot, _ *rand.Rand) (int, bool) {
		next := s.here + 1
		if int(next) >= len(q.Notes) {
			return 0, false
		}
		a, b := &q.Notes[s.here], &q.Notes[next]
		if !b.Struck() || b.Grace || b.Onset != a.End() || a.Dur != b.Dur || a.Dur%2 != 0 || a.TieTo != score.NoNote || b.Measure != a.Measure ||
			slices.ContainsFunc(q.Notes, func(n score.Note) bool { return n.ID != b.ID && n.Onset == b.Onset && n.Dur > 0 }) {
			return 0, false
		}
		half := a.Dur / 2
		a.Dur, b.Onset, b.Dur = a.Dur+half, b.Onset+half, b.Dur-half
		return 1, true
	}},
	{"two notes made one", parallels.Rhythm, func(q *score.Part, s spot, _ *rand.Rand) (int, bool) {
		next := s.here + 1
		if int(next) >= len(q.Notes) {
			return 0, false
		}
		a, b := &q.Notes[s.here], &q.Notes[next]
		if !b.Struck() || b.Grace || b.Onset != a.End() || a.TieTo != score.NoNote || b.TieTo != score.NoNote || b.Measure != a.Measure || underSlur(q, s.here) || underSlur(q, next) {
			return 0, false
		}
		b.TieFrom, a.TieTo = a.ID, b.ID
		return 1, true
	}},
}

// noticed looks for a difference of the aspect at the spot. near: the planted note, or
// one within the reach, is among the notes of a finding. exact: a finding stands at
// the moment of the planted note, sets it beside its own, or names it among the
// parallels unlike it; beside: one of the first two. Of several the most surprising counts.
func noticed(q *score.Part, st *parallels.Study, k parallels.Aspect, at score.NoteID, reach int) (near, beside bool, exact *parallels.Odd) {
	moment := func(id score.NoteID) bool { return id != score.NoNote && q.Notes[id].Onset == q.Notes[at].Onset }
	for i := range st.Odd { // the most surprising first
		o := &st.Odd[i]
		if o.Aspect != k {
			continue
		}
		if exact == nil && slices.ContainsFunc(o.Notes, moment) {
			exact = o
		}
		beside = beside || moment(o.At.Note) || moment(o.Beside.Note)
		for _, id := range o.Notes {
			near = near || id >= at-score.NoteID(reach) && id <= at+score.NoteID(reach)
		}
	}
	return near, beside, exact
}
