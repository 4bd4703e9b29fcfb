// Package pace plans the time of a performance: the tempo of each bar, give and
// take inside it, breaths, the final broadening, how dotted and even pairs are
// divided, and how loud each note is. A part goes in with what other studies read
// in it (Facts), every played note comes out with its onset and release in seconds,
// its level, and the stroke of the bow it belongs to; repeats are played out.
//
// The time of a moment is made in four steps, each monotone and each fixed at the
// ends of its frame, so that no step moves the frame of the next:
//
//  1. pairs: inside a dotted, unequal or slurred pair the border moves (figures.go);
//  2. give and take: inside the bar a power map (models.go, PowerMap), its ends fixed;
//  3. tempo: the bar as a whole faster or slower, or on the curve of a broadening;
//  4. breaths and holds: time put in between two moments (clock.go).
//
// Steps 1 and 2 leave every bar line where the metronome has it, which check.go
// verifies on the notes that came out. Every curve names its published model in
// Models. With the zero Amounts and no decision the plan is the metronome's.
//
// Units: score time in score.Tick, time in seconds, tempo in felt beats a minute
// (timeline.Beat), levels in dB below full scale, amounts as multiples of what is
// proposed (0 none, 1 as proposed).
package pace

import (
	"pochette/internal/score"
	"pochette/internal/timeline"
)

// Input is what is planned.
type Input struct {
	Part    *score.Part
	Quarter score.Tick       // score.Score.Quarter
	Events  []timeline.Event // timeline.Events of the part
	Base    timeline.Pace    // printed or assumed tempo
	Facts   Facts
	// Strokes are those of the bow in order; empty where nothing is known: then
	// events that are not slurred begin a stroke.
	Strokes []Stroke
}

// Facts are what harmony and form told, as plain values in order of time.
type Facts struct {
	Chords   []Chord
	Cadences []Cadence
	Phrases  []Phrase
	Sections []Section
	Pairs    []Pair
}

// Chord is a stretch of one harmony. Tension is in the unit of its model, of
// which only differences are used. Arrives marks a goal.
type Chord struct {
	From, To score.Tick
	Tension  float64
	Arrives  bool
	Name     string // "V7 in G major"
}

// Cadence is a place where harmony closes. Strength is 0 to 1.
type Cadence struct {
	At       score.Tick
	Kind     string
	Strength float64
}

// Phrase goes from From to the beginning of the next, To, and arrives at Arrival.
// Sure is 0 to 1. Overlaps: the next begins with the arrival.
type Phrase struct {
	From, To, Arrival score.Tick
	Sure              float64
	Overlaps          bool
}

// Section is a stretch of the form. Hard says that a sign ends it (a repeat, a double
// or final bar line), not harmony alone.
type Section struct {
	From, To score.Tick
	Name     string
	Hard     bool
}

// Pair is an accented non-chord note and its release.
type Pair struct{ Strong, Weak score.NoteID }

// Stroke is all events First to Last taken in one direction of the bow.
type Stroke struct {
	First, Last int
	Direction   Direction
	Plucked     bool
	// Again says that the stroke goes in the direction of the one before: the bow
	// is lifted, or stops and goes on.
	Again bool
}

// Direction of the bow.
type Direction int8

// The directions; NoBow where none is known, or the string is plucked.
const (
	NoBow Direction = iota
	Down
	Up
)

func (d Direction) String() string {
	return [...]string{"none", "down", "up"}[d]
}

// Amounts scale the curves: 0 none, 1 as proposed. The zero value is a metronome.
type Amounts struct {
	Arch         float64 `json:"arch"`          // tempo over the phrase
	GiveTake     float64 `json:"give_take"`     // inside the bar
	Breath       float64 `json:"breath"`        // at phrase ends
	Hold         float64 `json:"hold"`          // at printed fermatas and caesuras
	Broadening   float64 `json:"broadening"`    // at the end
	Pairs        float64 `json:"pairs"`         // first of a slurred pair: longer and louder
	Accent       float64 `json:"accent"`        // by meter and harmony
	Tension      float64 `json:"tension"`       // dynamics from tension
	Dynamics     float64 `json:"dynamics"`      // printed ones
	Articulation float64 `json:"articulation"`  // gaps at bow changes, dots, dashes
	BreathTaken  bool    `json:"breaths_taken"` // breaths come off the note before and add no time
}

// Proposed are the amounts of a proposal.
func Proposed() Amounts {
	return Amounts{Arch: 1, GiveTake: 1, Breath: 1, Hold: 1, Broadening: 1, Pairs: 1, Accent: 1, Tension: 1, Dynamics: 1, Articulation: 1}
}

