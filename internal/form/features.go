package form

import (
	"cmp"
	"math"

	"pochette/internal/score"
	"pochette/internal/timeline"
)

// candidate is a beat on which a phrase may arrive at its end.
type candidate struct {
	at       score.Tick
	bars     float64 // barPlace
	features [arrivalFeatures]float64
}

// What speaks for an arrival. Each is between about 0 and 4.
const (
	fOffBeat   = iota // not a downbeat
	fWeakBeat         // weaker than the half bar too
	fHeld             // how much longer the moment is than the usual one, in octaves of length
	fSpan             // the same for the longest moment up to the next bar line
	fCalm             // how many fewer notes the bar has than the mean, in octaves
	fGap              // strongest local boundary up to the next bar line and one beat beyond
	fRest             // a rest there
	fFifth            // the lowest note is reached by a falling fifth or rising fourth in the beat before
	fLeading          // the leading note sounds in the bar before
	fChord            // a chord is struck
	fHome             // the lowest note is the one that the movement ends with
	fDominant         // the fifth above it
	fFour             // the fourth, eighth … bar of the section
	fEight            // the eighth, sixteenth … bar
	fTwo              // an even bar of the section
	fAgain            // the next bar has the rhythm of the section's first, beside the mean of its bars
	fBreak            // the bar has another rhythm than the one before
	fGoesOn           // the next bar goes like the one before: same rhythm and same turns up and down
	fTriad            // how much of what sounds up to the next bar line lies in the triad on the lowest note
	fSeventh          // how much of the beat before lies in the dominant seventh of that note
	fAuthentic        // strength of an authentic cadence told by harmony
	fHalf             // strength of another cadence
	fSilent           // harmony has told cadences, and none is here
	arrivalFeatures
)

var arrivalNames = [arrivalFeatures]string{"off-beat", "weak-beat", "held", "span", "calm", "gap", "rest", "fifth", "leading", "chord",
	"home", "dominant", "four", "eight", "two", "again", "break", "goes-on", "triad", "seventh", "authentic", "half", "silent"}

// Lengths of phrases in bars, from arrival to arrival, fall into these classes.
const (
	lOne = iota
	lTwo
	lThree
	lFour
	lFive // to seven
	lEight
	lNine // to eleven
	lTwelve
	lThirteen // to fifteen
	lSixteen
	lLong     // up to 24
	lVeryLong // beyond
	lUneven   // not a whole number of bars; beside the class
	lengthFeatures
)

var lengthNames = [lengthFeatures]string{"bars-1", "bars-2", "bars-3", "bars-4", "bars-5-7", "bars-8", "bars-9-11", "bars-12", "bars-13-15", "bars-16",
	"bars-17-24", "bars-25-up", "bars-uneven"}

// lengthClass of a phrase of some bars.
func lengthClass(bars float64) (class int, uneven bool) {
	n := math.Round(bars)
	uneven = math.Abs(bars-n) > 0.01
	switch {
	case n <= 4:
		class = max(lOne, int(n)-1)
	case n < 8:
		class = lFive
	case n == 8:
		class = lEight
	case n < 12:
		class = lNine
	case n == 12:
		class = lTwelve
	case n < 16:
		class = lThirteen
	case n == 16:
		class = lSixteen
	case n <= 24:
		class = lLong
	default:
		class = lVeryLong
	}
	return class, uneven
}

// candidates lists the beats of a section at which something is struck.
func (g *grid) candidates(s *Section) []candidate {
	var out []candidate
	final := g.onsets[len(g.onsets)-1]
	first := g.firstBar(s.From)
	for i := g.from(s.From); i < len(g.onsets) && g.onsets[i].at < s.To; i++ {
		o := &g.onsets[i]
		if !g.onBeat(o.at) || g.later(o.measure) {
			continue
		}
		c := candidate{at: o.at, bars: g.barPlace(o.at)}
		g.pulseFeatures(&c, o)
		g.motionFeatures(&c, i, s)
		g.toneFeatures(&c, i, final.low)
		number := int(c.bars) - first + 1
		unit := g.barsTogether(s)
		c.features[fFour] = is(number%(4*unit) == 0)
		c.features[fEight] = is(number%(8*unit) == 0)
		c.features[fTwo] = is(number%(2*unit) == 0)
		g.cadenceFeatures(&c)
		out = append(out, c)
	}
	return out
}

