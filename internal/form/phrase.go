package form

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"

	"pochette/internal/score"
)

// Phrase is a stretch that goes to an arrival. From one arrival to the next is
// its length; what stands between the arrival and the next phrase belongs to it.
type Phrase struct {
	From, To    score.Tick // To: where the next begins
	Arrival     score.Tick // onset of what it arrives at
	First, Last int        // measures
	Section     int
	Bars        int // whose downbeat lies in it: a pickup belongs to what follows, and the phrases of a section add up to it
	Pickup      score.Tick
	Cadence     string       // kind, where harmony told one at the arrival
	Strength    float64      // of that cadence
	Sure        float64      // 0 to 1: the share of this arrival among all readings, by their weight
	Overlaps    bool         // the next begins with the arrival
	Rests       []score.Tick // inner places that come next as arrivals, in order of time
	Parts       []Span       // sub-phrases; one or none where it does not divide
	Words       Words
}

// Span is a stretch of a phrase.
type Span struct {
	From, To score.Tick
	Bars     float64
}

// tailBars is how far before the end of a section its last arrival may lie:
// what is longer is a phrase of its own.
const tailBars = 2.01

// longestPhrase bounds the search, in bars.
const longestPhrase = 64

// phrases reads the phrases of all sections.
func (g *grid) phrases(ss []Section) []Phrase {
	w := &withoutHarmony
	if len(g.in.Cadences) > 0 {
		w = &withHarmony
	}
	return g.phrasesBy(ss, w)
}

func (g *grid) phrasesBy(ss []Section, w *Weights) []Phrase {
	var out []Phrase
	for i := range ss {
		l := g.layout(&ss[i])
		if len(l.cands) == 0 {
			continue
		}
		share := l.shares(w)
		out = append(out, g.build(&ss[i], &l, l.likely(share), share)...)
	}
	return out
}

// layout is the search for the phrases of one section: candidates, and the class
// of each length between two of them.
type layout struct {
	cands []candidate
	start float64 // of the section, in bars: one before its first full bar ends
	last  int     // first candidate that may be the last arrival
	unit  float64 // written bars to a felt one
}

func (g *grid) layout(s *Section) layout {
	l := layout{cands: g.candidates(s), start: float64(g.firstBar(s.From) - 1), unit: float64(g.barsTogether(s))}
	if len(l.cands) == 0 {
		return l
	}
	end := g.barPlace(s.To-1) + 1e-9
	l.last = len(l.cands) - 1
	for l.last > 0 && end-l.cands[l.last-1].bars <= tailBars {
		l.last--
	}
	return l
}

// length in felt bars of a phrase from candidate i (-1: the head) to j.
func (l *layout) length(i, j int) float64 {
	if i < 0 {
		return (l.cands[j].bars - l.start) / l.unit
	}
	return (l.cands[j].bars - l.cands[i].bars) / l.unit
}

// Weights of a layout: one for each feature of an arrival and of a length.
type Weights struct {
	Bias    float64
	Arrival [arrivalFeatures]float64
	Length  [lengthFeatures]float64
}

func (w *Weights) arrival(c *candidate) float64 {
	sum := w.Bias
	for k, f := range c.features {
		sum += w.Arrival[k] * f
	}
	return sum
}

// arriveFrom is the least share of all layouts at which a bar counts as an
// arrival. The F measure is greatest where what is told has at least half the
// reachable F as its chance (Lipton, Elkan and Naryanaswamy 2014): about 0.6 here.
const arriveFrom = 0.3

// nearArrivals: of two arrivals so few bars apart only the likelier stays, since
// a phrase is longer than that.
const nearArrivals = 1

// likely lists the arrivals: in each bar whose share among all layouts is large
// enough the likeliest beat, and always one within tailBars of the end.
func (l *layout) likely(share []float64) []int {
	var out []int
	last, top := -1, 0.0
	for j := 0; j < len(l.cands); {
		best, sum, k := j, 0.0, j
		for ; k < len(l.cands) && int(l.cands[k].bars) == int(l.cands[j].bars); k++ {
			sum += share[k]
			if share[k] > share[best] {
				best = k
			}
		}
		n := len(out)
		switch near := n > 0 && l.length(out[n-1], best) <= nearArrivals; {
		case sum < arriveFrom, near && share[best] <= share[out[max(0, n-1)]]:
		case near:
			out[n-1] = best
		default:
			out = append(out, best)
		}
		if k > l.last && share[best] > top {
			last, top = best, share[best]
		}
		j = k
	}
	if n := len(out); last >= 0 && (n == 0 || out[n-1] < last && out[n-1] < l.last) {
		out = append(out, last)
	}
	return out
}

