package study

import (
	"fmt"
	"slices"
	"strings"

	"pochette/internal/form"
	"pochette/internal/musicxml"
	"pochette/internal/pace"
	"pochette/internal/score"
	"pochette/internal/timeline"
)

// Level says how much theory the sentences of a reading hold.
type Level int8

// The levels, as --level has them.
const (
	Player Level = iota // the usual one
	Student
	Scholar
)

// Levels are the names of the levels, plainest first.
var Levels = []string{"student", "player", "scholar"}

// ParseLevel reads the name of a level; "" is the player's.
func ParseLevel(text string) (Level, error) {
	switch strings.ToLower(strings.TrimSpace(text)) {
	case "student":
		return Student, nil
	case "player", "":
		return Player, nil
	case "scholar":
		return Scholar, nil
	}
	return Player, OptionError{fmt.Errorf("--level %q: want %s", text, list(Levels))}
}

// ReadRequest says what to read, and how it is told.
type ReadRequest struct {
	Name  string // of the file, for messages
	Data  []byte // MusicXML, plain or compressed
	Part  string // as in Request
	Level Level
	// Strict lists every difference between parallel passages and everything that
	// occurs once; otherwise the most surprising.
	Strict bool
}

// Reading is what is found in the score alone, told at one level. It is made by
// the adapters (adapt_*.go), which are the only ones to know the packages that
// read; all others work on these plain values.
type Reading struct {
	Source    *musicxml.Source
	Score     *score.Score
	Part      *score.Part
	PartIndex int
	Level     Level

	Home      string    // key of the whole, "" where it could not be told
	Keys      []KeySpan // in order
	Chords    []Chord   // in order
	Harmony   []Said    // cadences, sequences, non-chord notes and their like
	Form      []Said    // sections, phrases, hemiolas and their like
	Voices    []Said    // what implied voices do, the bass, moves of register
	Of        []int     // voice of each note, 0 the highest, -1 for none
	Parallels []Parallel
	Odd       []Said // differences between parallel passages, most surprising first
	Once      []Said // what occurs only once

	strict bool
	layout jsonForm
	lines  []jsonLine
	facts  pace.Facts // the numbers behind harmony and form
	dotted []string   // what the print leaves open about dots
}

// Said is one sentence about a place.
type Said struct {
	Kind      string
	From, To  score.Loc
	At        score.Tick // of From
	Other     *score.Loc // the place that this one is compared with
	Text, Why string
	Weight    float64 // ranks sentences of one list, larger first
	// Arrival marks what a player must know at this place: where something arrives.
	Arrival bool
}

// KeySpan is a stretch in one key.
type KeySpan struct {
	Key      string // "D minor"
	Numeral  string // in the home key, "" where that is it
	From, To score.Loc
	Text     string // one sentence
}

// Chord is one chord with what it does in its key.
type Chord struct {
	At      score.Loc
	Start   score.Tick
	Len     score.Tick
	Key     string
	Numeral string
	Name    string // "D major", "A dominant seventh"
	Bass    string
	Figures string
	Tension float64
	// Second is the next best reading and Lead by how much it falls behind.
	Second string
	Lead   float64
	Text   string // what a sentence has to say of it, often nothing
}

// Parallel is a passage that comes again.
type Parallel struct {
	From, To           score.Loc // the first
	OtherFrom, OtherTo score.Loc
	Interval           string // by which the second is moved, "" for none
	Text               string
	Differences        []Said

	near           bool // listed without being asked for all
	alike, moments int
	bits           float64 // how unlikely the agreement is by the piece's own habits
}

// Read opens the file and reads one part. The error is one line that names the file.
func Read(r ReadRequest) (*Reading, error) {
	src, sc, i, err := OpenPart(r.Name, r.Data, r.Part)
	if err != nil {
		return nil, err
	}
	rd := &Reading{Source: src, Score: sc, Part: sc.Parts[i], PartIndex: i, Level: r.Level}
	if !slices.ContainsFunc(rd.Part.Notes, struckNote) {
		return nil, fmt.Errorf("%s: part %d (%s) has no notes to read; choose another part with --part", r.Name, i+1, partName(rd.Part))
	}
	rd.read(r.Strict)
	return rd, nil
}

// struckNote says that a note is played and has a pitch.
func struckNote(n score.Note) bool { return n.Struck() && !n.Unpitched && !n.Cue }

// read runs the studies. Form is told where harmony closes, so harmony comes first.
func (rd *Reading) read(strict bool) {
	rd.strict = strict
	cadences := rd.readHarmony()
	rd.readForm(timeline.Events(rd.Part), cadences)
	rd.readVoices()
	rd.readParallels(strict)
}

// title of the movement, as in the study.
func (rd *Reading) title() string { return titleOf(rd.Score) }

// Bars reads a range of printed measure numbers, "5-12" or "7"; "" is all.
func (rd *Reading) Bars(text string) (Bars, error) { return barsOf(rd.Part, text) }

func (rd *Reading) form() form.Level {
	switch rd.Level {
	case Student:
		return form.Student
	case Scholar:
		return form.Scholar
	}
	return form.Player
}
