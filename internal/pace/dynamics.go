package pace

import (
	"cmp"
	"math"
	"slices"
	"sort"
	"strings"

	"pochette/internal/score"
	"pochette/internal/timeline"
)

// Levels in dB: mf is unmarkedLevel, a step of the printed scale stepLevel.
const (
	unmarkedLevel = -12.0
	stepLevel     = 4.0
	lowestLevel   = -40.0
)

// signSteps are the signs that hold until the next, in steps from mf; those that
// strike loud and fall back go on at this level.
var signSteps = map[string]float64{"pppp": -5, "ppp": -4, "pp": -3, "p": -2, "mp": -1, "mf": 0, "f": 1, "ff": 2, "fff": 3, "ffff": 4,
	"fp": -2, "sfp": -2, "sfpp": -3, "pf": 1}

// struckSigns accent the note they stand at, in dB.
var struckSigns = map[string]float64{"fp": 5, "sfp": 5, "sfpp": 5, "sf": 4, "sfz": 4, "fz": 4, "sffz": 5, "rf": 3, "rfz": 3}

// markAccents are those of single notes, in dB (common practice, no source).
var markAccents = map[score.MarkKind]float64{score.Accent: 3, score.StrongAccent: 4.5, score.Tenuto: 0.5}

// stretch of loudness in dB from a tick on: at from, then on a line to the next.
type stretch struct {
	at       score.Tick
	from, to float64
}

// curve is a loudness over the part; later ones begin where earlier ones end.
type curve []stretch

func (c curve) at(t score.Tick, usual float64) float64 {
	i := sort.Search(len(c), func(i int) bool { return c[i].at > t }) - 1
	if i < 0 {
		return usual
	}
	s := c[i]
	if i+1 >= len(c) || s.from == s.to || c[i+1].at <= s.at {
		return s.from
	}
	return s.from + (s.to-s.from)*float64(t-s.at)/float64(c[i+1].at-s.at)
}

// sign is a printed mark of loudness: a level, or a change (way) up to end, -1 the
// next sign.
type sign struct {
	at, end score.Tick
	level   float64
	way     float64
}

// printed reads the signs and hairpins of a part. A hairpin leads to the sign at its
// end where that lies in its direction, else by one step.
func printed(p *score.Part, beat score.Tick) curve {
	signs := signsOf(p)
	var out curve
	now := unmarkedLevel
	for i, s := range signs {
		if s.way == 0 {
			now = s.level
			out = append(out, stretch{s.at, now, now})
			continue
		}
		end, to := s.goal(signs[i+1:], now, beat)
		if end <= s.at {
			continue
		}
		out = append(out, stretch{s.at, now, to}, stretch{end, to, to})
		now = to
	}
	slices.SortStableFunc(out, func(a, b stretch) int { return cmp.Compare(a.at, b.at) })
	return out
}

// goal is where a hairpin ends, and how loud.
func (s *sign) goal(later []sign, now float64, beat score.Tick) (score.Tick, float64) {
	step := now + s.way*stepLevel
	for _, n := range later {
		switch {
		case n.way != 0 && s.end < 0:
			return n.at, step
		case n.way != 0:
		case s.end >= 0 && n.at > s.end+beat:
			return s.end, step
		case (n.level-now)*s.way > 0:
			return n.at, n.level
		case s.end >= 0:
			return min(s.end, n.at), step
		default:
			return n.at, step
		}
	}
	return s.end, step
}

func signsOf(p *score.Part) []sign {
	var out []sign
	open := map[int]int{}
	for _, d := range p.Directions {
		switch d.Kind {
		case "dynamics":
			if l, ok := signSteps[d.Text]; ok {
				out = append(out, sign{at: d.At, level: unmarkedLevel + stepLevel*l})
			}
		case "wedge":
			way := map[string]float64{"crescendo": 1, "diminuendo": -1}[d.Text]
			if k, ok := open[d.Number]; ok && d.Text == "stop" {
				out[k].end = d.At
				delete(open, d.Number)
			} else if way != 0 {
				open[d.Number] = len(out)
				out = append(out, sign{at: d.At, way: way, end: d.At})
			}
		case "words":
			if way := wordWay(d.Text); way != 0 {
				out = append(out, sign{at: d.At, way: way, end: -1})
			}
		}
	}
	for i := range p.Notes {
		if mk, ok := p.Notes[i].Get(score.NoteDynamics); ok {
			if l, ok := signSteps[mk.Text]; ok {
				out = append(out, sign{at: p.Notes[i].Onset, level: unmarkedLevel + stepLevel*l})
			}
		}
	}
	slices.SortStableFunc(out, func(a, b sign) int { return cmp.Compare(a.at, b.at) })
	return out
}

// wordWay reads the words of swelling (1) and fading (-1).
func wordWay(text string) float64 {
	t := strings.ToLower(text)
	switch {
	case strings.Contains(t, "decresc"), strings.HasPrefix(t, "dim"), strings.HasPrefix(t, "decr"), strings.Contains(t, "morendo"):
		return -1
	case strings.Contains(t, "cresc"):
		return 1
	}
	return 0
}

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
func tensionCurve(chords []Chord) curve {
	mean, sd := spread(chords)
	if sd == 0 {
		return nil
	}
	out := make(curve, len(chords))
	for i, c := range chords {
		l := min(max(tensionStep*(c.Tension-mean)/sd, -tensionMost), tensionMost)
		out[i] = stretch{(c.From + c.To) / 2, l, l}
		if i > 0 {
			out[i-1].to = l
		}
	}
	return out
}

// levels gives the level of each event in dB.
type levels struct {
	b        *builder
	printed  curve
	tension  curve
	struck   map[score.Tick]float64
	strong   map[score.NoteID]bool
	weak     map[score.NoteID]bool
	harmonic map[score.Tick]float64 // how much tenser it is than the one before, dB
}

func (b *builder) levels() *levels {
	p := b.in.Part
	l := &levels{b: b, printed: printed(p, b.in.Quarter), tension: tensionCurve(b.in.Facts.Chords), struck: map[score.Tick]float64{},
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
	add("dynamics", at(Dynamics, a.Dynamics)*(l.printed.at(e.Onset, unmarkedLevel)-unmarkedLevel))
	marks := l.mark(e)
	add("sign", at(Dynamics, a.Dynamics)*marks)
	add("tension", at(Tension, a.Tension)*l.tension.at(e.Onset, 0))
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
