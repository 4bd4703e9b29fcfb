package witness

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"pochette/internal/score"
	"pochette/internal/sequence"
	"pochette/internal/timeline"
)

// kindOf sorts marks; "" for those that say nothing to a player by themselves.
func kindOf(k score.MarkKind) Kind {
	switch k {
	case score.UpBow, score.DownBow:
		return Bow
	case score.Fingering, score.String, score.OpenString, score.ThumbPosition:
		return Fingering
	case score.Staccato, score.Staccatissimo, score.Spiccato, score.Tenuto, score.DetachedLegato, score.Accent, score.StrongAccent,
		score.BreathMark, score.Caesura, score.Fermata, "stress", "unstress", "soft-accent", "scoop", "plop", "doit", "falloff":
		return Articulation
	case score.Trill, "turn", "inverted-turn", "delayed-turn", "mordent", "inverted-mordent", "shake", score.Tremolo, score.Arpeggiate, "schleifer", "haydn":
		return Ornament
	case score.NoteDynamics:
		return Dynamic
	}
	return ""
}

// marks compares the marks of two notes, sort by sort.
func (p *pairing) marks(x, y *score.Note, put func(k Kind, here, there, value string)) {
	for _, k := range []Kind{Articulation, Ornament, Fingering, Bow, Dynamic} {
		hx, hy := marksText(x, k), marksText(y, k)
		if !slices.Equal(hx, hy) {
			put(k, listed(hx), listed(hy), strings.Join(kinds(y, k), " "))
		}
	}
}

func kinds(n *score.Note, k Kind) []string {
	var out []string
	for _, m := range n.Marks {
		if kindOf(m.Kind) == k {
			out = append(out, string(m.Kind))
		}
	}
	return out
}

// marksText lists the marks of one sort, in order, each once.
func marksText(n *score.Note, k Kind) []string {
	var out []string
	for _, m := range n.Marks {
		if kindOf(m.Kind) != k {
			continue
		}
		text := strings.ReplaceAll(string(m.Kind), "-", " ")
		switch m.Kind {
		case score.Fingering:
			text = "finger " + m.Text
		case score.String:
			text = "string " + m.Text
		case score.NoteDynamics:
			text = m.Text
		}
		out = append(out, text)
	}
	slices.Sort(out)
	return slices.Compact(out)
}

func listed(parts []string) string {
	if len(parts) == 0 {
		return nothing
	}
	return strings.Join(parts, ", ")
}

// said is a dynamic or words at a moment.
type said struct {
	kind Kind
	text string
	at   string // whole notes from the start of the measure
	beat string
	when score.Tick
}

func (s Source) saidIn(measure int) []said {
	m := &s.Part.Measures[measure]
	var out []said
	for _, d := range s.Part.Directions {
		if d.Measure != measure {
			continue
		}
		v := said{text: strings.Join(strings.Fields(d.Text), " "), at: s.Score.Whole(d.At - m.Start).RatString(),
			beat: timeline.At(s.Part, measure, d.At, score.NoNote).Beat, when: d.At}
		switch d.Kind {
		case "dynamics":
			v.kind = Dynamic
		case "wedge":
			v.kind = Dynamic
			v.text = map[string]string{"crescendo": "growing wedge", "diminuendo": "shrinking wedge", "stop": "end of the wedge"}[v.text]
		case "words":
			v.kind = Words
		}
		if v.kind != "" && v.text != "" {
			out = append(out, v)
		}
	}
	slices.SortStableFunc(out, func(x, y said) int { return cmp.Or(cmp.Compare(x.when, y.when), strings.Compare(x.text, y.text)) })
	return out
}

