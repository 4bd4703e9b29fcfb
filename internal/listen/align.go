package listen

import (
	"math"

	"pochette/internal/audio"
)

// The alignment is a cheapest path over the frames of the take through the states of
// the score, exact (Viterbi 1967), in the form of a hidden Markov model of a
// performance that may err (as in score following: Nakamura, Nakamura and Sagayama
// 2014, with jumps from anywhere to anywhere at the cost of one minimum a frame). Each
// event of the line has three states: the note, a wrong note in its place, and a gap
// after it; a gap stands before the first event too. From a state play may
//
//	stay; go on to the next event; pass one over (a missing note);
//	stop in a gap; take the way past a repeat;
//	break off and resume at any event, more cheaply at the start of a bar.
//
// Time is frames times events, memory their square roots' product: the costs are kept
// at every √T-th frame and the ways between worked out again on the way back
// (Hirschberg's idea).

// Costs of going from state to state, in nats; by trial on made-up takes.
const (
	costIntoWrong  = 4.0
	costMissing    = 5.5
	costGap        = 2.5 // stopping where no rest is written
	costRest       = 0.2
	costSkipRepeat = 1.0
	costToBar      = 35.0 // resuming at the start of a bar
	costToNote     = 45.0 // or elsewhere
	costToGrace    = 60.0
	costEndEarly   = 12.0
	costBound      = 0.35 // the least chance of an onset that is not heard: bound
	costStruck     = 0.06 // and struck
)

// kinds of state.
const (
	stNote = iota
	stWrong
	stGap
	kinds
)

// ways into a state, as kept for the way back: which state of which event.
const (
	wayStay  = iota
	wayPrev                    // + kind of the event before
	wayMiss  = wayPrev + kinds // + kind of the event two before
	waySkip  = wayMiss + kinds // + kind; the event of the skip
	wayJump  = waySkip + kinds
	wayNote  = wayJump + 1 // into a gap: from its note
	wayWrong = wayNote + 1
	wayStart = wayWrong + 1
)

// aligner holds the tables of one search. States of event e are at 3e … 3e+2 plus one:
// state 0 is the gap before the first event.
type aligner struct {
	l       *Line
	em      *emission
	of      []int // template of each event
	stay    []float32
	leave   []float32
	skips   []int // for each event, the event a skip comes from, or noSkip
	frames  int
	pace    float64 // frames a quarter, roughly
	emitted []float32
	cost    []float32
	next    []float32
}

const noSkip = -2

func newAligner(f *audio.Features, l *Line, a4 float64) *aligner {
	a := &aligner{l: l, em: newEmission(f, a4), frames: f.Frames()}
	index := map[string]int{}
	for i := range l.Events {
		key := keyString(l.Events[i].Keys)
		t, ok := index[key]
		if !ok {
			t = len(a.em.templates)
			index[key] = t
			a.em.templates = append(a.em.templates, newTemplate(l.Events[i].Keys))
		}
		a.of = append(a.of, t)
	}
	a.emitted = make([]float32, len(a.em.templates))
	a.em.strangers(l)
	a.durations()
	a.skips = make([]int, len(l.Events))
	for i := range a.skips {
		a.skips[i] = noSkip
	}
	for _, s := range l.Skips {
		a.skips[s[1]] = s[0]
	}
	a.cost, a.next = make([]float32, a.states()), make([]float32, a.states())
	return a
}

func (a *aligner) states() int { return 1 + kinds*len(a.l.Events) }

func keyString(keys []int) string {
	b := make([]byte, len(keys))
	for i, k := range keys {
		b[i] = byte(k)
	}
	return string(b)
}

