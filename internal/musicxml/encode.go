package musicxml

import (
	"bytes"
	"cmp"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"pochette/internal/pitch"
	"pochette/internal/score"
)

// Encode writes a score that was made in memory as a partwise MusicXML 4.0
// document. Decode reads the same score back (spans apart) for everything that
// is written: header, parts, measures with signatures, clefs, bar lines,
// repeats, endings and jumps, notes with chords, ties, slurs, tuplets, beams and
// marks, and directions of the kinds words, dynamics, wedge, metronome,
// rehearsal, segno, coda, octave-shift, pedal, dashes, bracket, scordatura,
// pizzicato, barline and sound. Beams are computed from the meter in measures
// whose notes have none. What cannot be written is an error.
//
// The score must keep the rules of package score: notes in order, measures one
// after the other, Quarter large enough that all is whole.
func Encode(w io.Writer, s *score.Score) error {
	if s.Quarter < 1 || s.Quarter > MaxQuarter || len(s.Parts) == 0 {
		return fmt.Errorf("musicxml: a score needs 1 to %d ticks to a quarter and at least one part", MaxQuarter)
	}
	x := &xmlWriter{}
	x.raw(`<?xml version="1.0" encoding="UTF-8"?>` + "\n")
	x.raw(`<!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" "http://www.musicxml.org/dtds/partwise.dtd">`)
	x.open("score-partwise", "version", "4.0")
	writeHeader(x, s)
	for i, p := range s.Parts {
		e := &partEncoder{x: x, s: s, p: p, id: partID(p, i)}
		if err := e.write(); err != nil {
			return err
		}
	}
	x.close("score-partwise")
	x.raw("\n")
	if _, err := w.Write(x.b.Bytes()); err != nil {
		return fmt.Errorf("musicxml: %w", err)
	}
	return nil
}

// xmlWriter writes elements, each on a line of its own.
type xmlWriter struct {
	b     bytes.Buffer
	depth int
}

func (x *xmlWriter) raw(s string) { x.b.WriteString(s) }

func (x *xmlWriter) line() {
	x.b.WriteByte('\n')
	for range x.depth {
		x.b.WriteString("  ")
	}
}

// tag writes <name a="b"; attrs come in pairs, those without a value are left out.
func (x *xmlWriter) tag(name string, attrs []string) {
	x.line()
	x.b.WriteString("<" + name)
	for i := 0; i+1 < len(attrs); i += 2 {
		if attrs[i+1] != "" {
			x.b.WriteString(" " + attrs[i] + `="`)
			escapeAttr(&x.b, attrs[i+1])
			x.b.WriteByte('"')
		}
	}
}

func (x *xmlWriter) open(name string, attrs ...string) {
	x.tag(name, attrs)
	x.b.WriteByte('>')
	x.depth++
}

func (x *xmlWriter) close(name string) {
	x.depth--
	x.line()
	x.b.WriteString("</" + name + ">")
}

func (x *xmlWriter) empty(name string, attrs ...string) {
	x.tag(name, attrs)
	x.b.WriteString("/>")
}

func (x *xmlWriter) text(name, text string, attrs ...string) {
	x.tag(name, attrs)
	x.b.WriteByte('>')
	escapeAttr(&x.b, text)
	x.b.WriteString("</" + name + ">")
}

// opt writes an element only where it has text.
func (x *xmlWriter) opt(name, text string, attrs ...string) {
	if text != "" {
		x.text(name, text, attrs...)
	}
}

func (x *xmlWriter) int(name string, v int) { x.text(name, strconv.Itoa(v)) }

// partID is the part's own id where it can be one in XML, else "P1", "P2", ….
func partID(p *score.Part, i int) string {
	if p.ID != "" && !strings.ContainsFunc(p.ID, func(r rune) bool { return r >= 0x80 || !nameByte[byte(r)] || r == ':' }) &&
		!strings.ContainsAny(p.ID[:1], "0123456789-.") {
		return p.ID
	}
	return fmt.Sprintf("P%d", i+1)
}

