package listentest

import (
	"math"
	"math/rand/v2"
	"slices"

	"pochette/internal/score"
	"pochette/internal/timeline"
)

// step is one event of one visit, with the times it is to have.
type step struct {
	visit   int
	event   *timeline.Event
	at, end float64 // seconds
	first   bool    // of its measure
	missing bool
	wrong   bool
	cut     bool
	resumed bool // the first after a restart
}

// player turns a score into steps.
type player struct {
	sc  *score.Score
	p   *score.Part
	o   Options
	rng *rand.Rand
	tru Truth
	evs []timeline.Event
	now float64
}

// Play plays a part and gives the sound and its truth.
func Play(sc *score.Score, p *score.Part, o Options) ([]float32, Truth) {
	o = o.filled()
	pl := &player{sc: sc, p: p, o: o, rng: rand.New(rand.NewPCG(o.Seed, 0x7a6b)), evs: timeline.Events(p)}
	pl.tru.A4 = o.A4
	pl.now = o.Silence
	steps := pl.steps()
	steps = pl.restarts(steps)
	pl.slips(steps)
	sound := pl.sound(steps)
	pl.tru.Seconds = float64(len(sound)) / float64(o.Rate)
	return sound, pl.tru
}

func (o Options) filled() Options {
	set := func(v *float64, to float64) {
		if *v == 0 {
			*v = to
		}
	}
	if o.Rate == 0 {
		o.Rate = 44100
	}
	set(&o.A4, 440)
	set(&o.Quarter, 80)
	set(&o.Dotting, 0.75)
	set(&o.Glide, 0.015)
	set(&o.Attack, 0.025)
	set(&o.Silence, 0.5)
	return o
}

// order is the order of play; without repeats the last time of each section.
func (pl *player) order() []int {
	visits, _ := timeline.PlayOrder(pl.p)
	keep := make([]bool, len(visits))
	for i := range keep {
		keep[i] = true
	}
	for i := 1; pl.o.SkipRepeats && i < len(visits); i++ {
		if visits[i].Round == visits[i-1].Round+1 && visits[i].Measure <= visits[i-1].Measure {
			for j := i - 1; j >= 0 && keep[j]; j-- {
				keep[j] = false
				if visits[j].Measure == visits[i].Measure {
					break
				}
			}
		}
	}
	var out []int
	for i := range visits {
		if keep[i] {
			out = append(out, i)
		}
	}
	return out
}

// steps lays out all bars in time.
func (pl *player) steps() []step {
	visits, _ := timeline.PlayOrder(pl.p)
	byMeasure := map[int][]*timeline.Event{}
	for i := range pl.evs {
		e := &pl.evs[i]
		if !e.Grace {
			byMeasure[e.Measure] = append(byMeasure[e.Measure], e)
		}
	}
	drift := 0.0
	var out []step
	for _, v := range pl.order() {
		m := &pl.p.Measures[visits[v].Measure]
		drift = 0.7*drift + 0.7*pl.o.Rubato*pl.rng.NormFloat64()
		quarters := float64(m.Len) / float64(pl.sc.Quarter)
		length := quarters * 60 / pl.o.Quarter * math.Exp(drift)
		bend := math.Exp(pl.o.InsideBar * pl.rng.NormFloat64())
		start := pl.now
		at := func(t score.Tick) float64 {
			x := float64(t-m.Start) / float64(m.Len)
			if x >= 0 && x <= 1 {
				x = math.Pow(x, bend)
			}
			return start + length*x
		}
		pl.now += length
		pl.tru.Bars = append(pl.tru.Bars, Bar{Visit: v, Measure: m.Index, Start: start, End: pl.now, Whole: true})
		first := len(out)
		for i, e := range byMeasure[m.Index] {
			out = append(out, step{visit: v, event: e, at: at(e.Onset), end: at(e.Onset + e.Dur), first: i == 0})
		}
		pl.dot(out[first:])
		pl.jitter(out[first:])
	}
	for i := range out { // a note lasts to what comes next
		if i+1 < len(out) {
			out[i].end = out[i+1].at
		}
	}
	return out
}

// dot moves the short notes of 3:1 pairs.
func (pl *player) dot(bar []step) {
	for i := 0; i+1 < len(bar); i++ {
		a, b := bar[i].event, bar[i+1].event
		if a.Rest || b.Rest || b.Dur <= 0 || a.Dur != 3*b.Dur {
			continue
		}
		if off := a.Onset - pl.p.Measures[a.Measure].Start; off%(4*b.Dur) != 0 {
			continue
		}
		end := bar[i+1].end
		f := pl.o.Dotting + pl.o.DotSpread*pl.rng.NormFloat64()
		f = math.Max(0.55, math.Min(0.92, f))
		if pl.o.Dotting == 0.75 && pl.o.DotSpread == 0 {
			f = (bar[i+1].at - bar[i].at) / (end - bar[i].at)
		}
		bar[i+1].at = bar[i].at + f*(end-bar[i].at)
		pl.tru.Pairs = append(pl.tru.Pairs, Pair{Visit: bar[i].visit, Long: a.Struck[0], Fraction: f})
	}
}

