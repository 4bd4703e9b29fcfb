package technique

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"pochette/internal/fingering"
	"pochette/internal/instrument"
	"pochette/internal/score"
)

// Part is a named part of a difficulty.
type Part int

// The parts. Each is a load without a unit: 1 is what a trained player has to
// practise by itself. How each is reckoned stands beside the function that does.
const (
	Speed      Part = iota // notes a second
	Shifting               // the way of the hand over the time there is
	Crosses                // crossings of strings over the time there is
	Stretching             // fingers beyond the frame of the hand
	Chording               // fingers set together over the time there is
	Unprepared             // a high place taken with nothing to slide along
	numParts
)

var partNames = [numParts]string{"speed", "shift", "crossing", "stretch", "chord", "unprepared"}

// what each part is in a player's sentence.
var partWords = map[string]string{
	"speed": "quick notes", "shift": "shifts", "crossing": "string crossings", "stretch": "stretches",
	"chord": "chords to set", "unprepared": "a high place with no guide",
}

// PartWords says a part as a player does.
func PartWords(name string) string { return partWords[name] }

// Difficulty of one event, bar or passage. Score is 100·(1 - 2^(-Load)): load 1
// gives 50, 2 gives 75, 3 gives 88, so that there is always harder. Parts share
// out the score in proportion to their loads, largest first; they add up to it.
type Difficulty struct {
	Load, Score float64
	Parts       []score.Term
}

// BarDifficulty is that of a measure; Hardest is its hardest event, -1 in a bar of rests.
type BarDifficulty struct {
	Measure, Hardest int
	Difficulty
}

// Passage is a run of events that stands out.
type Passage struct {
	First, Last, Hardest int // events
	Difficulty
}

// Hardness is the difficulty of a movement, from the smallest piece to the largest.
type Hardness struct {
	Events   []Difficulty    // one for each event; zero for rests
	Bars     []BarDifficulty // one for each measure
	Passages []Passage       // hardest first
	Whole    Difficulty      // the mean of the bars that have notes
}

// Words for scores: below easyBelow easy, and so on up.
const (
	easyBelow     = 30
	moderateBelow = 55
	hardBelow     = 75
)

// Word says a score in a word.
func (d Difficulty) Word() string {
	switch {
	case d.Score < easyBelow:
		return "easy"
	case d.Score < moderateBelow:
		return "moderate"
	case d.Score < hardBelow:
		return "hard"
	}
	return "very hard"
}

// loads of one event by part.
type loads [numParts]float64

func (l loads) sum() float64 {
	s := 0.0
	for _, v := range l {
		s += v
	}
	return s
}

func (l loads) difficulty() Difficulty {
	d := Difficulty{Load: l.sum()}
	if d.Load <= 0 {
		return Difficulty{}
	}
	d.Score = 100 * (1 - math.Exp2(-d.Load))
	for k, v := range l {
		if v > 0 {
			d.Parts = append(d.Parts, score.Term{Name: partNames[k], Value: d.Score * v / d.Load})
		}
	}
	slices.SortStableFunc(d.Parts, func(a, b score.Term) int { return cmp.Compare(b.Value, a.Value) })
	return d
}

// Hard weighs every event, bar and passage. crossings are those of the input.
func Hard(in Input, crossings []Crossing) *Hardness {
	w := weigher{in: &in, loads: make([]loads, len(in.Events))}
	w.speeds()
	for i := range in.Shifts {
		w.shift(&in.Shifts[i])
	}
	for i := range crossings {
		// bits a second against what aimed movements of the arm give
		w.loads[crossings[i].To][Crosses] = crossings[i].Load / bitsASecond
	}
	w.grips()
	h := &Hardness{Events: make([]Difficulty, len(in.Events))}
	for i, l := range w.loads {
		h.Events[i] = l.difficulty()
	}
	w.bars(h)
	w.passages(h)
	return h
}

// bitsASecond: aimed movements give about ten bits a second (Fitts 1954, J. Exp.
// Psychol. 47).
const bitsASecond = 10

// Fewer than easyRate notes a second are no load of their own; fullRate more
// make 1. Two fingers in turn tap some ten times a second at most; from memory.
const (
	easyRate = 4.0
	fullRate = 6.0
)

// pitchWindow in cents is the width within which a shifted finger is in tune.
// Common practice, no source.
const pitchWindow = 30

// settingSeconds is the time each further finger of a chord asks for to be set
// together with the first. Common practice, no source.
const settingSeconds = 0.2

// highPlace is the first finger's semitone in third position; above it a place
// has no landmark of the body. Common practice, no source.
const highPlace = 5

type weigher struct {
	in    *Input
	loads []loads
}

