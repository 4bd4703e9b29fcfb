package harmony

import (
	"math"
	"slices"
	"sort"

	"pochette/internal/score"
)

// CadenceType is one of the kinds of the common textbooks.
type CadenceType int8

// Kinds of cadence.
const (
	PerfectAuthentic CadenceType = iota
	ImperfectAuthentic
	Half
	Deceptive
	Plagal
	Evaded
)

var cadenceNames = [...]string{"perfect authentic cadence", "imperfect authentic cadence", "half cadence", "deceptive cadence", "plagal cadence", "evaded cadence"}

func (c CadenceType) String() string { return cadenceNames[c] }

// Short is the usual abbreviation.
func (c CadenceType) Short() string { return [...]string{"PAC", "IAC", "HC", "DC", "PC", "EC"}[c] }

// Cadence is a place where the music closes, or is about to and does not.
type Cadence struct {
	At       score.Tick
	Chord    int // the chord that is reached
	Type     CadenceType
	Key      Key
	Strength float64 // 0 … 1
}

// The signs of a close. Each is 0 … 1 or a small number; weights are learned
// (blocks close-authentic and close-half of weights.txt).
const (
	sgAlways     = iota
	sgSection    // the section or the movement ends with this chord
	sgLong       // how much longer than usual the notes of the chord are, in octaves of length
	sgDownbeat   // reached on the first beat
	sgHalfBar    // reached on the second strongest
	sgRootBefore // the chord before stands on its root
	sgRootHere
	sgPrepared // a supertonic or subdominant chord, or a six-four of the goal, within the two chords before that
	sgTop      // the first note of the chord is its root
	sgFours    // the bar closes a group of four bars of its section
	sgTwos     // or of two
	sgSilence  // a silence follows in the chord
	sgBars     // length of the chord in bars, at most 2
	sgSeventh  // the chord before has a seventh
	sgLeading  // the chord before is a leading-note chord
	sgHome     // the key is the home key
	sgNewKey   // the key has changed since the last cadence of the same section, or will change after this chord
	sgStep     // the line steps to the tonic from the degree above or below
	sgFall     // it comes to the tonic from the fifth degree
	sgFew      // few notes in the chord for its length
	signs
)

var signNames = [signs]string{"always", "section-ends", "long", "downbeat", "half-bar", "root-before", "root-here", "prepared", "root-first", "fours", "twos", "silence", "bars", "seventh", "leading-note", "home", "key-change-after", "step-to-tonic", "fifth-to-tonic", "few-notes"}

var (
	blAuthentic = newBlock("close-authentic", named(signNames[:]...))
	blHalf      = newBlock("close-half", named(signNames[:]...))
)

// cadenceFloor is the strength from which a close counts as a cadence.
const cadenceFloor = 0.35

// candidate is a place that may be a cadence.
type candidate struct {
	Cadence
	sign [signs]float64
}

// candidates lists all chord changes of the right kind, with their signs.
func (s *Study) candidates() []candidate {
	ctx := s.closeContext()
	var out []candidate
	for i := 1; i < len(s.Chords); i++ {
		b, c := &s.Chords[i-1], &s.Chords[i]
		if b.Movement != c.Movement {
			continue
		}
		t, ok := s.kindOf(b, c)
		if !ok {
			continue
		}
		out = append(out, candidate{Cadence{At: c.From, Chord: i, Type: t, Key: c.Key}, s.signsAt(ctx, i)})
	}
	return out
}

// kindOf is the cadence that two chords in a row can make.
func (s *Study) kindOf(b, c *ChordSpan) (CadenceType, bool) {
	dominant := !b.Applied && (b.fn.class == clDominant || b.fn.class == clLeading)
	tonic := c.Chord.Root == c.Key.Tonic && !c.Applied && (c.Chord.Quality == Major || c.Chord.Quality == Minor)
	switch {
	case b.Key != c.Key:
		// the old key's chord may already be the new dominant
		if c.Chord.Root == c.Key.Tonic && tonic && b.Chord.Root == c.Key.Tonic+1 && (b.Chord.Quality == Major || b.Chord.Quality == DominantSeventh) {
			return s.authentic(b, c), true
		}
		return 0, false
	case dominant && tonic && c.Inversion == 0:
		return s.authentic(b, c), true
	case dominant && b.fn.class == clDominant && tonic:
		return Evaded, true
	case dominant && c.fn.class == clSubmediant:
		return Deceptive, true
	case tonic && b.fn.class == clSubdominant:
		return Plagal, true
	case c.fn.class == clDominant && c.Chord.Quality == Major && !dominant:
		return Half, true
	}
	return 0, false
}

