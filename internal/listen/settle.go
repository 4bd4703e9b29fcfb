package listen

import (
	"math"
	"slices"

	"pochette/internal/audio"
)

// The second search moves the onsets that the first has found, on a finer grid and
// with what the first could not know: how fast play goes around each note. Over each
// run without a break it finds the cheapest choice of an onset for every event, or of
// leaving the event out, exactly: a segmental search (semi-Markov), where a segment
// costs what its frames cost, or what a wrong note costs, plus how unlikely its
// length is at the pace around.

// Figures of the second search; by trial on made-up takes.
const (
	settleNear    = 0.1 // seconds to each side of the first search's onset in which any moment may be the onset
	settleFar     = 0.6 // in which those near a peak of the onset strength may
	settleStep    = float64(audio.FineHop) / audio.Rate
	settleSpread  = 0.35 // of the logarithm of a length against the pace
	settleMost    = 10.0
	settleMissing = 7.0
	settleWrong   = 4.0
	settleSkips   = 2 // events in a row that may be left out
	shortestNote  = 0.03
)

// slot is one event of a run with the onsets it may have.
type slot struct {
	event    int
	first    int       // fine step of the first search's onset
	at       []int     // fine steps at which it may begin, rising
	onset    []float64 // cost of each
	expected float64   // seconds to the next event at the pace around; 0: not known
	cumFrom  int       // coarse frame of cum[0]
	cum      []float64 // of the emission
	wrong    []float64 // of some other note
	quiet    []float64 // of the onsets heard inside the note
	played   int       // index into what the first search found, -1: passed over there
}

// settle runs the second search over what was played and puts the answer in its place.
func (al *Alignment) settle(f *audio.Features, l *Line) {
	pace := localPace(al.Played, l)
	var out []Played
	for i := 0; i < len(al.Played); {
		j := i + 1
		for j < len(al.Played) && !al.Played[j].Resumed && !al.Played[j].SkippedTo && al.Played[j].Start-al.Played[j-1].End < 0.03 {
			j++
		}
		out = append(out, al.settleRun(f, l, i, j, pace)...)
		i = j
	}
	al.Played = out
}

// localPace gives, for each event played, the seconds of a quarter around it: the
// median over the steps to the events near by.
func localPace(played []Played, l *Line) []float64 {
	step := make([]float64, len(played))
	for i := range played {
		if i+1 < len(played) && !played[i+1].Resumed && !played[i+1].SkippedTo {
			q := l.Events[played[i+1].Event].At - l.Events[played[i].Event].At
			if q > 0.01 {
				step[i] = (played[i+1].Start - played[i].Start) / q
			}
		}
	}
	out := make([]float64, len(played))
	for i := range out {
		var near []float64
		for k := max(0, i-7); k < min(len(step), i+8); k++ {
			if step[k] > 0 {
				near = append(near, step[k])
			}
		}
		if len(near) > 0 {
			slices.Sort(near)
			out[i] = near[len(near)/2]
		}
	}
	return out
}

// settleRun works on what was played from index i up to j.
func (al *Alignment) settleRun(f *audio.Features, l *Line, i, j int, pace []float64) []Played {
	end := al.Played[j-1].End
	slots := al.slots(f, l, i, j, pace, end)
	starts, wrong := bestOnsets(slots, end)
	var out []Played
	missing := 0
	for k, s := range slots {
		if starts[k] < 0 {
			missing++
			continue
		}
		n := Played{Event: s.event}
		if s.played >= 0 {
			n = al.Played[s.played]
		}
		n.Start, n.Wrong, n.Missing = float64(starts[k])*settleStep, wrong[k], missing
		missing = 0
		out = append(out, n)
	}
	for k := range out {
		out[k].End = end
		if k+1 < len(out) {
			out[k].End = out[k+1].Start
		}
	}
	// what led into the run, whichever event is now its first
	out[0].Resumed, out[0].SkippedTo, out[0].First = al.Played[i].Resumed, al.Played[i].SkippedTo, al.Played[i].First
	return out
}

