package fingering

import "fmt"

// A table holds the costs of what has no scale, cell by cell: learned habits.
// The cells are terms like all others.
type table struct {
	name  string
	first term
	rows  []string
	cols  []string
	unit  string
}

// Tables of a single line of notes. Chords have no part in them.
var tables = []table{
	{"move", firstMove, pairs(), []string{
		"same_stay", "same_up", "same_down", "higher_stay", "higher_up", "higher_down", "lower_stay", "lower_up", "lower_down"},
		"from finger to finger, 0 open, by string (the same, the next higher, the next lower) and hand (it stays, shifts up, shifts down)"},
	{"place", firstPlace, places(), []string{"quick", "moderate", "slow"},
		"string, 1 the highest, and position, 0 half to 7 seventh and above, by the pace of the notes around; less for a pitch heard just before"},
	{"finger", firstFinger, fingersRow, []string{"short_on", "short_off", "middle_on", "middle_off", "long_on", "long_off"},
		"finger by the length of its note (to 0.2 s, to 0.7 s, longer), on the beat and off it"},
	{"pace", firstPace, fingersRow, []string{"quick_on", "quick_off", "moderate_on", "moderate_off", "slow_on", "slow_off"},
		"finger by the pace of the notes around, on the beat and off it; less for a pitch heard just before"},
}

var fingersRow = []string{"0", "1", "2", "3", "4"}

func pairs() (out []string) {
	for _, f := range fingersRow {
		for _, g := range fingersRow {
			out = append(out, f+"-"+g)
		}
	}
	return out
}

func places() (out []string) {
	for s := 1; s <= 4; s++ {
		for p := 0; p <= 7; p++ {
			out = append(out, fmt.Sprintf("%d.%d", s, p))
		}
	}
	return out
}

// init names the terms of the tables: table, row and column.
func init() {
	for _, b := range tables {
		for r, row := range b.rows {
			for c, col := range b.cols {
				termNames[int(b.first)+r*len(b.cols)+c] = b.name + " " + row + " " + col
			}
		}
	}
}

// third puts a share into one of three classes.
func third(x float64) int {
	switch {
	case x < 0.3:
		return 0
	case x < 0.7:
		return 1
	}
	return 2
}

// lengthClass is that of a note's seconds: to 0.2, to 0.7, longer.
func lengthClass(seconds float64) int {
	switch {
	case seconds <= 0.2:
		return 0
	case seconds <= 0.7:
		return 1
	}
	return 2
}

// habits tallies place and finger of a single note.
func (m *model) habits(c *cell, at *moment, t *tally) {
	if c.finger > 4 {
		return
	}
	pace, off := third(at.slow), 0
	if at.off > 0 {
		off = 1
	}
	f := int(c.finger)
	if c.str <= 4 && f > 0 {
		t.add(firstPlace+term((int(c.str-1)*8+int(min(7, c.pos)))*3+pace), at.fresh)
	}
	t.add(firstFinger+term(f*6+lengthClass(at.seconds)*2+off), 1)
	t.add(firstPace+term(f*6+pace*2+off), at.fresh)
}

// move tallies the step from finger to finger of a line.
func (m *model) move(a, b *state, way int8, t *tally) {
	c, d := &a.cells[0], &b.cells[0]
	if c.key == d.key || c.finger > 4 || d.finger > 4 || abs8(d.str-c.str) > 1 {
		return
	}
	str, hand := 0, 0
	switch {
	case d.str < c.str:
		str = 1
	case d.str > c.str:
		str = 2
	}
	switch {
	case way > 0:
		hand = 1
	case way < 0:
		hand = 2
	}
	t.add(firstMove+term((int(c.finger)*5+int(d.finger))*9+str*3+hand), 1)
}
