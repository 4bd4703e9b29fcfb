package parallels

import (
	"math"

	"pochette/internal/score"
	"pochette/internal/timeline"
)

// Seeds are runs of steps that agree in time and interval: short ones find passages
// with many differences, long ones passages of music so uniform that the short ones
// occur everywhere.
var seedLengths = [...]int{2, 5, 12}

// seedReach is to how many of the nearest earlier places with the same seed a seed is
// compared: it keeps the work linear in music that repeats itself without end.
const seedReach = 48

// diagonal is one way of laying the part over itself.
type diagonal struct {
	shift score.Tick // of time
	steps int32      // of the staff
}

type search struct {
	r      *reader
	lo, hi int
	done   map[diagonal]int // up to which later step it has been looked at
	logs   map[token]float64
	out    []Passage
	shift  score.Tick // of the alignment at work
	back   []column   // its columns
}

// token is what one step adds: the time since the step before and the interval.
type token struct {
	gap score.Tick
	dia int
}

func (r *reader) token(i int) token {
	return token{r.steps[i].onset - r.steps[i-1].onset, r.steps[i].dia - r.steps[i-1].dia}
}

// passages finds the parallel passages between the steps lo and hi (exclusive).
func (r *reader) passages(lo, hi int) []Passage {
	s := &search{r: r, lo: lo, hi: hi, done: map[diagonal]int{}, logs: map[token]float64{}}
	for i := lo + 1; i < hi; i++ {
		s.logs[r.token(i)]++
	}
	for t, n := range s.logs {
		s.logs[t] = -math.Log2(n / float64(hi-lo-1))
	}
	for _, n := range seedLengths {
		s.seeds(n)
	}
	out := r.distinct(s.out)
	sortPassages(out)
	return out
}

// seeds looks for runs of n tokens that occur before, at the same place in the beat.
func (s *search) seeds(n int) {
	last := map[uint64]int32{} // the latest place of a seed
	prev := make([]int32, s.hi-s.lo)
	for i := s.lo; i+n < s.hi; i++ {
		h := s.r.seed(i, n)
		j, ok := last[h]
		if !ok {
			j = -1
		}
		prev[i-s.lo] = j
		last[h] = int32(i)
		least := leastLength(s.r.p, s.r.steps[i].measure)
		for k := 0; j >= 0 && k < seedReach; j = prev[int(j)-s.lo] {
			if s.r.steps[i].onset-s.r.steps[j].onset < least {
				continue // the two would overlap
			}
			s.try(int(j), i, n)
			k++
		}
	}
}

// seed hashes n tokens from step i on (FNV-1a).
func (r *reader) seed(i, n int) uint64 {
	h := uint64(14695981039346656037)
	add := func(v uint64) { h = (h ^ v) * 1099511628211 }
	add(uint64(r.steps[i].phase))
	for k := i + 1; k <= i+n; k++ {
		t := r.token(k)
		add(uint64(t.gap))
		add(uint64(int64(t.dia)))
	}
	return h
}

// leastBars is how long a passage must be: about two bars.
const leastBars = 1.75

func leastLength(p *score.Part, measure int) score.Tick {
	m := &p.Measures[measure]
	bar := m.Meter.Len
	if bar <= 0 {
		bar = m.Len
	}
	if timeline.Unit(m.Meter) <= 0 && bar <= 0 {
		return 1
	}
	return score.Tick(leastBars * float64(bar))
}

func (s *search) try(a, b, n int) {
	d := diagonal{s.r.steps[b].onset - s.r.steps[a].onset, int32(s.r.steps[b].dia - s.r.steps[a].dia)}
	if until, ok := s.done[d]; ok && b <= until {
		return
	}
	for k := 1; k <= n; k++ { // two seeds may have one hash
		if s.r.token(a+k) != s.r.token(b+k) {
			return
		}
	}
	s.shift = d.shift
	cols, reached := s.extend(a, b)
	s.done[d] = max(b, reached)
	s.accept(cols, int(d.steps))
}