// authentic tells a perfect authentic cadence from an imperfect one: the root of
// the dominant is heard (in one line a bass is heard as lasting on after the line
// has left it) or understood, as textbooks take the leading-note chord for a
// dominant without its root and annotators of one line do; and the highest note of
// the arrival is the tonic.
func (s *Study) authentic(b, c *ChordSpan) CadenceType {
	heard, top := b.fn.class == clLeading, score.NoNote
	at := sort.Search(len(s.part.Notes), func(i int) bool { return s.part.Notes[i].Onset >= b.From })
	for i := at; i < len(s.part.Notes) && s.part.Notes[i].Onset <= c.From; i++ {
		n := &s.part.Notes[i]
		if n.Rest || n.Grace || n.Cue || n.Unpitched {
			continue
		}
		heard = heard || n.Onset < c.From && ToneOf(n.Sounding) == b.Chord.Root
		if n.Onset == c.From && (top == score.NoNote || n.Sounding.MIDI() > s.part.Notes[top].Sounding.MIDI()) {
			top = n.ID
		}
	}
	if heard && top != score.NoNote && ToneOf(s.part.Notes[top].Sounding) == c.Chord.Root {
		return PerfectAuthentic
	}
	return ImperfectAuthentic
}

// closeContext is what the signs are measured against.
type closeContext struct {
	usual    float64 // median length of a note in ticks
	section  []int   // by measure: the first measure of its section
	lastOf   []bool  // by measure: a section ends with it
	sounding []score.Tick
	first    []int // by chord: index of the first note struck in it, -1 for none
}

func (s *Study) closeContext() *closeContext {
	x := &closeContext{section: make([]int, len(s.part.Measures)), lastOf: make([]bool, len(s.part.Measures)), sounding: make([]score.Tick, len(s.Chords)), first: make([]int, len(s.Chords))}
	var lens []float64
	at := 0
	for j := range x.first {
		x.first[j] = -1
	}
	for i := range s.part.Notes {
		n := &s.part.Notes[i]
		if !n.Struck() || n.Grace || n.Cue {
			continue
		}
		lens = append(lens, float64(n.Dur))
		for at < len(s.Chords) && s.Chords[at].To <= n.Onset {
			at++
		}
		if at < len(s.Chords) && s.Chords[at].From <= n.Onset {
			x.sounding[at] = max(x.sounding[at], n.End())
			if x.first[at] < 0 {
				x.first[at] = i
			}
		}
	}
	x.usual = median(lens)
	start := 0
	for m := range s.part.Measures {
		b := &s.part.Measures[m]
		if m > 0 && (x.lastOf[m-1] || b.RepeatStart) {
			start = m
			x.lastOf[m-1] = true
		}
		x.section[m] = start
		x.lastOf[m] = b.RepeatTimes > 0 || m == len(s.part.Measures)-1 || b.RightBar == "light-heavy" || b.RightBar == "light-light"
		if start == m && b.Len < b.Meter.Len && m+1 < len(s.part.Measures) && !x.lastOf[m] {
			x.section[m] = m + 1 // a pickup is not counted
			start = m + 1
		}
	}
	return x
}

func median(v []float64) float64 {
	if len(v) == 0 {
		return 1
	}
	slices.Sort(v)
	return v[len(v)/2]
}