// Steady are amounts that keep every bar of one tempo equally long: what bends, bends
// inside the bar. Printed holds stand.
func Steady() Amounts {
	a := Proposed()
	a.Arch, a.Broadening, a.BreathTaken = 0, 0, true
	return a
}

// Options choose.
type Options struct {
	Amounts   Amounts
	Decisions []Decision
}

// Key is what a decision settles.
type Key string

// The keys. Values: Tempo felt beats a minute; Dotting the share of the long note;
// Inequality the ratio long to short (1 even); Power the exponent of the give and
// take; Breath and Hold seconds; Broadening the last tempo over the first; Level dB
// to add; the others amounts.
const (
	Tempo        Key = "tempo"
	Dotting      Key = "dotting"
	Inequality   Key = "inequality"
	Power        Key = "power"
	GiveTake     Key = "give-take"
	Arch         Key = "arch"
	Breath       Key = "breath"
	Hold         Key = "hold"
	Broadening   Key = "broadening"
	Level        Key = "level"
	Pairs        Key = "pairs"
	Accent       Key = "accent"
	Tension      Key = "tension"
	Dynamics     Key = "dynamics"
	Articulation Key = "articulation"
)

// Decision is one thing that a player settled. Of two that contradict each other
// the later holds.
type Decision struct {
	Key   Key
	Value float64
	// First and Last are measures, by index; Last -1: the whole part.
	First, Last int
	// Placed: it is for the moment At (which lies in measure First).
	Placed bool
	At     score.Tick
	// Long is the written length of a dotted figure's long note, 0 for all figures.
	Long score.Tick
	// Taken: a breath comes off the note before.
	Taken bool
	Text  string // as the player said it
}

// covers says that a decision of a range holds in a measure.
func (d *Decision) covers(measure int) bool {
	return d.Last < 0 || measure >= d.First && measure <= d.Last
}

// whole says that it is for the whole part.
func (d *Decision) whole() bool { return d.Last < 0 && !d.Placed }

// Bar is one playing of a measure.
type Bar struct {
	timeline.Visit
	Start   float64 // of its first moment, from the beginning
	Seconds float64 // to the next bar line, breaths and holds counted in
	Pause   float64 // of these the breaths and holds
	Tempo   float64 // felt beats a minute, mean, without pauses
	Base    float64 // the same as printed, assumed or decided for the whole
	Power   float64 // exponent of the give and take, 1 none
	// Broadens says that a broadening reaches into the bar.
	Broadens bool
	// Reasons say in sentences why it is not the metronome's bar.
	Reasons []string
}

// Note is one playing of a struck note.
type Note struct {
	Note    score.NoteID
	Event   int
	Bar     int     // index into Plan.Bars
	Onset   float64 // seconds
	Release float64
	Level   float64 // dB, 0 the loudest
	// Terms are what the level is the sum of, dB over mf.
	Terms  []score.Term
	Stroke int // index into Input.Strokes, -1 unknown
	Bow    Direction
	// Begins says that the bow (or finger) attacks here; else the note is slurred to
	// the one before.
	Begins  bool
	Again   bool // the attack goes in the direction of the stroke before
	Plucked bool
	Grace   bool
	Accent  bool // a printed accent
	Key     int  // MIDI key number
	Cents   int  // beyond it
	Chord   int  // how many notes are struck with it, itself counted
	InChord int  // its place from the lowest, 0 first
}

// Velocity is the MIDI velocity of the note's level; see VelocityOf.
func (n *Note) Velocity() int { return VelocityOf(n.Level) }

// Breathing is a breath or a hold.
type Breathing struct {
	Bar     int // in whose time it lies: it adds to its length
	At      score.Tick
	Seconds float64
	Taken   bool // off the note before; adds nothing
	Hold    bool // the note sounds on
	Decided bool
	Why     string
}

// Broadened is a stretch that slows to its end.
type Broadened struct {
	FirstBar, LastBar int // played bars
	From              score.Tick
	Ratio             float64 // last tempo over the first
	Seconds           float64 // what it adds
	Decided           bool
	Why               string
}

// Plan is the time of a part.
type Plan struct {
	Bars        []Bar
	Notes       []Note // by onset
	Figures     []Figure
	Breaths     []Breathing
	Broadenings []Broadened
	Seconds     float64 // the whole
	Complete    bool    // false where the repeats were cut at their limit
	// Inequality is the ratio in use for even pairs, 1 none; Unequal how many pairs.
	Inequality float64
	Unequal    int
	Findings   []score.Finding
	Steadiness Steadiness

	clock *clock
}
