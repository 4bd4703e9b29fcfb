package listen

import (
	"math"
	"slices"

	"pochette/internal/audio"
)

// Keys that a spectrum is gathered on: from the cello's lowest string to the partials
// of the violin's top notes.
const (
	firstKey = 28
	keyCount = 100
)

// template is what a note or a chord is expected to sound like: for some keys the
// amplitude of its partials under a square root, of unit length in all.
type template struct {
	keys    []int16
	weights []float32
	only    int // the key of a single note, -1 for a chord
}

// partialsOf a template, and how the compressed amplitude falls from one to the next
// (a bowed string's fall as 1/h; under the root as h^-1/2; from memory).
const partialsOf = 10

func newTemplate(keys []int) template {
	var v [keyCount]float64
	for _, k := range keys {
		for h := 1; h <= partialsOf; h++ {
			spread(&v, float64(k)+12*math.Log2(float64(h)), 1/math.Sqrt(float64(h)))
		}
	}
	norm := 0.0
	for _, x := range v {
		norm += x * x
	}
	t := template{only: -1}
	if len(keys) == 1 {
		t.only = keys[0]
	}
	for i, x := range v {
		if x > 0 {
			t.keys, t.weights = append(t.keys, int16(i)), append(t.weights, float32(x/math.Sqrt(norm)))
		}
	}
	return t
}

// spread adds an amplitude to the two keys around a place.
func spread(v *[keyCount]float64, key, amount float64) {
	at := key - firstKey
	i := int(math.Floor(at))
	x := at - float64(i)
	if i >= 0 && i < keyCount {
		v[i] += amount * (1 - x)
	}
	if i+1 >= 0 && i+1 < keyCount {
		v[i+1] += amount * x
	}
}

// Costs of a frame, in nats; by trial on made-up takes. What sounds like the note
// expected costs little, what is another note up to costUnlike and costPitch together; a
// wrong note costs what the likeliest note of all costs and costWrong more, so that it is
// as good an explanation in a rough sound as in a clear one, and never as good as the
// right one.
const (
	costUnlike  = 2.2 // times one minus the likeness
	costPitch   = 0.9 // the track is clear and elsewhere
	costSilentN = 0.7 // silence where a note should be
	costWrong   = 0.3
	costSilentG = 0.05
	costSoundG  = 1.15
)

// emission gives the cost of each frame for each template, worked out when asked.
type emission struct {
	f         *audio.Features
	a4        float64
	templates []template // of the line's notes and chords, then of single keys that it lacks
	silence   float64    // level in dB below which nothing sounds
	mean      []float32  // onset strength around each coarse frame
	on        []float32  // how much it looks like the beginning of a note, 0 … 1
	wrong     []float32  // what a wrong note costs, set by frame
	quiet     []float32  // what it costs if none begins there; 0 but at peaks
}

func newEmission(f *audio.Features, a4 float64) *emission {
	e := &emission{f: f, a4: a4, silence: silenceLevel(f)}
	e.mean = meanRise(f)
	e.onsets()
	e.wrong = make([]float32, f.Frames())
	return e
}

// silenceLevel lies 34 dB under the loud parts of the take (the 90th percentile of its
// level), or just above its noise where that is higher.
func silenceLevel(f *audio.Features) float64 {
	v := slices.Clone(f.Level)
	if len(v) == 0 {
		return audio.Silent
	}
	slices.Sort(v)
	loud, quiet := float64(v[len(v)*9/10]), float64(v[len(v)/50])
	return max(loud-34, min(quiet+6, loud-20), audio.Silent+20)
}

// strangers adds templates for the single keys within the compass that the line does
// not have alone, and a third beyond on either side.
func (e *emission) strangers(l *Line) {
	low, high, has := 127, 0, map[int]bool{}
	for i := range l.Events {
		k := l.Events[i].Keys
		low, high = min(low, k[0]), max(high, k[len(k)-1])
		if len(k) == 1 {
			has[k[0]] = true
		}
	}
	for k := low - 4; k <= high+4; k++ {
		if !has[k] {
			e.templates = append(e.templates, newTemplate([]int{k}))
		}
	}
}

