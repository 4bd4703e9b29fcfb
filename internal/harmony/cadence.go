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
// (blocks close-phrase, close-authentic and close-half of weights.txt).
const (
	sgAlways     = iota
	sgSection    // the section or the movement ends with this chord
	sgLong       // how much longer than usual the notes of the chord are, in octaves of length
	sgDownbeat   // reached on the first beat
	sgHalfBar    // reached on the second strongest
	sgRootBefore // the chord before stands on its root
	sgRootHere
	sgPrepared  // a supertonic or subdominant chord, or a six-four of the goal, within the two chords before that
	sgTop       // the first note of the chord is its root
	sgFours     // the bar closes a group of four bars of its section
	sgTwos      // or of two
	sgSilence   // a silence follows in the chord
	sgBars      // length of the chord in bars, at most 2
	sgSeventh   // the chord before has a seventh
	sgLeading   // the chord before is a leading-note chord
	sgHome      // the key is the home key
	sgNewKey    // the key has changed since the last cadence of the same section, or will change after this chord
	sgStep      // the line steps to the tonic from the degree above or below
	sgFall      // it comes to the tonic from the fifth degree
	sgFew       // few notes in the chord for its length
	sgFifth     // the bass falls a fifth
	sgBassStep  // the bass goes by step
	sgAuthentic // the chords can make an authentic cadence
	sgHalf      // or a half cadence
	sgLevel     // reached off the beat
	sgPhrase    // how likely the chord ends a phrase: its logarithm of odds
	signs
)

var signNames = [signs]string{"always", "section-ends", "long", "downbeat", "half-bar", "root-before", "root-here", "prepared", "root-first", "fours", "twos", "silence", "bars", "seventh", "leading-note", "home", "key-change-after", "step-to-tonic", "fifth-to-tonic", "few-notes", "bass-fifth", "bass-step", "authentic", "half", "off-beat", "phrase-end"}

var (
	blPhrase    = newBlock("close-phrase", named(signNames[:]...))
	blAuthentic = newBlock("close-authentic", named(signNames[:]...))
	blHalf      = newBlock("close-half", named(signNames[:]...))
)

// cadenceFloor is the strength from which a close counts as a cadence.
const cadenceFloor = 0.3

// candidate is a place that may be a cadence.
type candidate struct {
	Cadence
	sign [signs]float64
}

// candidates lists all chord changes of the right kind, with their signs.
func (s *Study) candidates(w *Weights) []candidate {
	ctx := s.closeContext()
	var out []candidate
	for i := 1; i < len(s.Chords); i++ {
		b, c := &s.Chords[i-1], &s.Chords[i]
		if b.Movement != c.Movement {
			continue
		}
		t, ok := s.kindOf(i)
		if !ok || s.unheard(i) || s.unmoved(i) && !s.endsSection(ctx, i) {
			continue
		}
		out = append(out, candidate{Cadence{At: c.From, Chord: i, Type: t, Key: c.Key}, s.signsAt(ctx, i, w)})
	}
	return out
}

// kindOf is the cadence that chord i and the one before can make.
func (s *Study) kindOf(i int) (CadenceType, bool) {
	b, c := &s.Chords[i-1], &s.Chords[i]
	dominant := !b.Applied && (b.fn.class == clDominant || b.fn.class == clLeading) && !b.sixFour()
	tonic := c.Chord.Root == c.Key.Tonic && !c.Applied && (c.Chord.Quality == Major || c.Chord.Quality == Minor)
	switch {
	case b.Key != c.Key:
		// the old key's chord may already be the new dominant
		if c.Chord.Root == c.Key.Tonic && tonic && b.Chord.Root == c.Key.Tonic+1 && (b.Chord.Quality == Major || b.Chord.Quality == DominantSeventh) {
			return s.authentic(i), true
		}
		return 0, false
	case dominant && tonic && c.Inversion == 0:
		return s.authentic(i), true
	case dominant && b.fn.class == clDominant && tonic:
		return Evaded, true
	case dominant && c.fn.class == clSubmediant:
		return Deceptive, true
	case tonic && b.fn.class == clSubdominant:
		return Plagal, true
	case c.fn.class == clDominant && c.Chord.Quality == Major && !dominant && c.Inversion == 0: // common textbooks: a half cadence ends on V on its root
		return Half, true
	}
	return 0, false
}

// sixFour says that a triad stands on its fifth, which no dominant of a cadence does;
// the cadential six-four among them leads to the dominant (common textbooks).
func (c *ChordSpan) sixFour() bool {
	return c.Chord.Quality.Cadential() || !c.Chord.Quality.Seventh() && c.Inversion == 2
}

