package audio

import (
	"math"

	"pochette/internal/pitch"
)

// Onset is a moment at which a note seems to begin.
type Onset struct {
	Time     float64 // seconds
	Strength float64 // dB of rise per bin; for a change of pitch alone, 0
	Pitch    bool    // the pitch changes here
}

// Figures of onset finding, by trial on made-up takes: how far a rise must stand out
// of its surroundings (dB per bin), over how many fine frames those are taken, and
// how many seconds before and after a rise a change of pitch belongs to it.
const (
	riseOver   = 0.9
	riseTimes  = 1.5
	riseAround = 40
	riseApart  = 8
	sameBefore = 0.04 // the finger before the bow
	sameAfter  = 0.09 // the string before rings on under the new note
)

// Rise is the onset strength at a fine frame: the flux put at the middle of the
// spectra it compares, smoothed over three frames.
func (f *Features) Rise(i int) float64 {
	at := func(k int) float64 {
		if k < 0 || k >= len(f.Flux) {
			return 0
		}
		return float64(f.Flux[k])
	}
	i += fluxLag / 2
	return (at(i-1) + 2*at(i) + at(i+1)) / 4
}

// A dip between two loud moments is the bow's change: how many dB it must be deep to
// count, and what a dB beyond that is worth beside one of Rise.
const (
	dipNear, dipFar = 2, 12 // fine frames to each side
	dipLeast        = 2.5
	dipWorth        = 0.25
)

// Dip is how deep in dB the level at a fine frame lies under the loudest moment within
// 60 ms on either side, by the weaker side; 0 at the loudest.
func (f *Features) Dip(i int) float64 {
	if i < dipFar || i+dipFar >= len(f.Level) {
		return 0
	}
	before, after := f.Level[i-dipFar], f.Level[i+dipFar]
	for k := dipNear; k < dipFar; k++ {
		before, after = max(before, f.Level[i-k]), max(after, f.Level[i+k])
	}
	return max(0, float64(min(before, after)-f.Level[i]))
}

// Strength of an onset at a fine frame: the rise of the spectrum, and the change of the
// bow where the level shows one.
func (f *Features) Strength(i int) float64 {
	s := f.Rise(i)
	if i >= 0 && i < len(f.Level) {
		s += dipWorth * max(0, f.Dip(i)-dipLeast)
	}
	return s
}

// Onsets lists the beginnings of notes: rises of the spectrum that stand out, and
// changes from one steady pitch to another. A rise that goes with a change of pitch is one
// onset, at the time of the rise.
func (f *Features) Onsets() []Onset {
	rises := f.rises()
	changes := f.changes()
	var out []Onset
	i, j := 0, 0
	for i < len(rises) || j < len(changes) {
		switch {
		case j == len(changes) || i < len(rises) && rises[i].Time < changes[j]-sameAfter:
			out = append(out, rises[i])
			i++
		case i == len(rises) || changes[j] < rises[i].Time-sameBefore:
			out = append(out, Onset{Time: changes[j], Pitch: true})
			j++
		default:
			rises[i].Pitch = true
			if math.Abs(changes[j]-rises[i].Time) < sameBefore && f.bound(changes[j]) { // the spectrum begins to change before the finger is there
				rises[i].Time = changes[j]
			}
			out = append(out, rises[i])
			i, j = i+1, j+1
		}
	}
	return out
}

// bound says that the sound does not sink at a moment: within 20 ms of it the level
// stays within 4 dB of the weaker of what is 40 ms before and after.
func (f *Features) bound(at float64) bool {
	i := int(math.Round(at * Rate / FineHop))
	if i < 8 || i+8 >= len(f.Level) {
		return false
	}
	dip := f.Level[i]
	for k := i - 4; k <= i+4; k++ {
		dip = min(dip, f.Level[k])
	}
	return dip > min(f.Level[i-8], f.Level[i+8])-4
}

func (f *Features) rises() []Onset {
	n := len(f.Flux)
	rise := make([]float64, n)
	for i := range rise {
		rise[i] = f.Strength(i)
	}
	mean := movingMean(rise, riseAround)
	var out []Onset
	for i := 1; i+1 < n; i++ {
		v := rise[i]
		if v < mean[i]*riseTimes+riseOver || !top(rise, i, riseApart) {
			continue
		}
		at, _ := parabola(rise[i-1], v, rise[i+1])
		out = append(out, Onset{Time: FineTime(i) + at*FineHop/Rate, Strength: v})
	}
	return out
}