func writeHeader(x *xmlWriter, s *score.Score) {
	if s.Work != "" {
		x.open("work")
		x.text("work-title", s.Work)
		x.close("work")
	}
	x.opt("movement-number", s.Number)
	if s.Title != s.Work {
		x.opt("movement-title", s.Title)
	}
	x.open("identification")
	x.opt("creator", s.Composer, "type", "composer")
	x.opt("rights", s.Rights)
	x.open("encoding")
	x.text("software", "pochette")
	x.close("encoding")
	x.close("identification")
	x.open("part-list")
	for i, p := range s.Parts {
		id := partID(p, i)
		x.open("score-part", "id", id)
		x.text("part-name", p.Name)
		x.opt("part-abbreviation", p.Abbreviation)
		if p.Instrument != "" || p.Sound != "" || p.Program > 0 {
			x.open("score-instrument", "id", id+"-I1")
			x.text("instrument-name", p.Instrument)
			x.opt("instrument-sound", p.Sound)
			x.close("score-instrument")
		}
		if p.Program > 0 {
			x.open("midi-instrument", "id", id+"-I1")
			x.int("midi-program", p.Program)
			x.close("midi-instrument")
		}
		x.close("score-part")
	}
	x.close("part-list")
}

// partEncoder writes one part.
type partEncoder struct {
	x     *xmlWriter
	s     *score.Score
	p     *score.Part
	id    string
	ranks map[string]int // of voices, as they first appear
	slurs map[score.NoteID][]slurEnd
	moved pitch.Interval // transposition, one for the part
	pos   score.Tick     // in the part
	meter score.Meter
	key   score.Key
	clefs map[int]score.Clef
}

type slurEnd struct {
	number    int
	start     bool
	placement string
}

func (e *partEncoder) write() error {
	e.ranks, e.clefs = voiceRanks(e.p.Notes), map[int]score.Clef{}
	if err := e.prepare(); err != nil {
		return err
	}
	e.x.open("part", "id", e.id)
	next := 0
	for i := range e.p.Measures {
		from := next
		for next < len(e.p.Notes) && e.p.Notes[next].Measure == i {
			next++
		}
		if err := e.measure(&e.p.Measures[i], e.p.Notes[from:next]); err != nil {
			return err
		}
	}
	if next != len(e.p.Notes) {
		return fmt.Errorf("musicxml: part %s: note %d stands in measure index %d, which is out of order", e.id, next, e.p.Notes[next].Measure)
	}
	e.x.close("part")
	return nil
}

// prepare finds voices, transposition and slur numbers.
func (e *partEncoder) prepare() error {
	pitched := false
	for i := range e.p.Notes {
		n := &e.p.Notes[i]
		if n.Rest || n.Unpitched {
			continue
		}
		iv := pitch.Between(n.Written, n.Sounding)
		if pitched && iv != e.moved {
			return fmt.Errorf("musicxml: part %s: a transposition that changes inside the part cannot be written", e.id)
		}
		e.moved, pitched = iv, true
	}
	e.slurs = map[score.NoteID][]slurEnd{}
	var placed []score.Slur
	for _, s := range e.p.Slurs {
		if s.Start < 0 || s.End <= s.Start || int(s.End) >= len(e.p.Notes) {
			return fmt.Errorf("musicxml: part %s: a slur from note %d to note %d is none", e.id, s.Start, s.End)
		}
		if s.Number < 1 || s.Number > 16 {
			if s.Number = freeNumber(e.p, s, placed, nil); s.Number == 0 {
				return fmt.Errorf("musicxml: part %s: more slurs at one time than MusicXML can number (16)", e.id)
			}
		}
		placed = append(placed, s)
		e.slurs[s.Start] = append(e.slurs[s.Start], slurEnd{s.Number, true, s.Placement})
		e.slurs[s.End] = append(e.slurs[s.End], slurEnd{s.Number, false, ""})
	}
	return nil
}

// voiceRanks orders the voices so that the notes, read back, come in the order
// they have: by the measure in which a voice first has a note, then as notes of
// one onset stand, then as they come.
func voiceRanks(notes []score.Note) map[string]int {
	var voices []string
	first := map[string]int{}
	before := map[[2]string]bool{}
	for i := range notes {
		n := &notes[i]
		if !has(first, n.Voice) {
			first[n.Voice] = n.Measure
			voices = append(voices, n.Voice)
		}
		for k := i - 1; k >= 0 && notes[k].Measure == n.Measure && notes[k].Onset == n.Onset && notes[k].Grace == n.Grace; k-- {
			if v := notes[k].Voice; v != n.Voice && !before[[2]string{n.Voice, v}] {
				before[[2]string{v, n.Voice}] = true
			}
		}
	}
	for i := range voices { // insertion sort, as the order may be partial
		for k := i; k > 0; k-- {
			a, b := voices[k-1], voices[k]
			if first[a] < first[b] || first[a] == first[b] && !before[[2]string{b, a}] {
				break
			}
			voices[k-1], voices[k] = b, a
		}
	}
	ranks := map[string]int{}
	for i, v := range voices {
		ranks[v] = i
	}
	return ranks
}