// frame fills out with the cost of each template at a frame, and gives the cost of a
// wrong note and of a gap.
func (e *emission) frame(t int, out []float32) (wrong, gap float32) {
	if e.f.LevelAt(t) < e.silence {
		for i := range out {
			out[i] = costSilentN
		}
		e.wrong[t] = costSilentN + costWrong
		return e.wrong[t], costSilentG
	}
	w, key, clear := e.heard(t)
	least := float32(costUnlike)
	for i := range e.templates {
		c := e.templates[i].cost(&w, key, clear)
		least = min(least, c)
		if i < len(out) {
			out[i] = c
		}
	}
	e.wrong[t] = least + costWrong
	return e.wrong[t], costSoundG
}

// heard is the spectrum of a frame by keys, of unit length, with the key of the pitch
// track (NaN for none) and how clear that is, 0 … 1.
func (e *emission) heard(t int) (w [keyCount]float32, key float64, clear float32) {
	var v [keyCount]float64
	for _, p := range e.f.Peaks(t) {
		if p.Hz > 40 {
			spread(&v, keyOf(float64(p.Hz), e.a4), math.Sqrt(float64(p.Amp)))
		}
	}
	norm := 0.0
	for _, x := range v {
		norm += x * x
	}
	scale := float32(0)
	if norm > 0 {
		scale = float32(1 / math.Sqrt(norm))
	}
	for i, x := range v {
		w[i] = float32(x) * scale
	}
	key = math.NaN()
	if h := e.f.Hz[t]; h > 0 && e.f.Clarity[t] > 0.8 {
		key, clear = keyOf(float64(h), e.a4), (e.f.Clarity[t]-0.8)*5
	}
	return w, key, clear
}

// single is the cost of one template at a frame, as frame gives it.
func (e *emission) single(t int, tm *template) float64 {
	if e.f.LevelAt(t) < e.silence {
		return costSilentN
	}
	w, key, clear := e.heard(t)
	return float64(tm.cost(&w, key, clear))
}

// harmonicOf says that a key is a low partial (2nd to 4th) of another: where a note
// rings on under the next, the track finds the period common to both, an octave or a
// twelfth too low, and the spectrum alone has to decide.
func harmonicOf(key, of float64) bool {
	for m := 2.0; m <= 4; m++ {
		if math.Abs(of+12*math.Log2(m)-key) < 0.4 {
			return true
		}
	}
	return false
}

func (t *template) cost(w *[keyCount]float32, key float64, clear float32) float32 {
	like := float32(0)
	for i, k := range t.keys {
		like += t.weights[i] * w[k]
	}
	c := costUnlike * (1 - like)
	if t.only >= 0 && clear > 0 {
		d := float32(math.Abs(key - float64(t.only)))
		if harmonicOf(float64(t.only), key) {
			d = 0
		}
		c += costPitch * clear * min(1, max(0, d-0.35)*2)
	}
	return c
}

// meanRise is the onset strength around each coarse frame, what a rise is measured by.
func meanRise(f *audio.Features) []float32 {
	const around = 40
	n := len(f.Flux)
	sum := make([]float64, n+1)
	for i := range n {
		sum[i+1] = sum[i] + f.Strength(i)
	}
	out := make([]float32, f.Frames())
	for t := range out {
		a, b := max(0, 2*t-around), min(n, 2*t+around+1)
		if b > a {
			out[t] = float32((sum[b] - sum[a]) / float64(b-a))
		}
	}
	return out
}

// onsets fills on and quiet.
func (e *emission) onsets() {
	n := e.f.Frames()
	near := make([]float32, n)
	for t := range near {
		r := 0.0
		for i := 2*t - 1; i <= 2*t+1; i++ {
			if i >= 0 && i < len(e.f.Flux) {
				r = max(r, e.f.Strength(i))
			}
		}
		near[t] = e.chance(r, t)
	}
	e.on, e.quiet = make([]float32, n), make([]float32, n)
	for t, v := range near {
		e.on[t] = v
		peak := v > 0
		for k := max(0, t-onsetApart); k <= min(n-1, t+onsetApart); k++ {
			if k >= t-1 && k <= t+1 {
				e.on[t] = max(e.on[t], near[k])
			}
			peak = peak && (near[k] < v || near[k] == v && k >= t)
		}
		if peak {
			e.quiet[t] = float32(-math.Log(1 - 0.9*float64(v)))
		}
	}
}

// onsetApart is how many coarse frames around a peak of the onset strength belong to it.
const onsetApart = 4

// chance that a note begins with this onset strength at coarse frame t, 0 … 1.
func (e *emission) chance(strength float64, t int) float32 {
	return float32(1 - math.Exp(-max(0, strength-float64(e.mean[t]))/1.2))
}
