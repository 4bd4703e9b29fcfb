// Package listentest makes takes whose truth is known exactly: it plays a score on a
// made-up bowed string, with vibrato, glides, bow noise, a room, rubato, dotting,
// mistuning, slips and restarts, and tells when and how each note sounded. It is for
// tests and for cmd/accuracy alone and shares no code with the analysis: the tone is
// a sum of partials under a body's resonances, the room a bank of combs.
//
// The truth of an onset is the moment the bow sets a new note going; under a slur,
// the middle of the finger's glide. The truth of a pitch is the middle of its vibrato.
package listentest

import (
	"pochette/internal/score"
)

// Options say how to play. The zero value of a field leaves that out.
type Options struct {
	Seed    uint64
	Rate    int     // of the sound, 0 = 44100 Hz
	A4      float64 // 0 = 440 Hz
	Quarter float64 // quarter notes a minute, 0 = 80

	Rubato    float64 // standard deviation of the bar's tempo, as a fraction
	InsideBar float64 // of the exponent of give and take inside a bar
	Jitter    float64 // of single onsets, seconds
	Dotting   float64 // fraction of a 3:1 pair that the long note gets, 0 = 0.75
	DotSpread float64 // standard deviation of that from pair to pair

	Vibrato float64 // depth in cents to each side, for long notes
	Glide   float64 // seconds that a finger takes under a slur, 0 = 0.015
	Detune  float64 // standard deviation of a note's pitch in cents
	Reverb  float64 // seconds to fall by 60 dB
	Noise   float64 // steady noise in dB relative to full scale, 0 = none
	Attack  float64 // seconds of a bow's attack, 0 = 0.025

	Wrong, Missing float64 // share of notes
	Scratch, Touch float64 // share of notes that begin with a scratch, or touch an open string
	Open           []int   // MIDI keys of the open strings that may be touched
	Restarts       int
	SkipRepeats    bool
	Silence        float64 // seconds before the first note, 0 = 0.5
}

// Sounded is one event of the score as it was played.
type Sounded struct {
	Visit     int            // index into the order of play as the score prints it
	Note      score.NoteID   // the lowest of its notes
	Notes     []score.NoteID // all
	Onset     float64        // seconds
	Offset    float64
	MIDI      []int     // as played
	Cents     []float64 // of each from equal temperament at the take's A4
	Wrong     bool
	Slur      bool // bound to what sounded before
	Scratched bool
	Touched   int  // key of the open string that sounds along, 0 for none
	Cut       bool // left unfinished before a restart
}

// Missed is an event that was left out.
type Missed struct {
	Visit int
	Note  score.NoteID
	At    float64 // when it would have come
}

// Restart is a jump: play broke off and went on with the first note of a measure.
type Restart struct {
	Broke, Resumed float64 // seconds
	Visit          int     // that it went on with
	Note           score.NoteID
}

// Bar is one playing of a measure from its first moment to the next measure's.
type Bar struct {
	Visit, Measure int
	Start, End     float64
	Whole          bool // played through without a break
}

// Pair is a dotted pair as played.
type Pair struct {
	Visit    int
	Long     score.NoteID
	Fraction float64
}

// Truth is what was really played.
type Truth struct {
	A4       float64
	Sounded  []Sounded
	Missed   []Missed
	Restarts []Restart
	Bars     []Bar
	Pairs    []Pair
	Seconds  float64
}