func yes(b bool) string {
	if b {
		return "yes"
	}
	return ""
}

// measure writes one bar: attributes and left bar line, then voice by voice in
// time order, directions and inner changes with the first voice.
func (e *partEncoder) measure(m *score.Measure, notes []score.Note) error {
	x := e.x
	x.open("measure", "number", m.Number, "implicit", yes(m.Implicit))
	if m.NewSystem {
		x.empty("print", "new-system", "yes")
	}
	e.pos = m.Start
	inner := e.attributes(m)
	e.leftBar(m)
	j := m.Jump
	if j.Segno != "" || j.Coda != "" {
		x.empty("sound", "segno", j.Segno, "coda", j.Coda)
	}
	beams := beamsOf(e.s, m, notes)
	things, err := e.events(m, inner, notes, beams)
	if err != nil {
		return err
	}
	for _, t := range things {
		e.goTo(t.at)
		if err := t.write(); err != nil {
			return err
		}
	}
	e.goTo(m.Start + m.Len)
	if j.DaCapo || j.Fine || j.DalSegno != "" || j.ToCoda != "" {
		x.empty("sound", "dacapo", yes(j.DaCapo), "dalsegno", j.DalSegno, "tocoda", j.ToCoda, "fine", yes(j.Fine))
	}
	e.rightBar(m)
	x.close("measure")
	return nil
}

// event is something written at a place in the measure.
type event struct {
	at          score.Tick
	voice, kind int // kinds at one time: 0 attributes, 1 direction, 2 grace, 3 note
	write       func() error
}

func (e *partEncoder) events(m *score.Measure, inner []event, notes []score.Note, beams [][]string) ([]event, error) {
	list := inner
	for i := range e.p.Directions {
		d := &e.p.Directions[i]
		if d.Measure == m.Index {
			list = append(list, event{d.At, 0, 1, func() error { return e.direction(d) }})
		}
	}
	ranks := map[string]int{}
	for i := range notes {
		if v := notes[i].Voice; !has(ranks, v) {
			ranks[v] = e.ranks[v]
		}
	}
	first := len(e.ranks)
	for _, r := range ranks {
		first = min(first, r)
	}
	for i := range notes {
		n := &notes[i]
		if n.Onset < m.Start || n.End() > m.Start+m.Len {
			return nil, fmt.Errorf("musicxml: part %s, measure %s: a note lies outside its measure", e.id, m.Number)
		}
		if n.Chord {
			continue
		}
		kind := 3
		if n.Grace {
			kind = 2
		}
		chord := notes[i : i+1]
		for k := i + 1; k < len(notes) && notes[k].Chord && notes[k].Head == n.ID; k++ {
			chord = notes[i : k+1]
		}
		from := i
		list = append(list, event{n.Onset, ranks[n.Voice] - first, kind, func() error {
			for k := range chord {
				if err := e.note(&chord[k], beams[from+k]); err != nil {
					return err
				}
			}
			e.pos = chord[0].End()
			return nil
		}})
	}
	slices.SortStableFunc(list, func(a, b event) int {
		return cmp.Or(cmp.Compare(a.voice, b.voice), cmp.Compare(a.at, b.at), cmp.Compare(a.kind, b.kind))
	})
	return list, nil
}

func has(m map[string]int, k string) bool { _, ok := m[k]; return ok }

// goTo writes <forward> or <backup> to a place.
func (e *partEncoder) goTo(t score.Tick) {
	name, by := "forward", t-e.pos
	if by < 0 {
		name, by = "backup", -by
	}
	if by != 0 {
		e.x.open(name)
		e.x.text("duration", strconv.FormatInt(int64(by), 10))
		e.x.close(name)
	}
	e.pos = t
}

// attributes writes what changes at the start of the measure and gives what
// changes inside.
func (e *partEncoder) attributes(m *score.Measure) []event {
	var inner []event
	key, keys := m.Key, []score.Key{}
	if key.At = 0; m.Index == 0 || key != e.key {
		keys = append(keys, m.Key)
	}
	e.key = key
	for _, k := range m.Keys {
		if k.At > m.Start {
			inner = append(inner, event{k.At, 0, 0, func() error { e.keyAlone(k); return nil }})
		} else {
			keys = append(keys, k)
		}
		if k.At = 0; k.Staff <= 1 {
			e.key = k
		}
	}
	var clefs []score.Clef
	for _, c := range m.Clefs {
		at := c.At
		if c.At = 0; at > m.Start {
			inner = append(inner, event{at, 0, 0, func() error {
				e.x.open("attributes")
				e.clef(c)
				e.x.close("attributes")
				return nil
			}})
		} else if old, ok := e.clefs[c.Staff]; !ok || old != c {
			clefs = append(clefs, c)
		}
		e.clefs[c.Staff] = c
	}
	e.startAttributes(m, keys, clefs)
	return inner
}