// speeds: notes a second beyond those that are no load.
func (w *weigher) speeds() {
	last := -1
	for i := range w.in.Events {
		if len(w.in.Events[i].Struck) == 0 {
			last = -1 // a rest ends the run: its last note has all the time
			continue
		}
		if last >= 0 {
			w.loads[i][Speed] = max(0, 1/w.between(last, i)-easyRate) / fullRate
		}
		last = i
	}
}

// between is the time from one onset to another in seconds, never too small to
// divide by.
func (w *weigher) between(a, b int) float64 {
	return max(minSeconds, w.in.Pace.Seconds(w.in.Events[a].Onset, w.in.Events[b].Onset))
}

// shift: the index of difficulty of an aimed movement, log2(2A/W) bits, A the way
// and W the width in which the note is in tune, over the time there is, as
// crossings are weighed. Under a slur only a share of the note's time is free.
func (w *weigher) shift(sh *fingering.Shift) {
	in := &w.in.Instrument
	l := &w.loads[sh.Event]
	width := (in.Length - in.Distance(float64(sh.ToPlace))) * math.Ln2 / 1200 * pitchWindow
	seconds := max(minSeconds, sh.Seconds)
	if sh.Cover == fingering.UnderSlur {
		seconds *= holdShare
	}
	l[Shifting] = max(0, math.Log2(2*math.Abs(sh.MM)/width)) / seconds / bitsASecond
	if w.unprepared(sh) {
		l[Unprepared] = (in.Distance(float64(sh.ToPlace)) - in.Distance(highPlace)) / (in.Length / 4)
	}
}

// unprepared: the hand goes up beyond third position and no finger stopped the
// string of arrival just before, so that nothing can slide along it, or a rest
// lies between. From third position to the octave, a quarter of the string, is 1.
func (w *weigher) unprepared(sh *fingering.Shift) bool {
	if sh.MM <= 0 || sh.ToPlace <= highPlace {
		return false
	}
	if sh.Cover == fingering.Silence {
		return true
	}
	for _, a := range w.in.Grips[sh.Event].Stops {
		for _, b := range w.in.Grips[sh.From].Stops {
			if a.Finger > 0 && b.Finger > 0 && a.String == b.String {
				return false
			}
		}
	}
	return true
}

// grips: stretches, and fingers set together.
func (w *weigher) grips() {
	last := -1
	for i := range w.in.Grips {
		g := &w.in.Grips[i]
		if len(g.Stops) == 0 {
			continue
		}
		w.loads[i][Stretching] = w.stretch(g)
		if last >= 0 {
			if n := fresh(&w.in.Grips[last], g); n > 1 {
				w.loads[i][Chording] = float64(n-1) * settingSeconds / w.between(last, i)
			}
		}
		last = i
	}
}

// frameOf is the plain frame of the hand in semitones: a fourth, on the cello a
// minor third.
func (w *weigher) frameOf() int {
	if w.in.Instrument.Kind == instrument.CelloKind {
		return 3
	}
	return 5
}

// stretch: how much of what the hand can give beyond its frame is asked for; all
// of it is 1.
func (w *weigher) stretch(g *fingering.Grip) float64 {
	in, place := &w.in.Instrument, int(g.Hand.Place)
	if place < 0 {
		return 0
	}
	room := in.MaxStretch() - in.Span(place, place+w.frameOf())
	return min(1.5, w.beyond(g)/max(room, 1))
}

// beyond is how many mm the hand opens beyond its frame. A finger drawn back
// counts half: the others need not stay where they are.
func (w *weigher) beyond(g *fingering.Grip) float64 {
	in, frame, place := &w.in.Instrument, w.frameOf(), int(g.Hand.Place)
	most, lo, hi := 0.0, 99, -1
	if g.Hand.Shape == instrument.Extended {
		most = in.Span(place+frame, place+frame+1)
	}
	for _, s := range g.Stops {
		if s.Finger == 0 || s.Touch == fingering.Artificial {
			continue
		}
		out := s.Extension
		if s.Semitone < place {
			out /= 2
		}
		most = max(most, out)
		lo, hi = min(lo, s.Semitone), max(hi, s.Semitone)
	}
	if hi > lo+frame {
		most = max(most, in.Span(lo+frame, hi))
	}
	return most
}

// fresh counts the fingers of a grip that are not down already.
func fresh(before, g *fingering.Grip) int {
	n := 0
	for _, s := range g.Stops {
		if s.Finger > 0 && !s.Held && !stands(before, s.String, s.Finger, s.Semitone) {
			n++
		}
	}
	return n
}

// stands says that the finger is down there in the grip.
func stands(g *fingering.Grip, str int, finger int8, semitone int) bool {
	return slices.ContainsFunc(g.Stops, func(s fingering.Stop) bool {
		return s.String == str && s.Finger == finger && s.Semitone == semitone
	})
}

