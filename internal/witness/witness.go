// Package witness holds two sources of one piece against each other: it aligns
// them by measure and by note, and lists every difference of note, length, slur,
// articulation, dynamic, words and player's sign.
//
// The alignment is exact (sequence.Align), first of measures, whose distance is that
// of the best alignment of their notes, then of the notes of measures that stand
// together. What is called a difference of one note and what is called one note gone
// and another come is decided by the costs of Distance alone.
package witness

import (
	"cmp"
	"fmt"
	"math/big"
	"slices"
	"strings"

	"pochette/internal/score"
	"pochette/internal/sequence"
	"pochette/internal/timeline"
)

// Source is one part of one source.
type Source struct {
	Score *score.Score
	Part  *score.Part
}

// Kind of a difference.
type Kind string

// The kinds.
const (
	Measure      Kind = "measure" // one has a measure that the other has not
	Note         Kind = "note"    // one has a note that the other has not
	Pitch        Kind = "pitch"
	Length       Kind = "length"
	Place        Kind = "place" // the same note at another moment of the measure
	Tie          Kind = "tie"
	Slur         Kind = "slur"
	Articulation Kind = "articulation"
	Ornament     Kind = "ornament"
	Dynamic      Kind = "dynamic"
	Words        Kind = "words"
	Fingering    Kind = "fingering" // finger, string
	Bow          Kind = "bow"
	Signature    Kind = "signature" // key or meter
)

// Difference is one place where the sources differ. Measures are indices, -1 where
// the source has none there; notes are NoNote likewise.
type Difference struct {
	Kind                  Kind
	Measure, MeasureThere int
	Beat                  string
	NoteHere, NoteThere   score.NoteID
	Here, There           string       // what stands, in words; "nothing" for nothing
	RemoveSlurs           []int        // of a Slur: those of the first source that the second has not
	AddSlurs              []score.Slur // and those that the second has, by notes of the first
	Value                 string       // of a Dynamic, Words or Articulation: what the second has
	Key                   string       // names the difference again after both are read anew
}

// pairing is two sources with their notes paired.
type pairing struct {
	a, b     Source
	measures []sequence.Pair
	noteB    []score.NoteID // of each note of a, its partner
	noteA    []score.NoteID // of each note of b
	out      []Difference
}

// Compare lists the differences in order of place.
func Compare(a, b Source) []Difference {
	p := &pairing{a: a, b: b, noteB: none(len(a.Part.Notes)), noteA: none(len(b.Part.Notes))}
	p.alignMeasures()
	for _, m := range p.measures {
		p.measure(m)
	}
	p.slurs()
	slices.SortStableFunc(p.out, func(x, y Difference) int {
		return cmp.Or(cmp.Compare(p.order(&x), p.order(&y)), cmp.Compare(x.NoteHere, y.NoteHere))
	})
	p.keys()
	return p.out
}

func none(n int) []score.NoteID {
	out := make([]score.NoteID, n)
	for i := range out {
		out[i] = score.NoNote
	}
	return out
}

// order is where a difference stands among the measures that stand together.
func (p *pairing) order(d *Difference) int {
	return slices.IndexFunc(p.measures, func(m sequence.Pair) bool {
		return d.Measure >= 0 && m.A == d.Measure || d.Measure < 0 && m.B == d.MeasureThere
	})
}

// keys names differences by what they say and where, so that a choice is found
// again; equal ones are counted.
func (p *pairing) keys() {
	seen := map[string]int{}
	for i := range p.out {
		d := &p.out[i]
		at := "m@" + fmt.Sprint(d.MeasureThere+1) + " there"
		if d.Measure >= 0 {
			at = "m" + timeline.Name(p.a.Part, d.Measure)
		}
		k := fmt.Sprintf("%s.%s %s: %s / %s", at, d.Beat, d.Kind, d.Here, d.There)
		seen[k]++
		if n := seen[k]; n > 1 {
			k += fmt.Sprintf(" #%d", n)
		}
		d.Key = k
	}
}

// token is a note or rest as it is compared.
type token struct {
	id    score.NoteID
	at    *big.Rat // whole notes from the start of the measure
	dur   *big.Rat
	midi  int
	rest  bool
	grace bool
	name  string
}