func (e *partEncoder) startAttributes(m *score.Measure, keys []score.Key, clefs []score.Clef) {
	x, first := e.x, m.Index == 0
	meter := !sameMeter(m.Meter, e.meter) && (m.Meter.Beats != "" || m.Meter.Symbol != "" || !first)
	e.meter = m.Meter
	if !first && !meter && len(keys) == 0 && len(clefs) == 0 {
		return
	}
	x.open("attributes")
	if first {
		x.text("divisions", strconv.FormatInt(int64(e.s.Quarter), 10))
	}
	for _, k := range keys {
		e.writeKey(k)
	}
	if meter {
		e.writeMeter(m.Meter)
	}
	if first && e.p.Staves > 1 {
		x.int("staves", e.p.Staves)
	}
	for _, c := range clefs {
		e.clef(c)
	}
	if first && e.moved != (pitch.Interval{}) {
		x.open("transpose")
		x.int("diatonic", e.moved.Diatonic)
		x.int("chromatic", e.moved.Chromatic)
		x.close("transpose")
	}
	x.close("attributes")
}

func sameMeter(a, b score.Meter) bool {
	return a.Beats == b.Beats && a.Unit == b.Unit && a.Symbol == b.Symbol
}

func (e *partEncoder) keyAlone(k score.Key) {
	e.x.open("attributes")
	e.writeKey(k)
	e.x.close("attributes")
}

func (e *partEncoder) writeKey(k score.Key) {
	number := ""
	if k.Staff > 0 {
		number = strconv.Itoa(k.Staff)
	}
	e.x.open("key", "number", number)
	e.x.int("fifths", k.Fifths)
	e.x.opt("mode", k.Mode)
	e.x.close("key")
}

func (e *partEncoder) writeMeter(m score.Meter) {
	e.x.open("time", "symbol", m.Symbol)
	beats, units := strings.Fields(m.Beats), strings.Fields(m.Unit)
	for i := range min(len(beats), len(units)) {
		e.x.text("beats", beats[i])
		e.x.text("beat-type", units[i])
	}
	if len(beats) == 0 {
		e.x.empty("senza-misura")
	}
	e.x.close("time")
}

func (e *partEncoder) clef(c score.Clef) {
	number := ""
	if e.p.Staves > 1 {
		number = strconv.Itoa(c.Staff)
	}
	e.x.open("clef", "number", number)
	e.x.text("sign", c.Sign)
	if c.Line > 0 {
		e.x.int("line", c.Line)
	}
	if c.OctaveChange != 0 {
		e.x.int("clef-octave-change", c.OctaveChange)
	}
	e.x.close("clef")
}

func endingText(nums []int) string {
	var s []string
	for _, n := range nums {
		s = append(s, strconv.Itoa(n))
	}
	return strings.Join(s, ", ")
}

func (e *partEncoder) leftBar(m *score.Measure) {
	if m.LeftBar == "" && !m.RepeatStart && !m.EndingStart {
		return
	}
	x := e.x
	x.open("barline", "location", "left")
	x.opt("bar-style", m.LeftBar)
	if m.EndingStart {
		x.empty("ending", "number", endingText(m.Endings), "type", "start")
	}
	if m.RepeatStart {
		x.empty("repeat", "direction", "forward")
	}
	x.close("barline")
}

func (e *partEncoder) rightBar(m *score.Measure) {
	if m.RightBar == "" && m.RepeatTimes == 0 && !m.EndingStop {
		return
	}
	x := e.x
	x.open("barline", "location", "right")
	x.opt("bar-style", m.RightBar)
	if m.EndingStop {
		x.empty("ending", "number", endingText(m.Endings), "type", "stop")
	}
	if m.RepeatTimes > 0 {
		times := ""
		if m.RepeatTimes != 2 {
			times = strconv.Itoa(m.RepeatTimes)
		}
		x.empty("repeat", "direction", "backward", "times", times, "after-jump", yes(m.Jump.ForwardRepeatRequired))
	}
	x.close("barline")
}
