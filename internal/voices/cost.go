package voices

import (
	"math"
	"slices"

	"pochette/internal/score"
)

// Weights of the streaming cost, all in one common unit. Every cost is a table entry,
// so the cost of an assignment is the sum of the entries it meets (Counts), and the
// tables can be learned from lines whose voices are known (see DefaultWeights).
type Weights struct {
	// Stay by the semitones of a continuation from the moment before, Go of one from
	// farther back, past tones of another voice. The last entry is that and more.
	Stay, Go [32]float64
	// Skip by how many tones of other voices lie between, see skipBin.
	Skip [9]float64
	// Wait by the time between the onsets of a tone and its continuation, see waitBin.
	Wait [20]float64
	// Side by where a continuation comes to lie against each other open voice, in
	// semitones on the side on which its voice was, from -18 (crossed) to 36: Side[1].
	// Side[0] where the two voices were on one key.
	Side [2][sideBelow + sideAbove + 1]float64
	// Turn by whether the last of three single tones stays, goes back to another voice
	// or begins one (last index), by how long the voices have taken turns, or how many tones
	// one has had in a row (see runBin), and by whether the tone before lies above the
	// voice that spoke before it (1): voices that take turns go on taking turns, and
	// one that goes on alone goes on.
	Turn [runs][2][3]float64
	// Split by whether a continuation is from the moment before (0) or from farther back
	// (1), by how far the higher and the lower tones about it lie apart (see splitBin), by
	// whether the tone before is among the higher ones there (1), and whether it is itself.
	Split [2][splits][2][2]float64
	// Enter for each voice that begins.
	Enter float64
}

// The reach of Weights.Side.
const (
	sideBelow = 18
	sideAbove = 36
)

// mostTurns is up to how many turns in a row are counted.
const mostTurns = 6

// runs is the number of entries of runBin.
const runs = 13

// runBin gives the entry of Weights.Turn where the last tones were so many turns, each
// of another voice than the one before, or, without a turn, so many tones of one voice;
// less than 1: since no other is open.
func runBin(turns, tones int) int {
	switch {
	case turns > 5:
		return 5
	case turns > 0:
		return turns - 1
	case tones < 1:
		return 6
	case tones < 5:
		return 6 + max(1, tones-1)
	case tones < 9:
		return 10
	case tones < 17:
		return 11
	}
	return 12
}

// splits is the number of entries of splitBin.
const splits = 7

// splitBin gives the entry of Weights.Split for higher and lower tones that lie so many
// semitones apart in the mean.
func splitBin(apart float64) int { return min(splits-1, int(apart/3)) }

// The last index of Weights.Turn.
const (
	stays = iota
	goes
	begins
)

// freeCharge is what each going back to another voice costs more where nobody says that
// there are several: most lines are one voice. It was set on single parts and pairs by
// turns together (of 0, 4 and 8 the least with which each single part keeps over 95 %
// of its notes in one voice; 8 loses pairs that lie close), on all pieces.
const freeCharge = 4

// wary is a copy with that charge.
func (w *Weights) wary() *Weights {
	v := *w
	for i := range v.Go {
		v.Go[i] += freeCharge
	}
	return &v
}

// breach is what a continuation against the written polyphony costs: more than any
// other thing, so that it happens only where nothing else is possible.
const breach = 1e6

// most ages at which a voice is still open: so many tones may lie between a tone and
// its continuation. Longer breaks end a strand. The search holds sets of last tones,
// so the window is narrower where more voices are open.
var window = [MostVoices + 1]int{0, 1, 40, 12, 8}

// longestWait is the silence, in quarters, after which a voice is closed.
const longestWait = 16.0

// skipBin gives the entry of Weights.Skip for so many tones between.
func skipBin(between int) int {
	switch {
	case between < 4:
		return max(0, between)
	case between < 6:
		return 4
	case between < 9:
		return 5
	case between < 14:
		return 6
	case between < 24:
		return 7
	}
	return 8
}

