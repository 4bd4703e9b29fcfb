package listen

import (
	"math"
	"slices"

	"pochette/internal/audio"
)

// Tone is the pitch of one note as it sounded.
type Tone struct {
	Key   int     // MIDI key that is printed
	Heard int     // MIDI key that sounds; differs from Key where Note.Wrong
	Cents float64 // from equal temperament at the take's A4, of the key that sounds; NaN where not known
	// Sure is how far Cents may be off, in cents: half the range of the middle half of
	// its frames, over the root of their number; at least 0.5.
	Sure  float64
	Width float64 // of the vibrato, cents to each side; 0 where there is none to see
	Rate  float64 // of the vibrato, Hz
}

// Note is one event as it was heard, with its measures.
type Note struct {
	Played
	Tones []Tone
	Level float64 // mean level in dB relative to full scale
	Rough float64 // share of its energy outside partials, 0 … 1
}

// otherKey is how much better, in nats a frame, another key must explain a note before
// it is said to sound; otherOctave if it is the same note in another octave, or one of
// which the printed note is a partial.
const (
	otherKey    = 0.35
	otherOctave = 0.9
)

// edges that are left out of a note's pitch: the bow's attack and the way to the next.
const (
	edgeIn  = 0.045
	edgeOut = 0.03
)

// Measure looks at every note that was played: its pitch, loudness and noise. What is
// not the printed pitch is marked Wrong, with the key that sounds.
func (al *Alignment) Measure(f *audio.Features, l *Line) []Note {
	out := make([]Note, 0, len(al.Played))
	for i := range al.Played {
		n := Note{Played: al.Played[i]}
		from, to := al.inside(&n)
		n.Level, n.Rough = al.levels(f, &n, from, to)
		e := &l.Events[n.Event]
		if len(e.Keys) == 1 {
			n.Tones = []Tone{al.oneTone(f, e.Keys[0], from, to)}
		} else {
			n.Tones = al.tones(f, e.Keys, from, to)
		}
		n.Wrong = slices.ContainsFunc(n.Tones, func(t Tone) bool { return t.Heard != t.Key })
		out = append(out, n)
	}
	return out
}

// inside gives the coarse frames of a note without its edges, at least one.
func (al *Alignment) inside(n *Note) (from, to int) {
	in, out := edgeIn, edgeOut
	if d := n.End - n.Start; d < 3*(in+out) {
		in, out = d/3, d/4
	}
	hop := float64(audio.CoarseHop) / audio.Rate
	from = int(math.Ceil((n.Start + in) / hop))
	to = max(from+1, int((n.End-out)/hop)+1)
	return from, to
}

func (al *Alignment) levels(f *audio.Features, n *Note, from, to int) (level, rough float64) {
	sum, r, k := 0.0, 0.0, 0
	for t := from; t < min(to, f.Frames()); t++ {
		sum += math.Pow(10, f.LevelAt(t)/10)
		r += float64(f.Rough[t])
		k++
	}
	if k == 0 {
		return audio.Silent, 0
	}
	return 10 * math.Log10(max(sum/float64(k), 1e-10)), r / float64(k)
}

// oneTone measures a single note by the pitch track.
func (al *Alignment) oneTone(f *audio.Features, key, from, to int) Tone {
	var keys []float64
	var at []float64
	for t := from; t < min(to, f.Frames()); t++ {
		if f.Hz[t] > 0 && f.LevelAt(t) >= al.em.silence {
			keys = append(keys, keyOf(float64(f.Hz[t]), al.A4))
			at = append(at, audio.CoarseTime(t))
		}
	}
	out := Tone{Key: key, Heard: key, Cents: math.NaN()}
	if len(keys) == 0 || len(keys) < (to-from)/3 {
		return out
	}
	sounding := median(keys)
	d := sounding - float64(key)
	clear := otherKey
	if int(math.Round(d))%12 == 0 || harmonicOf(float64(key), sounding) { // the track errs so more readily than a player
		clear = otherOctave
	}
	if math.Abs(d) > 0.6 && al.gain(f, []int{key}, []int{int(math.Round(sounding))}, from, to) > clear {
		out.Heard = int(math.Round(sounding))
	} else if math.Abs(d) > 0.9 {
		return out // the track errs, by an octave as a rule
	}
	var near, when []float64
	for i, k := range keys {
		if d := 100 * (k - float64(out.Heard)); math.Abs(d) < 80 {
			near, when = append(near, d), append(when, at[i])
		}
	}
	out.center(near, when)
	return out
}

// center sets the middle of a pitch from its course: its median, or, where it is long
// enough to hold a vibrato, the constant part of the best fit of a constant and a
// sinusoid of 4 to 8 Hz, so that an unfinished swing does not pull it.
func (t *Tone) center(cents, at []float64) {
	if len(cents) == 0 {
		return
	}
	t.Cents = median(cents)
	s := slices.Clone(cents)
	slices.Sort(s)
	t.Sure = max(0.5, (s[len(s)*3/4]-s[len(s)/4])/2/math.Sqrt(float64(len(s))/4))
	if len(cents) < 16 {
		return
	}
	var plain float64
	for _, c := range cents {
		plain += (c - t.Cents) * (c - t.Cents)
	}
	best := plain
	for hz := 4.0; hz <= 8; hz += 0.25 {
		mid, width, left := fitSwing(cents, at, hz)
		if left < 0.5*plain && left < best && width < 80 && width > 3 {
			best, t.Cents, t.Width, t.Rate = left, mid, width, hz
		}
	}
	t.Sure = max(0.5, math.Sqrt(best/float64(len(cents)))/math.Sqrt(float64(len(cents))/4))
}

