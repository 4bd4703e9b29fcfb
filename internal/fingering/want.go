package fingering

import (
	"fmt"
	"strconv"
	"strings"

	"pochette/internal/instrument"
	"pochette/internal/score"
)

// want is what marks ask of one note. The zero value asks nothing.
type want struct {
	fingers uint8 // bit f set: finger f is allowed; 0: any
	str     int8  // 0: any
	hasPos  bool
	pos     int8
	by      [3]score.Origin // where finger, string and position come from
}

func (w want) none() bool { return w.fingers == 0 && w.str == 0 && !w.hasPos }

// fits says whether the cell in that hand does what the marks ask. An open
// string obeys any position.
func (w want) fits(h instrument.Hand, c *cell, steps func(str int) int) bool {
	if w.fingers != 0 && w.fingers&(1<<c.finger) == 0 {
		return false
	}
	if w.str != 0 && w.str != c.str {
		return false
	}
	if w.hasPos && c.finger != 0 && steps != nil {
		return instrument.PositionOf(h, int(c.finger), steps(int(c.str)), int(c.semi)) == int(w.pos)
	}
	return true
}

// reader collects what is printed and decided on a note.
type reader struct {
	p        *score.Part
	o        *Options
	at       func(score.NoteID) score.Loc
	words    map[score.NoteID]int // positions printed as words
	findings []score.Finding
}

// wantOf reads the marks of a note; what contradicts itself becomes a finding.
func (r *reader) wantOf(id score.NoteID) want {
	var w want
	if !r.o.HidePrinted && !r.o.Hidden[id] {
		r.printed(id, &w)
	}
	d, ok := r.o.Decided[id]
	if !ok {
		return w
	}
	if d.Finger != nil && *d.Finger >= 0 && *d.Finger <= instrument.Thumb {
		w.fingers, w.by[0] = 1<<*d.Finger, score.Decided
	}
	if d.String > 0 {
		w.str, w.by[1] = int8(min(d.String, 100)), score.Decided
	}
	if d.Position != nil {
		w.hasPos, w.pos, w.by[2] = true, int8(min(max(*d.Position, 0), 100)), score.Decided
	}
	return w
}

func (r *reader) printed(id score.NoteID, w *want) {
	n := &r.p.Notes[id]
	for _, m := range n.Marks {
		switch m.Kind {
		case score.Fingering:
			f, ok := parseFinger(m.Text)
			if !ok {
				if strings.TrimSpace(m.Text) != "" {
					r.find(id, "fingering-unread", score.Remark, fmt.Sprintf("the printed fingering %q is not a finger and is passed over", m.Text))
				}
				continue
			}
			if m.Substitution && w.fingers != 0 {
				continue // the finger that comes first takes the note
			}
			w.fingers |= 1 << f
		case score.ThumbPosition:
			w.fingers |= 1 << instrument.Thumb
		case score.OpenString:
			w.fingers |= 1
		case score.String:
			s, err := strconv.Atoi(strings.TrimSpace(m.Text))
			switch {
			case err != nil || s < 1 || s > r.o.Instrument.Strings():
				r.find(id, "string-unread", score.Remark, fmt.Sprintf("the printed string %q is none of this instrument's and is passed over", m.Text))
			case w.str != 0 && int(w.str) != s:
				r.find(id, "string-contradicted", score.Caution, fmt.Sprintf("two strings are printed on one note, %s and %s; the first is kept", instrument.Numeral(int(w.str)), instrument.Numeral(s)))
			default:
				w.str = int8(s)
			}
		}
	}
	if pos, ok := r.words[id]; ok {
		w.hasPos, w.pos = true, int8(pos)
	}
}

func (r *reader) find(id score.NoteID, kind string, g score.Grade, text string) {
	at := r.at(id)
	r.findings = append(r.findings, score.Finding{Kind: kind, Grade: g, At: at, To: at, Notes: []score.NoteID{id}, Text: sentence(text)})
}

// parseFinger reads 0–4, o for an open string, and the signs of the thumb.
func parseFinger(s string) (int, bool) {
	switch s = strings.TrimSpace(s); s {
	case "o", "O", "º":
		return 0, true
	case "T", "t", "+", "ϙ", "♀":
		return instrument.Thumb, true
	}
	if len(s) == 1 && s[0] >= '0' && s[0] <= '4' {
		return int(s[0] - '0'), true
	}
	return 0, false
}

// fingerNames as a player says them.
func fingerName(f int8) string {
	switch f {
	case 0:
		return "open string"
	case instrument.Thumb:
		return "thumb"
	}
	return [...]string{"", "first", "second", "third", "fourth"}[f] + " finger"
}