// directions compares dynamics and words of two measures. What says the same at
// the same moment agrees; the same thing elsewhere, or another thing there, is one
// difference.
func (p *pairing) directions(m sequence.Pair) {
	xs, ys := p.a.saidIn(m.A), p.b.saidIn(m.B)
	pairs, _ := sequence.Align(len(xs), len(ys), func(i, j int) float64 {
		d := 0.0
		if xs[i].kind != ys[j].kind {
			d += 2.5
		}
		if xs[i].text != ys[j].text {
			d++
		}
		if xs[i].at != ys[j].at {
			d += 0.75
		}
		return d
	}, func(int) float64 { return 1 }, func(int) float64 { return 1 })
	for _, pr := range pairs {
		d := Difference{Measure: m.A, MeasureThere: m.B, NoteHere: score.NoNote, NoteThere: score.NoNote, Here: nothing, There: nothing}
		if pr.B >= 0 {
			v := ys[pr.B]
			d.Kind, d.There, d.Beat, d.Value = v.kind, v.say(), v.beat, v.text
			d.NoteThere = p.b.noteAt(m.B, v.when)
			if d.NoteThere != score.NoNote {
				d.NoteHere = p.noteA[d.NoteThere]
			}
		}
		if pr.A >= 0 {
			v := xs[pr.A]
			d.Kind, d.Here, d.Beat = v.kind, v.say(), v.beat
			d.NoteHere = p.a.noteAt(m.A, v.when)
		}
		if pr.A < 0 || pr.B < 0 || xs[pr.A].text != ys[pr.B].text || xs[pr.A].at != ys[pr.B].at {
			p.add(d)
		}
	}
}

func (s said) say() string {
	if s.beat == "" {
		return strconv.Quote(s.text)
	}
	return fmt.Sprintf("%s on beat %s", s.text, s.beat)
}

// noteAt is the first note struck from a moment on in a measure.
func (s Source) noteAt(measure int, at score.Tick) score.NoteID {
	lo, _ := slices.BinarySearchFunc(s.Part.Notes, at, func(n score.Note, t score.Tick) int { return cmp.Compare(n.Onset, t) })
	for i := lo; i < len(s.Part.Notes) && s.Part.Notes[i].Measure == measure; i++ {
		if n := &s.Part.Notes[i]; n.Struck() && !n.Cue {
			return n.ID
		}
	}
	return score.NoNote
}

// slurs compares the slurs of both sources by the notes that they join. Slurs that
// overlap are told together.
func (p *pairing) slurs() {
	type ends struct{ from, to score.NoteID }
	heads := func(q *score.Part, s *score.Slur) ends { return ends{q.Notes[s.Start].Head, q.Notes[s.End].Head} }
	there := map[ends]int{}
	var strange []int // slurs of b on notes that a has not
	for i := range p.b.Part.Slurs {
		e := heads(p.b.Part, &p.b.Part.Slurs[i])
		f, t := p.noteA[e.from], p.noteA[e.to]
		if f == score.NoNote || t == score.NoNote {
			if p.measureHere(p.b.Part.Notes[e.from].Measure) >= 0 || p.measureHere(p.b.Part.Notes[e.to].Measure) >= 0 {
				strange = append(strange, i) // else its measures are told of as a whole
			}
			continue
		}
		there[ends{p.a.Part.Notes[f].Head, p.a.Part.Notes[t].Head}] = i
	}
	var only []int // slurs of a alone
	for i := range p.a.Part.Slurs {
		e := heads(p.a.Part, &p.a.Part.Slurs[i])
		if _, ok := there[e]; ok {
			delete(there, e)
			continue
		}
		if p.measureThere(p.a.Part.Notes[e.from].Measure) >= 0 || p.measureThere(p.a.Part.Notes[e.to].Measure) >= 0 {
			only = append(only, i)
		}
	}
	rest := make([]ends, 0, len(there))
	for e := range there {
		rest = append(rest, e)
	}
	slices.SortFunc(rest, func(x, y ends) int { return cmp.Or(cmp.Compare(x.from, y.from), cmp.Compare(x.to, y.to)) })
	var groups []Difference
	for _, e := range rest {
		groups = append(groups, Difference{AddSlurs: []score.Slur{{Number: 1, Start: e.from, End: e.to}}})
	}
	for _, i := range only {
		groups = append(groups, Difference{RemoveSlurs: []int{i}})
	}
	for _, d := range p.joined(groups) {
		p.slur(d)
	}
	for _, i := range strange {
		s := &p.b.Part.Slurs[i]
		p.add(Difference{Kind: Slur, Measure: p.measureHere(p.b.Part.Notes[s.Start].Measure), MeasureThere: p.b.Part.Notes[s.Start].Measure,
			Beat: timeline.AtNote(p.b.Part, s.Start).Beat, NoteHere: score.NoNote, NoteThere: s.Start, Here: nothing, There: slurText(p.b.Part, s.Start, s.End)})
	}
}