// jitter moves single onsets, never the first of a bar nor those of dotted pairs,
// whose truth is written down already.
func (pl *player) jitter(bar []step) {
	if pl.o.Jitter == 0 {
		return
	}
	for i := 1; i < len(bar); i++ {
		if bar[i].event.Dur*3 == bar[i-1].event.Dur || bar[i].event.Dur == 3*next(bar, i).Dur || i > 1 && bar[i-1].event.Dur*3 == bar[i-2].event.Dur {
			continue
		}
		room := 0.25 * math.Min(bar[i].at-bar[i-1].at, bar[i].end-bar[i].at)
		bar[i].at += math.Max(-room, math.Min(room, pl.o.Jitter*pl.rng.NormFloat64()))
	}
}

func next(bar []step, i int) timeline.Event {
	if i+1 < len(bar) {
		return *bar[i+1].event
	}
	return timeline.Event{}
}

// restarts breaks play off inside some notes and goes back to the first note of that
// measure or of one of the two before.
func (pl *player) restarts(steps []step) []step {
	for range pl.o.Restarts {
		at := len(steps)/10 + pl.rng.IntN(max(1, len(steps)*8/10))
		back := pl.rng.IntN(3)
		to := at
		for ; to > 0; to-- {
			if steps[to].first && !steps[to].event.Rest {
				if back == 0 {
					break
				}
				back--
			}
		}
		if to == at || steps[at].event.Rest || steps[to].event.Rest || !steps[to].first || tooNear(steps, at) {
			continue
		}
		broke := steps[at].at + 0.6*(steps[at].end-steps[at].at)
		pause := 0.25 + 0.8*pl.rng.Float64()
		shift := broke + pause - steps[to].at
		again := slices.Clone(steps[to:])
		for i := range again {
			again[i].at += shift
			again[i].end += shift
		}
		again[0].resumed = true
		steps = append(steps[:at+1:at+1], again...)
		steps[at].end, steps[at].cut = broke, true
	}
	pl.rewriteBars(steps)
	return steps
}

// tooNear: another restart lies within eight steps.
func tooNear(steps []step, at int) bool {
	for i := max(0, at-8); i < min(len(steps), at+9); i++ {
		if steps[i].cut || steps[i].resumed {
			return true
		}
	}
	return false
}

// rewriteBars tells bars, pairs and restarts again as they come out.
func (pl *player) rewriteBars(steps []step) {
	bars, pairs := pl.tru.Bars, pl.tru.Pairs
	pl.tru.Bars, pl.tru.Pairs = nil, nil
	fraction := map[[2]int]float64{}
	for _, q := range pairs {
		fraction[[2]int{q.Visit, int(q.Long)}] = q.Fraction
	}
	length := map[int]Bar{}
	for _, b := range bars {
		length[b.Visit] = b
	}
	for i := range steps {
		s := &steps[i]
		if s.resumed {
			pl.tru.Restarts = append(pl.tru.Restarts, Restart{Broke: steps[i-1].end, Resumed: s.at, Visit: s.visit, Note: s.event.Struck[0]})
		}
		if s.first {
			b := length[s.visit]
			b.Start, b.End = s.at, s.at+b.End-b.Start
			for j := i; j < len(steps) && steps[j].visit == s.visit; j++ {
				b.Whole = b.Whole && !steps[j].cut
			}
			pl.tru.Bars = append(pl.tru.Bars, b)
		}
		if s.cut || len(s.event.Struck) == 0 || i+1 < len(steps) && steps[i+1].cut {
			continue
		}
		if f, ok := fraction[[2]int{s.visit, int(s.event.Struck[0])}]; ok {
			pl.tru.Pairs = append(pl.tru.Pairs, Pair{Visit: s.visit, Long: s.event.Struck[0], Fraction: f})
		}
	}
	// a bar ends where the next begins: rests in front of a restart do not count
}

// slips plants wrong and missing notes, apart from each other and from restarts.
func (pl *player) slips(steps []step) {
	last := -4
	for i := range steps {
		s := &steps[i]
		if s.event.Rest || s.cut || s.resumed || i+1 < len(steps) && (steps[i+1].cut || steps[i+1].resumed) || i-last < 4 || i == 0 || i == len(steps)-1 {
			continue
		}
		x := pl.rng.Float64()
		switch {
		case x < pl.o.Wrong:
			s.wrong, last = true, i
		case x < pl.o.Wrong+pl.o.Missing && !s.first && !same(steps[i-1].event, s.event, pl.p):
			// the note before sounds on in its place
			s.missing, last = true, i
		}
	}
}

// same: both strike the same lowest pitch.
func same(a, b *timeline.Event, p *score.Part) bool {
	if a.Rest || b.Rest {
		return a.Rest == b.Rest
	}
	return p.Notes[a.Struck[0]].Sounding.MIDI() == p.Notes[b.Struck[0]].Sounding.MIDI()
}