func (s Source) tokens(measure int) []token {
	m := &s.Part.Measures[measure]
	var out []token
	lo, _ := slices.BinarySearchFunc(s.Part.Notes, m.Start, func(n score.Note, at score.Tick) int { return cmp.Compare(n.Onset, at) })
	for i := lo; i < len(s.Part.Notes) && s.Part.Notes[i].Onset <= m.Start+m.Len; i++ {
		n := &s.Part.Notes[i]
		if n.Measure != measure || n.Cue || n.Rest && n.Hidden {
			continue
		}
		t := token{id: n.ID, at: s.Score.Whole(n.Onset - m.Start), dur: s.Score.Whole(n.Dur), rest: n.Rest, grace: n.Grace}
		if !n.Rest {
			t.midi, t.name = n.Sounding.MIDI(), n.Sounding.String()
		}
		out = append(out, t)
	}
	slices.SortStableFunc(out, func(x, y token) int {
		g := func(t *token) int {
			if t.grace {
				return 0
			}
			return 1
		}
		return cmp.Or(x.at.Cmp(y.at), g(&x)-g(&y), x.midi-y.midi)
	})
	return out
}

// Costs of the alignment: two notes that stand alone cost more than a note beside
// another of one or two differences, so that a wrong pitch in its place is one
// difference and not two. Ours; no source.
const (
	alone      = 1.0
	otherPitch = 0.9
	otherPlace = 0.8
	otherDur   = 0.5
	otherSort  = 2.5 // a rest beside a note
)

// distance of two notes.
func distance(x, y *token) float64 {
	if x.rest != y.rest || x.grace != y.grace {
		return otherSort
	}
	d := 0.0
	if x.name != y.name {
		d += otherPitch
	}
	if x.at.Cmp(y.at) != 0 {
		d += otherPlace
	}
	if x.dur.Cmp(y.dur) != 0 {
		d += otherDur
	}
	return d
}

func alignTokens(a, b []token) ([]sequence.Pair, float64) {
	one := func(ts []token) func(int) float64 {
		return func(i int) float64 {
			if ts[i].rest {
				return alone / 2
			}
			return alone
		}
	}
	return sequence.Align(len(a), len(b), func(i, j int) float64 { return distance(&a[i], &b[j]) }, one(a), one(b))
}

// bandwidth bounds by how many measures, beyond their difference in length, the
// sources may drift apart: what is farther counts as altogether different, and
// equal measures are known without an alignment.
const bandwidth = 48

func (p *pairing) alignMeasures() {
	na, nb := len(p.a.Part.Measures), len(p.b.Part.Measures)
	ta, tb := make([][]token, na), make([][]token, nb)
	sa, sb := make([]string, na), make([]string, nb)
	for i := range ta {
		ta[i] = p.a.tokens(i)
		sa[i] = signature(ta[i])
	}
	for j := range tb {
		tb[j] = p.b.tokens(j)
		sb[j] = signature(tb[j])
	}
	known := map[[2]string]float64{}
	spread := max(na, nb) - min(na, nb) + bandwidth
	pair := func(i, j int) float64 {
		if sa[i] == sb[j] {
			return 0
		}
		if i-j > spread || j-i > spread {
			return weight(ta[i]) + weight(tb[j])
		}
		k := [2]string{sa[i], sb[j]}
		d, ok := known[k]
		if !ok {
			_, d = alignTokens(ta[i], tb[j])
			known[k] = d
		}
		return d
	}
	p.measures, _ = sequence.Align(na, nb, pair, func(i int) float64 { return weight(ta[i]) }, func(j int) float64 { return weight(tb[j]) })
}

// weight is what a measure costs that stands alone: its notes, and a little for
// itself, so that empty measures are not all one.
func weight(ts []token) float64 {
	w := 0.25
	for i := range ts {
		if ts[i].rest {
			w += alone / 2
		} else {
			w += alone
		}
	}
	return w
}

func signature(ts []token) string {
	var b strings.Builder
	for i := range ts {
		t := &ts[i]
		fmt.Fprintf(&b, "%s@%s+%s%v;", t.name, t.at.RatString(), t.dur.RatString(), t.grace)
	}
	return b.String()
}

