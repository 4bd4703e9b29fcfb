package pace

import (
	"math"

	"pochette/internal/score"
	"pochette/internal/timeline"
)

// Levels in dB: mf is unmarkedLevel, a step of the printed scale stepLevel.
const (
	unmarkedLevel = -12.0
	stepLevel     = 4.0
	lowestLevel   = -40.0
)

// struckSigns accent the note they stand at, in dB.
var struckSigns = map[string]float64{"fp": 5, "sfp": 5, "sfpp": 5, "sf": 4, "sfz": 4, "fz": 4, "sffz": 5, "rf": 3, "rfz": 3}

// markAccents are those of single notes, in dB (common practice, no source).
var markAccents = map[score.MarkKind]float64{score.Accent: 3, score.StrongAccent: 4.5, score.Tenuto: 0.5}

// Sizes of the tension's dynamics in dB: for a standard deviation, and at most.
const tensionStep, tensionMost = 1.5, 3.0

// spread is the mean of the tension over time and its standard deviation.
func spread(chords []Chord) (mean, sd float64) {
	sum, squares, time := 0.0, 0.0, 0.0
	for _, c := range chords {
		d := float64(c.To - c.From)
		sum, squares, time = sum+d*c.Tension, squares+d*c.Tension*c.Tension, time+d
	}
	if time == 0 {
		return 0, 0
	}
	mean = sum / time
	return mean, math.Sqrt(max(0, squares/time-mean*mean))
}

// tensionCurve goes from the middle of a chord to the middle of the next.
func tensionCurve(chords []Chord) timeline.Curve {
	mean, sd := spread(chords)
	if sd == 0 {
		return nil
	}
	out := make(timeline.Curve, len(chords))
	for i, c := range chords {
		l := min(max(tensionStep*(c.Tension-mean)/sd, -tensionMost), tensionMost)
		out[i] = timeline.Stretch{At: (c.From + c.To) / 2, From: l, To: l}
		if i > 0 {
			out[i-1].To = l
		}
	}
	return out
}

// levels gives the level of each event in dB.
type levels struct {
	b        *builder
	printed  timeline.Curve // in steps of the printed scale
	tension  timeline.Curve // dB
	struck   map[score.Tick]float64
	strong   map[score.NoteID]bool
	weak     map[score.NoteID]bool
	harmonic map[score.Tick]float64 // how much tenser it is than the one before, dB
}

func (b *builder) levels() *levels {
	p := b.in.Part
	l := &levels{b: b, printed: timeline.Dynamics(p, b.in.Quarter), tension: tensionCurve(b.in.Facts.Chords), struck: map[score.Tick]float64{},
		strong: map[score.NoteID]bool{}, weak: map[score.NoteID]bool{}, harmonic: map[score.Tick]float64{}}
	for _, d := range p.Directions {
		if d.Kind == "dynamics" && struckSigns[d.Text] != 0 {
			l.struck[d.At] = struckSigns[d.Text]
		}
	}
	for _, x := range b.in.Facts.Pairs {
		l.strong[x.Strong], l.weak[x.Weak] = true, true
	}
	ch := b.in.Facts.Chords
	for i, c := range ch {
		if i > 0 {
			l.harmonic[c.From] = min(accentMost, 0.15*max(0, c.Tension-ch[i-1].Tension))
		}
	}
	return l
}

// Accents in dB: the downbeat, less by accentStep a level, and bounds.
const accentTop, accentStep, accentMost = 1.5, 0.75, 1.5

// of is the level of an event with the terms that it is the sum of, over mf.
func (l *levels) of(i int) (level float64, terms []score.Term, accented bool) {
	b := l.b
	e := &b.in.Events[i]
	a := b.o.Amounts
	at := func(k Key, usual float64) float64 { return b.amountAt(k, e.Measure, usual) }
	level = unmarkedLevel
	add := func(name string, db float64) {
		if db != 0 {
			terms = append(terms, score.Term{Name: name, Value: db})
			level += db
		}
	}
	add("dynamics", at(Dynamics, a.Dynamics)*stepLevel*(l.printed.At(e.Onset, timeline.Unmarked)-timeline.Unmarked))
	marks := l.mark(e)
	add("sign", at(Dynamics, a.Dynamics)*marks)
	add("tension", at(Tension, a.Tension)*l.tension.At(e.Onset, 0))
	accent := at(Accent, a.Accent)
	if !e.Grace {
		add("meter", accent*max(-accentMost, accentTop-accentStep*float64(e.Level)))
		add("tenser chord", accent*l.harmonic[e.Onset])
	}
	add("non-chord note", accent*l.nonChord(e))
	if b.firstOfPair[i] {
		add("first of a pair", pairLevel/2*at(Pairs, a.Pairs))
	} else if b.secondOfPair[i] {
		add("second of a pair", -pairLevel/2*at(Pairs, a.Pairs))
	}
	add("decided", b.decidedLevel(e))
	return min(max(level, lowestLevel), 0), terms, marks >= 3
}

// pairLevel is how much louder the first of a slurred pair is, dB.
const pairLevel = 1.5

// mark is what signs at an event add.
func (l *levels) mark(e *timeline.Event) float64 {
	db := l.struck[e.Onset]
	for _, id := range e.Struck {
		for k, x := range markAccents {
			if l.b.in.Part.Notes[id].Has(k) {
				db = max(db, x)
			}
		}
	}
	return db
}

// nonChord is 1 for an accented non-chord note, -1 for its release.
func (l *levels) nonChord(e *timeline.Event) float64 {
	db := 0.0
	for _, id := range e.Struck {
		if l.strong[id] {
			return 1
		}
		if l.weak[id] {
			db = -1
		}
	}
	return db
}

func (b *builder) decidedLevel(e *timeline.Event) float64 {
	db := 0.0
	if d := b.decided(Level, e.Measure); d != nil {
		db = d.Value
	}
	for k := range b.o.Decisions {
		if d := &b.o.Decisions[k]; d.Placed && d.Key == Level && d.At == e.Onset {
			db += d.Value
		}
	}
	return db
}