// barsTogether is how many written bars make one bar as it is felt: two in
// three-eight and shorter ones, where the bar is a single beat (common practice,
// no source).
func (g *grid) barsTogether(s *Section) int {
	full := g.p.Measures[g.measureAt(max(s.From, s.To-1))].Meter.Len
	if full > 0 && 8*full <= 12*g.in.Score.Quarter {
		return 2
	}
	return 1
}

func is(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// firstBar counts the first full bar of a stretch as barPlace counts.
func (g *grid) firstBar(from score.Tick) int {
	if g.place(from) > 0 {
		return int(g.barPlace(g.nextDownbeat(from)))
	}
	return int(g.barPlace(from))
}

func (g *grid) onBeat(at score.Tick) bool {
	m := &g.p.Measures[g.measureAt(at)]
	beat := timeline.Beat(m.Meter)
	return beat <= 0 || g.place(at)%beat == 0
}

func (g *grid) pulseFeatures(c *candidate, o *onset) {
	m := g.p.Measures[o.measure].Meter
	level := timeline.Level(m, o.place)
	c.features[fOffBeat] = is(level > 0)
	c.features[fWeakBeat] = is(level > 1 || level == 1 && m.Len > 0 && o.place*2 != m.Len)
	c.features[fHeld] = octaves(float64(o.gap)/g.median, 4)
	c.features[fChord] = is(o.notes > 1)
}

// octaves is the logarithm to base 2, cut to 0..top.
func octaves(x, top float64) float64 {
	if x <= 1 {
		return 0
	}
	return math.Min(top, math.Log2(x))
}

// motionFeatures look at what moves from the moment to a beat after the next
// bar line.
func (g *grid) motionFeatures(c *candidate, i int, s *Section) {
	o := &g.onsets[i]
	down := g.nextDownbeat(o.at)
	reach := min(down+timeline.Beat(g.p.Measures[o.measure].Meter), s.To)
	longest, count := score.Tick(0), 0
	for k := i; k < len(g.onsets) && g.onsets[k].at < s.To && g.onsets[k].at <= reach; k++ {
		if g.onsets[k].at < down {
			longest = max(longest, g.onsets[k].gap)
			count++
			c.features[fRest] = max(c.features[fRest], is(g.onsets[k].end < g.onsets[k].at+g.onsets[k].gap))
		}
		if k > i {
			c.features[fGap] = max(c.features[fGap], g.strong[k])
		}
	}
	if reach == s.To {
		c.features[fGap] = 1
	}
	c.features[fSpan] = octaves(float64(longest)/g.median, 4)
	if full := g.p.Measures[o.measure].Meter.Len; full > 0 && down > o.at {
		share := float64(down-o.at) / float64(full)
		c.features[fCalm] = octaves(g.per*share/float64(max(1, count)), 4)
	}
	c.features[fAgain] = g.again(s.From, down, s, false) - g.usual(s)
	bar := g.barStart(o.at)
	if before := g.barStart(bar - 1); before >= s.From && bar > before {
		c.features[fBreak] = 1 - g.again(before, bar, s, false)
		c.features[fGoesOn] = g.again(bar, down, s, true)
	}
}

// barStart is the downbeat at or before a tick.
func (g *grid) barStart(at score.Tick) score.Tick {
	m := g.measureAt(max(0, at))
	for m > 0 && timeline.Offset(g.p, m) > 0 {
		m--
	}
	return g.p.Measures[m].Start
}

// usual is the mean of again over the bars of a section.
func (g *grid) usual(s *Section) float64 {
	if s.usual == nil {
		sum, n := 0.0, 0
		for m := s.First + 1; m <= s.Last; m++ {
			if timeline.Offset(g.p, m) == 0 && g.p.Measures[m].Start > s.From {
				sum += g.again(s.From, g.p.Measures[m].Start, s, false)
				n++
			}
		}
		mean := sum / float64(max(1, n))
		s.usual = &mean
	}
	return *s.usual
}

// again is how much of the rhythm of one bar another has: shared onsets over all
// onsets of both (Jaccard's index). With turns, an onset is shared only where the
// line comes to it in the same direction.
func (g *grid) again(head, down score.Tick, s *Section, turns bool) float64 {
	if g.place(head) > 0 {
		head = g.nextDownbeat(head)
	}
	full := g.p.Measures[g.measureAt(head)].Meter.Len
	if full <= 0 || down+full > s.To || down == head {
		return 0
	}
	first, second := g.from(head), g.from(down)
	i, j, both, all := first, second, 0, 0
	for {
		a, b := full, full
		if i < len(g.onsets) {
			a = min(full, g.onsets[i].at-head)
		}
		if j < len(g.onsets) {
			b = min(full, g.onsets[j].at-down)
		}
		if a == full && b == full {
			break
		}
		all++
		switch {
		case a == b:
			if !turns || i == first || g.turn(i) == g.turn(j) {
				both++
			}
			i, j = i+1, j+1
		case a < b:
			i++
		default:
			j++
		}
	}
	return float64(both) / float64(max(1, all))
}

// turn is the direction in which the upper line comes to an onset.
func (g *grid) turn(i int) int {
	if i == 0 || i >= len(g.onsets) {
		return 0
	}
	return cmp.Compare(g.onsets[i].top, g.onsets[i-1].top)
}

// toneFeatures ask whether the moment sounds like an arrival.
func (g *grid) toneFeatures(c *candidate, i int, home int) {
	o := &g.onsets[i]
	m := g.p.Measures[o.measure].Meter
	for k := i - 1; k >= 0 && o.at-g.onsets[k].at <= max(timeline.Beat(m), g.onsets[i-1].gap); k-- {
		c.features[fFifth] = max(c.features[fFifth], is(class(g.onsets[k].low-o.low) == 7))
	}
	for k := i - 1; k >= 0 && o.at-g.onsets[k].at <= m.Len; k-- {
		lead := class(g.onsets[k].low-o.low) == 11 || class(g.onsets[k].top-o.low) == 11
		c.features[fLeading] = max(c.features[fLeading], is(lead))
	}
	c.features[fTriad] = g.triad(i)
	c.features[fSeventh] = g.seventh(i)
	c.features[fHome] = is(class(o.low-home) == 0)
	c.features[fDominant] = is(class(o.low-home) == 7)
}

// triad is the share of the time from onset i to the next bar line that lies in
// the major or the minor triad on its lowest note.
func (g *grid) triad(i int) float64 {
	low, stop := g.onsets[i].low, g.nextDownbeat(g.onsets[i].at)
	major, minor, all := 0.0, 0.0, 0.0
	for k := i; k < len(g.onsets) && g.onsets[k].at < stop; k++ {
		o := &g.onsets[k]
		long := float64(o.gap)
		for _, key := range []int{o.low, o.top} {
			all += long
			switch class(key - low) {
			case 0, 7:
				major, minor = major+long, minor+long
			case 4:
				major += long
			case 3:
				minor += long
			}
		}
	}
	return math.Max(major, minor) / math.Max(1, all)
}

// seventh is the share of the beat before onset i that lies in the dominant
// seventh chord of its lowest note; without the leading note it counts half.
func (g *grid) seventh(i int) float64 {
	o := &g.onsets[i]
	beat := timeline.Beat(g.p.Measures[o.measure].Meter)
	in, all, leading := 0.0, 0.0, 0.5
	for k := i - 1; k >= 0 && o.at-g.onsets[k].at <= max(beat, g.onsets[i-1].gap); k-- {
		for _, key := range []int{g.onsets[k].low, g.onsets[k].top} {
			all += float64(g.onsets[k].gap)
			switch class(key - o.low) {
			case 11:
				leading = 1
				in += float64(g.onsets[k].gap)
			case 7, 2, 5:
				in += float64(g.onsets[k].gap)
			}
		}
	}
	return leading * in / math.Max(1, all)
}

func class(semitones int) int { return (semitones%12 + 12) % 12 }

// cadenceFeatures take what harmony has told. A cadence counts for the beat on
// which its last chord begins.
func (g *grid) cadenceFeatures(c *candidate) {
	cad, ok := g.cadence(c.at)
	switch {
	case !ok:
		c.features[fSilent] = is(len(g.in.Cadences) > 0)
	case authentic(cad.Kind):
		c.features[fAuthentic] = cad.Strength
	default:
		c.features[fHalf] = cad.Strength
	}
}