// measure compares two measures that stand together, or tells of one alone.
func (p *pairing) measure(m sequence.Pair) {
	switch {
	case m.B < 0:
		p.add(Difference{Kind: Measure, Measure: m.A, MeasureThere: -1, Here: "measure " + timeline.Name(p.a.Part, m.A), There: nothing})
		return
	case m.A < 0:
		p.add(Difference{Kind: Measure, Measure: -1, MeasureThere: m.B, Here: nothing, There: "measure " + timeline.Name(p.b.Part, m.B)})
		return
	}
	p.signatures(m)
	ta, tb := p.a.tokens(m.A), p.b.tokens(m.B)
	pairs, _ := alignTokens(ta, tb)
	for _, n := range pairs {
		switch {
		case n.B < 0:
			p.note(m, &ta[n.A], nil)
		case n.A < 0:
			p.note(m, nil, &tb[n.B])
		default:
			p.noteB[ta[n.A].id], p.noteA[tb[n.B].id] = tb[n.B].id, ta[n.A].id
			p.note(m, &ta[n.A], &tb[n.B])
		}
	}
	p.directions(m)
}

const nothing = "nothing"

func (p *pairing) add(d Difference) {
	if d.Kind == Measure || d.Kind == Signature {
		d.NoteHere, d.NoteThere = score.NoNote, score.NoNote
	}
	p.out = append(p.out, d)
}

func (p *pairing) signatures(m sequence.Pair) {
	x, y := &p.a.Part.Measures[m.A], &p.b.Part.Measures[m.B]
	say := func(s *score.Measure) string {
		meter := "no meter"
		if s.Meter.Len > 0 {
			meter = s.Meter.Beats + "/" + s.Meter.Unit
		}
		return fmt.Sprintf("%s, signature of %+d fifths", meter, s.Key.Fifths)
	}
	first := m.A == 0 || m.B == 0
	if !first {
		px, py := &p.a.Part.Measures[m.A-1], &p.b.Part.Measures[m.B-1]
		first = say(px) != say(x) || say(py) != say(y) // said where it changes, not in every measure
	}
	if h, t := say(x), say(y); h != t && first {
		p.add(Difference{Kind: Signature, Measure: m.A, MeasureThere: m.B, Here: h, There: t})
	}
}

// note compares two notes that stand together, or tells of one alone.
func (p *pairing) note(m sequence.Pair, x, y *token) {
	d := Difference{Measure: m.A, MeasureThere: m.B, NoteHere: score.NoNote, NoteThere: score.NoNote}
	if x != nil {
		d.NoteHere, d.Beat = x.id, timeline.AtNote(p.a.Part, x.id).Beat
	} else {
		d.Beat = timeline.AtNote(p.b.Part, y.id).Beat
	}
	if y != nil {
		d.NoteThere = y.id
	}
	put := func(k Kind, here, there, value string) {
		e := d
		e.Kind, e.Here, e.There, e.Value = k, here, there, value
		p.add(e)
	}
	if x == nil || y == nil {
		if h, t := p.a.noteText(x), p.b.noteText(y); !(x == nil || x.rest) || !(y == nil || y.rest) {
			put(Note, h, t, "")
		}
		return
	}
	nx, ny := &p.a.Part.Notes[x.id], &p.b.Part.Notes[y.id]
	if x.rest && y.rest {
		return // what sounds tells it
	}
	if x.name != y.name {
		put(Pitch, x.name, y.name, y.name)
	}
	if x.at.Cmp(y.at) != 0 {
		put(Place, "on beat "+timeline.AtNote(p.a.Part, x.id).Beat, "on beat "+timeline.AtNote(p.b.Part, y.id).Beat, "")
	}
	if x.dur.Cmp(y.dur) != 0 {
		put(Length, valueText(nx), valueText(ny), "")
	}
	if hx, hy := nx.TieTo != score.NoNote, ny.TieTo != score.NoNote; hx != hy {
		put(Tie, tieText(hx), tieText(hy), "")
	}
	p.marks(nx, ny, put)
}

func (s Source) noteText(t *token) string {
	if t == nil {
		return nothing
	}
	n := &s.Part.Notes[t.id]
	if n.Rest {
		return "a rest (" + valueText(n) + ")"
	}
	text := t.name + ", " + valueText(n)
	if n.Grace {
		text = t.name + " as a grace note"
	}
	return text
}

func tieText(is bool) string {
	if is {
		return "tied to the next"
	}
	return "not tied"
}

func valueText(n *score.Note) string {
	text := n.Value.Type
	if text == "" {
		return "no written value"
	}
	text = strings.Repeat("dotted ", min(n.Value.Dots, 3)) + text
	if n.Value.Actual > 0 && n.Value.Normal > 0 && n.Value.Actual != n.Value.Normal {
		text += fmt.Sprintf(" (%d in the time of %d)", n.Value.Actual, n.Value.Normal)
	}
	return text
}
