package study

import (
	"fmt"
	"math/big"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"pochette/internal/decide"
	"pochette/internal/pace"
	"pochette/internal/score"
	"pochette/internal/timeline"
)

// paceRule is what a kind of decision takes.
type paceRule struct {
	low, high           float64
	whole, bars, places bool // where it may be said: for the whole, for bars, for a place
	what, unit          string
	ratio, figure       bool // may be said as a ratio 2:1, for one figure
}

// paceRules are the kinds of decisions with what they take. Bounds are those within
// which the curves stay what they are called.
var paceRules = map[pace.Key]paceRule{
	pace.Tempo:        {low: 10, high: 400, whole: true, bars: true, what: "felt beats a minute"},
	pace.Dotting:      {low: 0.5, high: 0.95, whole: true, bars: true, places: true, what: "the share of the long note, or a ratio", ratio: true, figure: true},
	pace.Inequality:   {low: 1, high: 3, whole: true, bars: true, what: "the ratio of long to short, auto (by the tempo), or none", ratio: true},
	pace.Power:        {low: 0.5, high: 2, bars: true, what: "an exponent, over 1 to take time late in the bar"},
	pace.GiveTake:     {high: 3, whole: true, bars: true, what: "an amount"},
	pace.Arch:         {high: 5, whole: true, bars: true, what: "an amount"},
	pace.Breath:       {high: 5, whole: true, places: true, what: "seconds at a place, or an amount", unit: "s"},
	pace.Hold:         {high: 20, whole: true, places: true, what: "seconds at a place, or an amount", unit: "s"},
	pace.Broadening:   {low: 0.3, high: 1, whole: true, bars: true, places: true, what: "the last tempo over the first"},
	pace.Level:        {low: -20, high: 12, bars: true, places: true, what: "dB to add", unit: "dB"},
	pace.Pairs:        {high: 5, whole: true, bars: true, what: "an amount"},
	pace.Accent:       {high: 3, whole: true, bars: true, what: "an amount"},
	pace.Tension:      {high: 3, whole: true, bars: true, what: "an amount"},
	pace.Dynamics:     {high: 2, whole: true, bars: true, what: "an amount"},
	pace.Articulation: {high: 2, whole: true, bars: true, what: "an amount"},
}

// PaceKeys lists the kinds of decisions about time, in order.
func PaceKeys() []string {
	var out []string
	for k := range paceRules {
		out = append(out, string(k))
	}
	slices.Sort(out)
	return out
}

// IsPace says that a decision is one about time: the word before its = says so.
func IsPace(text string) bool {
	for _, w := range strings.Fields(text) {
		key, _, _ := strings.Cut(w, "=")
		if _, ok := paceRules[pace.Key(key)]; ok {
			return true
		}
	}
	return false
}

// ParsePace reads a decision about time: a key, where it holds, and its value.
//
//	dotting=0.72                 all dotted figures: the share of the long note
//	dotting eighth=2:1           those with a dotted eighth, as a ratio
//	bars 5-8 tempo=66            felt beats a minute in some bars
//	breath m12.3=0.15s           before the note on beat 3 of bar 12
//	breath m12.3=0.15s taken     the same, off the note before
//	arch=0                       an amount: 0 none, 1 as proposed
//
// The order of the words does not matter.
func ParsePace(p *score.Part, quarter score.Tick, text string) (pace.Decision, error) {
	d := pace.Decision{Last: -1, Text: strings.Join(strings.Fields(text), " ")}
	fail := func(format string, args ...any) (pace.Decision, error) {
		return d, fmt.Errorf("decision %q: %s", d.Text, fmt.Sprintf(format, args...))
	}
	if len(text) > 200 {
		d.Text = text[:40] + "…"
		return fail("longer than 200 signs")
	}
	left, value, ok := strings.Cut(d.Text, "=")
	if !ok || strings.Contains(value, "=") {
		return fail("want one word=value, as in dotting=0.72")
	}
	words := strings.Fields(left)
	if after := strings.Fields(value); len(after) > 0 {
		value = after[0]
		words = append(words, after[1:]...)
	}
	words, rule, err := paceKey(&d, words)
	if err != nil {
		return fail("%v", err)
	}
	if err := placePace(&d, rule, p, quarter, words); err != nil {
		return fail("%v", err)
	}
	if d.Value, err = paceValue(&d, rule, value); err != nil {
		return fail("%v", err)
	}
	return d, nil
}

// Limits of a file of decisions about time.
const (
	maxPaceBytes = 1 << 18
	maxPaceLines = 2000
)

// PaceLines reads a file of decisions about time, one a line as ParsePace reads them;
// empty lines and what follows a # are passed over. The error names file and line.
func PaceLines(name string, data []byte) ([]string, error) {
	if len(data) > maxPaceBytes {
		return nil, fmt.Errorf("%s: larger than %d kB, the most that decisions about time may take", name, maxPaceBytes>>10)
	}
	var out []string
	for i, line := range strings.Split(string(data), "\n") {
		line, _, _ = strings.Cut(line, "#")
		if line = strings.TrimSpace(line); line == "" {
			continue
		}
		if !utf8.ValidString(line) || !IsPace(line) {
			return nil, fmt.Errorf("%s line %d: no decision about time: want one word=value, the word one of %s", name, i+1, strings.Join(PaceKeys(), ", "))
		}
		if out = append(out, line); len(out) > maxPaceLines {
			return nil, fmt.Errorf("%s: more than %d decisions", name, maxPaceLines)
		}
	}
	return out, nil
}