// waitBin gives the entry of Weights.Wait: half octaves of time, a quarter being 8.
func waitBin(quarters float64) int {
	if quarters <= 0 {
		return 0
	}
	return min(19, max(0, int(math.Round(2*math.Log2(quarters)))+8))
}

// sideOf gives the entry of Weights.Side for a voice that goes from key a to b beside
// one that goes from key c to d.
func sideOf(a, b, c, d int) (tied, bin int) {
	at := b - d
	switch {
	case a == c:
		return 0, sideBelow + min(size(b, d), sideAbove)
	case a < c:
		at = -at
	}
	return 1, sideBelow + min(sideAbove, max(-sideBelow, at))
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

// near says that tone a sounds at the moment before that of tone b.
func (l *line) near(a, b int) bool { return l.tones[a].chord == l.tones[b].chord-1 }

// bins gives the entries that going on from a to b meets, whatever else is open.
func (l *line) bins(a, b int) (near bool, leap, skip, wait int) {
	s, u := &l.tones[a], &l.tones[b]
	return l.near(a, b), min(31, size(s.key, u.key)), skipBin(l.chords[u.chord].lo - l.chords[s.chord].hi), waitBin(u.onset - s.onset)
}

// continuation is the cost of going on from a to b, without what depends on the other
// voices.
func (l *line) continuation(w *Weights, a, b int) float64 {
	near, leap, skip, wait := l.bins(a, b)
	s, u := &l.tones[a], &l.tones[b]
	c := w.Skip[skip] + w.Wait[wait]
	if near {
		return c + w.Stay[leap] + w.Split[0][u.split][s.high][u.high]
	}
	return c + w.Go[leap] + w.Split[1][u.split][s.high][u.high]
}

// counts says how often an assignment meets each entry of the weights; its cost is
// the sum of their products (Weights.dot). The search is tested against it. prev gives
// for each tone the one it goes on from, or -1; a tone that is no longer open counts
// as -1.
func (l *line) counts(prev []int) (n *Weights, breaches int) {
	n = &Weights{}
	var live []int
	turns := 0
	prev = slices.Clone(prev)
	for _, c := range l.chords {
		live = l.opened(live, c.lo)
		for i := c.lo; i < c.hi; i++ {
			if prev[i] >= 0 && !slices.Contains(live, prev[i]) {
				prev[i] = -1
			}
		}
		for i := c.lo; i < c.hi; i++ {
			a := prev[i]
			if l.forbidden(a, i) && (a >= 0 || slices.Contains(live, l.tones[i].before)) {
				breaches++
			}
			if a < 0 {
				n.Enter++
				continue
			}
			near, leap, skip, wait := l.bins(a, i)
			s, u := &l.tones[a], &l.tones[i]
			if near {
				n.Stay[leap]++
				n.Split[0][u.split][s.high][u.high]++
			} else {
				n.Go[leap]++
				n.Split[1][u.split][s.high][u.high]++
			}
			n.Skip[skip]++
			n.Wait[wait]++
			l.sides(n, live, prev, c, i)
		}
		if run, above, act, ok := l.turn(live, turns, c.lo, prev[c.lo]); ok {
			n.Turn[run][above][act]++
		}
		live = l.after(live, prev, c)
		turns = l.turns(turns, live, c.lo)
	}
	return n, breaches
}

// flat lists all entries in one fixed order.
func (w *Weights) flat() []*float64 {
	var out []*float64
	for _, t := range [][]float64{w.Stay[:], w.Go[:], w.Skip[:], w.Wait[:], w.Side[0][:], w.Side[1][:]} {
		for i := range t {
			out = append(out, &t[i])
		}
	}
	for i := range w.Turn {
		for j := range w.Turn[i] {
			for k := range w.Turn[i][j] {
				out = append(out, &w.Turn[i][j][k])
			}
		}
	}
	for i := range w.Split {
		for j := range w.Split[i] {
			for k := range w.Split[i][j] {
				for m := range w.Split[i][j][k] {
					out = append(out, &w.Split[i][j][k][m])
				}
			}
		}
	}
	return append(out, &w.Enter)
}

// Add adds x times the entries of v.
func (w *Weights) Add(v *Weights, x float64) {
	from := v.flat()
	for i, at := range w.flat() {
		*at += x * *from[i]
	}
}

// terms is what an assignment with these counts costs, by kind.
func (w *Weights) terms(n *Weights) []score.Term {
	dot := func(pairs ...[]float64) float64 {
		sum := 0.0
		for k := 0; k < len(pairs); k += 2 {
			for i, x := range pairs[k] {
				sum += x * pairs[k+1][i]
			}
		}
		return sum
	}
	return []score.Term{
		{Name: "leap", Value: dot(w.Stay[:], n.Stay[:], w.Go[:], n.Go[:])},
		{Name: "skip", Value: dot(w.Skip[:], n.Skip[:])},
		{Name: "wait", Value: dot(w.Wait[:], n.Wait[:])},
		{Name: "side", Value: dot(w.Side[0][:], n.Side[0][:], w.Side[1][:], n.Side[1][:])},
		{Name: "turn", Value: w.turnTerm(n)},
		{Name: "split", Value: w.splitTerm(n)},
		{Name: "enter", Value: w.Enter * n.Enter},
	}
}

func (w *Weights) turnTerm(n *Weights) float64 {
	sum := 0.0
	for i := range w.Turn {
		for j := range w.Turn[i] {
			for k := range w.Turn[i][j] {
				sum += w.Turn[i][j][k] * n.Turn[i][j][k]
			}
		}
	}
	return sum
}

func (w *Weights) splitTerm(n *Weights) float64 {
	sum := 0.0
	for i := range w.Split {
		for j := range w.Split[i] {
			for k := range w.Split[i][j] {
				for m := range w.Split[i][j][k] {
					sum += w.Split[i][j][k][m] * n.Split[i][j][k][m]
				}
			}
		}
	}
	return sum
}

// total is the cost of an assignment by its definition.
func (l *line) total(w *Weights, prev []int) (cost float64, breaches int, terms []score.Term) {
	n, breaches := l.counts(prev)
	terms = w.terms(n)
	for _, t := range terms {
		cost += t.Value
	}
	return cost, breaches, terms
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

// sides counts where tone i comes to lie against each other open voice; of two that
// move in the same chord the pair is counted once.
func (l *line) sides(n *Weights, live, prev []int, c chord, i int) {
	for _, d := range live {
		if d == prev[i] {
			continue
		}
		to, counted := l.tones[d].key, false
		for j := c.lo; j < c.hi; j++ {
			if prev[j] == d {
				to, counted = l.tones[j].key, j < i
			}
		}
		if !counted {
			tied, bin := sideOf(l.tones[prev[i]].key, l.tones[i].key, l.tones[d].key, to)
			n.Side[tied][bin]++
		}
	}
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

// turn gives the entry of Weights.Turn for the single tone i, going on from a; it says
// no unless the two tones before are single too. live are the open voices, the latest
// first: how long ago the last of another voice sounded tells how many tones the voice
// of the tone before has had in a row. turns see line.turns.
func (l *line) turn(live []int, turns, i, a int) (run, above, act int, ok bool) {
	if i < 2 || !l.single(i) || !l.single(i-1) || !l.single(i-2) {
		return 0, 0, 0, false
	}
	run = runBin(turns, 0)
	for _, d := range live {
		if d != i-1 {
			run = runBin(turns, i-1-d)
			if l.tones[i-1].key > l.tones[d].key {
				above = 1
			}
			break
		}
	}
	switch a {
	case i - 1:
		return run, above, stays, true
	case -1:
		return run, above, begins, true
	}
	return run, above, goes, true
}

// turns counts how many single tones in a row, the last of them i, took the turn from
// the voice of the tone before, which stays open; live are the voices open once i has
// sounded.
func (l *line) turns(before int, live []int, i int) int {
	if i > 0 && l.single(i) && l.single(i-1) && len(live) > 1 && live[1] == i-1 {
		return min(mostTurns, before+1)
	}
	return 0
}

// single says that tone i is struck alone.
func (l *line) single(i int) bool {
	c := l.chords[l.tones[i].chord]
	return c.hi-c.lo == 1
}
