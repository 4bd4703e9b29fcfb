package harmony

import (
	"slices"

	"pochette/internal/score"
	"pochette/internal/timeline"
)

// Study is what the package says of one part. Indices into Chords are -1 for none.
type Study struct {
	Home     Key // of the first movement
	Runner   Key // second-best home key
	HomeGap  float64
	Keys     []KeySpan
	Chords   []ChordSpan
	NonChord []NonChord
	Pairs    []Pair
	Cadences []Cadence
	Seqs     []Sequence
	Pedals   []Pedal
	Rhythm   []BarRhythm

	part *score.Part
	q    score.Tick
}

// KeySpan is a stretch in one local key. Pivot is the chord that belongs to the
// key before as well, with its numeral there; -1 where the key changes without one.
type KeySpan struct {
	From, To  score.Tick
	Key       Key
	Home      Key // of its movement
	Pivot     int
	PivotFrom string // numeral of the pivot in the key before
	PivotTo   string // and here
}

// Role tells whether a chord is a goal.
type Role int8

// Roles of chords on the way.
const (
	Passes  Role = iota
	LeadsOn      // a dominant, leading-note or other chord that wants another
	Arrives      // reached from its own dominant, on no weaker beat
)

func (r Role) String() string { return [...]string{"passes", "leads on", "arrives"}[r] }

// ChordSpan is one chord.
type ChordSpan struct {
	From, To  score.Tick
	Measure   int
	Key       Key
	Chord     Chord
	Roman     string // numeral in Key without figures
	Figures   string
	Inversion Inversion
	Bass      score.NoteID // the note that carries it
	BassTone  Tone
	Implied   bool // the bass sounds after the chord has begun, or has stopped before it ends
	Guessed   bool // no note shows the bass: it is thought to be the root
	Silent    bool // nothing sounds in it: it only bridges a rest and is not told
	Applied   bool
	Target    Tone // from the local tonic
	Role      Role
	Tension   float64 // see Tension
	Movement  int

	// Second is the next best reading with all around it left alone, Gap how far
	// it stays behind in the score of the search; the larger the surer.
	Second    Reading
	Gap       float64
	Ambiguous bool

	fn    *function
	level int
}

// Reading is a chord in a key, in short.
type Reading struct {
	Key   Key
	Chord Chord
	Roman string // numeral without figures
}

// Label is the numeral with the figures of the root position.
func (r *Reading) Label() string {
	return figured(r.Roman, Figures(r.Chord.Quality, 0), r.Chord.Quality)
}

// closeGap is the gap under which a reading counts as ambiguous: a fifth of what
// agreement gives to a quarter whose root and numeral are certain.
const closeGap = (agreement + numeralAgreement) / 5.0

// Analyze studies a part with the committed weights. quarter is
// score.Score.Quarter.
func Analyze(p *score.Part, quarter score.Tick) *Study {
	return AnalyzeWith(p, quarter, DefaultWeights())
}

// AnalyzeWith studies a part with given weights. Every movement of a file has its
// own home key and search.
func AnalyzeWith(p *score.Part, quarter score.Tick, w *Weights) *Study {
	s := &Study{part: p, q: quarter}
	if quarter <= 0 || len(p.Notes) == 0 {
		return s
	}
	starts := append(timeline.Movements(p), len(p.Measures))
	for i, from := range starts[:len(starts)-1] {
		one := movement(p, from, starts[i+1])
		home, runner, gap, ok := HomeKey(one)
		if !ok {
			continue
		}
		if len(s.Chords) == 0 {
			s.Home, s.Runner, s.HomeGap = home, runner, gap
		}
		s.movement(one, i, home, w)
	}
	s.finish(w)
	return s
}