// together weighs a stretch of events: half its hardest moment, half its mean, as
// spots are weighed; rests do not count.
func (w *weigher) together(first, last int) (mean loads, hardest int) {
	n, top := 0, -1
	for i := first; i <= last; i++ {
		if len(w.in.Events[i].Struck) == 0 {
			continue
		}
		n++
		for k, v := range w.loads[i] {
			mean[k] += v
		}
		if top < 0 || w.loads[i].sum() > w.loads[top].sum() {
			top = i
		}
	}
	if n == 0 {
		return loads{}, -1
	}
	for k := range mean {
		mean[k] = (mean[k]/float64(n) + w.loads[top][k]) / 2
	}
	return mean, top
}

func (w *weigher) bars(h *Hardness) {
	i, n := 0, 0.0
	var all loads
	for m := range w.in.Part.Measures {
		first := i
		for i < len(w.in.Events) && w.in.Events[i].Measure <= m {
			i++
		}
		d, top := w.together(first, i-1)
		h.Bars = append(h.Bars, BarDifficulty{m, top, d.difficulty()})
		if top >= 0 {
			n++
			for k, v := range d {
				all[k] += v
			}
		}
	}
	for k := range all {
		all[k] /= max(1, n)
	}
	h.Whole = all.difficulty()
}

// standOut is the least load that makes a passage: what has to be practised by
// itself.
const standOut = 1.0

// passages are the maximal runs of events that lie above the movement's mean
// load, and above standOut: what is equally hard throughout has no hard spots.
func (w *weigher) passages(h *Hardness) {
	mean, n := 0.0, 0
	for i := range w.in.Events {
		if len(w.in.Events[i].Struck) > 0 {
			mean += w.loads[i].sum()
			n++
		}
	}
	if n == 0 {
		return
	}
	base := max(standOut, mean/float64(n))
	gains := make([]float64, len(w.loads))
	for i := range gains {
		gains[i] = w.loads[i].sum() - base
	}
	for _, r := range maximalRuns(gains) {
		d, top := w.together(r.first, r.last)
		h.Passages = append(h.Passages, Passage{r.first, r.last, top, d.difficulty()})
	}
	slices.SortStableFunc(h.Passages, func(a, b Passage) int {
		return cmp.Or(cmp.Compare(b.Load, a.Load), a.First-b.First)
	})
}

// Text says a difficulty in a line: "hard, 62 of 100: shifts 40, quick notes 22".
func (d Difficulty) Text() string {
	if d.Load == 0 {
		return "easy, 0 of 100"
	}
	var parts []string
	for _, p := range d.Parts {
		if p.Value >= 1 {
			parts = append(parts, fmt.Sprintf("%s %.0f", partWords[p.Name], p.Value))
		}
	}
	text := fmt.Sprintf("%s, %.0f of 100", d.Word(), d.Score)
	if len(parts) > 0 {
		text += ": " + strings.Join(parts, ", ")
	}
	return text
}

// Moment says what an event asks for, part by part, in a sentence: the measures
// behind its difficulty. Empty where nothing is asked.
func Moment(in Input, crossings []Crossing, event int) string {
	w := weigher{in: &in}
	var out []string
	for i := range in.Shifts {
		if sh := &in.Shifts[i]; sh.Event == event {
			s := fmt.Sprintf("the hand goes %.0f mm in %.2f s (%s)", math.Abs(sh.MM), sh.Seconds, sh.Cover)
			if w.unprepared(sh) {
				s += fmt.Sprintf(" to %s, with no finger on the string to slide along", instrument.PositionName(sh.ToPos))
			}
			out = append(out, s)
		}
	}
	for i := range crossings {
		if c := &crossings[i]; c.To == event {
			out = append(out, fmt.Sprintf("the bow crosses from %s to %s in %s", StringsName(c.FromStrings), StringsName(c.ToStrings), seconds(c)))
		}
	}
	if event < len(in.Grips) {
		g := &in.Grips[event]
		if w.stretch(g) > 0 {
			out = append(out, fmt.Sprintf("the hand leaves its frame by %.0f mm", w.beyond(g)))
		}
		if last := playedBefore(&in, event); last >= 0 {
			if n := fresh(&in.Grips[last], g); n > 1 {
				out = append(out, fmt.Sprintf("%d fingers are set together in %.2f s", n, w.between(last, event)))
			}
		}
	}
	if event > 0 && len(in.Events[event-1].Struck) > 0 && len(in.Events[event].Struck) > 0 {
		if rate := 1 / w.between(event-1, event); rate > easyRate {
			out = append(out, fmt.Sprintf("the notes go at %.1f a second", rate))
		}
	}
	if len(out) == 0 {
		return ""
	}
	text := strings.Join(out, "; ")
	return strings.ToUpper(text[:1]) + text[1:] + "."
}

// playedBefore is the last event before with a grip, -1 for none.
func playedBefore(in *Input, event int) int {
	for i := event - 1; i >= 0 && i < len(in.Grips); i-- {
		if len(in.Grips[i].Stops) > 0 {
			return i
		}
	}
	return -1
}
