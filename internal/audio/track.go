package audio

import (
	"math"

	"pochette/internal/sequence"
)

// Costs of the path of the pitch (Boersma 1993 has the same terms; the figures are
// ours, by trial): a frame without pitch, going between pitch and none, a jump of an
// octave, and a lag twice as long.
const (
	costUnvoiced = 0.45
	costSwitch   = 0.25
	costOctave   = 0.35
	costLonger   = 0.04
)

// trackBlock is how many frames are followed at a time, with an overlap, so that
// the tables of a long take stay small: an hour needs no more than a minute.
const (
	trackBlock   = 6000
	trackOverlap = 200
)

// lattice is the readings of a stretch of frames, state 0 of each being no pitch.
type lattice struct {
	f          *Features
	from, to   int
	fixed      bool // the first frame has to take what was found before
	firstState int
}

func (l lattice) Layers() int          { return l.to - l.from }
func (l lattice) States(layer int) int { return 1 + len(l.f.Candidates(l.from+layer)) }

func (l lattice) Node(layer, state int) float64 {
	if layer == 0 && l.fixed && state != l.firstState {
		return math.Inf(1)
	}
	if state == 0 {
		return costUnvoiced
	}
	c := l.f.Candidates(l.from + layer)[state-1]
	return 1 - float64(c.Clarity) + costLonger*math.Log2(Rate/(minLag*float64(c.Hz)))
}

func (l lattice) Edge(layer, from, to int) float64 {
	if from == 0 && to == 0 {
		return 0
	}
	if from == 0 || to == 0 {
		return costSwitch
	}
	a, b := l.f.Candidates(l.from + layer - 1)[from-1], l.f.Candidates(l.from + layer)[to-1]
	return costOctave * min(1.5, math.Abs(math.Log2(float64(b.Hz/a.Hz))))
}

// follow chooses the cheapest path through the readings, by blocks: each begins
// with the state that the block before settled on, well before its own end.
func (f *Features) follow() {
	n := len(f.candStart) - 1
	f.Hz, f.Clarity = make([]float32, n), make([]float32, n)
	l := lattice{f: f}
	for l.from < n {
		l.to = min(n, l.from+trackBlock)
		path, ok := sequence.Best(l)
		if !ok {
			panic("audio: no path of the pitch") // state 0 is always open
		}
		for i, s := range path.States {
			f.Hz[l.from+i], f.Clarity[l.from+i] = 0, 0
			if s > 0 {
				c := f.Candidates(l.from + i)[s-1]
				f.Hz[l.from+i], f.Clarity[l.from+i] = c.Hz, c.Clarity
			}
		}
		if l.to == n {
			break
		}
		keep := l.to - l.from - trackOverlap
		l.from, l.fixed, l.firstState = l.from+keep, true, path.States[keep]
	}
}