// top: no value within some frames is larger (of equal ones the first counts).
func top(v []float64, i, around int) bool {
	for k := max(0, i-around); k <= min(len(v)-1, i+around); k++ {
		if v[k] > v[i] || k < i && v[k] == v[i] {
			return false
		}
	}
	return true
}

func movingMean(v []float64, around int) []float64 {
	sum := make([]float64, len(v)+1)
	for i, x := range v {
		sum[i+1] = sum[i] + x
	}
	out := make([]float64, len(v))
	for i := range v {
		a, b := max(0, i-around), min(len(v), i+around+1)
		out[i] = (sum[b] - sum[a]) / float64(b-a)
	}
	return out
}

// Steady pitches: states a third of a semitone apart from lowState up, whose cost is the
// squared distance of the track over steadyWidth cents, and a price to go to another.
// Vibrato stays within one state, since swinging about it is cheaper than leaving it
// twice in a cycle.
const (
	lowState    = 27.0 // MIDI
	stateStep   = 1.0 / 3
	states      = 250
	steadyWidth = 45.0
	steadyMost  = 4.0 // at most, a frame
	steadyLeave = 9.0
	steadyRest  = 0.6 // a frame without pitch
)

// steady gives the state of each coarse frame, -1 where there is no pitch, by the
// cheapest path (every state may follow every other at one price, so the best of the
// frame before stands for all).
func (f *Features) steady() []int16 {
	n := len(f.Hz)
	back := make([]bool, n*(states+1)) // true: came from the best of the frame before
	best := make([]int16, n)
	cost := make([]float64, states+1)
	for i := 0; i < n; i++ {
		arg := 0
		for s, c := range cost {
			if c < cost[arg] {
				arg = s
			}
		}
		if i > 0 {
			best[i] = int16(arg)
		}
		leave := cost[arg] + steadyLeave
		low := cost[arg]
		key := math.NaN()
		if f.Hz[i] > 0 {
			key = 69 + 12*math.Log2(float64(f.Hz[i])/440)
		}
		for s := range cost {
			c := cost[s] - low
			if leave-low < c {
				c, back[i*(states+1)+s] = leave-low, true
			}
			cost[s] = c + steadyCost(s, key)
		}
	}
	out := make([]int16, n)
	s := 0
	for k, c := range cost {
		if c < cost[s] {
			s = k
		}
	}
	for i := n - 1; i >= 0; i-- {
		out[i] = int16(s - 1)
		if back[i*(states+1)+s] {
			s = int(best[i])
		}
	}
	return out
}

// steadyCost of state s (0 is no pitch) where the track has a key, NaN for none.
func steadyCost(s int, key float64) float64 {
	if math.IsNaN(key) {
		if s == 0 {
			return 0
		}
		return steadyRest
	}
	if s == 0 {
		return 2.5
	}
	d := 100 * (key - lowState - stateStep*float64(s-1)) / steadyWidth
	return min(steadyMost, d*d)
}

// changes gives the times at which one steady pitch gives way to another, where the
// track crosses the middle between them.
func (f *Features) changes() []float64 {
	steady := f.steady()
	var out []float64
	for i := 1; i < len(steady); i++ {
		a, b := steady[i-1], steady[i]
		if a == b || b < 0 {
			continue
		}
		if a < 0 { // after no pitch: a rise tells better, unless the gap is short
			k := i - 1
			for k > 0 && steady[k] < 0 {
				k--
			}
			if i-k > 8 || steady[k] < 0 || steady[k] == b {
				continue
			}
			out = append(out, CoarseTime(k+i)/2)
			continue
		}
		if a-b > 1 || b-a > 1 {
			out = append(out, f.crossing(i, stateHz(a), stateHz(b)))
		}
	}
	return out
}

func stateHz(s int16) float64 { return pitch.Hertz(lowState+stateStep*float64(s), 440) }

// crossing finds, near a coarse frame, where the track passes the middle between two
// pitches.
func (f *Features) crossing(i int, from, to float64) float64 {
	mid := math.Sqrt(from * to)
	side := func(k int) bool { return (float64(f.Hz[k]) > mid) == (to > from) }
	for d := 0; d <= 5; d++ {
		for _, k := range [2]int{i + d, i - d} {
			if k < 1 || k >= len(f.Hz) || f.Hz[k] == 0 || f.Hz[k-1] == 0 || side(k) == side(k-1) {
				continue
			}
			a, b := math.Log(float64(f.Hz[k-1])), math.Log(float64(f.Hz[k]))
			return CoarseTime(k-1) + (math.Log(mid)-a)/(b-a)*CoarseHop/Rate
		}
	}
	return CoarseTime(i) - 0.5*CoarseHop/Rate
}
