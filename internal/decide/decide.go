// Package decide reads and writes what a player has settled: finger, string,
// position or direction of the bow for single notes, each with a reason if she
// likes.
//
// A decision is kept by what survives a new edition of the file: the printed
// number of the measure, the beat, and, where several notes stand there, a pitch
// or a place among them. Two forms say the same: a YAML file (file.go) and one
// line, as on a command line (line.go):
//
//	m22.2 finger=3 string=II reason="keeps the colour"
//
// docs/DECISIONS.md describes both. Reading either fully succeeds or gives one
// clear line; Resolve finds the notes.
package decide

import (
	"fmt"
	"math/big"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"pochette/internal/instrument"
)

// Limits on what is read.
const (
	MaxBytes     = 1 << 20
	MaxDecisions = 20000
	maxReason    = 500
)

// CommandLine is the source of the decisions that stand on the command line.
const CommandLine = "--decide"

// Direction of the bow.
type Direction string

// The directions; "" leaves the bow open.
const (
	Down Direction = "down"
	Up   Direction = "up"
)

// Place says which note. Measure is the printed number, or, where Index is more
// than 0, the measure is the Index-th of the file. Beat counts from 1 in the
// printed unit of the meter. Nth (from 1) counts what is struck there: grace
// notes first, then chord and voices from the lowest note up; Pitch names it.
// Neither: the only note there.
type Place struct {
	Measure string
	Index   int
	Beat    *big.Rat
	Nth     int
	Pitch   string
}

// Decision is what is settled for one note. At least one of Finger, String,
// Position, Bow is set.
type Decision struct {
	At       Place
	Finger   *int8 // 0 open, 1–4, instrument.Thumb
	String   int   // 1 = highest, 0 open
	Position *int  // 0 half, 1 first …
	Bow      Direction
	Reason   string
	// Source and Line tell where it was read, for messages: the file's name and
	// line, or the option it came with and 0.
	Source string
	Line   int
}

// where begins a message about a decision.
func (d *Decision) where() string {
	if d.Line > 0 {
		return fmt.Sprintf("%s line %d", d.Source, d.Line)
	}
	return d.Source
}

// String writes a place as Parse reads it: m22.2+1/2:C5.
func (p Place) String() string {
	s := "m" + p.Measure
	if p.Index > 0 {
		s = fmt.Sprintf("m@%d", p.Index)
	}
	s += "." + beatText(p.Beat)
	switch {
	case p.Pitch != "":
		s += ":" + p.Pitch
	case p.Nth > 0:
		s += fmt.Sprintf(":%d", p.Nth)
	}
	return s
}

func beatText(b *big.Rat) string {
	whole := new(big.Int).Quo(b.Num(), b.Denom())
	rest := new(big.Rat).Sub(b, new(big.Rat).SetInt(whole))
	if rest.Sign() == 0 {
		return whole.String()
	}
	return whole.String() + "+" + rest.RatString()
}

// ParsePlace reads m<number>.<beat>, then nothing, :<n> or :<pitch>.
func ParsePlace(s string) (Place, error) {
	bad := func(why string) (Place, error) {
		return Place{}, fmt.Errorf("place %q: %s; want m<measure>.<beat>, as in m22.2, m22.2+1/2 or m22.2:C5", clip(s), why)
	}
	text, ok := strings.CutPrefix(s, "m")
	if !ok {
		return bad("it does not begin with m")
	}
	var p Place
	text, which, selects := strings.Cut(text, ":")
	number, beat, ok := strings.Cut(text, ".")
	if !ok {
		return bad("it has no beat")
	}
	if p.Measure = number; number == "" || strings.ContainsAny(number, " \t\"'#\\=") || !oneLineText(number, 20) {
		return bad("it has no measure number")
	}
	if at, ok := strings.CutPrefix(number, "@"); ok {
		n, err := parseCount(at)
		if err != nil {
			return bad("after @ stands no number from 1")
		}
		p.Measure, p.Index = "", n
	}
	if p.Beat, ok = parseBeat(beat); !ok {
		return bad(fmt.Sprintf("%q is no beat", clip(beat)))
	}
	if !selects {
		return p, nil
	}
	if n, err := parseCount(which); err == nil {
		p.Nth = n
		return p, nil
	}
	if p.Pitch, ok = plainPitch(which); !ok {
		return bad(fmt.Sprintf("%q is neither a pitch nor a number from 1", clip(which)))
	}
	return p, nil
}