// slots lays out the events of a run, those that were passed over among them.
func (al *Alignment) slots(f *audio.Features, l *Line, i, j int, pace []float64, end float64) []slot {
	var out []slot
	for k := i; k < j; k++ {
		p := al.Played[k]
		if k > i && p.Missing > 0 {
			q := l.Events[p.Event].At - l.Events[al.Played[k-1].Event].At
			x := l.Events[p.Event-1].At - l.Events[al.Played[k-1].Event].At
			at := al.Played[k-1].Start
			if q > 0 {
				at += x / q * (p.Start - at)
			}
			out = append(out, slot{event: p.Event - 1, first: fine(at), played: -1, expected: pace[k] * (l.Events[p.Event].At - l.Events[p.Event-1].At)})
		}
		s := slot{event: p.Event, first: fine(p.Start), played: k}
		if k+1 < j {
			s.expected = pace[k] * (l.Events[al.Played[k+1].Event].At - l.Events[p.Event].At)
			if al.Played[k+1].Missing > 0 {
				s.expected = pace[k] * (l.Events[p.Event+1].At - l.Events[p.Event].At)
			}
		}
		out = append(out, s)
	}
	al.windows(f, out, end)
	for k := range out {
		stop := fine(end) // as far as the slot may sound: to where those may begin that can follow it
		if next := k + settleSkips + 1; next < len(out) {
			stop = 0
			for _, s := range out[k+1 : next+1] {
				stop = max(stop, s.at[len(s.at)-1])
			}
		}
		al.fill(f, l, &out[k], stop, k == 0)
	}
	return out
}

func fine(t float64) int { return int(math.Round(t / settleStep)) }

// windows opens the onsets of each slot around its first estimate, not beyond the
// estimates of the events two before and after, and within the run.
func (al *Alignment) windows(f *audio.Features, slots []slot, end float64) {
	near, far := fine(settleNear), fine(settleFar)
	for k := range slots {
		s := &slots[k]
		lo, hi := max(0, s.first-far), s.first+far
		if k >= 2 {
			lo = max(lo, slots[k-2].first+1)
		}
		if k == 0 {
			lo = max(lo, s.first-near/2)
		}
		if k+2 < len(slots) {
			hi = min(hi, slots[k+2].first-1)
		}
		hi = max(s.first, min(hi, fine(end)-2))
		for t := min(lo, s.first); t <= hi; t++ {
			if t >= s.first-near && t <= s.first+near || al.peakBeside(f, t) {
				s.at = append(s.at, t)
			}
		}
		s.onset = make([]float64, len(s.at))
	}
}

// peakBeside: the onset strength has a peak within 15 ms of a fine step.
func (al *Alignment) peakBeside(f *audio.Features, step int) bool {
	for t := max(0, step/2-1); t <= min(f.Frames()-1, step/2+1); t++ {
		if al.em.quiet[t] > 0.1 {
			return true
		}
	}
	return false
}

// fill works out the costs of a slot's onsets and the sums of its frames' costs up to
// fine step stop.
func (al *Alignment) fill(f *audio.Features, l *Line, s *slot, stop int, first bool) {
	for i := range s.onset {
		k := s.at[i]
		t := min(k/2, f.Frames()-1)
		bound, struck := entryCosts(float64(al.em.chance(f.Strength(k), t)))
		s.onset[i] = float64(struck)
		if l.Events[s.event].Slurred {
			s.onset[i] = float64(bound)
		}
	}
	if first { // what sounds before the first of a run belongs to none
		sum, k := 0.0, s.at[0]
		for i := range s.onset {
			for ; k < s.at[i]; k++ {
				if f.LevelAt(k/2) < al.em.silence {
					sum += costSilentG / 2
				} else {
					sum += costSoundG / 2
				}
			}
			s.onset[i] += sum
		}
	}
	s.cumFrom = max(0, s.at[0]/2-1)
	tm := &al.em.templates[al.of[s.event]]
	s.cum, s.wrong, s.quiet = []float64{0}, []float64{0}, []float64{0}
	add := func(sum []float64, v float64) []float64 { return append(sum, sum[len(sum)-1]+v) }
	for t := s.cumFrom; t <= stop/2+1; t++ {
		if t >= f.Frames() {
			s.cum, s.wrong, s.quiet = add(s.cum, costSilentN), add(s.wrong, costSilentN+costWrong), add(s.quiet, 0)
			continue
		}
		s.cum = add(s.cum, al.em.single(t, tm))
		s.wrong = add(s.wrong, float64(al.em.wrong[t]))
		s.quiet = add(s.quiet, float64(al.em.quiet[t]))
	}
}

