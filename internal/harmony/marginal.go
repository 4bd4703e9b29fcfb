package harmony

import "math"

// What a reading wins, a quarter, by a key, a root or a numeral that is certain,
// beside the logarithm of its own chance.
const (
	agreement        = 10
	numeralAgreement = 30
)

// hopeless is the chance under which a key is not looked for over a unit when the
// reading is chosen that agrees best.
const hopeless = 1e-4

// gains are what a reading wins by agreeing with the chances of single units.
type gains struct {
	key   [][]float64      // by unit and key; without bound below 0 where the key is hopeless
	root  [][tones]float64 // by unit and tone
	state [][]float64      // by unit and state
}

// likely is the reading that agrees best with all readings, weighed by their
// chances: its keys, roots and numerals are those that are likeliest quarter by
// quarter, as far as one sound reading can hold them (Goodman 1996, Parsing
// algorithms and metrics: the path that maximises expected agreement and not its
// own chance). The gains stay in s, so that seconds measures by the same.
func (s *scored) likely() []Segment {
	s.gain = nil
	s.gain = s.gainsOf()
	path, _ := s.best()
	return path
}

// gainsOf takes the chances of keys, roots and numerals over each unit from all
// readings.
func (s *scored) gainsOf() *gains {
	l := newLattice(s)
	l.forward()
	g := &gains{key: make([][]float64, s.units), root: make([][tones]float64, s.units), state: make([][]float64, s.units)}
	keys, states := make([]float64, s.units*len(s.keys)), make([]float64, s.units*l.f.n)
	l.backward(watch{unit: func(u int, chance []float64) {
		key, root := keys[u*len(s.keys):(u+1)*len(s.keys)], &g.root[u]
		state := states[u*l.f.n : (u+1)*l.f.n]
		q := float64(s.g.units[u].quarters)
		for k, row := range s.chord {
			lo, sum := l.f.at[k], 0.0
			for i, c := range row {
				p := chance[lo+i]
				sum += p
				root[s.chords[c].Root-loTone] += agreement * q * p
				state[lo+i] = numeralAgreement * q * p
			}
			key[k] = agreement * q * sum
			if sum < hopeless {
				key[k] = math.Inf(-1)
			}
		}
		g.key[u], g.state[u] = key, state
	}})
	return g
}