// movement is the part cut to the measures [from, to). Times stay those of the
// whole part; indices of notes and measures count from the movement's first, and
// bases tells what to add to them.
func movement(p *score.Part, from, to int) *score.Part {
	if from == 0 && to == len(p.Measures) {
		return p
	}
	q := *p
	first := func(measure int) int {
		if i := slices.IndexFunc(p.Notes, func(n score.Note) bool { return n.Measure >= measure }); i >= 0 {
			return i
		}
		return len(p.Notes)
	}
	lo, hi := first(from), first(to)
	shift := func(id score.NoteID) score.NoteID {
		if int(id) < lo || int(id) >= hi {
			return score.NoNote
		}
		return id - score.NoteID(lo)
	}
	q.Notes = slices.Clone(p.Notes[lo:hi])
	for i := range q.Notes {
		n := &q.Notes[i]
		n.ID, n.Head, n.TieFrom, n.TieTo = shift(n.ID), shift(n.Head), shift(n.TieFrom), shift(n.TieTo)
		n.Measure = max(0, min(to-from-1, n.Measure-from))
	}
	q.Measures = p.Measures[from:to]
	q.Slurs = nil
	return &q
}

// movement adds the reading of one movement.
func (s *Study) movement(one *score.Part, number int, home Key, w *Weights) {
	pr := newProblem(newGrid(one, s.q), home)
	sc := newScored(pr, w)
	path := joinSame(sc.likely())
	second := sc.seconds(path)
	base, bar := s.bases(one)
	for i, seg := range path {
		f := pr.fn(seg.State)
		u := &pr.g.units[seg.From]
		k := pr.keys[seg.Key]
		c := ChordSpan{From: u.start, To: pr.g.units[seg.To-1].end, Measure: u.measure + bar, Key: k, Chord: pr.chordOf(seg.State),
			Roman: f.roman(k.Minor), Applied: f.applied, Target: f.target, Movement: number, fn: f, level: int(u.level)}
		c.setBass(pr.g, seg, base)
		c.Silent = pr.g.silent(seg)
		o := second[i]
		c.Second = Reading{pr.keys[o.Key], pr.chordOf(o.State), pr.fn(o.State).roman(pr.keys[o.Key].Minor)}
		c.Gap, c.Ambiguous = o.gap, o.gap < closeGap
		s.Chords = append(s.Chords, c)
	}
	s.keySpans(home, number)
}

// bases tells what to add to note and measure indices of a movement.
func (s *Study) bases(one *score.Part) (note score.NoteID, measure int) {
	if one == s.part || len(one.Measures) == 0 {
		return 0, 0
	}
	for i := range s.part.Measures {
		if s.part.Measures[i].Start == one.Measures[0].Start {
			measure = i
		}
	}
	for i := range s.part.Notes {
		if s.part.Notes[i].Measure >= measure {
			return score.NoteID(i), measure
		}
	}
	return 0, measure
}

// joinSame merges neighbours under one state, which the search splits at maxLen.
func joinSame(path []Segment) []Segment {
	var out []Segment
	for _, s := range path {
		if n := len(out); n > 0 && out[n-1].State == s.State {
			out[n-1].To = s.To
			continue
		}
		out = append(out, s)
	}
	return out
}

// setBass finds the bass of the chord: its lowest note that sounds anywhere in it,
// for one line spreads a chord over time and its lowest note is heard as lasting. A
// triad's fifth makes a six-four only where it sounds from the beginning of the chord
// and another note of the chord together with it: as part of a line alone it tells no
// bass (common textbooks let six-fours stand in few places). Then, and where nothing
// of the chord sounds, the bass is a guess: the root, with no figures of an inversion.
func (c *ChordSpan) setBass(g *grid, seg Segment, base score.NoteID) {
	from, to := g.units[seg.From].start, g.units[seg.To-1].end
	id, late := g.lowestChordTone(c.Chord, from, to)
	c.Bass, c.BassTone, c.Implied = score.NoNote, c.Chord.bass(), true
	c.Guessed = id == score.NoNote
	if id != score.NoNote {
		n := &g.p.Notes[id]
		t := ToneOf(n.Sounding)
		fifth := c.Chord.role(t) == 2 && !c.Chord.Quality.AugmentedSixth() && !c.Chord.Quality.Cadential()
		if c.Guessed = fifth && (late || !c.Chord.Quality.Seventh() && !g.under(c.Chord, id, from)); !c.Guessed {
			c.Bass, c.BassTone = id+base, t
			c.Implied = late || g.ends[id] < to
		}
	}
	if r := c.Chord.role(c.BassTone); r < foreign {
		c.Inversion = Inversion(r)
	}
	c.Figures = Figures(c.Chord.Quality, c.Inversion)
}

