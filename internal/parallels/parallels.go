// Package parallels finds passages of a part that run parallel, at the same pitch or
// transposed, exactly or nearly, and tells every place where what is written differs
// between them; and it lists what occurs only once.
//
// Parallels are local alignments of the part with itself over time, interval and
// length, found by seeds that are extended both ways (files seeds.go, extend.go), as
// in sequence comparison (Smith and Waterman 1981; Altschul et al. 1990, J. Mol. Biol.
// 215, for seeds and the drop at which an extension ends). The written text is
// compared; repeats are not unrolled. No verdict is given: a difference may be a slip
// or meant.
package parallels

import (
	"pochette/internal/pitch"
	"pochette/internal/score"
)

// Aspect is what differs between two parallel places.
type Aspect string

// The aspects that are compared.
const (
	Slur         Aspect = "slur"
	Articulation Aspect = "articulation"
	Accidental   Aspect = "accidental" // same staff place, other alteration
	Ornament     Aspect = "ornament"   // grace notes too
	Rhythm       Aspect = "rhythm"
	PitchAspect  Aspect = "pitch"
	Chord        Aspect = "chord" // the notes under the highest
	Bow          Aspect = "bow"
	Finger       Aspect = "fingering" // fingers, strings, harmonics; only at the same pitch
	Dynamic      Aspect = "dynamic"
)

// Passage is a pair of parallel places, the earlier one first. They do not overlap.
type Passage struct {
	A, B  [2]score.NoteID // first and last note of each
	Shift pitch.Interval  // from A up to B; of a passage that keeps to the key, the steps are exact and the semitones those of most notes
	Tonal bool            // the transposition keeps to the key: its semitones vary
	Exact bool            // pitches and rhythm agree throughout
	Pairs int             // moments compared
	Agree int             // of these, alike in staff steps and length
	Alike int             // of these, alike in their alterations too: what a player takes for the same
	Bits  float64         // how unlikely the agreement is by the piece's own habits, see search.passage
	cols  []column
	like  []bool // of each column: alike in pitch and length
	// so many moments at both ends were added to complete the bar
	lead, trail int
	long        bool
}

// Difference is one place in which two parallel passages differ.
type Difference struct {
	Passage    int // index into Study.Passages
	Aspect     Aspect
	A, B       score.NoteID // where it stands in each; the note before, where one has none
	InA, InB   string       // what stands there, in words; of a note in a transposed passage InB says also what it would be in A
	Surprise   float64      // bits, see surprise
	colA, colB int          // steps
	col        int          // column of the passage
	edge       bool         // where the passage was completed to the bar line
}

// Odd is what a player is told: a place that differs from its parallels, or a thing
// that occurs only once. Finding.At is the place itself; Beside the other one,
// score.Nowhere where there is none. Finding.Notes are its note, the note set beside
// it, and those of all other parallels that are unlike it.
type Odd struct {
	score.Finding
	Aspect       Aspect
	Beside       score.Loc
	Here, There  string // what stands in the two places
	Agree, Other int    // parallels that are like this place, and unlike it
	Surprise     float64
	carried      pitch.Pitch // Accidental, PitchAspect: what the other place would give here
}

// Options of a study.
type Options struct {
	// Strict lists every difference in Findings; otherwise those that surprise most.
	Strict bool
}

// Study is what was found in one part.
type Study struct {
	Passages    []Passage // by their places
	Differences []Difference
	Odd         []Odd // differences from parallels, the most surprising first
	Single      []Odd // things that occur once only, the most surprising first
	Findings    []score.Finding
}

// Surprising is the surprise, in bits, from which a difference is told without
// Strict: it differs in fewer than one of 16 comparable places. MostTold bounds how
// many are told so.
const (
	Surprising = 4.0
	MostTold   = 40
)

// Near says that a passage is one that a player takes for a parallel: seven of ten
// moments are alike, or it lasts eight bars. Common practice, no source.
func (p *Passage) Near() bool { return 10*p.Alike >= 7*p.Pairs || p.long }

// longBars is that length.
const longBars = 8

// NoVerdict stands in the reasons of the first of the differences that are told, and
// counts for all of them; OneVerdict where one is told alone.
const (
	NoVerdict  = "Each of these places may be a slip or meant."
	OneVerdict = "It may be a slip or meant."
)

// Analyze compares a part with itself.
func Analyze(sc *score.Score, p *score.Part, o Options) *Study {
	r := read(sc, p)
	st := &Study{}
	for _, span := range r.movements() {
		st.Passages = append(st.Passages, r.passages(span[0], span[1])...)
	}
	for i := range st.Passages {
		p := &st.Passages[i]
		ds := r.compare(p, i)
		st.Differences = append(st.Differences, ds...)
		p.Alike = p.Agree
		for k := range ds {
			p.Alike -= one(ds[k].Aspect == Accidental && p.like[ds[k].col])
		}
		p.long = r.p.Notes[p.A[1]].Measure-r.p.Notes[p.A[0]].Measure+1 >= longBars
	}
	surprise(st)
	st.Odd = r.odd(st)
	st.Single = r.census()
	tell(st, o)
	return st
}

func one(yes bool) int {
	if yes {
		return 1
	}
	return 0
}

// tell chooses what is told: without Strict, of each list what surprises enough, and not
// more of it than can be looked through. That no verdict is given is said once.
func tell(st *Study, o Options) {
	of := func(list []Odd) int {
		n := 0
		for n < len(list) && (o.Strict || list[n].Surprise >= Surprising && n < MostTold) {
			n++
		}
		return n
	}
	told := of(st.Odd)
	if len(st.Odd) > 0 {
		verdict := NoVerdict
		if told <= 1 {
			verdict = OneVerdict
		}
		st.Odd[0].Why += " " + verdict
	}
	for i := range told {
		st.Findings = append(st.Findings, st.Odd[i].Finding)
	}
	for i := range of(st.Single) {
		st.Findings = append(st.Findings, st.Single[i].Finding)
	}
}
