package sound

import (
	"math"
	"slices"

	"pochette/internal/pace"
)

// Times of the tone's beginnings and ends in seconds (ours, by ear of common
// practice): the rise of a stroke, of an accented one, of a slurred note; the fall at a
// change of bow, and into a slurred note, which meets that note's rise.
const (
	strokeRise, accentRise, slurRise = 0.030, 0.016, 0.012
	changeFall                       = 0.030
	vibratoFrom, vibratoRate         = 0.35, 5.5 // seconds, Hz
	vibratoRise                      = 0.25
	shapeDB                          = 1.0 // a down-bow falls by so much from its beginning to its end and back, an up-bow rises
	noiseShare, noiseFade            = 0.22, 0.030
	hissShare                        = 0.008
	pluckFade                        = 0.45
	clickSeconds                     = 0.030
)

// voice is one tone from its first sample to its last.
type voice struct {
	start, end int64 // samples
	tab        table
	step       float64 // table places a sample
	bent       float64 // the same with vibrato, 0 before its first step
	phase      float64
	amp        float64
	rise, fall int64 // samples
	hold       int64 // samples from start to the beginning of the fall
	// gain at the beginning and at the end, factors
	from, to float64
	noise    float64 // of the attack, relative to amp
	hiss     float64
	pluck    bool
	vibrato  float64 // cents
	seed     uint64
	low      float64 // state of the noise's filter
	strong   bool    // of a click
	click    bool
}

// builder makes voices from a programme.
type builder struct {
	o      Options
	tables map[tableKey]table
	voices []voice
}

type tableKey struct{ key, cents, bright int }

// voicesOf lists all voices of a programme in order of their beginnings, and the
// samples that it lasts.
func voicesOf(p pace.Programme, o Options) ([]voice, int64) {
	b := &builder{o: o, tables: map[tableKey]table{}}
	starts := p.Starts()
	for i := range p {
		t := &p[i]
		b.passage(&t.Passage, starts[i]+t.Lead)
		for _, c := range t.Count {
			b.click(c, starts[i])
		}
		for _, c := range t.Clicks {
			if c.At < t.Passage.Seconds+t.Gap {
				b.click(c, starts[i]+t.Lead)
			}
		}
	}
	slices.SortStableFunc(b.voices, func(x, y voice) int { return int(x.start - y.start) })
	end := samples(starts[len(p)])
	for i := range b.voices {
		v := &b.voices[i]
		v.seed = uint64(i)*0x9e3779b97f4a7c15 + 1
		v.white()
		v.phase = (0.5 + v.white()/2) * tableSize * 0.999 // so that the strings of a chord do not peak together
		end = max(end, b.voices[i].end)
	}
	return b.voices, end + samples(tail)
}

// tail is the silence at the end, seconds.
const tail = 0.2

func samples(seconds float64) int64 { return int64(math.Round(seconds * Rate)) }

// stretchOf is where the stroke of a note begins and ends.
type stretchOf struct{ from, to float64 }

// strokes gives for each note the stretch of its stroke: from an attack to the last
// release before the next.
func strokes(ns []pace.Note) []stretchOf {
	out := make([]stretchOf, len(ns))
	for i := 0; i < len(ns); {
		j := i + 1
		to := ns[i].Release
		for j < len(ns) && (!ns[j].Begins || ns[j].Onset == ns[i].Onset) {
			to = max(to, ns[j].Release)
			j++
		}
		for k := i; k < j; k++ {
			out[k] = stretchOf{ns[i].Onset, to}
		}
		i = j
	}
	return out
}

// slurredOn says which notes go over into one that is not attacked.
func slurredOn(ns []pace.Note) []bool {
	out := make([]bool, len(ns))
	for i := range ns {
		for j := i + 1; j < len(ns) && ns[j].Onset <= ns[i].Release+1e-6; j++ {
			if ns[j].Onset > ns[i].Onset && ns[j].Onset >= ns[i].Release-1e-6 {
				out[i] = !ns[j].Begins
				break
			}
		}
	}
	return out
}

func (b *builder) passage(p *pace.Passage, at float64) {
	stretch, slurred := strokes(p.Notes), slurredOn(p.Notes)
	for i := range p.Notes {
		n := &p.Notes[i]
		on, off := breakChord(n)
		v := voice{start: samples(at + on), amp: math.Pow(10, n.Level/20), from: 1, to: 1}
		if n.Chord > 1 {
			v.amp /= math.Sqrt(float64(min(n.Chord, 2))) // two strings share the bow
		}
		b.pitch(&v, n)
		if n.Plucked {
			v.pluck = true
			v.hold = samples(max(off-on, 0.15))
			v.rise, v.fall = samples(0.002), samples(changeFall)
		} else {
			b.bowed(&v, n, on, off, slurred[i], stretch[i])
		}
		v.end = v.start + v.hold + v.fall
		b.voices = append(b.voices, v)
	}
}

// chordBreak and chordHold: of three notes and more a bow plays two at a time; the
// upper ones come so much later, the lower ones end so long after the beginning.
const chordBreak, chordHold = 0.07, 0.14

// breakChord gives the beginning and the end of a note in its chord.
func breakChord(n *pace.Note) (on, off float64) {
	on, off = n.Onset, n.Release
	if n.Chord < 3 || n.Plucked {
		return on, off
	}
	long := off - on
	if n.InChord >= n.Chord-1 || n.Chord > 3 && n.InChord == n.Chord-2 {
		on += min(chordBreak, long/4)
	}
	if n.InChord < n.Chord-2 {
		off = min(off, n.Onset+max(min(chordHold, long/2), 0.03))
	}
	return on, off
}

