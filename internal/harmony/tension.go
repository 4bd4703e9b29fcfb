package harmony

// Distance is the distance of two chords, each in its key, in Lerdahl's tonal
// pitch space (Tonal Pitch Space, 2001, ch. 2): i + j + k, where i counts the
// steps between the collections of the keys on the circle of fifths, j those
// between the roots on the circle of diatonic fifths of the second key (on the
// chromatic circle where a root is no degree of it), and k the pitch classes of
// the second chord's basic space that the first's has not, level by level:
// root, fifth, chord, scale. Keys are taken in one leap. A seventh is left out of
// the triad, as Lerdahl and Krumhansl (2007) count it as surface dissonance.
func Distance(a Chord, ka Key, b Chord, kb Key) int {
	i := circle(ka.Fifths() - kb.Fifths())
	return i + rootSteps(a.Root, b.Root, kb) + spaceDifference(a, ka, b, kb)
}

// circle folds a distance on the line of fifths into the circle of twelve.
func circle(d int) int {
	d = ((d % 12) + 12) % 12
	return min(d, 12-d)
}

// rootSteps is j.
func rootSteps(a, b Tone, k Key) int {
	x, y := int(a)-k.Fifths()+1, int(b)-k.Fifths()+1 // 0…6 within the collection, fourth degree of the major first
	if x < 0 || x > 6 || y < 0 || y > 6 {
		return circle(int(a - b))
	}
	d := (((y - x) % 7) + 7) % 7
	return min(d, 7-d)
}

// levelsOf is the basic space: how many of the levels root, fifth, chord, scale
// hold each pitch class. The scale is that of the signature, raised or lowered
// where the chord asks for it.
func levelsOf(c Chord, k Key) [12]int {
	var s [12]int
	chord := c.Tones()
	if len(chord) > 3 && c.Quality.Seventh() {
		chord = chord[:3]
	}
	in := [12]bool{}
	for d := -1; d <= 5; d++ {
		in[Tone(k.Fifths()+d).Class()] = true
	}
	for _, t := range chord {
		// a chord tone out of the scale takes the place of its own degree
		for _, o := range []Tone{t - 7, t + 7} {
			if d := int(o) - k.Fifths(); !in[t.Class()] && d >= -1 && d <= 5 {
				in[o.Class()] = false
			}
		}
		in[t.Class()] = true
		s[t.Class()]++
	}
	for pc, is := range in {
		if is {
			s[pc]++
		}
	}
	s[c.Root.Class()] += 2
	fifth := c.Root + 1
	if len(chord) > 2 && !c.Quality.AugmentedSixth() {
		fifth = chord[2]
	}
	s[fifth.Class()]++
	return s
}

func spaceDifference(a Chord, ka Key, b Chord, kb Key) int {
	x, y := levelsOf(a, ka), levelsOf(b, kb)
	n := 0
	for pc := range x {
		n += max(0, y[pc]-x[pc])
	}
	return n
}

// TensionModel names the published model behind Study.Chords[i].Tension.
const TensionModel = "distance from the home tonic in Lerdahl's tonal pitch space, with surface dissonance after Lerdahl and Krumhansl (2007)"

// Surface dissonance in units of distance (Lerdahl and Krumhansl 2007, table of
// surface tension): an inverted chord, a
// seventh, a note of the scale or out of it that is foreign to the chord.
const (
	dissInversion = 2
	dissSeventh   = 1
	dissDiatonic  = 3
	dissChromatic = 4
)

// tensions sets Tension of every chord.
func (s *Study) tensions() {
	home := Key{}
	ki := 0
	for i := range s.Chords {
		c := &s.Chords[i]
		for ki < len(s.Keys)-1 && s.Keys[ki].To <= c.From {
			ki++
		}
		home = s.Keys[ki].Home
		tonic := Chord{home.Tonic, Major}
		if home.Minor {
			tonic.Quality = Minor
		}
		v := Distance(tonic, home, c.Chord, c.Key)
		if c.Inversion > 0 && !c.Chord.Quality.AugmentedSixth() {
			v += dissInversion
		}
		if c.Chord.Quality.Seventh() {
			v += dissSeventh
		}
		c.Tension = float64(v)
	}
	s.surface()
}

// surface adds what the notes over each chord add, as the share of its time that
// they take: the model's single events become means over the chord.
func (s *Study) surface() {
	add := make([]float64, len(s.Chords))
	at := 0
	for i := range s.part.Notes {
		n := &s.part.Notes[i]
		if n.Rest || n.Grace || n.Cue || n.Unpitched || n.Dur <= 0 {
			continue
		}
		for at < len(s.Chords) && s.Chords[at].To <= n.Onset {
			at++
		}
		for j := at; j < len(s.Chords) && s.Chords[j].From < n.End(); j++ {
			c := &s.Chords[j]
			over := min(n.End(), c.To) - max(n.Onset, c.From)
			if over <= 0 {
				continue
			}
			v := 0.0
			switch t := ToneOf(n.Sounding); {
			case c.Chord.role(t) < foreign:
			case c.Key.holds(t):
				v = dissDiatonic
			default:
				v = dissChromatic
			}
			add[j] += v * float64(over) / float64(c.To-c.From)
		}
	}
	for i := range s.Chords {
		s.Chords[i].Tension += add[i]
	}
}