// fitSwing fits c + a·cos + b·sin by least squares: the middle, the width of the swing
// and the sum of squares that is left.
func fitSwing(v, at []float64, hz float64) (mid, width, left float64) {
	var m [3][4]float64
	for i, y := range v {
		s, c := math.Sincos(2 * math.Pi * hz * at[i])
		x := [3]float64{1, c, s}
		for r := range x {
			for k := range x {
				m[r][k] += x[r] * x[k]
			}
			m[r][3] += x[r] * y
		}
	}
	x, ok := solve3(m)
	if !ok {
		return 0, 0, math.Inf(1)
	}
	for i, y := range v {
		s, c := math.Sincos(2 * math.Pi * hz * at[i])
		d := y - x[0] - x[1]*c - x[2]*s
		left += d * d
	}
	return x[0], math.Hypot(x[1], x[2]), left
}

// solve3 solves three equations by elimination with pivots.
func solve3(m [3][4]float64) (x [3]float64, ok bool) {
	for c := range 3 {
		p := c
		for r := c + 1; r < 3; r++ {
			if math.Abs(m[r][c]) > math.Abs(m[p][c]) {
				p = r
			}
		}
		m[c], m[p] = m[p], m[c]
		if math.Abs(m[c][c]) < 1e-9 {
			return x, false
		}
		for r := range 3 {
			if r != c {
				k := m[r][c] / m[c][c]
				for j := c; j < 4; j++ {
					m[r][j] -= k * m[c][j]
				}
			}
		}
	}
	for r := range 3 {
		x[r] = m[r][3] / m[r][r]
	}
	return x, true
}

// tones measures the notes of a chord by their partials, leaving out those that
// another note's may cover.
func (al *Alignment) tones(f *audio.Features, keys []int, from, to int) []Tone {
	heard := al.chordHeard(f, keys, from, to)
	out := make([]Tone, len(keys))
	for i := range keys {
		out[i] = Tone{Key: keys[i], Heard: heard[i], Cents: math.NaN()}
		var cents, at []float64
		for t := from; t < min(to, f.Frames()); t++ {
			if c, ok := al.partialCents(f.Peaks(t), heard, i); ok {
				cents, at = append(cents, c), append(at, audio.CoarseTime(t))
			}
		}
		if len(cents) >= max(2, (to-from)/4) {
			out[i].center(cents, at)
		}
	}
	return out
}

// partialCents is how far the partials of note i of a chord lie from its key, weighted
// by amplitude.
func (al *Alignment) partialCents(peaks []audio.Peak, keys []int, i int) (float64, bool) {
	sum, weight := 0.0, 0.0
	for h := 1; h <= 6; h++ {
		want := float64(keys[i]) + 12*math.Log2(float64(h))
		if covered(keys, i, want) {
			continue
		}
		for _, p := range peaks {
			if d := 100 * (keyOf(float64(p.Hz), al.A4) - want); math.Abs(d) < 45 {
				sum, weight = sum+d*float64(p.Amp), weight+float64(p.Amp)
			}
		}
	}
	if weight < 1e-4 {
		return 0, false
	}
	return sum / weight, true
}

// covered: a partial of another note lies within a semitone and a half.
func covered(keys []int, i int, want float64) bool {
	for j, k := range keys {
		for h := 1; j != i && h <= 10; h++ {
			if math.Abs(float64(k)+12*math.Log2(float64(h))-want) < 1.5 {
				return true
			}
		}
	}
	return false
}

// chordHeard tries each note of a chord up to four semitones off and keeps what sounds
// clearly more like the take.
func (al *Alignment) chordHeard(f *audio.Features, keys []int, from, to int) []int {
	heard := slices.Clone(keys)
	for i := range keys {
		cand := slices.Clone(heard)
		best, arg := 0.0, keys[i]
		for d := -4; d <= 4; d++ {
			cand[i] = keys[i] + d
			if d == 0 || slices.Contains(keys, cand[i]) {
				continue
			}
			if g := al.gain(f, heard, cand, from, to); g > best {
				best, arg = g, cand[i]
			}
		}
		if best > 0.25 {
			heard[i] = arg
		}
	}
	return heard
}

// gain a frame of one reading of the keys over another.
func (al *Alignment) gain(f *audio.Features, printed, heard []int, from, to int) float64 {
	a, b := newTemplate(printed), newTemplate(heard)
	gain, n := 0.0, 0
	for t := from; t < min(to, f.Frames()); t++ {
		gain += al.em.single(t, &a) - al.em.single(t, &b)
		n++
	}
	return gain / float64(max(1, n))
}

func median(v []float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	s := slices.Clone(v)
	slices.Sort(s)
	if len(s)%2 == 1 {
		return s[len(s)/2]
	}
	return (s[len(s)/2-1] + s[len(s)/2]) / 2
}