// isLast says that a movement ends with chord i.
func (s *Study) isLast(i int) bool {
	return i == len(s.Chords)-1 || s.Chords[i+1].Movement != s.Chords[i].Movement
}

// endsSection says that a section or a movement ends with chord i.
func (s *Study) endsSection(x *closeContext, i int) bool {
	end := s.Chords[i].Measure
	return s.isLast(i) || x.lastOf[end] && s.Chords[i+1].Measure > end
}

// authentic tells a perfect authentic cadence at chord i from an imperfect one. It
// is perfect where both chords stand on their roots and the highest note of the
// arrival is the tonic; a leading-note chord in the dominant's place makes it
// imperfect (Kostka and Payne, Tonal Harmony, ch. 10; Caplin, Classical Form, 1998,
// ch. 3; chapters from memory), unless it only prolongs a dominant before it.
func (s *Study) authentic(i int) CadenceType {
	if s.onRoot(i) && s.topIsRoot(&s.Chords[i]) {
		return PerfectAuthentic
	}
	return ImperfectAuthentic
}

// onRoot tells whether the dominant that ends at chord i stands on its root at its
// end. The bass of one line is heard as lasting on after the line has left it, so
// that the lowest note counts: from where the chord begins, or of the last quarter.
// With the dominant's root under it a leading-note chord is a dominant; without, it
// counts with the dominant chord that it follows.
func (s *Study) onRoot(i int) bool {
	c := &s.Chords[i]
	root := c.Chord.Root + 1
	for j := i - 1; j >= 0; j-- {
		b := &s.Chords[j]
		if b.Movement != c.Movement || b.Chord.Root != root && (b.Applied || b.fn.class != clLeading || b.Key != c.Key) {
			return false
		}
		if s.lowestTone(b.From, c.From) == root || s.lowestTone(max(b.From, c.From-s.q), c.From) == root {
			return true
		}
		if b.Chord.Root == root {
			return b.Inversion == 0
		}
	}
	return false
}

// lowestTone is the tone of the lowest note struck in [from, to); no tone where
// there is none.
func (s *Study) lowestTone(from, to score.Tick) Tone {
	low := score.NoNote
	for i := s.firstNote(from); i < len(s.part.Notes) && s.part.Notes[i].Onset < to; i++ {
		n := &s.part.Notes[i]
		if sounds(n) && (low == score.NoNote || n.Sounding.MIDI() < s.part.Notes[low].Sounding.MIDI()) {
			low = n.ID
		}
	}
	return s.toneOf(low)
}

// topIsRoot says that the highest note struck where the chord begins is its root.
func (s *Study) topIsRoot(c *ChordSpan) bool {
	top := score.NoNote
	for i := s.firstNote(c.From); i < len(s.part.Notes) && s.part.Notes[i].Onset == c.From; i++ {
		n := &s.part.Notes[i]
		if sounds(n) && (top == score.NoNote || n.Sounding.MIDI() > s.part.Notes[top].Sounding.MIDI()) {
			top = n.ID
		}
	}
	return s.toneOf(top) == c.Chord.Root
}

// firstNote is the index of the first note at or after a tick.
func (s *Study) firstNote(at score.Tick) int {
	return sort.Search(len(s.part.Notes), func(i int) bool { return s.part.Notes[i].Onset >= at })
}

func sounds(n *score.Note) bool { return !n.Rest && !n.Grace && !n.Cue && !n.Unpitched }

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

func (s *Study) signsAt(x *closeContext, i int, w *Weights) (g [signs]float64) {
	b, c := &s.Chords[i-1], &s.Chords[i]
	is := func(k int, yes bool) {
		if yes {
			g[k] = 1
		}
	}
	g[sgAlways] = 1
	last := s.isLast(i)
	is(sgSection, s.endsSection(x, i))
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
	bass := b.BassTone - c.BassTone
	is(sgFifth, bass == 1)
	is(sgBassStep, bass == 2 || bass == -2 || bass == 5 || bass == -5)
	kind, ok := s.kindOf(i)
	is(sgAuthentic, ok && kind <= ImperfectAuthentic)
	is(sgHalf, ok && kind == Half)
	is(sgLevel, c.level > 1)
	if w != nil {
		g[sgPhrase] = max(-4, min(4, dot(&g, w.w[blPhrase.at:blPhrase.at+signs])))
	}
	return g
}

func (c *candidate) strength(w *Weights) float64 {
	z := dot(&c.sign, w.w[blAuthentic.at:blAuthentic.at+signs])
	if c.Type == Half {
		z += dot(&c.sign, w.w[blHalf.at:blHalf.at+signs])
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
	for _, c := range s.candidates(w) {
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
