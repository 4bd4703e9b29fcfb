package study

import (
	"bytes"
	"context"
	"fmt"
	"html/template"
	"maps"
	"math"
	"slices"
	"sort"
	"strings"

	"pochette/internal/bowing"
	"pochette/internal/engrave"
	"pochette/internal/fingering"
	"pochette/internal/instrument"
	"pochette/internal/report"
	"pochette/internal/score"
	"pochette/internal/technique"
	"pochette/internal/timeline"
)

// firstPlaces is how many places the report names under "look here first".
const firstPlaces = 8

// excerptWidth in mm: two bars of quick notes stay readable on a phone.
const excerptWidth = 120

// report makes the page.
func (s *Study) report(ctx context.Context, session *engrave.Session, version string) ([]byte, error) {
	d := s.document(version)
	if err := s.addExcerpts(ctx, session, &d); err != nil {
		return nil, err
	}
	var buf bytes.Buffer
	if err := report.Write(&buf, d); err != nil {
		return nil, err
	}
	return buf.Bytes(), nil
}

func (s *Study) document(version string) report.Document {
	d := report.Document{
		Title: s.title(), Work: s.Score.Work, Composer: s.Score.Composer, Source: s.Source.Name, Version: version,
		Instrument: s.instrumentLine(), Summary: s.Summary(), Figures: s.figures(), Words: words, Cautions: cautions,
	}
	if d.Work == d.Title {
		d.Work = ""
	}
	bars := map[int]*report.Bar{}
	add := func(measure int, it report.Item) {
		b := bars[measure]
		if b == nil {
			b = &report.Bar{ID: barID(measure), Label: s.barLabel(measure)}
			bars[measure] = b
		}
		b.Items = append(b.Items, it)
	}
	for _, f := range s.Findings {
		if f.At.Measure < 0 {
			d.Whole = append(d.Whole, s.item(f))
			continue
		}
		add(f.At.Measure, s.item(f))
	}
	s.addChanges(add)
	s.addShifts(add)
	s.addHints(add)
	s.addReading(add)
	for _, m := range s.pointedAt() {
		if bars[m] == nil {
			bars[m] = &report.Bar{ID: barID(m), Label: s.barLabel(m)}
		}
	}
	s.addNoteRows(bars)
	for _, m := range slices.Sorted(maps.Keys(bars)) {
		bars[m].Chords = s.Reading.barChords(m)
		if d := s.Hardness.Bars[m]; d.Score > 0 {
			bars[m].Hard = "Difficulty: " + d.Text() + "."
		}
		d.Bars = append(d.Bars, *bars[m])
	}
	d.First = s.first()
	s.tellReading(&d, func(measure int) bool { return bars[measure] != nil })
	s.addPlans(&d)
	for _, p := range s.hardSpots() {
		d.Hard = append(d.Hard, report.Item{Bar: barID(s.Hand.Events[p.Hardest].Measure), Place: s.spanPlace(p.First, p.Last), Text: p.Text() + ".", Why: s.momentText(p.Hardest)})
	}
	return d
}

// pointedAt are the measures to which the lists at the head of the page lead:
// hard spots, other plans, decisions.
func (s *Study) pointedAt() []int {
	var out []int
	for _, p := range s.hardSpots() {
		out = append(out, s.Hand.Events[p.Hardest].Measure)
	}
	for _, o := range s.Compared().Others {
		out = append(out, o.First)
	}
	for _, w := range s.Compared().Weighed {
		out = append(out, s.Part.Notes[w.Note].Measure)
	}
	return out
}

// hardSpots are the passages that the report names, hardest first.
func (s *Study) hardSpots() []technique.Passage {
	return s.Hardness.Passages[:min(firstPlaces, len(s.Hardness.Passages))]
}

// addHints tells what can be prepared, in the named hard spots and at shifts.
func (s *Study) addHints(add func(int, report.Item)) {
	spots := s.hardSpots()
	for i := range s.Hints {
		h := &s.Hints[i]
		inSpot := slices.ContainsFunc(spots, func(p technique.Passage) bool { return h.For >= p.First && h.For <= p.Last })
		if !inSpot && h.Kind != technique.GuideNote && h.Kind != technique.ShiftEarlier || !h.Worth(&s.technique) {
			continue
		}
		m := s.Hand.Events[h.Event].Measure
		add(m, report.Item{Topic: "prepare", Grade: score.Remark.String(), Bar: barID(m), Place: "beat " + s.beatOf(h.Event), Text: h.Text})
	}
}