// durations sets what staying in a note and leaving it costs: a note of the expected
// length leaves with a chance of one over its frames. The pace expected is that at
// which the sounding part of the take holds the whole line once (with or without its
// repeats it is the right order of magnitude, and no more is asked of it).
func (a *aligner) durations() {
	sounding := 0
	for t := range a.frames {
		if a.em.f.LevelAt(t) >= a.em.silence {
			sounding++
		}
	}
	last := a.l.Events[len(a.l.Events)-1]
	a.pace = float64(sounding) / max(1, last.At+last.Dur)
	a.pace = max(15, min(400, a.pace)) // 400 to 15 quarters a minute
	for i := range a.l.Events {
		d := max(4, a.l.Events[i].Dur*a.pace)
		a.stay = append(a.stay, float32(-math.Log(1-1/d)))
		a.leave = append(a.leave, float32(math.Log(d)*0.5))
	}
}

// start fills cost for frame 0.
func (a *aligner) start() {
	wrong, gap := a.em.frame(0, a.emitted)
	for i := range a.cost {
		a.cost[i] = inf
	}
	a.cost[0] = gap
	for e := range a.l.Events {
		a.cost[1+kinds*e+stNote] = a.resume(e) + a.emitted[a.of[e]]
		if e == 0 {
			a.cost[1+stNote] = a.emitted[a.of[0]]
			a.cost[1+stWrong] = costIntoWrong + wrong
		}
	}
}

const inf = float32(1e30)

// resume is the cost of breaking off and going on with event e.
func (a *aligner) resume(e int) float32 {
	switch {
	case a.l.Events[e].Grace:
		return costToGrace
	case a.l.Events[e].First || e > 0 && a.l.Events[e-1].Rest > 0:
		return costToBar
	}
	return costToNote
}

// step goes from the frame before to frame t; ways, if given, gets the way into each
// state, and the result is the best state of the frame before.
func (a *aligner) step(t int, ways []uint8) (best int) {
	wrong, gap := a.em.frame(t, a.emitted)
	for i, c := range a.cost {
		if c < a.cost[best] {
			best = i
		}
	}
	lowest := a.cost[best]
	quiet := a.em.quiet[t] // an onset heard inside a note
	bound, struck := entryCosts(float64(a.em.on[t]))
	a.next[0] = a.cost[0] + gap
	if ways != nil {
		ways[0] = wayStay
	}
	for e := range a.l.Events {
		s := 1 + kinds*e
		in, way := a.enter(e, lowest)
		entry := struck
		if a.l.Events[e].Slurred {
			entry = bound
		}
		in += entry
		a.settle(s+stNote, a.cost[s+stNote]+a.stay[e]+quiet, in, way, a.emitted[a.of[e]], ways)
		a.settle(s+stWrong, a.cost[s+stWrong]+a.stay[e]+quiet, in+costIntoWrong, way, wrong, ways)
		a.gap(e, gap, ways)
	}
	a.cost, a.next = a.next, a.cost
	return best
}

// entryCosts is what beginning an event costs where an onset is heard so much: one that
// is slurred, and one that is struck.
func entryCosts(on float64) (bound, struck float32) {
	return float32(-math.Log(costBound + (1-costBound)*on)), float32(-math.Log(costStruck + (1-costStruck)*on))
}

func (a *aligner) settle(s int, stay, in float32, way uint8, emit float32, ways []uint8) {
	if stay <= in {
		in, way = stay, wayStay
	}
	a.next[s] = in + emit
	if ways != nil {
		ways[s] = way
	}
}

// gap settles the gap after an event.
func (a *aligner) gap(e int, emit float32, ways []uint8) {
	s := 1 + kinds*e
	into := float32(costGap)
	if a.l.Events[e].Rest > 0 || e == len(a.l.Events)-1 {
		into = costRest
	}
	c, way := a.cost[s+stGap], uint8(wayStay)
	if n := a.cost[s+stNote] + into; n < c {
		c, way = n, wayNote
	}
	if w := a.cost[s+stWrong] + into; w < c {
		c, way = w, wayWrong
	}
	a.next[s+stGap] = c + emit
	if ways != nil {
		ways[s+stGap] = way
	}
}