func (p *pairing) measureHere(there int) int {
	for _, m := range p.measures {
		if m.B == there {
			return m.A
		}
	}
	return -1
}

func (p *pairing) measureThere(here int) int {
	for _, m := range p.measures {
		if m.A == here {
			return m.B
		}
	}
	return -1
}

// extent of a difference of slurs in notes of the first source.
func (p *pairing) extent(d *Difference) (from, to score.NoteID) {
	from, to = score.NoteID(len(p.a.Part.Notes)), -1
	for _, i := range d.RemoveSlurs {
		from, to = min(from, p.a.Part.Slurs[i].Start), max(to, p.a.Part.Slurs[i].End)
	}
	for _, s := range d.AddSlurs {
		from, to = min(from, s.Start), max(to, s.End)
	}
	return from, to
}

// joined puts differences together that overlap.
func (p *pairing) joined(ds []Difference) []Difference {
	slices.SortStableFunc(ds, func(x, y Difference) int {
		a, _ := p.extent(&x)
		b, _ := p.extent(&y)
		return cmp.Compare(a, b)
	})
	var out []Difference
	last := score.NoteID(-1)
	for _, d := range ds {
		from, to := p.extent(&d)
		if len(out) > 0 && from <= last {
			o := &out[len(out)-1]
			o.RemoveSlurs, o.AddSlurs = append(o.RemoveSlurs, d.RemoveSlurs...), append(o.AddSlurs, d.AddSlurs...)
			last = max(last, to)
			continue
		}
		out, last = append(out, d), to
	}
	return out
}

func (p *pairing) slur(d Difference) {
	from, _ := p.extent(&d)
	d.Kind, d.NoteHere, d.NoteThere = Slur, from, p.noteB[from]
	d.Measure, d.Beat = p.a.Part.Notes[from].Measure, timeline.AtNote(p.a.Part, from).Beat
	d.MeasureThere = p.measureThere(d.Measure)
	var here, there []string
	for _, i := range d.RemoveSlurs {
		here = append(here, slurText(p.a.Part, p.a.Part.Slurs[i].Start, p.a.Part.Slurs[i].End))
	}
	for _, s := range d.AddSlurs {
		there = append(there, slurText(p.a.Part, s.Start, s.End))
	}
	d.Here, d.There = slursText(here), slursText(there)
	p.add(d)
}

func slursText(parts []string) string {
	if len(parts) == 0 {
		return "no slur"
	}
	return strings.Join(parts, "; ")
}

func slurText(p *score.Part, from, to score.NoteID) string {
	a, b := timeline.AtNote(p, from), timeline.AtNote(p, to)
	if a.Measure == b.Measure {
		return fmt.Sprintf("slur from %s to %s (beats %s to %s)", p.Notes[from].Sounding, p.Notes[to].Sounding, a.Beat, b.Beat)
	}
	return fmt.Sprintf("slur from %s to %s (beat %s to measure %s, beat %s)", p.Notes[from].Sounding, p.Notes[to].Sounding, a.Beat, b.Number, b.Beat)
}