// build makes the phrases of a section from its arrivals.
func (g *grid) build(s *Section, l *layout, arrivals []int, sure []float64) []Phrase {
	out := make([]Phrase, 0, len(arrivals))
	from := s.From
	head := Phrase{From: s.From, Pickup: g.pickup(s.From, s.To)}
	for k, j := range arrivals {
		at := l.cands[j].at
		p := Phrase{From: from, Arrival: at, Sure: sure[j], To: s.To}
		if k+1 < len(arrivals) {
			p.To = g.begins(at, l.cands[arrivals[k+1]].at, head)
			if p.To == at {
				p.Overlaps = true
			}
		}
		p.First, p.Last = g.measureAt(p.From), g.measureAt(max(p.From, p.To-1))
		p.Pickup = g.pickup(p.From, p.Arrival)
		p.Bars = g.countedBars(p.From, p.To)
		if c, ok := g.cadence(at); ok {
			p.Cadence, p.Strength = c.Kind, c.Strength
		}
		p.Parts = g.halves(&p)
		before := -1
		if k > 0 {
			before = arrivals[k-1]
		}
		p.Rests = l.rests(sure, before, j)
		out = append(out, p)
		from = p.To
	}
	return out
}

// restFrom is the least share of a place that is told as an inner point of rest of
// a phrase, and restsTold how many are told of one phrase.
const (
	restFrom  = 0.1
	restsTold = 3
)

// rests lists the likeliest places between two arrivals, a bar or more from both.
func (l *layout) rests(share []float64, before, arrival int) []score.Tick {
	var in []int
	for j := before + 1; j < arrival; j++ {
		if share[j] >= restFrom && l.length(before, j) > nearArrivals && l.length(j, arrival) > nearArrivals {
			in = append(in, j)
		}
	}
	slices.SortStableFunc(in, func(a, b int) int { return cmp.Compare(share[b], share[a]) })
	in = in[:min(restsTold, len(in))]
	slices.Sort(in)
	var out []score.Tick
	for _, j := range in {
		out = append(out, l.cands[j].at)
	}
	return out
}

// pickup is how long a stretch runs before its first downbeat, 0 where it is
// half a bar or more: then the bar counts as its first.
func (g *grid) pickup(from, to score.Tick) score.Tick {
	place := g.place(from)
	full := g.p.Measures[g.measureAt(from)].Meter.Len
	if place == 0 || 2*place < full {
		return 0
	}
	return min(to, g.nextDownbeat(from)) - from
}

// Weights of the rule that finds where the next phrase begins: like the last
// one in the bar (Temperley's metrical parallelism) against the local boundary.
const (
	beginLike = 0.5
	beginDown = 0.25
)

// begins finds the first onset of the phrase after an arrival: up to and with
// the bar line after it, the place where boundary and likeness to the section's
// beginning speak most. Inside the bar that is after a rest or a longer note, or with
// the pickup of the section's head: out of notes that run on no phrase begins.
func (g *grid) begins(arrival, next score.Tick, head Phrase) score.Tick {
	down := g.nextDownbeat(arrival)
	if down >= next {
		down = next
	}
	i := g.from(arrival) + 1
	best, at := math.Inf(-1), down
	for ; i < len(g.onsets) && g.onsets[i].at <= down && g.onsets[i].at < next; i++ {
		like := down-g.onsets[i].at == head.Pickup
		if g.onsets[i].at != down && !g.breaks(i) && !(like && slices.Equal(g.rhythm(&Phrase{From: g.onsets[i].at, Pickup: head.Pickup}), g.rhythm(&head))) {
			continue
		}
		v := g.strong[i]
		if like {
			v += beginLike
		}
		if g.onsets[i].at == down {
			v += beginDown
		}
		if v > best {
			best, at = v, g.onsets[i].at
		}
	}
	return at
}

