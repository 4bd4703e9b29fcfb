package svg

import (
	"fmt"
	"strconv"
	"strings"
)

// scanner reads the small grammars inside attributes: numbers, lists, flags.
type scanner struct {
	s string
	i int
}

func isSpace(c byte) bool  { return c == ' ' || c == '\t' || c == '\n' || c == '\r' || c == '\f' }
func isDigit(c byte) bool  { return '0' <= c && c <= '9' }
func isLetter(c byte) bool { return 'a' <= c|0x20 && c|0x20 <= 'z' }

func (r *scanner) skipSpace() {
	for r.i < len(r.s) && isSpace(r.s[r.i]) {
		r.i++
	}
}

// skipSpaceComma skips white space with at most one comma in it.
func (r *scanner) skipSpaceComma() {
	r.skipSpace()
	if r.i < len(r.s) && r.s[r.i] == ',' {
		r.i++
		r.skipSpace()
	}
}

// number reads one number and the separator after it.
func (r *scanner) number() (float64, error) {
	r.skipSpaceComma()
	n := numberLen(r.s[r.i:])
	if n == 0 {
		return 0, fmt.Errorf("byte %d: a number is missing", r.i)
	}
	v, err := parseNumber(r.s[r.i : r.i+n])
	if err != nil {
		return 0, fmt.Errorf("byte %d: %w", r.i, err)
	}
	r.i += n
	return v, nil
}

// flag reads the 0 or 1 of an arc, which may touch what follows it.
func (r *scanner) flag() (float64, error) {
	r.skipSpaceComma()
	if r.i < len(r.s) && (r.s[r.i] == '0' || r.s[r.i] == '1') {
		r.i++
		return float64(r.s[r.i-1] - '0'), nil
	}
	return 0, fmt.Errorf("byte %d: an arc flag must be 0 or 1", r.i)
}

// numberLen is the length of the number at the head of s, 0 if there is none.
func numberLen(s string) int {
	i := 0
	if i < len(s) && (s[i] == '+' || s[i] == '-') {
		i++
	}
	digits := 0
	for i < len(s) && isDigit(s[i]) {
		i++
		digits++
	}
	if i < len(s) && s[i] == '.' {
		i++
		for i < len(s) && isDigit(s[i]) {
			i++
			digits++
		}
	}
	if digits == 0 {
		return 0
	}
	if i < len(s) && s[i]|0x20 == 'e' {
		j := i + 1
		if j < len(s) && (s[j] == '+' || s[j] == '-') {
			j++
		}
		if j < len(s) && isDigit(s[j]) {
			for j < len(s) && isDigit(s[j]) {
				j++
			}
			i = j
		}
	}
	return i
}

// parseNumber converts a number that numberLen has measured. Short integers,
// nearly all that an engraver writes, take a fast way.
func parseNumber(s string) (float64, error) {
	if len(s) > 0 && len(s) <= 9 {
		neg := s[0] == '-'
		t := s
		if neg {
			t = s[1:]
		}
		v := 0
		for k := 0; k < len(t); k++ {
			if !isDigit(t[k]) {
				v = -1
				break
			}
			v = v*10 + int(t[k]-'0')
		}
		if v >= 0 && len(t) > 0 {
			if neg {
				v = -v
			}
			return float64(v), nil
		}
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || v > maxNumber || v < -maxNumber {
		return 0, fmt.Errorf("number %.20q is out of range", s)
	}
	return v, nil
}

// numbers reads a whole attribute as a list of numbers.
func numbers(s string) ([]float64, error) {
	r := scanner{s: s}
	var out []float64
	r.skipSpace()
	for r.i < len(s) {
		v, err := r.number()
		if err != nil {
			return nil, err
		}
		out = append(out, v)
		r.skipSpaceComma()
	}
	return out, nil
}

// pxPer is the size of each absolute unit in user units (CSS 2.1, 4.3.2: 1 in
// = 96 px).
var pxPer = map[string]float64{"": 1, "px": 1, "pt": 96.0 / 72, "pc": 16, "mm": 96 / 25.4, "cm": 96 / 2.54, "in": 96}

// length reads a length; ref is what 100% means, em the font size.
func length(s string, ref, em float64) (float64, error) {
	s = strings.TrimSpace(s)
	n := numberLen(s)
	if n == 0 {
		return 0, fmt.Errorf("length %.20q has no number", s)
	}
	v, err := parseNumber(s[:n])
	if err != nil {
		return 0, err
	}
	switch unit := s[n:]; unit {
	case "%":
		return v * ref / 100, nil
	case "em":
		return v * em, nil
	case "ex":
		return v * em / 2, nil
	default:
		k, ok := pxPer[unit]
		if !ok {
			return 0, fmt.Errorf("length %.20q has a unit that is not known", s)
		}
		return v * k, nil
	}
}

// parseTransform reads the attribute transform (SVG 1.1 section 7.6).
func parseTransform(s string) (Matrix, error) {
	m := Identity
	r := scanner{s: s}
	r.skipSpaceComma()
	for r.i < len(s) {
		open := strings.IndexByte(s[r.i:], '(')
		end := strings.IndexByte(s[r.i:], ')')
		if open < 0 || end < open {
			return m, fmt.Errorf("transform %.40q: brackets do not match", s)
		}
		name := strings.TrimSpace(s[r.i : r.i+open])
		a, err := numbers(s[r.i+open+1 : r.i+end])
		if err != nil {
			return m, fmt.Errorf("transform %q: %w", name, err)
		}
		t, err := oneTransform(name, a)
		if err != nil {
			return m, err
		}
		m = m.Mul(t)
		r.i += end + 1
		r.skipSpaceComma()
	}
	return m, nil
}

// oneTransform makes the matrix of one named transform with its arguments.
func oneTransform(name string, a []float64) (Matrix, error) {
	switch n := len(a); {
	case name == "matrix" && n == 6:
		return Matrix{a[0], a[1], a[2], a[3], a[4], a[5]}, nil
	case name == "translate" && n == 1:
		return Translate(a[0], 0), nil
	case name == "translate" && n == 2:
		return Translate(a[0], a[1]), nil
	case name == "scale" && n == 1:
		return Scale(a[0], a[0]), nil
	case name == "scale" && n == 2:
		return Scale(a[0], a[1]), nil
	case name == "rotate" && n == 1:
		return Rotate(a[0]), nil
	case name == "rotate" && n == 3:
		return Translate(a[1], a[2]).Mul(Rotate(a[0])).Mul(Translate(-a[1], -a[2])), nil
	case name == "skewX" && n == 1:
		return Matrix{1, 0, tan(a[0]), 1, 0, 0}, nil
	case name == "skewY" && n == 1:
		return Matrix{1, tan(a[0]), 0, 1, 0, 0}, nil
	}
	return Identity, fmt.Errorf("transform %.20q with %d numbers is not known", name, len(a))
}
