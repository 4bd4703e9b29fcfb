package main

import (
	"math"

	"pochette/internal/harmony"
	"pochette/internal/score"
)

// Profiles as in RESEARCH.md: Temperley after Kostka and Payne.
var baseProfiles = [2][12]float64{
	{.748, .060, .488, .082, .670, .460, .096, .715, .104, .366, .057, .400},
	{.712, .084, .474, .618, .049, .460, .105, .747, .404, .067, .133, .330},
}

const (
	baseWindow = 8   // quarters
	baseChange = 1.0 // cost of a change of key, in correlation
)

// profileKeys is the baseline of local keys: correlation with the profiles in a
// window around each quarter, cheapest path with one cost of change.
func profileKeys(l *harmony.Labelled) []harmony.Label {
	n := 0
	end := score.Tick(0)
	for _, m := range l.Part.Measures {
		end = m.Start + m.Len
	}
	n = int((end + l.Quarter - 1) / l.Quarter)
	var keys []harmony.Key
	for d := -6; d <= 5; d++ {
		f := harmony.Tone(l.Home.Fifths() + d)
		keys = append(keys, harmony.Key{Tonic: f}, harmony.Key{Tonic: f + 3, Minor: true})
	}
	val := make([]float64, len(keys))
	back := make([][]int, n)
	for t := range n {
		at := score.Tick(t) * l.Quarter
		d := durations(l.Part, at-baseWindow/2*l.Quarter, at+(baseWindow/2+1)*l.Quarter)
		top := 0
		for k := range keys {
			if val[k] > val[top] {
				top = k
			}
		}
		next := make([]float64, len(keys))
		back[t] = make([]int, len(keys))
		for k := range keys {
			back[t][k] = k
			v := val[k]
			if val[top]-baseChange > v {
				v, back[t][k] = val[top]-baseChange, top
			}
			next[k] = v + correlate(&d, keys[k])
		}
		val = next
	}
	best := 0
	for k := range keys {
		if val[k] > val[best] {
			best = k
		}
	}
	out := make([]harmony.Label, n)
	for t := n - 1; t >= 0; t-- {
		at := score.Tick(t) * l.Quarter
		out[t] = harmony.Label{From: at, To: min(end, at+l.Quarter), Key: keys[best]}
		best = back[t][best]
	}
	return out
}

func correlate(d *[60]float64, k harmony.Key) float64 {
	var pc [12]float64
	for i, v := range d {
		pc[harmony.Tone(i-30).Class()] += v
	}
	m := 0
	if k.Minor {
		m = 1
	}
	var mx, my, xy, xx, yy float64
	for i := range 12 {
		mx, my = mx+pc[i]/12, my+baseProfiles[m][i]/12
	}
	for i := range 12 {
		x, y := pc[(i+k.Tonic.Class())%12]-mx, baseProfiles[m][i]-my
		xy, xx, yy = xy+x*y, xx+x*x, yy+y*y
	}
	if xx == 0 {
		return 0
	}
	return xy / math.Sqrt(xx*yy)
}

// barChords is the baseline of chords: in each bar the chord with most time on its
// notes less the time off them; ties go to the root in the lowest note's favour by
// a hundredth of the bar.
func barChords(l *harmony.Labelled) []harmony.Label {
	var out []harmony.Label
	for _, m := range l.Part.Measures {
		d := durations(l.Part, m.Start, m.Start+m.Len)
		best, top := harmony.Chord{}, math.Inf(-1)
		for r := harmony.Tone(-10); r <= 12; r++ {
			for _, q := range []harmony.Quality{harmony.Major, harmony.Minor, harmony.Diminished, harmony.DominantSeventh} {
				c := harmony.Chord{Root: r, Quality: q}
				v := 0.0
				for _, x := range d {
					v -= x
				}
				for _, t := range c.Tones() {
					v += 2 * d[30+int(t)]
				}
				v += 0.01 * d[30+int(r)]
				if v > top {
					best, top = c, v
				}
			}
		}
		out = append(out, harmony.Label{From: m.Start, To: m.Start + m.Len, Key: l.Home, Chord: best})
	}
	return out
}
