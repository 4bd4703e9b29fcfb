package score

import (
	"fmt"
	"strings"
)

// Grade ranks findings: what stops the work, what a player must see, what is
// good to know.
type Grade int8

// Grades from mild to hard.
const (
	Remark Grade = iota
	Caution
	Trouble
)

func (g Grade) String() string { return [...]string{"remark", "caution", "trouble"}[g] }

// Loc is a place in the music. Measure is the index, Number the printed number
// (findings about the file itself have Measure -1). Beat counts from 1 in the
// meter's printed unit and may be a fraction: "2", "2+1/2". Line and Column
// point into the source where that helps (0 = not given).
type Loc struct {
	Measure      int
	Number       string
	Pickup       bool // the upbeat before the first bar line, whatever its number
	Repeated     bool // another measure has the same number, as in a file of several movements
	Beat         string
	Note         NoteID
	Line, Column int
}

// Nowhere is the place of a finding about the file as a whole.
var Nowhere = Loc{Measure: -1, Note: NoNote}

// PickupTo stands in Number between the bar that a pickup fills up and the one it leads
// to: "10 (pickup to 11)".
const PickupTo = " (pickup to "

// SpokenNumber is a measure's name as a player says it: the number, "pickup to 11".
func SpokenNumber(name string) string {
	if _, to, ok := strings.Cut(name, PickupTo); ok {
		return "pickup to " + strings.TrimSuffix(to, ")")
	}
	return name
}

// String is the place as a player says it, "measure 22, beat 2" or "pickup, beat 6", where
// numbers repeat with the place in the file, "measure 22 (@48), beat 2", or a file
// position where there is no measure.
func (l Loc) String() string {
	s := ""
	if l.Measure >= 0 {
		s = SpokenNumber(l.Number)
		if s == l.Number {
			s = "measure " + s
		}
		switch {
		case l.Pickup:
			s = "pickup"
		case l.Repeated:
			s += fmt.Sprintf(" (@%d)", l.Measure+1)
		}
		if l.Beat != "" {
			s += ", beat " + l.Beat
		}
	}
	if l.Line > 0 {
		pos := fmt.Sprintf("line %d", l.Line)
		if l.Column > 0 {
			pos += fmt.Sprintf(":%d", l.Column)
		}
		if s != "" {
			return s + " (" + pos + ")"
		}
		return pos
	}
	return s
}

// Finding is something the program saw, at a place, with a reason and, where
// there is one, a suggestion. Text is one true sentence without the place.
type Finding struct {
	Kind       string // a short slug, the same for all findings of one sort
	Grade      Grade
	Part       string // ID of the part it is about, "" = the score as a whole
	At, To     Loc    // To: last place of a span; equal to At for a single place
	Notes      []NoteID
	Text       string
	Why        string
	Suggestion string
	Weight     float64 // ranks findings of one kind, larger first
}