// paceKey finds the key among the words and takes it out.
func paceKey(d *pace.Decision, words []string) ([]string, paceRule, error) {
	for i, w := range words {
		if r, ok := paceRules[pace.Key(w)]; ok {
			d.Key = pace.Key(w)
			return slices.Delete(slices.Clone(words), i, i+1), r, nil
		}
	}
	return nil, paceRule{}, fmt.Errorf("no such thing to decide; there is %s", strings.Join(PaceKeys(), ", "))
}

// placePace reads where a decision holds.
func placePace(d *pace.Decision, r paceRule, p *score.Part, quarter score.Tick, words []string) error {
	where := 0
	for i := 0; i < len(words); i++ {
		w := words[i]
		switch {
		case (w == "bars" || w == "bar") && i+1 < len(words):
			i++
			b, err := barsOf(p, words[i])
			if err != nil {
				return fmt.Errorf("%s", strings.TrimPrefix(err.Error(), fmt.Sprintf("--bars %q: ", words[i])))
			}
			d.First, d.Last = b.First, b.Last
			where++
		case w == "taken" && d.Key == pace.Breath:
			d.Taken = true
		case w == "dotted" && r.figure && i+1 < len(words):
		case r.figure && figureWord(d, w, quarter):
		case strings.HasPrefix(w, "m") && strings.Contains(w, "."):
			if err := placeAt(d, p, w); err != nil {
				return err
			}
			where++
		default:
			return fmt.Errorf("%q is no place; want bars 5-8, or a place as m12.3", w)
		}
	}
	switch {
	case where > 1:
		return fmt.Errorf("two places; a decision is for one")
	case d.Placed && d.Long > 0:
		return fmt.Errorf("a figure or a place, not both")
	case d.Placed && !r.places || d.Last >= 0 && !d.Placed && !r.bars || where == 0 && !r.whole:
		return fmt.Errorf("%s is said %s", d.Key, r.says())
	}
	return nil
}

// says where a decision may be said.
func (r *paceRule) says() string {
	var out []string
	if r.whole {
		out = append(out, "for the whole")
	}
	if r.bars {
		out = append(out, "for bars, as in bars 5-8")
	}
	if r.places {
		out = append(out, "for a place, as in m12.3")
	}
	return strings.Join(out, ", or ")
}

func figureWord(d *pace.Decision, w string, quarter score.Tick) bool {
	long, ok := pace.FigureLong(w, quarter)
	if ok {
		d.Long = long
	}
	return ok
}

// placeAt reads m12.3: a beat of a bar, counted in the printed unit.
func placeAt(d *pace.Decision, p *score.Part, text string) error {
	at, err := decide.ParsePlace(text)
	if err != nil {
		return err
	}
	number := at.Measure
	if at.Index > 0 {
		number = fmt.Sprintf("@%d", at.Index)
	}
	found := measuresNumbered(p, number)
	if len(found) == 0 {
		return fmt.Errorf("no measure %q; the part goes from %s to %s", number, timeline.Name(p, 0), timeline.Name(p, len(p.Measures)-1))
	}
	var hits []int
	for _, m := range found {
		x := &p.Measures[m]
		unit := timeline.Unit(x.Meter)
		if unit <= 0 {
			return fmt.Errorf("measure %s has no meter to count beats in; say it for bars", number)
		}
		t := new(big.Rat).Mul(new(big.Rat).Sub(at.Beat, big.NewRat(1, 1)), big.NewRat(int64(unit), 1))
		if !t.IsInt() || !t.Num().IsInt64() {
			continue
		}
		tick := score.Tick(t.Num().Int64()) - timeline.Offset(p, m)
		if tick >= 0 && tick < x.Len {
			d.Placed, d.At, d.First, d.Last = true, x.Start+tick, m, m
			hits = append(hits, m)
		}
	}
	switch len(hits) {
	case 0:
		return fmt.Errorf("measure %s has no moment at beat %s", number, at.Beat.RatString())
	case 1:
		return nil
	}
	return fmt.Errorf("measure %s stands more than once in the part; say which by its place in the file, m@%d or m@%d", number, hits[0]+1, hits[1]+1)
}

// paceValue reads the value.
func paceValue(d *pace.Decision, r paceRule, text string) (float64, error) {
	if d.Key == pace.Inequality {
		switch text {
		case "auto":
			return 0, nil
		case "none", "even":
			return 1, nil
		}
	}
	low, high := r.low, r.high
	if !d.Placed && r.unit == "s" {
		high = 3 // an amount
	}
	v, err := number(text, r)
	if strings.Contains(text, ":") && d.Key == pace.Inequality {
		v /= 1 - v // a share of the pair, 3:2 is 1.5
	}
	if err != nil || !(v >= low && v <= high) { // so that NaN fails
		return 0, fmt.Errorf("%q: want %s, %g to %g", text, r.what, low, high)
	}
	return v, nil
}

// number reads a number with its unit; a ratio a:b is the share a/(a+b).
func number(text string, r paceRule) (float64, error) {
	if a, b, ok := strings.Cut(text, ":"); ok && r.ratio {
		x, err1 := strconv.ParseFloat(a, 64)
		y, err2 := strconv.ParseFloat(b, 64)
		if err1 != nil || err2 != nil || !(x > 0) || !(y > 0) {
			return 0, fmt.Errorf("no ratio")
		}
		return x / (x + y), nil
	}
	scale := 1.0
	switch {
	case r.unit == "s" && strings.HasSuffix(text, "ms"):
		text, scale = strings.TrimSuffix(text, "ms"), 0.001
	case r.unit != "":
		text = strings.TrimSuffix(text, r.unit)
	}
	v, err := strconv.ParseFloat(text, 64)
	return v * scale, err
}
