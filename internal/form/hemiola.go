package form

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"pochette/internal/score"
	"pochette/internal/timeline"
)

// Hemiola is a pair of bars in triple time that sounds as three groups of two
// beats instead of two groups of three; in compound duple time one bar.
type Hemiola struct {
	From, To    score.Tick
	First, Last int // measures
	Score       float64
	Evidence    []string // what speaks for it, see accents
	BeforeEnd   bool     // it leads to the arrival of a phrase
	Words       Words
}

// What makes a beat sound like the head of a group (phenomenal accents, Lerdahl
// and Jackendoff 1983, ch. 4): each kind is measured by itself, so that a hemiola
// rests on several.
const (
	aOnset = iota // something is struck
	aLong         // it lasts at least two beats, or to the next one after a tie
	aSlur         // a slur begins
	aBass         // lowest note of the six beats around
	aChord        // more notes than on the beats around
	aTop          // highest note of the beats around
	accentKinds
)

var accentNames = [accentKinds]string{"strikes", "long notes", "slurs", "the bass", "chords", "high notes"}

// hemiolaFrom is the least score of a hemiola that is told: it speaks for the
// groups of two as much as one kind of accent that stands on both their heads and
// on no other beat. There must be two kinds, one of them of length (long notes,
// slurs, a rhythm that comes back), or three. Common practice, no source.
const (
	hemiolaFrom  = 1.0
	hemiolaKinds = 2
)

const backRhythm = "a rhythm that comes back every two beats"

// hemiolas looks at each pair of bars of triple time and each bar of six units
// that go in two threes. Of overlapping ones the stronger is kept.
func (g *grid) hemiolas(ps []Phrase) []Hemiola {
	ends, edges := map[int]bool{}, map[score.Tick]bool{} // bars with an arrival; where phrases arrive and begin
	for _, p := range ps {
		ends[g.measureAt(p.Arrival)] = true
		edges[p.Arrival], edges[p.From] = true, true
	}
	var out []Hemiola
	for m := range g.p.Measures {
		h, ok := g.hemiola(m)
		if !ok || edges[h.From+(h.To-h.From)/2] { // a phrase ends or begins in its middle
			continue
		}
		h.BeforeEnd = ends[h.Last+1]
		if n := len(out); n > 0 && out[n-1].To > h.From {
			if out[n-1].Score >= h.Score {
				continue
			}
			out = out[:n-1]
		}
		h.Words = g.hemiolaWords(&h)
		out = append(out, h)
	}
	return out
}

// hemiola tests the six beats from measure m on.
func (g *grid) hemiola(m int) (Hemiola, bool) {
	from, beat, last, ok := g.sixBeats(m)
	if !ok {
		return Hemiola{}, false
	}
	acc := g.accents(from, beat)
	h := Hemiola{From: from, To: from + 6*beat, First: m, Last: last}
	for k := range accentKinds {
		two, three := template(acc[k])
		h.Score += two - three
		if two-three > 0.25 {
			h.Evidence = append(h.Evidence, accentNames[k])
		}
	}
	if acc[aOnset][0] == 0 || acc[aOnset][2] == 0 || acc[aOnset][4] == 0 {
		return h, false // the groups of two are not even struck
	}
	inTwo, inThree := g.samePairs(from, 2*beat, 3), g.samePairs(from, 3*beat, 2)
	if inThree && !inTwo {
		return h, false // the rhythm of the bars goes in threes
	}
	if inTwo && !inThree {
		h.Score += 0.5
		h.Evidence = append(h.Evidence, backRhythm)
	}
	ofLength := slices.ContainsFunc(h.Evidence, func(e string) bool {
		return e == accentNames[aLong] || e == accentNames[aSlur] || e == accentNames[aOnset] || e == backRhythm
	})
	kinds := len(h.Evidence)
	return h, h.Score >= hemiolaFrom && (kinds > hemiolaKinds || kinds == hemiolaKinds && ofLength)
}

