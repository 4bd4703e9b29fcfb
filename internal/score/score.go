// Package score holds a piece of music as plain data: no algorithms, no I/O.
//
// A Score is made by a codec (package musicxml) and not changed afterwards; what
// the program thinks of it are Plans and Findings beside it (files plan.go and
// finding.go).
//
// Time is exact: a Tick is 1/Score.Quarter of a quarter note, and Quarter is
// chosen by the codec so that every onset and length of the file is whole. All
// onsets count from the start of the part in written order; repeats are not
// unrolled here (package timeline does that).
package score

import (
	"math/big"

	"pochette/internal/pitch"
)

// Tick is score time; see Score.Quarter for its length.
type Tick int64

// NoteID is the index of a note in Part.Notes. NoNote stands for none.
type NoteID int

// NoNote is the NoteID of no note.
const NoNote NoteID = -1

// Score is one piece, or one movement of it.
type Score struct {
	Title    string // movement title, else the work's
	Work     string
	Number   string // movement or work number
	Composer string
	Rights   string
	Quarter  Tick // ticks to a quarter note
	Parts    []*Part
}

// Whole is v in whole notes, exactly.
func (s *Score) Whole(v Tick) *big.Rat { return big.NewRat(int64(v), 4*int64(s.Quarter)) }

// Part is the music of one player.
type Part struct {
	ID, Name, Abbreviation string
	Sound                  string // MusicXML <instrument-sound>, such as strings.violin
	Instrument             string // <instrument-name>
	Program                int    // MIDI program 1–128, 0 where none is given
	Staves                 int
	Measures               []Measure
	// Notes in score order: by onset; at one onset grace notes before main
	// ones, then by voice as it first appears, then as written in the file.
	// The notes of a chord stand together, the one that carries the stem first.
	Notes      []Note
	Slurs      []Slur
	Directions []Direction
}

// Span is a stretch of the source's bytes, End exclusive.
type Span struct{ Start, End int64 }

// Clef as MusicXML has it.
type Clef struct {
	At           Tick
	Staff        int
	Sign         string // G, F, C, percussion, TAB, jianpu, none
	Line         int
	OctaveChange int
}

// Key is a signature from At on. Fifths counts sharps (negative: flats).
type Key struct {
	At     Tick
	Staff  int // 0 = all
	Fifths int
	Mode   string
	Free   bool // a signature of single alterations, not of fifths
}

// Meter is a time signature. Beats and Unit hold what is printed ("3+2", "8");
// Len is the length of a full measure, Groups the lengths of the printed groups
// where the meter is additive (otherwise one entry). Senza misura: Len 0.
type Meter struct {
	Beats, Unit string // several pairs are kept with a space between: "3 2", "8 4"
	Symbol      string // common, cut, …
	Num, Den    int    // summed and brought to one unit: 3/8+1/4 is 5/8
	Len         Tick
	Groups      []Tick
}

// Measure is one bar as written. Bar line styles are named as in MusicXML; "" is regular.
type Measure struct {
	Index      int
	Number     string // as printed; need not be a numeral
	Implicit   bool   // not counted: pickup, or the second half of a split measure
	Repeated   bool   // another measure of the part is called the same (timeline.FindRepeats)
	Start, Len Tick   // Len is what the measure really holds
	Meter      Meter  // in force
	Key        Key    // in force at its start, first staff
	Keys       []Key  // changes inside, after the start
	Clefs      []Clef // in force at its start (one a staff) and changes inside
	LeftBar    string
	RightBar   string
	// RepeatStart: a forward repeat at its left; RepeatTimes: how often the
	// section that ends at its right is played in all (0 = no repeat sign here).
	RepeatStart bool
	RepeatTimes int
	Endings     []int // numbers of the ending that covers this measure
	EndingStart bool
	EndingStop  bool
	Jump        Jump
	NewSystem   bool
	Src         Span
}

// Jump tells where play goes after (or marks a target in) a measure.
type Jump struct {
	Segno, Coda           string // labels that stand here
	DaCapo, Fine          bool
	DalSegno, ToCoda      string // labels
	ForwardRepeatRequired bool   // play repeats again after the jump
}

// Value is the written value: "quarter", dots, and the tuplet ratio (Actual
// notes in the time of Normal; 1:1 outside tuplets).
type Value struct {
	Type           string
	Dots           int
	Actual, Normal int
}

// Note is a note or a rest, with everything printed on it.
type Note struct {
	ID      NoteID
	Measure int // index into Part.Measures
	Onset   Tick
	Dur     Tick // 0 for a grace note
	Voice   string
	Staff   int

	Rest, MeasureRest bool
	Unpitched         bool
	Grace, Slash      bool
	Cue               bool
	Chord             bool   // shares the stem of the note before it
	Head              NoteID // the note that carries the stem (itself if alone)

	Written  pitch.Pitch // before transposition, octave lines counted in, as <pitch>; meaningless for rests
	Sounding pitch.Pitch // after transposition
	// Display is the staff place of an unpitched note or of a placed rest
	// (Placed says that there is one).
	Display    pitch.Pitch
	Placed     bool
	Hidden     bool   // not printed: print-object="no"
	Accidental string // printed, as MusicXML names it
	Value      Value
	TieFrom    NoteID // the note this one continues, NoNote if it is struck
	TieTo      NoteID
	Beams      []string // begin, continue, end, forward hook, backward hook; from the outermost
	Stem       string   // up, down, none, double or ""
	Tuplets    []Tuplet
	Marks      []Mark
	Lyric      string // first verse, for words in the music; usually empty
	Src        Span   // the whole <note> element
}

// Struck says that the note is begun here: not a rest, not tied over.
func (n *Note) Struck() bool { return !n.Rest && n.TieFrom == NoNote }

// End is the first tick after the note.
func (n *Note) End() Tick { return n.Onset + n.Dur }

// Tuplet is a tuplet bracket that starts or stops on a note.
type Tuplet struct {
	Number int
	Start  bool // else it stops
}

// Slur binds two notes of a part.
type Slur struct {
	Number     int
	Start, End NoteID
	Placement  string
	Origin     Origin
	// The <slur> elements in the source; empty for a slur that was not read.
	StartSrc, EndSrc Span
}

// Direction is a mark between the notes: words, dynamics, wedges, tempo.
type Direction struct {
	Measure int
	At      Tick
	Kind    string // words, dynamics, wedge, metronome, rehearsal, segno, coda, octave-shift, pedal, dashes, bracket, sound …
	Text    string // words as printed, dynamic as MusicXML names it, wedge or shift type
	Number  int
	Size    int     // octave-shift: 8, 15, 22
	Tempo   float64 // quarter notes a minute where the file says so, else 0
	Staff   int
	Voice   string
	Above   bool
	Src     Span
}
