// Package voices finds the voices that a single line implies: which notes belong
// together though others sound between them, where the bass goes, and where a
// voice moves to another register.
//
// Every note is the continuation of one earlier note or the beginning of a new
// voice. A continuation costs by the leap in pitch, by what lies between and by
// the voices it crosses (file cost.go); the cheapest assignment of the whole line
// is found exactly (file solve.go). What is written as polyphony stays so: notes
// that sound together are in different voices, and so are the written voices of a
// bar that has several.
//
// The principles (pitch proximity, proximity in time, streams that do not cross)
// are those of Huron, "Tone and Voice" (Music Perception 19, 2001) and of
// Cambouropoulos, "Voice and Stream" (Music Perception 26, 2008).
package voices

import (
	"pochette/internal/score"
)

// MostVoices is how many voices are told apart at most: a string instrument has
// four strings.
const MostVoices = 4

// usualVoices is what a line may imply where nothing else is asked.
const usualVoices = 3

// Options of a study. The zero value is the usual one.
type Options struct {
	// Voices is the largest number of voices that may be open at once, 1 to
	// MostVoices; 0 means 3. It is raised to the number of notes that are written
	// to sound together. Where it is 0 a line is split only where much is gained by it,
	// see freeCharge.
	Voices  int
	Weights *Weights // nil: DefaultWeights
}

// Study is what was found in one part.
type Study struct {
	// Of gives for each note the index into Voices, -1 for rests, cue and unpitched
	// notes. A tied-over note has the voice of the note it continues, a grace note
	// that of the note it leads to.
	Of []int
	// Prev gives for each struck note the note before it in its voice, NoNote for
	// the first of a voice and for all that have no voice.
	Prev    []score.NoteID
	Voices  []Voice  // the highest first, by mean pitch
	Strands []Strand // in order of their first notes
	Spans   []Span   // where two or more voices go on at once
	// Crossed are stretches in which two or more strands go on, but cross so often, or
	// have so few notes, that no voices are told.
	Crossed []Span
	// Column gives for each note the column in which it is shown, see line.columns; -1
	// as in Of.
	Column []int
	Bass   []score.NoteID
	Moves  []Move
	Cost   float64 // of the assignment, in the units of Weights; breaches not counted
	Terms  []score.Term
	// Breaches counts continuations that the written polyphony forbids and that
	// could not be avoided (more notes at once than MostVoices).
	Breaches int
	Findings []score.Finding
}

// Voice is one voice over the whole part.
type Voice struct {
	Notes     []score.NoteID // struck notes, without grace notes
	Low, High int            // MIDI key numbers
	Mean      float64        // MIDI key number
}

// Strand is a stretch of a voice without a break longer than the search bridges.
type Strand struct {
	Voice int
	Notes []score.NoteID
}

// Analyze finds the voices of a part. It takes time in proportion to the number
// of notes.
func Analyze(sc *score.Score, p *score.Part, o Options) *Study {
	w := o.Weights
	if w == nil {
		w = DefaultWeights()
	}
	if o.Voices <= 0 {
		w = w.wary()
	}
	l := readLine(sc, p)
	l.most = voicesAsked(o.Voices, l.together)
	st := &Study{Of: make([]int, len(p.Notes)), Prev: make([]score.NoteID, len(p.Notes))}
	for i := range st.Of {
		st.Of[i], st.Prev[i] = -1, score.NoNote
	}
	if len(l.tones) == 0 {
		return st
	}
	prev := solve(l, w)
	st.Cost, st.Breaches, st.Terms = l.total(w, prev)
	strands := strandsOf(prev)
	lanes := l.lanes(strands)
	l.fill(st, strands, lanes)
	spread(p, st.Of)
	st.Spans = l.spans(st, strands)
	st.Column = append([]int(nil), st.Of...)
	for i, k := range l.columns(st, strands, lanes) {
		st.Column[l.tones[i].id] = k
	}
	spread(p, st.Column)
	st.Bass = l.bass(strands)
	st.Moves = l.moves(st)
	st.Findings = findings(p, st)
	return st
}

func voicesAsked(asked, together int) int {
	if asked <= 0 {
		asked = usualVoices
	}
	return min(MostVoices, max(asked, together))
}

// Counts says how often given links meet each entry of the weights. prev gives for
// each note of the part the struck note it goes on from, NoNote for none. With the
// counts of the right links and of those found, weights are learned.
func Counts(sc *score.Score, p *score.Part, o Options, prev []score.NoteID) *Weights {
	l := readLine(sc, p)
	l.most = voicesAsked(o.Voices, l.together)
	of := make([]int, len(p.Notes))
	for i := range l.tones {
		of[l.tones[i].id] = i
	}
	tones := make([]int, len(l.tones))
	for i := range tones {
		tones[i] = -1
		if a := prev[l.tones[i].id]; a != score.NoNote {
			tones[i] = of[a]
		}
	}
	n, _ := l.counts(tones)
	return n
}