// keySpans adds the spans of one movement.
func (s *Study) keySpans(home Key, number int) {
	for i := range s.Chords {
		c := &s.Chords[i]
		if c.Movement != number {
			continue
		}
		n := len(s.Keys)
		if n > 0 && s.Keys[n-1].Key == c.Key && s.Chords[i-1].Movement == number {
			s.Keys[n-1].To = c.To
			continue
		}
		k := KeySpan{From: c.From, To: c.To, Key: c.Key, Home: home, Pivot: -1}
		if i > 0 && s.Chords[i-1].Movement == number {
			k.Pivot, k.PivotFrom, k.PivotTo = pivot(s.Chords, i)
		}
		s.Keys = append(s.Keys, k)
	}
}

// pivot looks for a chord that both keys have as a plain chord: the first of the
// new key, or the last of the old.
func pivot(cs []ChordSpan, i int) (int, string, string) {
	old, now := cs[i-1].Key, cs[i].Key
	for _, j := range []int{i, i - 1} {
		a, okA := plainIn(cs[j].Chord, old)
		b, okB := plainIn(cs[j].Chord, now)
		if okA && okB && !cs[j].Silent {
			return j, a, b
		}
	}
	return -1, "", ""
}

// plainIn is the numeral of a chord that stands in a key without being borrowed
// or applied.
func plainIn(c Chord, k Key) (string, bool) {
	for _, f := range functions[mode(k.Minor)] {
		if k.Tonic+f.root == c.Root && f.quality == c.Quality && !f.applied && f.class != clBorrowed && f.class != clAugmentedSixth {
			return f.roman(k.Minor), true
		}
	}
	return "", false
}

// finish reads what follows from keys and chords.
func (s *Study) finish(w *Weights) {
	s.tensions()
	s.roles()
	s.nonChord()
	s.cadences(w)

	s.sequences()
	s.pedals()
	s.rhythm()
}

// chordAt is the index of the chord in force at a tick, -1 outside.
func (s *Study) chordAt(at score.Tick) int {
	lo, hi := 0, len(s.Chords)
	for lo < hi {
		m := (lo + hi) / 2
		if s.Chords[m].To <= at {
			lo = m + 1
		} else {
			hi = m
		}
	}
	if lo < len(s.Chords) && s.Chords[lo].From <= at {
		return lo
	}
	return -1
}

// roles tells goals from chords on the way.
func (s *Study) roles() {
	for i := range s.Chords {
		c := &s.Chords[i]
		switch c.fn.class {
		case clDominant, clLeading, clNeapolitan, clAugmentedSixth:
			c.Role = LeadsOn
		}
		if c.Applied {
			c.Role = LeadsOn
		}
		if i == 0 || s.Chords[i-1].Movement != c.Movement {
			continue
		}
		if b := &s.Chords[i-1]; resolves(b, c) && c.level <= b.level && !c.Applied {
			c.Role = Arrives
		}
	}
}

// resolves says that b is a dominant or leading-note chord of c.
func resolves(b, c *ChordSpan) bool {
	var goal Tone
	switch {
	case b.Applied:
		goal = b.Key.Tonic + b.Target
	case b.fn.class == clDominant || b.fn.class == clLeading:
		goal = b.Key.Tonic
	default:
		return false
	}
	return c.Chord.Root == goal && (c.Chord.Quality == Major || c.Chord.Quality == Minor)
}