func (b *builder) pitch(v *voice, n *pace.Note) {
	f := b.o.frequency()(n.Key, n.Cents)
	k := tableKey{n.Key, n.Cents, brightStep(n.Level)}
	t, ok := b.tables[k]
	if !ok {
		t = newTable(b.o.Body, f, brightHz(k.bright))
		b.tables[k] = t
	}
	v.tab, v.step = t, f*tableSize/Rate
}

// bowed shapes a note of the bow.
func (b *builder) bowed(v *voice, n *pace.Note, on, off float64, slurred bool, s stretchOf) {
	long := max(off-on, 1e-3)
	rise := slurRise
	if n.Begins {
		rise = strokeRise
		v.noise = noiseShare
		if n.Accent {
			rise, v.noise = accentRise, 1.6*noiseShare
		}
		if n.Again {
			v.noise *= 0.7
		}
	}
	v.hiss = hissShare
	v.rise = samples(min(rise, long/2))
	v.fall = samples(changeFall)
	if slurred {
		v.fall = samples(slurRise)
	}
	v.hold = max(samples(long), v.rise)
	if d := s.to - s.from; d > 0 && n.Bow != pace.NoBow {
		sign := 1.0
		if n.Bow == pace.Up {
			sign = -1
		}
		gain := func(t float64) float64 { return math.Pow(10, sign*shapeDB*(0.5-min(max((t-s.from)/d, 0), 1))/20) }
		v.from, v.to = gain(on), gain(off)
	}
	if b.o.Vibrato > 0 && long > vibratoFrom {
		v.vibrato = b.o.Vibrato
	}
}

func (b *builder) click(c pace.Click, at float64) {
	start := samples(at + c.At)
	b.voices = append(b.voices, voice{start: start, end: start + samples(clickSeconds), click: true, strong: c.Strong})
}

// add sounds the voice into the samples from at on.
func (v *voice) add(out []float64, at int64) {
	from, to := max(v.start, at), min(v.end, at+int64(len(out)))
	switch {
	case v.click:
		v.addClick(out, at, from, to)
	case v.pluck:
		v.addPluck(out, at, from, to)
	default:
		v.addBowed(out, at, from, to)
	}
}

// clickHz are those of the first beat and the others; clickAmp their loudness.
const clickStrongHz, clickWeakHz, clickAmp = 1600.0, 1100.0, 0.35

func (v *voice) addClick(out []float64, at, from, to int64) {
	hz := clickWeakHz
	if v.strong {
		hz = clickStrongHz
	}
	long := float64(v.end - v.start)
	for i := from; i < to; i++ {
		x := float64(i - v.start)
		env := math.Exp(-6*x/long) * min(1, x/40) * (1 - x/long)
		out[i-at] += clickAmp * env * math.Sin(2*math.Pi*hz*x/Rate)
	}
}

// envelope of a bowed note at a sample of it: a raised cosine at both ends.
func (v *voice) envelope(k int64) float64 {
	e := 1.0
	if k < v.rise {
		e = 0.5 - 0.5*math.Cos(math.Pi*float64(k)/float64(v.rise))
	}
	if k > v.hold {
		e *= 0.5 + 0.5*math.Cos(math.Pi*float64(k-v.hold)/float64(v.fall))
	}
	return e
}

// next sample of the period.
func (v *voice) next(step float64) float64 {
	i := int(v.phase)
	x := v.tab[i] + (v.phase-float64(i))*(v.tab[i+1]-v.tab[i])
	v.phase += step
	if v.phase >= tableSize {
		v.phase -= tableSize
	}
	return x
}

// white is noise between -1 and 1 (xorshift; the seed is the voice's).
func (v *voice) white() float64 {
	v.seed ^= v.seed << 13
	v.seed ^= v.seed >> 7
	v.seed ^= v.seed << 17
	return float64(int64(v.seed)) / math.MaxInt64
}

// vibratoEvery is how many samples one step of the vibrato lasts.
const vibratoEvery = 32

func (v *voice) addBowed(out []float64, at, from, to int64) {
	if v.bent == 0 {
		v.bent = v.step
	}
	fade := math.Exp(-1 / (noiseFade * Rate))
	noise := v.noise * math.Pow(fade, float64(from-v.start))
	slope := (v.to - v.from) / float64(max(v.hold, 1))
	for i := from; i < to; i++ {
		k := i - v.start
		if v.vibrato > 0 && k%vibratoEvery == 0 {
			t := float64(k) / Rate
			depth := v.vibrato * min(1, t/vibratoRise)
			v.bent = v.step * math.Exp2(depth*math.Sin(2*math.Pi*vibratoRate*t)/1200)
		}
		x := v.next(v.bent)
		w := v.white()
		v.low += 0.25 * (w - v.low)
		x += (noise + v.hiss) * (w - v.low)
		noise *= fade
		e := 1.0
		if k < v.rise || k > v.hold {
			e = v.envelope(k)
		}
		out[i-at] += v.amp * e * (v.from + slope*float64(min(k, v.hold))) * x
	}
}

// addPluck lets a plucked string die away, the faster the higher.
func (v *voice) addPluck(out []float64, at, from, to int64) {
	fade := math.Exp(-1 / (pluckFade * Rate) * math.Sqrt(v.step/10))
	gain := 1.4 * math.Pow(fade, float64(from-v.start))
	for i := from; i < to; i++ {
		k := i - v.start
		e := 1.0
		if k < v.rise || k > v.hold {
			e = v.envelope(k)
		}
		out[i-at] += v.amp * gain * e * v.next(v.step)
		gain *= fade
	}
}