// addChanges tells each change of bow in its bar.
func (s *Study) addChanges(add func(int, report.Item)) {
	for _, c := range s.Bow.Changes {
		it := report.Item{Topic: "bow", Grade: score.Remark.String(), Bar: barID(c.At.Measure), Place: "beat " + c.At.Beat, Text: c.Text}
		if c.Leave > 0 {
			it.Why = fmt.Sprintf("Changing costs %.1f, leaving it as it comes %.1f more (%s).", c.Cost, c.Leave, termNames(c.Terms))
		}
		add(c.At.Measure, it)
	}
}

// addShifts tells each shift in the bar where the hand arrives.
func (s *Study) addShifts(add func(int, report.Item)) {
	for _, sh := range s.Hand.Shifts {
		e := &s.Hand.Events[sh.Event]
		at := timeline.At(s.Part, e.Measure, e.Onset, score.NoNote)
		add(e.Measure, report.Item{Topic: "hand", Grade: score.Remark.String(), Bar: barID(e.Measure), Place: "beat " + at.Beat,
			Text: fingering.Why(s.Hand, sh.Event), Why: fmt.Sprintf("The hand travels %.0f mm in %.2f s.", math.Abs(sh.MM), sh.Seconds)})
	}
}

// termNames lists what the terms are called, without their weights.
func termNames(ts []score.Term) string {
	var names []string
	for _, t := range ts {
		names = append(names, strings.ReplaceAll(t.Name, "-", " "))
	}
	if len(names) == 0 {
		return "no term alone"
	}
	return strings.Join(names, ", ")
}

// barLabel heads what is said of a measure.
func (s *Study) barLabel(measure int) string {
	name := timeline.Range(s.Part, measure, measure)
	return strings.ToUpper(name[:1]) + name[1:]
}

func barID(measure int) string { return fmt.Sprintf("m%d", measure+1) }

// topics names the field a finding belongs to, by the study that made it.
func (s *Study) topic(f score.Finding) string {
	switch {
	case strings.HasPrefix(f.Kind, "crossing"), f.Kind == "skipped-string":
		return "crossing"
	case slices.ContainsFunc(s.Bow.Findings, func(g score.Finding) bool { return g.Kind == f.Kind }):
		return "bow"
	case slices.ContainsFunc(s.Hand.Findings, func(g score.Finding) bool { return g.Kind == f.Kind }):
		return "hand"
	case f.Kind == "pace":
		return "pace"
	case f.Kind == "decided-without-bow", slices.Contains([]technique.Change{technique.MuteOn, technique.MuteOff, technique.Pluck, technique.Arco}, technique.Change(f.Kind)):
		return "bow"
	case f.Kind == "left-hand-pizzicato", f.Kind == "beyond-reach", f.Kind == "stays-high", f.Kind == "decided-against-print":
		return "hand"
	}
	return "source"
}

func (s *Study) item(f score.Finding) report.Item {
	it := report.Item{Topic: s.topic(f), Grade: f.Grade.String(), Text: f.Text, Why: f.Why, Suggestion: f.Suggestion}
	if f.At.Measure >= 0 {
		it.Bar = barID(f.At.Measure)
		it.Place = f.At.String()
		if f.At.Beat != "" {
			it.Place = "beat " + f.At.Beat
		}
		if f.To.Measure > f.At.Measure {
			it.Place += " to " + f.To.String()
		}
	} else {
		it.Place = f.At.String()
	}
	return it
}

// first ranks what a player should look at: trouble, then cautions, then the
// heaviest remarks; one place a bar.
func (s *Study) first() []report.Item {
	fs := slices.Clone(s.Findings)
	sort.SliceStable(fs, func(a, b int) bool {
		if fs[a].Grade != fs[b].Grade {
			return fs[a].Grade > fs[b].Grade
		}
		return fs[a].Weight > fs[b].Weight
	})
	var out []report.Item
	seen := map[int]bool{}
	for _, f := range fs {
		if f.At.Measure < 0 || seen[f.At.Measure] || len(out) == firstPlaces {
			continue
		}
		seen[f.At.Measure] = true
		it := s.item(f)
		it.Place = f.At.String()
		out = append(out, it)
	}
	return out
}

