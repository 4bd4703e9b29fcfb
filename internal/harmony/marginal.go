package harmony

// agreement is what a reading wins, a quarter, by a key or a root that is certain,
// beside the logarithm of its own chance.
const agreement = 10

// gains are what a reading wins by agreeing with the chances of single units.
type gains struct {
	key  [][]float64      // by unit and key
	root [][tones]float64 // by unit and tone
}

// likely is the reading that agrees best with all readings, weighed by their
// chances: its keys and roots are those that are likeliest quarter by quarter, as
// far as one sound reading can hold them (Goodman 1996, Parsing algorithms and
// metrics: the path that maximises expected agreement and not its own chance).
// The gains stay in s, so that seconds measures by the same.
func (s *scored) likely() []Segment {
	s.gain = nil
	s.gain = s.gainsOf(agreement)
	path, _ := s.best()
	return path
}

// gainsOf takes the chances of keys and roots over each unit from all readings.
func (s *scored) gainsOf(share float64) *gains {
	l := newLattice(s)
	l.forward()
	g := &gains{key: make([][]float64, s.units), root: make([][tones]float64, s.units)}
	l.backward(watch{unit: func(u int, chance []float64) {
		key, root := make([]float64, len(s.keys)), &g.root[u]
		q := share * float64(s.g.units[u].quarters)
		for k, row := range s.chord {
			for i, c := range row {
				p := chance[l.f.at[k]+i] * q
				key[k] += p
				root[s.chords[c].Root-loTone] += p
			}
		}
		g.key[u] = key
	}})
	return g
}