func parseCount(s string) (int, error) {
	n, err := strconv.Atoi(s)
	if err != nil || n < 1 || n > 99999 || s[0] == '+' || s[0] == '0' {
		return 0, fmt.Errorf("%q is no number from 1", clip(s))
	}
	return n, nil
}

// parseBeat reads "2" or "2+1/2".
func parseBeat(s string) (*big.Rat, bool) {
	whole, frac, more := strings.Cut(s, "+")
	n, err := parseCount(whole)
	if err != nil {
		return nil, false
	}
	b := big.NewRat(int64(n), 1)
	if !more {
		return b, true
	}
	num, den, ok := strings.Cut(frac, "/")
	a, err1 := parseCount(num)
	c, err2 := parseCount(den)
	if !ok || err1 != nil || err2 != nil || a >= c {
		return nil, false
	}
	return b.Add(b, big.NewRat(int64(a), int64(c))), true
}

// value sets one key of a decision; the message says what is wanted.
func (d *Decision) value(key, v string) error {
	switch key {
	case "finger":
		f, ok := parseFinger(v)
		if !ok {
			return fmt.Errorf("finger %q: want 0 (open string), 1 to 4, or thumb", clip(v))
		}
		d.Finger = &f
	case "string":
		if d.String = parseString(v); d.String == 0 {
			return fmt.Errorf("string %q: want I, II, III, IV (or V), or 1 to 5; I is the highest", clip(v))
		}
	case "position":
		p, ok := parsePosition(v)
		if !ok {
			return fmt.Errorf("position %q: want half, or a number from 1 to 14", clip(v))
		}
		d.Position = &p
	case "bow":
		if d.Bow = Direction(v); d.Bow != Down && d.Bow != Up {
			d.Bow = ""
			return fmt.Errorf("bow %q: want down or up", clip(v))
		}
	case "reason":
		if !oneLineText(v, maxReason) {
			return fmt.Errorf("reason: want one line of plain text, at most %d bytes", maxReason)
		}
		d.Reason = v
	default:
		return fmt.Errorf("unknown key %q: want finger, string, position, bow or reason", clip(key))
	}
	return nil
}

func parseFinger(s string) (int8, bool) {
	if s == "thumb" {
		return instrument.Thumb, true
	}
	if len(s) == 1 && s[0] >= '0' && s[0] <= '4' {
		return int8(s[0] - '0'), true
	}
	return 0, false
}

func fingerText(f int8) string {
	if f == instrument.Thumb {
		return "thumb"
	}
	return strconv.Itoa(int(f))
}

// parseString gives 0 for what is no string.
func parseString(s string) int {
	for n := 1; n <= 5; n++ {
		if s == instrument.Numeral(n) || s == strconv.Itoa(n) {
			return n
		}
	}
	return 0
}

func parsePosition(s string) (int, bool) {
	if s == "half" {
		return 0, true
	}
	n, err := parseCount(s)
	return n, err == nil && n <= 14
}

func positionText(p int) string {
	if p == 0 {
		return "half"
	}
	return strconv.Itoa(p)
}

// pairs lists the keys that are set, in their order.
func (d *Decision) pairs() [][2]string {
	var out [][2]string
	if d.Finger != nil {
		out = append(out, [2]string{"finger", fingerText(*d.Finger)})
	}
	if d.String > 0 {
		out = append(out, [2]string{"string", instrument.Numeral(d.String)})
	}
	if d.Position != nil {
		out = append(out, [2]string{"position", positionText(*d.Position)})
	}
	if d.Bow != "" {
		out = append(out, [2]string{"bow", string(d.Bow)})
	}
	if d.Reason != "" {
		out = append(out, [2]string{"reason", d.Reason})
	}
	return out
}

// settled: something is decided, not only a reason given.
func (d *Decision) settled() bool {
	return d.Finger != nil || d.String > 0 || d.Position != nil || d.Bow != ""
}

// complete checks a decision by itself.
func (d *Decision) complete() error {
	if !d.settled() {
		return fmt.Errorf("%v decides nothing; want finger, string, position or bow", d.At)
	}
	if d.Finger != nil && *d.Finger == 0 && d.Position != nil {
		return fmt.Errorf("%v: an open string (finger 0) has no position", d.At)
	}
	return nil
}

// oneLineText: valid text without line breaks and control characters.
func oneLineText(s string, most int) bool {
	return len(s) <= most && utf8.ValidString(s) && !strings.ContainsFunc(s, func(r rune) bool { return !unicode.IsGraphic(r) })
}

// clip keeps a quoted text short in a message.
func clip(s string) string {
	const most = 40
	if r := []rune(s); len(r) > most {
		return string(r[:most]) + "…"
	}
	return s
}