// breaks says that before an onset something stops: a rest, or a note longer than the
// one that follows.
func (g *grid) breaks(i int) bool {
	if i == 0 {
		return true
	}
	o := &g.onsets[i-1]
	return o.gap > g.onsets[i].gap || o.end < g.onsets[i].at
}

// cadence is the strongest one told at a tick.
func (g *grid) cadence(at score.Tick) (Cadence, bool) {
	cs := g.in.Cadences
	i := sort.Search(len(cs), func(i int) bool { return cs[i].At >= at })
	var out Cadence
	found := false
	for ; i < len(cs) && cs[i].At == at; i++ {
		if !found || cs[i].Strength > out.Strength {
			out, found = cs[i], true
		}
	}
	return out, found
}

// authentic says that a cadence closes on the tonic by its dominant.
func authentic(kind string) bool { return strings.Contains(strings.ToLower(kind), "authentic") }

// Costs of a sub-phrase, after the preference rules of Temperley (2001, ch. 3):
// a boundary earns its local strength, a length off two bars costs by octaves of
// length, and a beginning at another place in the bar than the phrase's costs.
const (
	halfLength = 0.5
	halfLike   = 0.3
	halfBars   = 2.0
)

// halves divides a phrase of at least three bars into sub-phrases: exact, by
// dynamic programming over the onsets that begin on a beat or at the phrase's own place
// in the bar.
func (g *grid) halves(p *Phrase) []Span {
	if p.Bars < 3 {
		return nil
	}
	at := []score.Tick{p.From}
	gain := []float64{0}
	place := g.place(p.From)
	for i := g.from(p.From) + 1; i < len(g.onsets) && g.onsets[i].at < p.Arrival; i++ {
		o := &g.onsets[i]
		if o.place != place && !g.onBeat(o.at) {
			continue
		}
		v := g.strong[i]
		if o.place != place {
			v -= halfLike
		}
		at, gain = append(at, o.at), append(gain, v)
	}
	at, gain = append(at, p.To), append(gain, 0)
	cuts := split(len(at), func(i, j int) float64 {
		bars := g.barPlace(at[j]-1) - g.barPlace(at[i])
		if bars > 4*halfBars && i < j-1 {
			return nothing
		}
		return gain[j] - halfLength*math.Abs(math.Log2(max(0.125, bars)/halfBars))
	})
	if len(cuts) < 3 {
		return nil
	}
	var out []Span
	for k := range cuts[1:] {
		i, j := cuts[k], cuts[k+1]
		out = append(out, Span{at[i], at[j], g.spanBars(at[i], at[j])})
	}
	return out
}

// split finds the path from 0 to n-1 along which the values of the steps add up
// to most: exact, in n² steps.
func split(n int, value func(i, j int) float64) []int {
	best, from := make([]float64, n), make([]int, n)
	for j := 1; j < n; j++ {
		best[j] = nothing
		for i := j - 1; i >= 0; i-- {
			v := value(i, j)
			if v == nothing {
				break // farther steps are forbidden too
			}
			if v += best[i]; v > best[j] {
				best[j], from[j] = v, i
			}
		}
	}
	path := []int{}
	for j := n - 1; j > 0; j = from[j] {
		path = append(path, j)
	}
	path = append(path, 0)
	slices.Reverse(path)
	return path
}

// spanBars is a length in bars of the meter at its start, later endings left out.
func (g *grid) spanBars(from, to score.Tick) float64 {
	full := g.p.Measures[g.measureAt(from)].Meter.Len
	if full <= 0 {
		return 0
	}
	long := to - from
	for m := g.measureAt(from); m < len(g.p.Measures) && g.p.Measures[m].Start < to; m++ {
		if g.later(m) && g.p.Measures[m].Start >= from {
			long -= g.p.Measures[m].Len
		}
	}
	return math.Round(float64(long)/float64(full)*100) / 100
}

