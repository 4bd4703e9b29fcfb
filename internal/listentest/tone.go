package listentest

import (
	"math"

	"pochette/internal/score"
)

// sound plays the steps and writes the truth of each.
func (pl *player) sound(steps []step) []float32 {
	end := pl.now
	for _, s := range steps {
		end = math.Max(end, s.end)
	}
	n := int((end + 1.0 + pl.o.Reverb) * float64(pl.o.Rate))
	dry := make([]float32, n)
	for i := 0; i < len(steps); {
		if steps[i].event.Rest || steps[i].missing && i == 0 {
			i++
			continue
		}
		j := i + 1 // a stroke: what is slurred to the first
		for j < len(steps) && !steps[j].event.Rest && !steps[j].resumed && (steps[j].missing || steps[j].event.Slurred && steps[j].visit-steps[j-1].visit <= 1) {
			j++
		}
		pl.stroke(dry, steps[i:j], i)
		i = j
	}
	return pl.room(dry)
}

// held is one note of a stroke on one string.
type held struct {
	from, to float64
	cents    float64 // above 440 Hz
	vib      float64 // depth in cents
}

// stroke plays what one bow does: one tone whose pitch moves, and for chords others
// beside it.
func (pl *player) stroke(dst []float32, steps []step, index int) {
	voices := [][]held{}
	for k := range steps {
		s := &steps[k]
		if s.missing {
			pl.tru.Missed = append(pl.tru.Missed, Missed{Visit: s.visit, Note: s.event.Struck[0], At: s.at})
			if k > 0 && len(voices) > 0 {
				for v := range voices {
					voices[v][len(voices[v])-1].to = s.end
				}
				pl.tru.Sounded[len(pl.tru.Sounded)-1].Offset = s.end
			}
			continue
		}
		voices = pl.notes(voices, s, k > 0)
	}
	bow := 0.12 * math.Pow(10, 0.15*pl.rng.NormFloat64()) // loudness from stroke to stroke
	for _, v := range voices {
		pl.tone(dst, v, bow/math.Sqrt(float64(len(voices))))
	}
	if len(voices) > 0 {
		pl.scrape(dst, voices[0][0].from, bow, 0.25, 0.015)
	}
	pl.mishaps(dst, len(steps), bow)
}

// mishaps plants scratches and touched strings on the last notes told of.
func (pl *player) mishaps(dst []float32, n int, bow float64) {
	if pl.o.Scratch == 0 && pl.o.Touch == 0 {
		return
	}
	for i := max(0, len(pl.tru.Sounded)-n); i < len(pl.tru.Sounded); i++ {
		s := &pl.tru.Sounded[i]
		if pl.rng.Float64() < pl.o.Scratch {
			s.Scratched = true
			pl.scrape(dst, s.Onset, bow, 1.2, 0.06)
		}
		if len(pl.o.Open) > 0 && s.Offset-s.Onset > 0.18 && pl.rng.Float64() < pl.o.Touch {
			s.Touched = pl.o.Open[pl.rng.IntN(len(pl.o.Open))]
			pl.tone(dst, []held{{from: s.Onset, to: s.Offset, cents: 100*float64(s.Touched-69) + 1200*math.Log2(pl.o.A4/440)}}, 0.25*bow)
		}
	}
}

// notes adds the pitches of a step to the voices and tells the truth of it.
func (pl *player) notes(voices [][]held, s *step, bound bool) [][]held {
	out := Sounded{Visit: s.visit, Note: s.event.Struck[0], Notes: s.event.Struck, Onset: s.at, Offset: s.end, Wrong: s.wrong, Slur: bound, Cut: s.cut}
	wrongBy := 0
	if s.wrong {
		wrongBy = []int{-3, -2, -1, 1, 2, 3}[pl.rng.IntN(6)]
	}
	ids := append([]score.NoteID(nil), s.event.Struck...)
	for v, id := range ids {
		key := pl.p.Notes[id].Sounding.MIDI()
		if v == 0 {
			key += wrongBy
		}
		cents := pl.o.Detune * pl.rng.NormFloat64()
		out.MIDI, out.Cents = append(out.MIDI, key), append(out.Cents, cents)
		h := held{from: s.at, to: s.end, cents: 100*float64(key-69) + cents + 1200*math.Log2(pl.o.A4/440)}
		if s.end-s.at > 0.18 {
			h.vib = pl.o.Vibrato * (0.7 + 0.6*pl.rng.Float64())
		}
		if v < len(voices) && bound {
			voices[v] = append(voices[v], h)
		} else {
			voices = append(voices, []held{h})
		}
	}
	pl.tru.Sounded = append(pl.tru.Sounded, out)
	return voices
}

// tone adds one voice of a stroke: partials with the pitch's curve under a bow's
// envelope; after the bow has gone the string rings on a little.
func (pl *player) tone(dst []float32, notes []held, loud float64) {
	rate := float64(pl.o.Rate)
	from, to := notes[0].from, notes[len(notes)-1].to
	ring := 0.03 + 0.06*pl.rng.Float64()
	attack := pl.o.Attack * (0.6 + 0.8*pl.rng.Float64())
	release := math.Min(0.04, 0.2*(to-from))
	vibRate, vibPhase := 5+1.3*pl.rng.Float64(), 2*math.Pi*pl.rng.Float64()
	phase := 0.0
	var amps [18]float64
	cur := 0
	var f, df, env, denv float64
	const block = 32
	for i := int(from * rate); i < min(len(dst), int((to+6*ring)*rate)); i++ {
		t := float64(i) / rate
		for cur+1 < len(notes) && t > (notes[cur].to+notes[cur+1].from)/2 {
			cur++
		}
		if k := i - int(from*rate); k%block == 0 { // the curve in straight pieces of under 1 ms
			f = 440 * math.Exp2(pl.cents(notes, cur, t, vibRate, vibPhase)/1200)
			env = loud * envelope(t, from, to, attack, release, ring)
			later := t + block/rate
			df = (440*math.Exp2(pl.cents(notes, cur, later, vibRate, vibPhase)/1200) - f) / block
			denv = (loud*envelope(later, from, to, attack, release, ring) - env) / block
			if k%(8*block) == 0 {
				pl.partials(&amps, f)
			}
		}
		phase += 2 * math.Pi * f / rate
		f, env = f+df, env+denv
		dst[i] += float32(env * partialSum(&amps, phase))
	}
}