// until is a sum over the frames from cumFrom to a fine step: frame t covers the time
// from half a frame before it to half after.
func (s *slot) until(cum []float64, k int) float64 {
	x := float64(k)/2 + 0.5 - float64(s.cumFrom)
	x = max(0, min(x, float64(len(cum)-1)))
	i := min(int(x), len(cum)-2)
	return cum[i] + (x-float64(i))*(cum[i+1]-cum[i])
}

// segment is the cost of the slot sounding between two fine steps, and whether a wrong
// note is cheaper there. Onsets heard within 20 ms of its ends are its own or the next's.
func (s *slot) segment(from, to int) (cost float64, wrong bool) {
	cost = s.until(s.cum, to) - s.until(s.cum, from)
	if w := settleWrong + s.until(s.wrong, to) - s.until(s.wrong, from); w < cost {
		cost, wrong = w, true
	}
	if to-from > 8 {
		cost += s.until(s.quiet, to-4) - s.until(s.quiet, from+4)
	}
	return cost, wrong
}

// lengthCost of a time between onsets against what is expected.
func lengthCost(seconds, expected float64) float64 {
	if expected <= 0 {
		return 0
	}
	d := math.Log(seconds/expected) / settleSpread
	return min(settleMost, d*d/2)
}

// bestOnsets is the segmental search: V[k][t] is the least cost of all up to slot k
// beginning at t; slot k follows k-1, or an earlier one where those between are left
// out. The result is the fine step of each slot, -1 where it is left out. The first
// slot is always there.
func bestOnsets(slots []slot, end float64) (starts []int, wrong []bool) {
	type from struct{ slot, at int32 }
	n := len(slots)
	cost := make([][]float64, n)
	back := make([][]from, n)
	for k := range slots {
		s := &slots[k]
		cost[k] = make([]float64, len(s.onset))
		back[k] = make([]from, len(s.onset))
		for i := range s.onset {
			t := s.at[i]
			best := math.Inf(1)
			if k == 0 {
				best = 0
			}
			for d := 1; d <= settleSkips+1 && d <= k; d++ {
				c, at := into(slots, cost, k, d, t)
				if c < best {
					best, back[k][i] = c, from{int32(k - d), int32(at)}
				}
			}
			cost[k][i] = best + s.onset[i]
		}
	}
	last, at := finish(slots, cost, fine(end))
	starts, wrong = make([]int, n), make([]bool, n)
	for k := range starts {
		starts[k] = -1
	}
	stop := fine(end)
	for k := last; ; {
		starts[k] = slots[k].at[at]
		_, wrong[k] = slots[k].segment(starts[k], stop)
		stop = starts[k]
		if k == 0 {
			return starts, wrong
		}
		b := back[k][at]
		k, at = int(b.slot), int(b.at)
	}
}

// into is the least cost of slot k beginning at t when d-1 slots before it are left
// out, and the onset of the slot it comes from.
func into(slots []slot, cost [][]float64, k, d, t int) (float64, int) {
	p := &slots[k-d]
	expected := 0.0
	for m := k - d; m < k; m++ {
		expected += slots[m].expected
	}
	best, arg := math.Inf(1), 0
	for i, c := range cost[k-d] {
		u := p.at[i]
		gap := float64(t-u) * settleStep
		if gap < shortestNote || c >= best {
			continue
		}
		seg, _ := p.segment(u, t)
		if c += seg + lengthCost(gap, expected); c < best {
			best, arg = c, i
		}
	}
	return best + settleMissing*float64(d-1), arg
}

// finish chooses the last slot that is there and its onset.
func finish(slots []slot, cost [][]float64, end int) (last, at int) {
	best := math.Inf(1)
	for d := 0; d <= settleSkips && d < len(slots); d++ {
		k := len(slots) - 1 - d
		for i, c := range cost[k] {
			u := slots[k].at[i]
			if u >= end {
				continue
			}
			seg, _ := slots[k].segment(u, end)
			if c += seg + settleMissing*float64(d); c < best {
				best, last, at = c, k, i
			}
		}
	}
	return last, at
}
