package harmony

import (
	"pochette/internal/score"
	"pochette/internal/timeline"
)

// Sequence is a model that is restated step by step on other degrees.
type Sequence struct {
	From, To score.Tick // model and restatements
	Length   score.Tick // of the model
	Step     int        // staff steps from one statement to the next, down negative
	Count    int        // statements, the model counted in
}

// Sizes of sequences: the model lasts from one beat to two bars and holds
// minModel notes at least; two restatements make a sequence (common textbooks).
const (
	minModel   = 3
	minTimes   = 3
	maxModel   = 2 // bars
	maxInModel = 64
)

// sequences finds runs of statements with the same rhythm whose notes all lie the
// same number of staff steps from those before, on the grid of beats. Longer
// stretches win over shorter ones, shorter models over longer.
func (s *Study) sequences() {
	ev := struckEvents(s.part)
	first := make([]int, len(ev)) // which events begin on a beat
	n := 0
	for i, e := range ev {
		if s.onBeat(e) {
			first[n] = i
			n++
		}
	}
	first = first[:n]
	for a := 0; a < n; {
		best, next := Sequence{}, a+1
		for b := a + 1; b < n && first[b]-first[a] <= maxInModel; b++ {
			if q, ok := s.statements(ev, first[a], first[b]); ok && q.To-q.From > best.To-best.From {
				best = q
			}
		}
		if best.Count > 0 {
			s.Seqs = append(s.Seqs, best)
			for next < n && ev[first[next]].Onset < best.To {
				next++
			}
		}
		a = next
	}
}

func struckEvents(p *score.Part) []timeline.Event {
	var out []timeline.Event
	for _, e := range timeline.Events(p) {
		if !e.Rest && !e.Grace {
			out = append(out, e)
		}
	}
	return out
}

func (s *Study) onBeat(e timeline.Event) bool {
	m := &s.part.Measures[e.Measure]
	b := timeline.Beat(m.Meter)
	return b > 0 && (timeline.Offset(s.part, e.Measure)+e.Onset-m.Start)%b == 0
}

// statements counts how often the model of events [i, j) is restated in a row.
func (s *Study) statements(ev []timeline.Event, i, j int) (Sequence, bool) {
	size, length := j-i, ev[j].Onset-ev[i].Onset
	if size < minModel || length > maxModel*s.part.Measures[ev[i].Measure].Meter.Len && s.part.Measures[ev[i].Measure].Meter.Len > 0 {
		return Sequence{}, false
	}
	count, step := 1, 0
	for at := j; at+size <= len(ev); at += size {
		d, ok := s.restates(ev, at-size, at, size, length)
		if !ok || d == 0 || count > 1 && d != step {
			break
		}
		step = d
		count++
	}
	if count < minTimes {
		return Sequence{}, false
	}
	return Sequence{ev[i].Onset, ev[i].Onset + score.Tick(count)*length, length, step, count}, true
}

// restates compares two statements: same places in time, all notes the same
// number of steps apart.
func (s *Study) restates(ev []timeline.Event, a, b, size int, length score.Tick) (int, bool) {
	d := 0
	for k := range size {
		x, y := ev[a+k], ev[b+k]
		if y.Onset-x.Onset != length || len(x.Struck) != len(y.Struck) {
			return 0, false
		}
		for v := range x.Struck {
			w := s.part.Notes[y.Struck[v]].Sounding.Diatonic() - s.part.Notes[x.Struck[v]].Sounding.Diatonic()
			if k == 0 && v == 0 {
				d = w
			}
			if w != d {
				return 0, false
			}
		}
	}
	return d, true
}