// cents of the pitch at t: the notes joined by smooth glides, and vibrato that sets in.
func (pl *player) cents(notes []held, cur int, t, rate, phase float64) float64 {
	n := notes[cur]
	c := n.cents
	g := pl.o.Glide
	if cur > 0 {
		x := (t - n.from) / g // -1/2 … 1/2 over the glide
		if x < 0.5 {
			c = notes[cur-1].cents + (c-notes[cur-1].cents)*smooth(x+0.5)
		}
	}
	if cur+1 < len(notes) {
		if x := (t - n.to) / g; x > -0.5 {
			c = n.cents + (notes[cur+1].cents-n.cents)*smooth(x+0.5)
		}
	}
	set := smooth((t - n.from - 0.05) / 0.15)
	fade := smooth((n.to - t) / 0.06)
	return c + n.vib*set*fade*math.Sin(2*math.Pi*rate*t+phase)
}

func smooth(x float64) float64 {
	x = math.Max(0, math.Min(1, x))
	return x * x * (3 - 2*x)
}

// envelope of a bow stroke: up from the onset, a slight swell, down to the end, where
// the string rings on and dies away.
func envelope(t, from, to, attack, release, ring float64) float64 {
	up := smooth((t - from) / attack)
	if t > to {
		return up * 0.35 * math.Exp(-(t-to)/ring)
	}
	down := 1.0
	if x := (to - t) / release; x < 1 {
		down = 0.35 + 0.65*smooth(x)
	}
	return up * down * (0.85 + 0.15*math.Sin(math.Pi*(t-from)/(to-from)))
}

// partials of a bowed string fall as 1/h; the body lifts some regions.
func (pl *player) partials(amps *[18]float64, f float64) {
	for h := range amps {
		hz := f * float64(h+1)
		if hz > 0.45*float64(pl.o.Rate) {
			amps[h] = 0
			continue
		}
		amps[h] = 1 / float64(h+1) * body(hz)
	}
}

// body: air and wood resonances and the bridge hill, roughly a violin's (positions
// from memory).
func body(hz float64) float64 {
	r := 0.25
	for _, m := range [...][3]float64{{280, 0.8, 5}, {460, 1.2, 6}, {560, 1, 6}, {1100, 0.6, 3}, {2500, 1.1, 2}} {
		x := m[2] * (hz/m[0] - m[0]/hz)
		r += m[1] / math.Sqrt(1+x*x)
	}
	return r * 1 / (1 + (hz/5500)*(hz/5500))
}

// partialSum is Σ a(h) sin(h·phase) by the recurrence of Chebyshev.
func partialSum(amps *[18]float64, phase float64) float64 {
	s1, c := math.Sincos(phase)
	s0, sum := 0.0, 0.0
	for _, a := range amps {
		sum += a * s1
		s0, s1 = s1, 2*c*s1-s0
	}
	return sum
}

// scrape adds the noise of a bow that sets in, so much of its loudness, dying away in so
// many seconds.
func (pl *player) scrape(dst []float32, at, loud, share, fade float64) {
	rate := float64(pl.o.Rate)
	low := 0.0
	for i := int(at * rate); i < min(len(dst), int((at+4*fade)*rate)); i++ {
		t := float64(i)/rate - at
		x := pl.rng.NormFloat64()
		low += 0.4 * (x - low)
		dst[i] += float32(share * loud * (x - low) * smooth(t/0.004) * math.Exp(-t/fade))
	}
}

// room adds bow and room noise and the reverberation (combs and all-passes after
// Schroeder 1962).
func (pl *player) room(dry []float32) []float32 {
	if pl.o.Noise != 0 {
		a := math.Pow(10, pl.o.Noise/20)
		for i := range dry {
			dry[i] += float32(a * pl.rng.NormFloat64())
		}
	}
	if pl.o.Reverb == 0 {
		return dry
	}
	out := make([]float32, len(dry))
	for _, ms := range []float64{29.7, 37.1, 41.1, 43.7, 31.3, 47.9} {
		n := int(ms / 1000 * float64(pl.o.Rate))
		g := float32(math.Pow(10, -3*ms/1000/pl.o.Reverb))
		line := make([]float32, n)
		for i, x := range dry {
			k := i % n
			y := line[k]
			line[k] = x + g*y
			out[i] += y * 0.08
		}
	}
	for _, ms := range []float64{5.0, 1.7, 12.3} {
		n := int(ms / 1000 * float64(pl.o.Rate))
		line := make([]float32, n)
		for i, x := range out {
			k := i % n
			y := line[k] - 0.7*x
			line[k] = x + 0.7*y
			out[i] = y
		}
	}
	for i := range out {
		out[i] += dry[i]
	}
	return out
}
