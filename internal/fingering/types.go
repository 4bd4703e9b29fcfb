// Package fingering chooses string, position and finger for every note and chord
// of a part by an exact cheapest-path search.
//
// The state of the hand at an event is a grip: the string and finger of each
// note that sounds, the semitone over which the first finger stands, the shape
// of the hand. A plan's cost is a linear sum of named terms (terms.go) with
// weights kept as data (weights.txt); the terms follow Sayegh 1989 (trellis of
// string, finger, position), Radicioni and Lombardo 2007 (comfort and
// biomechanics) and chapter VIII of the violin treatise of 1756, as worded in
// the project's research notes. The search is separate from states and costs:
// Problem is a sequence.Lattice, solve.go searches it.
package fingering

import (
	"pochette/internal/instrument"
	"pochette/internal/score"
	"pochette/internal/timeline"
)

// Touch says how a finger stops the string.
type Touch int8

// Ways of touching.
const (
	Pressed    Touch = iota
	Natural          // touched at a node of the open string
	Artificial       // pressed below, touched above by another finger
)

// Stop is one note on its string.
type Stop struct {
	Note      score.NoteID
	String    int  // 1 = highest
	Finger    int8 // 0 open, 1–4, instrument.Thumb
	Position  int  // 0 half, 1 first …; that of the hand where the string is open
	Semitone  int  // where the finger is, above the open string
	Extension float64
	Touch     Touch
	Held      bool // begun at an earlier event and sounding on
	Taste     bool // a natural harmonic that the print does not ask for
}

// Grip is the hand at one event. Rests and events that cannot be played at all
// have no stops.
type Grip struct {
	Event    int
	Stops    []Stop // in the order of Struck, then Held
	Hand     instrument.Hand
	Position int
	Shift    int // index into Study.Shifts of the shift that leads here, -1 for none
	Cost     float64
	Terms    []score.Term // what the grip and the way into it cost, without zero terms
	LetGo    []score.NoteID
	LeftOut  []score.NoteID // struck notes that no grip reaches
	// OpenMore is what the open string would cost more where a single note is stopped
	// on the pitch of one: weighted terms, the largest first.
	OpenMore []score.Term
	// Unplayable says why some struck notes are left out; empty otherwise.
	Unplayable string
}

// Cover tells what hides a shift.
type Cover int8

// Covers, from the open to the hidden.
const (
	UnderSlur Cover = iota
	BowChange
	OpenString
	Silence
)

func (c Cover) String() string {
	return [...]string{"under a slur", "at a bow change", "under an open string", "in a rest"}[c]
}

// Shift is a move of the hand.
type Shift struct {
	Kind       Move
	Event      int // where the hand arrives
	From       int // the event it leaves
	FromPlace  int // semitones of the first finger
	ToPlace    int
	FromPos    int
	ToPos      int
	MM         float64 // along the string, positive upwards
	Seconds    float64 // time available
	Cover      Cover
	SameFinger bool // one finger slides on one string: its own guide note
}

// Decision is what a person has settled for a note; nil or 0 leaves it open.
type Decision struct {
	Finger   *int8 // 0 open … 4, instrument.Thumb
	String   int   // 1 = highest
	Position *int  // 0 = half
}

// Options of Analyze. The zero value studies a violin.
type Options struct {
	Instrument instrument.Instrument
	Decided    map[score.NoteID]Decision
	Weights    *Weights // nil: the embedded ones
	Profile    Profile
	// Harmonics is the taste for natural harmonics beyond the printed ones.
	Harmonics Harmonics
	// Pace of the part; nil for timeline.PaceOf.
	Pace *timeline.Pace
	// Strokes gives each event the number of its bow stroke (from the bowing
	// study), -1 for none; a shift hides where the number changes. nil: the
	// printed slurs tell.
	Strokes []int
	// HidePrinted ignores printed fingerings, strings and positions (to measure
	// the search against them).
	HidePrinted bool
	// Hidden ignores what is printed on these notes alone.
	Hidden map[score.NoteID]bool
}

// Study is the whole result. Grips stand beside Events, one each.
type Study struct {
	Instrument instrument.Instrument
	Events     []timeline.Event
	Grips      []Grip
	Shifts     []Shift // moves of Kind Shifted
	Adjusts    []Shift // other changes of position
	Plan       score.Plan
	Findings   []score.Finding
	// Exact is false where the search for a plan that serves all repeats was cut
	// short; the plan is then the best found and its cost at most Gap too high.
	Exact bool
	Gap   float64
	part  *score.Part
	score *score.Score
	pace  *timeline.Pace
}

// Use is a pointer to a finger, for Decision.
func Use(finger int8) *int8 { return &finger }