func (g *grid) phraseWords(p *Phrase) Words {
	from, to := g.loc(p.From), g.loc(p.Arrival)
	long := plural(p.Bars, "bar")
	if p.Bars == 0 {
		long = "less than a bar"
	}
	head := fmt.Sprintf("Phrase of %s, from %v to its arrival at %v", long, from, to)
	w := Words{Student: fmt.Sprintf("Phrase of %s, to %v.", long, to)}
	cad := ""
	if p.Cadence != "" {
		cad = ", " + article(p.Cadence) + " " + p.Cadence + " cadence"
	}
	w.Player = head + cad + "." + partsText(p) + pickupText(p, g) + restsText(p, g)
	w.Scholar = w.Player
	if p.Overlaps {
		w.Player += " The next phrase begins with that arrival."
		w.Scholar += " The arrival is also the beginning of the next phrase (elision)."
	}
	w.Scholar += fmt.Sprintf(" Of all layouts, weighed by how well they fit, %.0f%% have an arrival there.", 100*p.Sure)
	return w
}

func article(word string) string {
	if strings.ContainsAny(strings.ToLower(word[:1]), "aeiou") {
		return "an"
	}
	return "a"
}

// partsText tells sub-phrases where they come out in whole bars.
func partsText(p *Phrase) string {
	if len(p.Parts) < 2 || len(p.Parts) > 8 {
		return ""
	}
	var lens []string
	for _, s := range p.Parts {
		n := math.Round(s.Bars)
		if n < 1 || math.Abs(s.Bars-n) > 0.01 {
			return ""
		}
		lens = append(lens, fmt.Sprintf("%.0f", n))
	}
	if len(lens) > 2 && len(slices.Compact(slices.Clone(lens))) == 1 {
		return fmt.Sprintf(" It divides into groups of %s.", plural(int(math.Round(p.Parts[0].Bars)), "bar"))
	}
	return fmt.Sprintf(" It divides into %s bars.", strings.Join(lens, " + "))
}

// restsText names the inner points of rest of a phrase.
func restsText(p *Phrase, g *grid) string {
	var places []string
	for _, at := range p.Rests {
		places = append(places, g.loc(at).String())
	}
	switch len(places) {
	case 0:
		return ""
	case 1:
		return " The likeliest point of rest within it is " + places[0] + "."
	}
	return " The likeliest points of rest within it are " + strings.Join(places[:len(places)-1], "; ") + " and " + places[len(places)-1] + "."
}

func pickupText(p *Phrase, g *grid) string {
	if p.Pickup == 0 {
		return ""
	}
	return fmt.Sprintf(" It begins with a pickup of %s.", g.pickupName(p.From, p.Pickup))
}

// pickupName says of how many notes of one length a pickup is, or else how long it is.
func (g *grid) pickupName(from, length score.Tick) string {
	n := 0
	var gap score.Tick
	for i := range g.onsets {
		o := &g.onsets[i]
		if o.at < from || o.at >= from+length {
			continue
		}
		if n > 0 && o.gap != gap || o.end < o.at+o.gap {
			return g.lengthName(length)
		}
		n, gap = n+1, o.gap
	}
	name, plain := map[score.Tick]string{1: "32nds", 2: "sixteenths", 4: "eighths", 8: "quarters", 16: "halves"}[gap*8/max(1, g.in.Score.Quarter)]
	if n < 2 || n >= len(numbers) || !plain || gap*8%max(1, g.in.Score.Quarter) != 0 || gap*score.Tick(n) != length {
		return g.lengthName(length)
	}
	return numbers[n] + " " + name
}

var numbers = [...]string{"", "", "two", "three", "four", "five", "six", "seven", "eight"}

// lengthName says a length in felt beats or as a note value.
func (g *grid) lengthName(t score.Tick) string {
	q := float64(t) / float64(max(1, g.in.Score.Quarter))
	for _, v := range []struct {
		q    float64
		name string
	}{{0.125, "a 32nd note"}, {0.25, "a sixteenth"}, {0.5, "an eighth"}, {0.75, "a dotted eighth"}, {1, "a quarter"}, {1.5, "a dotted quarter"}, {2, "a half note"}, {3, "a dotted half"}} {
		if math.Abs(q-v.q) < 1e-9 {
			return v.name
		}
	}
	whole := g.in.Score.Whole(t)
	return whole.RatString() + " of a whole note"
}