// sixBeats gives the stretch that a hemiola from measure m on would take.
func (g *grid) sixBeats(m int) (from, beat score.Tick, last int, ok bool) {
	a := &g.p.Measures[m]
	full := a.Meter.Len
	if full <= 0 || a.Len != full || len(a.Meter.Groups) > 1 {
		return 0, 0, 0, false
	}
	switch {
	case a.Meter.Num == 3 && full%3 == 0 && m+1 < len(g.p.Measures):
		b := &g.p.Measures[m+1]
		return a.Start, full / 3, m + 1, b.Len == full && b.Meter.Len == full && a.RepeatTimes < 2 && !b.RepeatStart
	case a.Meter.Num == 6 && timeline.Compound(a.Meter):
		return a.Start, full / 6, m, true
	}
	return 0, 0, 0, false
}

// accents measures each kind of accent on six beats, 0 or 1.
func (g *grid) accents(from, beat score.Tick) [accentKinds][6]float64 {
	var acc [accentKinds][6]float64
	low, top := [6]int{}, [6]int{}
	notes := [6]int{}
	for k := range 6 {
		at := from + score.Tick(k)*beat
		i := g.from(at)
		low[k], top[k] = math.MaxInt, math.MinInt
		if i >= len(g.onsets) || g.onsets[i].at != at {
			continue
		}
		o := &g.onsets[i]
		e := &g.in.Events[o.event]
		low[k], top[k], notes[k] = o.low, o.top, o.notes
		acc[aOnset][k] = 1
		acc[aLong][k] = is(o.gap >= 2*beat && o.gap < 3*beat)
		acc[aSlur][k] = is(!e.Slurred && o.event+1 < len(g.in.Events) && g.in.Events[o.event+1].Slurred)
	}
	for k := range 6 {
		if acc[aOnset][k] == 0 {
			continue
		}
		before, after := max(0, k-1), min(5, k+1)
		acc[aBass][k] = is(low[k] < low[before] || k == 0) * is(low[k] < low[after] || k == 5)
		acc[aTop][k] = is(top[k] > top[before] || k == 0) * is(top[k] > top[after] || k == 5)
		acc[aChord][k] = is(notes[k] > 1 && (notes[k] > notes[before] || k == 0) && (notes[k] > notes[after] || k == 5))
	}
	return acc
}

// template compares the accents with heads on beats 1, 3, 5 of six and with
// heads on 1 and 4: the mean on the heads that the other has not, less the mean
// on beats that head nothing.
func template(a [6]float64) (two, three float64) {
	weak := (a[1] + a[5]) / 2
	return math.Max(0, (a[2]+a[4])/2-weak), math.Max(0, a[3]-weak)
}

// samePairs says that n groups of a length have all the same rhythm, of more
// than one note.
func (g *grid) samePairs(from, long score.Tick, n int) bool {
	var first []score.Tick
	for k := range n {
		start := from + score.Tick(k)*long
		var now []score.Tick
		for i := g.from(start); i < len(g.onsets) && g.onsets[i].at < start+long; i++ {
			now = append(now, g.onsets[i].at-start)
		}
		if len(now) < 2 || now[0] != 0 {
			return false
		}
		if k == 0 {
			first = now
		} else if fmt.Sprint(now) != fmt.Sprint(first) {
			return false
		}
	}
	return true
}

func (g *grid) hemiolaWords(h *Hemiola) Words {
	unit := "two bars of three beats sound as three of two"
	where := fmt.Sprintf("Bars %s and %s", g.number(h.First), g.number(h.Last))
	if h.First == h.Last {
		unit = "two groups of three sound as three of two"
		where = "Bar " + g.number(h.First)
	}
	lead := ""
	if h.BeforeEnd {
		lead = ", into the end of a phrase"
	}
	w := Words{Student: fmt.Sprintf("%s: %s%s. Count 1-2, 1-2, 1-2.", where, unit, lead)}
	w.Player = fmt.Sprintf("%s: a hemiola%s; %s, by %s.", where, lead, unit, join(h.Evidence))
	w.Scholar = fmt.Sprintf("%s: a hemiola%s, by %s (weight %.1f on beats 3 and 5 of six beyond beat 4).", where, lead, join(h.Evidence), h.Score)
	return w
}

func join(words []string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	return strings.Join(words[:len(words)-1], ", ") + " and " + words[len(words)-1]
}