// enter finds the cheapest way into event e from another.
func (a *aligner) enter(e int, lowest float32) (float32, uint8) {
	best, way := lowest+a.resume(e), uint8(wayJump)
	if c, k := a.outOf(e - 1); c < best {
		best, way = c, wayPrev+k
	}
	if e > 0 {
		extra := float32(costMissing)
		if a.l.Events[e-1].Grace {
			extra = 1.5
		}
		if c, k := a.outOf(e - 2); c+extra < best {
			best, way = c+extra, wayMiss+k
		}
	}
	if from := a.skips[e]; from != noSkip {
		if c, k := a.outOf(from); c+costSkipRepeat < best {
			best, way = c+costSkipRepeat, waySkip+k
		}
	}
	return best, way
}

// outOf is the cheapest way out of an event's states (-1: the gap before all).
func (a *aligner) outOf(e int) (float32, uint8) {
	if e < 0 {
		if e == -1 {
			return a.cost[0], stGap
		}
		return inf, stGap
	}
	s := 1 + kinds*e
	c, k := a.cost[s+stNote]+a.leave[e], uint8(stNote)
	if w := a.cost[s+stWrong] + a.leave[e]; w < c {
		c, k = w, stWrong
	}
	if g := a.cost[s+stGap] + 0.3; g < c {
		c, k = g, stGap
	}
	return c, k
}

// before gives the state of the frame before from which a way led into state s.
func (a *aligner) before(s int, way uint8, best int) int {
	if s == 0 || way == wayStay {
		return s
	}
	e := (s - 1) / kinds
	state := func(e int, k uint8) int {
		if e < 0 {
			return 0
		}
		return 1 + kinds*e + int(k)
	}
	switch {
	case way == wayJump:
		return best
	case way == wayNote:
		return state(e, stNote)
	case way == wayWrong:
		return state(e, stWrong)
	case way >= waySkip:
		return state(a.skips[e], way-waySkip)
	case way >= wayMiss:
		return state(e-2, way-wayMiss)
	}
	return state(e-1, way-wayPrev)
}

// path is the state of each frame, and whether a jump led into it.
type path struct {
	states []int32
	jumped []bool
	cost   float64
}

// run finds the cheapest path; stop is asked now and then and may end it early.
func (a *aligner) run(progress func(done, total int) error) (*path, error) {
	n := a.frames
	block := max(1, int(math.Sqrt(float64(n))))
	var kept [][]float32
	a.start()
	kept = append(kept, append([]float32(nil), a.cost...))
	for t := 1; t < n; t++ {
		a.step(t, nil)
		if t%block == 0 {
			kept = append(kept, append([]float32(nil), a.cost...))
			if err := progress(t, 2*n); err != nil {
				return nil, err
			}
		}
	}
	p := &path{states: make([]int32, n), jumped: make([]bool, n)}
	p.states[n-1], p.cost = a.end()
	return p, a.back(p, kept, block, progress)
}

// end chooses the last state: the last event's, or another's at a price.
func (a *aligner) end() (int32, float64) {
	best, at := float32(inf), 0
	for s, c := range a.cost {
		if s < len(a.cost)-kinds {
			c += costEndEarly
		}
		if c < best {
			best, at = c, s
		}
	}
	return int32(at), float64(best)
}

// back works the blocks out again from the last to the first and reads the path off.
func (a *aligner) back(p *path, kept [][]float32, block int, progress func(done, total int) error) error {
	n, m := a.frames, a.states()
	ways := make([]uint8, (block+1)*m)
	bests := make([]int, block+1)
	for b := len(kept) - 1; b >= 0; b-- {
		from := b * block
		to := min(n-1, from+block) // states of from are reached from those of to
		copy(a.cost, kept[b])
		for t := from + 1; t <= to; t++ {
			bests[t-from] = a.step(t, ways[(t-from)*m:(t-from+1)*m])
		}
		for t := to; t > from; t-- {
			s := int(p.states[t])
			way := ways[(t-from)*m+s]
			p.jumped[t] = way == wayJump && s > 0
			p.states[t-1] = int32(a.before(s, way, bests[t-from]))
		}
		if err := progress(2*n-from, 2*n); err != nil {
			return err
		}
	}
	return nil
}