func (s *Study) instrumentLine() string {
	var open []string
	for i := len(s.Instrument.Open) - 1; i >= 0; i-- {
		open = append(open, s.Instrument.Open[i].String())
	}
	line := fmt.Sprintf("%s, strings %s", s.Instrument.Kind, strings.Join(open, " "))
	if usual := instrument.Of(s.Instrument.Kind); s.Instrument.Length != usual.Length || s.Instrument.MaxStretch() != usual.MaxStretch() {
		line += fmt.Sprintf(", %.0f mm from nut to bridge, hand of %.0f mm", s.Instrument.Length, s.Instrument.MaxStretch())
	}
	return line
}

// addExcerpts engraves the bars that have something to say, all in one layout;
// their glyphs stand once at the head of the page.
func (s *Study) addExcerpts(ctx context.Context, session *engrave.Session, d *report.Document) error {
	ranges := make([][2]int, len(d.Bars))
	for i := range d.Bars {
		var m int
		if _, err := fmt.Sscanf(d.Bars[i].ID, "m%d", &m); err != nil {
			panic("study: bar without a number: " + d.Bars[i].ID)
		}
		ranges[i] = [2]int{m, m}
	}
	set, err := session.Excerpts(ctx, ranges, excerptWidth)
	if err != nil {
		return fmt.Errorf("%s: engraving the bars of the report: %w", s.Source.Name, err)
	}
	d.Glyphs = template.HTML(set.Glyphs)
	for i, svg := range set.SVG {
		d.Bars[i].Excerpt = template.HTML(svg)
	}
	return nil
}

// addNoteRows gives each bar its table, in one pass over the events.
func (s *Study) addNoteRows(bars map[int]*report.Bar) {
	for i := range s.Hand.Events {
		e := &s.Hand.Events[i]
		if b := bars[e.Measure]; b != nil && !e.Rest {
			b.Notes = append(b.Notes, s.noteRow(i))
		}
	}
}

func (s *Study) noteRow(event int) report.NoteRow {
	e, g := &s.Hand.Events[event], &s.Hand.Grips[event]
	r := report.NoteRow{Beat: timeline.At(s.Part, e.Measure, e.Onset, score.NoNote).Beat, Bow: s.bowText(event), Why: fingering.Why(s.Hand, event)}
	var notes, strs, fingers []string
	for _, id := range e.Struck {
		notes = append(notes, s.Part.Notes[id].Sounding.String())
	}
	for _, st := range g.Stops {
		if st.Held {
			continue
		}
		strs = append(strs, instrument.Numeral(st.String))
		fingers = append(fingers, fingerText(st.Finger))
	}
	if len(g.Stops) > 0 {
		r.Position = instrument.PositionName(g.Position)
	}
	r.Notes, r.Strings, r.Fingers = joined(notes), joined(strs), joined(fingers)
	return r
}

// bowText says the direction where a stroke begins, and how it follows.
func (s *Study) bowText(event int) string {
	if s.Stroke[event] < 0 {
		return "no bow"
	}
	st := &s.Bow.Proposed[s.Stroke[event]]
	if st.First != event {
		return "same bow"
	}
	switch st.Change {
	case bowing.Retake, bowing.Link, bowing.Split, bowing.Join:
		return fmt.Sprintf("%s (%s)", st.Direction, st.Change)
	}
	return st.Direction.String()
}

func (s *Study) figures() []report.Figure {
	strokes, changes := 0, len(s.Bow.Changes)
	for _, st := range s.Bow.Proposed {
		if !st.Pizzicato {
			strokes++
		}
	}
	fig := func(n int, one, many string) report.Figure {
		if n == 1 {
			many = one
		}
		return report.Figure{Value: fmt.Sprint(n), Name: many}
	}
	return []report.Figure{
		fig(len(s.Part.Measures), "measure", "measures"), fig(strokes, "stroke", "strokes"), fig(changes, "change of bow proposed", "changes of bow proposed"),
		fig(len(s.Hand.Shifts), "shift", "shifts"), fig(len(s.Crossings), "string crossing", "string crossings"), fig(len(s.Spots), "crossing spot", "crossing spots"),
	}
}
