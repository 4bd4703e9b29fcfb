package musicxml

import (
	"bytes"
	"math/bits"

	"pochette/internal/score"
)

// MaxQuarter bounds Score.Quarter. A file that needs more is read in ticks of
// roundQuarter, rounded, with a finding.
const (
	MaxQuarter   = 1 << 28
	roundQuarter = 1441440 // 2^5·3^2·5·7·11·13: what tuplets of real music need
	maxDuration  = 1 << 20 // quarters in one note, rest, backup or forward
)

// ratio is an exact non-negative decimal of the file.
type ratio struct{ num, den int64 }

// parseDecimal reads what the schema calls divisions (xs:decimal). Places after
// the sixth are dropped, and numbers of more than 12 digits refused, so that the
// product of a numerator and a denominator keeps within an int64.
func parseDecimal(b []byte) (r ratio, negative, ok bool) {
	if len(b) > 0 && (b[0] == '-' || b[0] == '+') {
		negative = b[0] == '-'
		b = b[1:]
	}
	r.den = 1
	seen, point := 0, false
	for _, c := range b {
		switch {
		case c == '.' && !point:
			point = true
		case c >= '0' && c <= '9':
			if point && r.den == 1e6 {
				continue
			}
			if r.num >= 1e11 {
				return r, negative, false
			}
			r.num = 10*r.num + int64(c-'0')
			if point {
				r.den *= 10
			}
			seen++
		default:
			return r, negative, false
		}
	}
	g := gcd(r.num, r.den)
	r.num, r.den = r.num/g, r.den/g
	return r, negative && r.num != 0, seen > 0
}

func gcd(a, b int64) int64 {
	for b != 0 {
		a, b = b, a%b
	}
	if a == 0 {
		return 1
	}
	return max(a, -a)
}

// lcm is 0 once the result passes MaxQuarter.
func lcm(a, b int64) int64 {
	if a == 0 || b == 0 || b > MaxQuarter {
		return 0
	}
	if v := a / gcd(a, b) * b; v <= MaxQuarter {
		return v
	}
	return 0
}

// scale is n/d·q, rounded to the nearest, and whether that was exact. ok is
// false when it leaves the range of a tick.
func scale(n, d, q int64) (v score.Tick, exact, ok bool) {
	hi, lo := bits.Mul64(uint64(n), uint64(q))
	if d <= 0 || hi >= uint64(d) {
		return 0, false, false
	}
	quo, rem := bits.Div64(hi, lo, uint64(d))
	if quo > 1<<60 {
		return 0, false, false
	}
	if rem >= uint64(d)-rem {
		quo++
	}
	return score.Tick(quo), rem == 0, true
}

// typeLength is the length of a note type in quarters.
var typeLength = map[string]ratio{
	"maxima": {32, 1}, "long": {16, 1}, "breve": {8, 1}, "whole": {4, 1}, "half": {2, 1}, "quarter": {1, 1},
	"eighth": {1, 2}, "16th": {1, 4}, "32nd": {1, 8}, "64th": {1, 16}, "128th": {1, 32}, "256th": {1, 64}, "512th": {1, 128}, "1024th": {1, 256},
}

// typeNames from the longest.
var typeNames = []string{"maxima", "long", "breve", "whole", "half", "quarter", "eighth", "16th", "32nd", "64th", "128th", "256th", "512th", "1024th"}

// valueLength is the length in quarters of a written value; ok is false for an
// unknown type.
func valueLength(v score.Value) (ratio, bool) {
	r, ok := typeLength[v.Type]
	if !ok || v.Dots > 8 || v.Actual > 1<<12 || v.Normal > 1<<12 {
		return ratio{}, false
	}
	// with n dots a value is (2^(n+1)-1)/2^n of itself
	r.num, r.den = r.num*(1<<(v.Dots+1)-1), r.den<<v.Dots
	if v.Actual > 0 && v.Normal > 0 {
		r.num, r.den = r.num*int64(v.Normal), r.den*int64(v.Actual)
	}
	g := gcd(r.num, r.den)
	return ratio{r.num / g, r.den / g}, true
}

// findQuarter reads the document once for everything that divides a quarter:
// <divisions>, decimal durations, the unit of each meter, and the written value
// of notes without a duration. exact is false when the result had to be capped.
func findQuarter(src *Source) (q int64, exact bool, err error) {
	f := &quarterFinder{src: src, s: newScanner(src.Name, src.XML), q: 1, div: ratio{1, 1}, timed: true}
	for {
		if err := f.s.next(); err != nil {
			return 0, false, err
		}
		switch f.s.kind {
		case tokEOF:
			if f.capped {
				return roundQuarter, false, nil
			}
			return f.q, true, nil
		case tokStart:
			f.begin()
		case tokText:
			if f.waiting != "" {
				f.number = bytes.TrimSpace(f.s.b[f.s.start:f.s.end])
			}
		case tokEnd:
			f.end()
		}
	}
}

type quarterFinder struct {
	src     *Source
	s       *scanner
	q       int64
	capped  bool
	div     ratio
	note    int    // where the note that is being read starts
	timed   bool   // it has a duration or is a grace note
	waiting string // divisions, beat-type or duration, whose text is awaited
	number  []byte // that text
}

// need asks for a quarter that den divides.
func (f *quarterFinder) need(den int64) {
	if v := lcm(f.q, den); v > 0 {
		f.q = v
	} else {
		f.capped = true
	}
}

// needLength asks for a quarter in which a length of r divisions is whole.
func (f *quarterFinder) needLength(r ratio) {
	// r.num/r.den divisions are r.num·div.den / (r.den·div.num) quarters
	g1, g2 := gcd(r.num, f.div.num), gcd(r.den, f.div.den)
	if r.den/g2 > MaxQuarter || f.div.num/g1 > MaxQuarter {
		f.capped = true
		return
	}
	f.need(r.den / g2 * (f.div.num / g1))
}

func (f *quarterFinder) begin() {
	switch string(f.s.tag) {
	case "note":
		f.note, f.timed = f.s.start, f.s.selfClosed
	case "grace":
		f.timed = true
	case "duration":
		f.timed, f.waiting = true, "duration"
	case "divisions":
		f.waiting = "divisions"
	case "beat-type":
		f.waiting = "beat-type"
	}
}

func (f *quarterFinder) end() {
	if f.waiting != "" {
		r, negative, ok := parseDecimal(f.number)
		switch {
		case !ok || negative || r.num == 0:
		case f.waiting == "divisions":
			f.div = r
			f.needLength(ratio{1, 1})
		case f.waiting == "beat-type" && r.den == 1 && r.num <= 1<<16:
			f.need(r.num / gcd(4, r.num))
		case f.waiting == "duration" && r.den > 1:
			f.needLength(r)
		}
		f.waiting, f.number = "", nil
	}
	if !f.timed && string(f.s.tag) == "note" {
		f.timed = true
		if r, ok := valueLength(writtenValue(f.src, f.note, f.s.end)); ok {
			f.need(r.den)
		}
	}
}

// writtenValue reads the value of the note between two offsets.
func writtenValue(src *Source, start, end int) score.Value {
	s := newScanner(src.Name, src.XML[:end])
	s.pos = start
	if err := s.next(); err != nil {
		return score.Value{}
	}
	e, err := newForest().read(s)
	if err != nil {
		return score.Value{}
	}
	return readValue(e)
}
