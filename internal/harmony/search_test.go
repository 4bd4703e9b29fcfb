package harmony

import (
	"math"
	"math/rand/v2"
	"testing"

	"pochette/internal/pitch"
	"pochette/internal/score"
)

// randomPart makes a little part of eighths and quarters.
func randomPart(r *rand.Rand, bars int) *score.Part {
	p := &score.Part{}
	for b := range bars {
		m := score.Measure{Index: b, Start: score.Tick(b * 12), Len: 12, Meter: score.Meter{Num: 3, Den: 4, Len: 12, Groups: []score.Tick{12}}}
		if r.IntN(3) == 0 && b > 0 {
			p.Measures[b-1].RepeatTimes = 2
		}
		p.Measures = append(p.Measures, m)
		for at := 0; at < 12; {
			d := 2 + 2*r.IntN(2)
			d = min(d, 12-at)
			if r.IntN(6) > 0 {
				key := 48 + r.IntN(24)
				id := score.NoteID(len(p.Notes))
				pi := pitch.FromMIDI(key, r.IntN(5)-2)
				p.Notes = append(p.Notes, score.Note{ID: id, Head: id, Measure: b, Onset: score.Tick(b*12 + at), Dur: score.Tick(d), Sounding: pi, Written: pi, TieFrom: score.NoNote, TieTo: score.NoNote, Voice: "1"})
			}
			at += d
		}
	}
	return p
}

func randomWeights(r *rand.Rand) *Weights {
	w := NewWeights()
	for i := range w.w {
		w.w[i] = math.Round(8*r.NormFloat64()) / 8
	}
	return w
}

// narrow keeps two keys of the problem, and of each the first few functions, so
// that all readings can be tried one by one.
func narrow(p *problem, r *rand.Rand, fns int) {
	a := r.IntN(len(p.keys))
	b := (a + 1 + r.IntN(len(p.keys)-1)) % len(p.keys)
	p.keys = []Key{p.keys[a], p.keys[b]}
	p.chord = [][]int32{p.chord[a][:fns], p.chord[b][:fns]}
	p.pivot = [][]int8{p.pivot[a], p.pivot[b]}
}

// bruteForce tries every segmentation and every state of each segment.
func bruteForce(p *problem, w *Weights) float64 {
	best := math.Inf(-1)
	everyReading(p, func(path []Segment) { best = math.Max(best, p.score(w, path)) })
	return best
}

// The search against trying everything, with random music and weights.
func TestSearchIsExact(t *testing.T) {
	seed := uint64(20)
	r := rand.New(rand.NewPCG(seed, 4))
	t.Logf("seed %d", seed)
	for n := range 40 {
		p := newProblem(newGrid(randomPart(r, 1+n%2), 4), Key{Tone(r.IntN(5) - 2), r.IntN(2) == 0})
		fns := 2
		if p.units > 3 {
			fns = 1
		}
		narrow(p, r, fns)
		if n%2 == 1 && p.units != 6 || n%2 == 0 && p.units != 3 {
			t.Fatalf("%d units", p.units)
		}
		w := randomWeights(r)
		path, got := newScored(p, w).best()
		want := bruteForce(p, w)
		if math.Abs(got-want) > 1e-6 {
			t.Fatalf("case %d: search %.6f, everything tried %.6f", n, got, want)
		}
		if s := p.score(w, path); math.Abs(got-s) > 1e-6 {
			t.Fatalf("case %d: the reading scores %.6f, the search said %.6f", n, s, got)
		}
	}
}

// The search's tables against the plain sum of features, with all keys and
// functions, and no random reading that beats it.
func TestSearchScoresAsFeatures(t *testing.T) {
	seed := uint64(7)
	r := rand.New(rand.NewPCG(seed, 5))
	t.Logf("seed %d", seed)
	for range 8 {
		p := newProblem(newGrid(randomPart(r, 9), 4), Key{Tone(r.IntN(9) - 4), r.IntN(2) == 0})
		w := randomWeights(r)
		path, got := newScored(p, w).best()
		if s := p.score(w, path); math.Abs(got-s) > 1e-6 {
			t.Fatalf("the reading scores %.6f, the search said %.6f", s, got)
		}
		for range 200 {
			other := append([]Segment(nil), path...)
			i := r.IntN(len(other))
			k := r.IntN(len(p.keys))
			other[i].State = State{k, r.IntN(len(p.chord[k]))}
			if s := p.score(w, other); s > got+1e-6 {
				t.Fatalf("%v scores %.6f, the search's best %.6f", other, s, got)
			}
		}
	}
}

// Second-best readings against trying every other state of the neighbours' keys.
func TestSecondIsExact(t *testing.T) {
	seed := uint64(3)
	r := rand.New(rand.NewPCG(seed, 6))
	t.Logf("seed %d", seed)
	for range 6 {
		p := newProblem(newGrid(randomPart(r, 3), 4), Key{0, r.IntN(2) == 0})
		w := randomWeights(r)
		s := newScored(p, w)
		path, best := s.best()
		for i, o := range s.seconds(path) {
			want := math.Inf(1)
			for k := range p.keys {
				if k != path[i].Key && !s.beside(path, i, k) {
					continue
				}
				for f := range p.chord[k] {
					if y := (State{k, f}); y != path[i].State {
						other := append([]Segment(nil), path...)
						other[i].State = y
						want = math.Min(want, best-p.score(w, other))
					}
				}
			}
			if math.Abs(o.gap-want) > 1e-6 {
				t.Fatalf("segment %d: gap %.6f, tried %.6f", i, o.gap, want)
			}
		}
	}
}
