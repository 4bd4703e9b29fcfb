package listen

import (
	"math"
	"slices"

	"pochette/internal/audio"
)

// Scratch is a note whose beginning is rougher than the take's others.
type Scratch struct {
	Note int
	By   float64 // how many times as rough as the take's notes begin as a rule
}

// scratchOver is how many times as rough a beginning must be to be told, and
// leastRough the share of noise below which nothing is called rough.
const (
	scratchOver = 4
	leastRough  = 0.005
)

// Scratches finds beginnings of notes with more noise than the take's have as a rule:
// the share of energy in no partial over the first 150 ms (the first 40 ms, which the
// bow always makes rough, weigh half), against the median of all.
func Scratches(f *audio.Features, notes []Note) []Scratch {
	rough := make([]float64, len(notes))
	for i := range notes {
		rough[i] = beginning(f, &notes[i])
	}
	usual := max(leastRough, median(rough))
	var out []Scratch
	for i, r := range rough {
		if by := r / usual; by > scratchOver {
			out = append(out, Scratch{i, by})
		}
	}
	return out
}

func beginning(f *audio.Features, n *Note) float64 {
	from := int(math.Round(n.Start * 100))
	sum, weight := 0.0, 0.0
	for t := from; t < min(from+15, int(n.End*100), f.Frames()); t++ {
		w := 1.0
		if t < from+4 {
			w = 0.5
		}
		sum, weight = sum+w*float64(f.Rough[t]), weight+w
	}
	if weight == 0 {
		return 0
	}
	return sum / weight
}

// Touch is an open string that sounds beside the note that is played.
type Touch struct {
	Note  int
	Key   int     // of the open string
	Level float64 // dB of its partials against the note's strongest
	Share float64 // of the note's frames in which it is seen
}

// Figures of touched strings; by trial on made-up takes.
const (
	touchBelow = 26.0 // dB under the strongest partial that an open string must reach
	touchShare = 0.6
	touchLeast = 12 // frames that a note must have to tell
)

// Touches finds open strings that seem to sound beside a note: at least two of their
// first four partials, none of which the note's own may cover, in most of its frames.
// A string that was played on within the last second may be ringing on and is passed
// over, as is one that the note's partials may set going by themselves.
func (al *Alignment) Touches(f *audio.Features, l *Line, notes []Note, open []int) []Touch {
	var out []Touch
	for i := range notes {
		from, to := al.inside(&notes[i])
		if to = min(to, f.Frames()); to-from < touchLeast {
			continue
		}
		var keys []int
		for _, t := range notes[i].Tones {
			keys = append(keys, t.Heard)
		}
		for _, k := range open {
			if slices.Contains(keys, k) || ringing(l, notes, i, k) {
				continue
			}
			if lv, share := al.openString(f, keys, k, from, to); share >= touchShare {
				out = append(out, Touch{i, k, lv, share})
			}
		}
	}
	return out
}

// ringing: the open string or an octave of it was played within the last second.
func ringing(l *Line, notes []Note, i, key int) bool {
	for k := i - 1; k >= 0 && notes[k].End > notes[i].Start-1; k-- {
		for _, x := range l.Events[notes[k].Event].Keys {
			if x == key || x == key+12 {
				return true
			}
		}
	}
	return false
}

// openString looks for the partials of an open string among those of a note.
func (al *Alignment) openString(f *audio.Features, keys []int, key, from, to int) (level, share float64) {
	var want []float64
	for h := 1; h <= 4; h++ {
		w := float64(key) + 12*math.Log2(float64(h))
		if !covered(append([]int{key}, keys...), 0, w) {
			want = append(want, w)
		}
	}
	if len(want) < 2 {
		return 0, 0
	}
	seen := 0
	for t := from; t < to; t++ {
		top, found, sum := float32(0), 0, 0.0
		for _, p := range f.Peaks(t) {
			top = max(top, p.Amp)
		}
		for _, w := range want {
			for _, p := range f.Peaks(t) {
				if math.Abs(keyOf(float64(p.Hz), al.A4)-w) < 0.3 && 20*math.Log10(float64(p.Amp/top)) > -touchBelow {
					found, sum = found+1, sum+20*math.Log10(float64(p.Amp/top))
					break
				}
			}
		}
		if found >= 2 {
			seen++
			level += sum / float64(found)
		}
	}
	return level / float64(max(1, seen)), float64(seen) / float64(to-from)
}