func (s *Study) signsAt(x *closeContext, i int) (g [signs]float64) {
	b, c := &s.Chords[i-1], &s.Chords[i]
	is := func(k int, yes bool) {
		if yes {
			g[k] = 1
		}
	}
	g[sgAlways] = 1
	last := i == len(s.Chords)-1 || s.Chords[i+1].Movement != c.Movement
	end := c.Measure
	is(sgSection, last || x.lastOf[end] && s.Chords[i+1].Measure > end)
	longest, count := 0.0, 0
	if f := x.first[i]; f >= 0 {
		for j := f; j < len(s.part.Notes) && s.part.Notes[j].Onset < c.To; j++ {
			if n := &s.part.Notes[j]; n.Struck() && !n.Grace {
				longest = max(longest, float64(n.Dur))
				count++
			}
		}
		here := ToneOf(s.part.Notes[f].Sounding)
		is(sgTop, here == c.Chord.Root)
		if f > 0 && here == c.Key.Tonic {
			d := ToneOf(s.part.Notes[f-1].Sounding) - here
			is(sgStep, d == 2 || d == 5)
			is(sgFall, d == 1)
		}
	}
	if longest > 0 {
		g[sgLong] = max(-1, min(3, math.Log2(longest/x.usual)))
	}
	is(sgDownbeat, c.level == 0)
	is(sgHalfBar, c.level == 1)
	is(sgRootBefore, b.Inversion == 0)
	is(sgRootHere, c.Inversion == 0)
	for j := i - 2; j >= 0 && j >= i-3; j-- {
		p := &s.Chords[j]
		six := p.Inversion == 2 && p.Chord.Root == c.Key.Tonic
		is(sgPrepared, g[sgPrepared] == 1 || six || p.fn.class == clSupertonic || p.fn.class == clSubdominant || p.fn.class == clToDominant || p.fn.class == clNeapolitan)
	}
	bar := c.Measure - x.section[c.Measure] + 1
	is(sgFours, bar > 0 && bar%4 == 0)
	is(sgTwos, bar > 0 && bar%2 == 0)
	is(sgSilence, x.sounding[i] > 0 && x.sounding[i] < c.To)
	bl := s.part.Measures[c.Measure].Meter.Len
	if bl > 0 {
		g[sgBars] = min(2, float64(c.To-c.From)/float64(bl))
	}
	is(sgSeventh, b.Chord.Quality.Seventh())
	is(sgLeading, b.fn.class == clLeading)
	for _, k := range s.Keys {
		if k.From <= c.From && c.From < k.To {
			is(sgHome, k.Home == k.Key)
			is(sgNewKey, k.To == c.To && !last)
		}
	}
	is(sgFew, float64(count)*x.usual*2 < float64(c.To-c.From))
	return g
}

func (c *candidate) strength(w *Weights) float64 {
	b := blAuthentic
	if c.Type == Half {
		b = blHalf
	}
	z := 0.0
	for i, v := range c.sign {
		z += w.w[b.at+i] * v
	}
	v := 1 / (1 + math.Exp(-z))
	if c.sign[sgSection] == 1 {
		switch c.Type {
		case PerfectAuthentic, ImperfectAuthentic:
			v = max(v, sectionClose)
		case Half, Plagal:
			v = max(v, sectionHalf)
		}
	}
	return v
}

// What ends a section or a movement is a cadence by the meaning of the word, in
// whatever texture: these are the least strengths there, whatever was learned from
// running lines (common textbooks).
const (
	sectionClose = 0.9
	sectionHalf  = 0.6
)

// cadences keeps the candidates that are strong enough; of two within a beat or
// so of each other the stronger.
func (s *Study) cadences(w *Weights) {
	for _, c := range s.candidates() {
		c.Strength = c.strength(w)
		if c.Strength < cadenceFloor {
			continue
		}
		if n := len(s.Cadences); n > 0 && c.At-s.Cadences[n-1].At <= 2*s.q {
			if s.Cadences[n-1].Strength < c.Strength {
				s.Cadences[n-1] = c.Cadence
			}
			continue
		}
		s.Cadences = append(s.Cadences, c.Cadence)
	}
}

// labelledCloses is a study with the places and kinds of its labelled cadences.
type labelledCloses struct {
	study *Study
	at    []score.Tick
	half  []bool // the label is a half cadence
}

// cadenceNear is the distance within which a cadence counts as found, in quarters.
const cadenceNear = 1

// learnCadences fits the weights of the signs into w: logistic regression, by
// plain gradient descent with a small pull to zero.
func learnCadences(w *Weights, all []labelledCloses) {
	type row struct {
		x    [signs]float64
		y    float64
		half bool
	}
	var rows []row
	for _, l := range all {
		for _, c := range l.study.candidates() {
			r := row{x: c.sign, half: c.Type == Half}
			for i, at := range l.at {
				if d := at - c.At; d <= cadenceNear*l.study.q && d >= -cadenceNear*l.study.q && l.half[i] == r.half {
					r.y = 1
				}
			}
			rows = append(rows, r)
		}
	}
	for i := range signs {
		w.w[blAuthentic.at+i], w.w[blHalf.at+i] = 0, 0
	}
	for _, half := range []bool{false, true} {
		b := blAuthentic
		if half {
			b = blHalf
		}
		v := w.w[b.at : b.at+signs]
		for range 2000 {
			var g [signs]float64
			n := 0.0
			for _, r := range rows {
				if r.half != half {
					continue
				}
				z := 0.0
				for i := range v {
					z += v[i] * r.x[i]
				}
				e := 1/(1+math.Exp(-z)) - r.y
				for i := range v {
					g[i] += e * r.x[i]
				}
				n++
			}
			if n == 0 {
				break
			}
			for i := range v {
				v[i] -= 0.5 * (g[i] + 0.5*v[i]) / n
			}
		}
	}
}
