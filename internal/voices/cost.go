package voices

import (
	"math"

	"pochette/internal/score"
)

// Weights of the streaming cost. All are costs, in one common unit; how they were
// chosen stands with DefaultWeights.
type Weights struct {
	// Leap times size^Bend, size in semitones, for each continuation: near tones
	// belong together. Bend below 1: the step from a second to a third matters more
	// than that from a ninth to a tenth.
	Leap, Bend float64
	// Skip for each tone of another voice between a tone and its continuation: each
	// voice that is kept open costs, so a line is split only where that saves leaps.
	Skip float64
	// Wait times log2(1 + quarters) for the silence of a voice, from the end of its
	// tone to the next one, beyond what lies between in a running line.
	Wait float64
	// Cross for each open voice that a continuation jumps over.
	Cross float64
	// Turn for each change between staying in a voice and going to another one: voices
	// that take turns go on taking turns. It counts between single tones.
	Turn float64
	// Enter for each voice that begins.
	Enter float64
}

// DefaultWeights gives the committed weights, a new copy at each call. They were
// chosen on interleaved and single parts of open quartets, held-out by piece (go run
// ./cmd/accuracy voices prints both).
func DefaultWeights() *Weights {
	return &Weights{Leap: 1, Bend: 0.52, Skip: 0.65, Wait: 0.04, Cross: 0.65, Turn: 0.75, Enter: 16}
}

// breach is what a continuation against the written polyphony costs: more than any
// other thing, so that it happens only where nothing else is possible.
const breach = 1e6

// most ages at which a voice is still open: so many tones may lie between a tone and
// its continuation. Longer breaks end a strand. The search holds sets of last tones,
// so the window is narrower where more voices are open.
var window = [MostVoices + 1]int{0, 1, 24, 12, 8}

// longestWait is the silence, in quarters, after which a voice is closed.
const longestWait = 16.0

// leaps tabulates Leap*size^Bend.
type leaps [128]float64

func (w *Weights) leaps() *leaps {
	var t leaps
	for i := range t {
		t[i] = w.Leap * math.Pow(float64(i), w.Bend)
	}
	t[0] = 0
	return &t
}

func size(a, b int) int {
	if a > b {
		a, b = b, a
	}
	return min(b-a, 127)
}

// open says that tone a can still be gone on from when the chord that begins with
// tone lo sounds.
func (l *line) open(a, lo int) bool {
	return lo-a <= window[l.most] && l.tones[lo].onset-l.tones[a].end <= longestWait
}

// continuation is the cost of going on from a to b, crossings and breaches not counted.
func (l *line) continuation(w *Weights, t *leaps, a, b int) float64 {
	s, u := &l.tones[a], &l.tones[b]
	c := t[size(s.key, u.key)] + w.Skip*float64(max(0, l.chords[u.chord].lo-a-1))
	if gap := u.onset - s.end; gap > 0 {
		c += w.Wait * math.Log2(1+gap)
	}
	return c
}

// crosses says that going from a to b jumps over the key d.
func crosses(a, b, d int) bool { return a < d && d < b || b < d && d < a }

// total adds the cost of an assignment up from its definition, term by term; the
// search is tested against it. prev gives for each tone the one it goes on from, or -1.
func (l *line) total(w *Weights, prev []int) (cost float64, breaches int, terms []score.Term) {
	t := w.leaps()
	var leap, skip, wait, cross, turn, enter float64
	var live []int
	for _, c := range l.chords {
		live = l.opened(live, c.lo)
		for i := c.lo; i < c.hi; i++ {
			a := prev[i]
			if l.forbidden(a, i) && (a >= 0 || l.waits(live, i)) {
				breaches++
			}
			if a < 0 {
				enter += w.Enter
				continue
			}
			lp := t[size(l.tones[a].key, l.tones[i].key)]
			sk := w.Skip * float64(max(0, c.lo-a-1))
			leap, skip = leap+lp, skip+sk
			wait += l.continuation(w, t, a, i) - lp - sk
			cross += w.Cross * float64(l.crossings(live, prev, c, i))
		}
		if l.turns(live, c.lo, prev[c.lo]) {
			turn += w.Turn
		}
		live = l.after(live, prev, c)
	}
	terms = []score.Term{{Name: "leap", Value: leap}, {Name: "skip", Value: skip}, {Name: "wait", Value: wait}, {Name: "cross", Value: cross}, {Name: "turn", Value: turn}, {Name: "enter", Value: enter}}
	return leap + skip + wait + cross + turn + enter, breaches, terms
}

// opened keeps the tones that are still open at the chord that begins with lo.
func (l *line) opened(live []int, lo int) []int {
	var out []int
	for _, a := range live {
		if l.open(a, lo) {
			out = append(out, a)
		}
	}
	return out
}

// waits says that the tone which the written voice of b continues is still open.
func (l *line) waits(live []int, b int) bool {
	for _, a := range live {
		if a == l.tones[b].before {
			return true
		}
	}
	return false
}

// crossings counts the open voices that tone i jumps over; a voice that moves in the
// same chord is crossed if the two change places, and is counted once.
func (l *line) crossings(live, prev []int, c chord, i int) int {
	n := 0
	for _, d := range live {
		if d == prev[i] {
			continue
		}
		moved := -1
		for j := c.lo; j < c.hi; j++ {
			if prev[j] == d {
				moved = j
			}
		}
		a, b, k := l.tones[prev[i]].key, l.tones[i].key, l.tones[d].key
		switch {
		case moved < 0:
			if crosses(a, b, k) {
				n++
			}
		case moved > i:
			if (a-k)*(b-l.tones[moved].key) < 0 {
				n++
			}
		}
	}
	return n
}

// after gives the open voices once the chord has sounded, the latest first. A voice
// that begins when all are taken closes the one that has been silent longest.
func (l *line) after(live, prev []int, c chord) []int {
	var out []int
	for i := c.hi - 1; i >= c.lo && len(out) < l.most; i-- {
		out = append(out, i)
	}
	for _, d := range live { // the latest first
		used := false
		for i := c.lo; i < c.hi; i++ {
			used = used || prev[i] == d
		}
		if !used && len(out) < l.most {
			out = append(out, d)
		}
	}
	return out
}

// turns says that the single tone i, going on from a, stays in the voice of the tone
// before it although that one had come from another voice, or leaves it although that
// one had stayed. The tone two back is the last of its voice, and so among the open
// ones, exactly if the tone before i is not in the same voice.
func (l *line) turns(live []int, i, a int) bool {
	if i < 2 || !l.single(i) || !l.single(i-1) || !l.single(i-2) {
		return false
	}
	changed := false
	for _, d := range live {
		changed = changed || d == i-2
	}
	return changed == (a == i-1)
}

// single says that tone i is struck alone.
func (l *line) single(i int) bool {
	c := l.chords[l.tones[i].chord]
	return c.hi-c.lo == 1
}
