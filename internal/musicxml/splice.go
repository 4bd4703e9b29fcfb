package musicxml

import (
	"bytes"
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"pochette/internal/score"
)

// How added elements are recognised. MusicXML 4.0 gives <up-bow>, <fingering>
// and most of their like no id attribute, so each stretch of bytes that Splice
// adds stands between two comments, and a printed slur that was taken out is
// kept inside a third kind, with & and - escaped:
//
//	<!--pochette:add-->…<!--pochette:end-->
//	<!--pochette:cut <slur type="start" number="1"/>-->
//
// Comments change nothing for a schema or for another reader. White space that
// was added stands inside the pair, so taking all stretches out and putting all
// cuts back gives the source byte for byte (Strip). Stretches may nest: a marked
// file can be spliced again, where the marks that are in it count as printed.
const (
	addOpen  = "pochette:add"
	addClose = "pochette:end"
	cutOpen  = "pochette:cut "
)

var (
	cutEscape   = strings.NewReplacer("&", "&amp;", "-", "&#45;")
	cutUnescape = strings.NewReplacer("&amp;", "&", "&#45;", "-")
)

// edit replaces the bytes from off to end (equal for a pure insertion).
type edit struct {
	off, end int
	text     string
}

// applyEdits makes a copy of b with the edits, which must not overlap; those at
// one place come in the order they were made.
func applyEdits(b []byte, edits []edit) []byte {
	slices.SortStableFunc(edits, func(x, y edit) int { return cmp.Or(cmp.Compare(x.off, y.off), cmp.Compare(x.end, y.end)) })
	grow := 0
	for _, e := range edits {
		grow += len(e.text)
	}
	out := make([]byte, 0, len(b)+grow)
	at := 0
	for _, e := range edits {
		out = append(out, b[at:e.off]...)
		out = append(out, e.text...)
		at = e.end
	}
	return append(out, b[at:]...)
}

// Splice gives the bytes of the source with the marks put on the notes of part
// (which must be decoded from this source) and its slurs changed. Elements go
// where the schema wants them, indented as their neighbours. Nothing else
// changes, not the encoding either; only an .mxl comes back as plain XML.
//
// Marks may be of the kinds that stand in <technical> or <articulations> and
// have no parts of their own. A mark on a rest, a slur that starts where it ends
// or an index out of range is an error.
func Splice(src *Source, part *score.Part, marks []score.NoteMark, slurs []score.SlurChange) ([]byte, error) {
	sp := &splicer{src: src, part: part, f: newForest(), add: map[score.NoteID]*additions{}}
	for _, m := range marks {
		if err := sp.mark(m); err != nil {
			return nil, err
		}
	}
	if len(slurs) > 0 {
		if err := sp.changeSlurs(slurs); err != nil {
			return nil, err
		}
	}
	ids := make([]score.NoteID, 0, len(sp.add))
	for id := range sp.add {
		ids = append(ids, id)
	}
	slices.Sort(ids)
	for _, id := range ids {
		if err := sp.insert(id, sp.add[id]); err != nil {
			return nil, err
		}
	}
	return src.Bytes(applyEdits(src.XML, sp.edits)), nil
}

type splicer struct {
	src   *Source
	part  *score.Part
	f     *forest
	add   map[score.NoteID]*additions
	edits []edit
}

// additions are the elements to put on one note, by the element that holds
// them: "technical", "articulations", or "" for <notations> itself.
type additions struct {
	in    map[string][]string
	order []string
}

func (sp *splicer) errNote(id score.NoteID, format string, args ...any) error {
	n := &sp.part.Notes[id]
	return fmt.Errorf("musicxml: measure %s: %s", sp.part.Measures[n.Measure].Number, fmt.Sprintf(format, args...))
}

func (sp *splicer) put(id score.NoteID, holder, xml string) error {
	if id < 0 || int(id) >= len(sp.part.Notes) {
		return fmt.Errorf("musicxml: a mark on note %d of a part that has %d", id, len(sp.part.Notes))
	}
	if sp.part.Notes[id].Rest {
		return sp.errNote(id, "a mark cannot stand on a rest")
	}
	a := sp.add[id]
	if a == nil {
		a = &additions{in: map[string][]string{}}
		sp.add[id] = a
	}
	if a.in[holder] == nil {
		a.order = append(a.order, holder)
	}
	a.in[holder] = append(a.in[holder], xml)
	return nil
}

func (sp *splicer) mark(m score.NoteMark) error {
	holder := holderOf(m.Mark.Kind)
	xml, ok := markXML(m.Mark)
	if !ok || holder != "technical" && holder != "articulations" {
		return fmt.Errorf("musicxml: a mark of the kind %q cannot be added to a file", m.Mark.Kind)
	}
	return sp.put(m.Note, holder, xml)
}

// changeSlurs takes printed slurs out and puts new ones in, each with a number
// that no slur beside it has.
func (sp *splicer) changeSlurs(changes []score.SlurChange) error {
	gone := map[int]bool{}
	for _, c := range changes {
		for _, i := range c.Remove {
			if i < 0 || i >= len(sp.part.Slurs) {
				return fmt.Errorf("musicxml: slur %d of a part that has %d cannot be removed", i, len(sp.part.Slurs))
			}
			if gone[i] {
				continue
			}
			gone[i] = true
			if err := sp.cutSlur(&sp.part.Slurs[i]); err != nil {
				return err
			}
		}
	}
	loose, err := sp.looseNumbers(gone)
	if err != nil {
		return err
	}
	var kept []score.Slur
	for i, s := range sp.part.Slurs {
		if !gone[i] {
			kept = append(kept, s)
		}
	}
	for _, c := range changes {
		for _, s := range c.Add {
			if err := sp.addSlur(s, &kept, loose); err != nil {
				return err
			}
		}
	}
	return nil
}

func (sp *splicer) addSlur(s score.Slur, kept *[]score.Slur, loose map[int]bool) error {
	n := score.NoteID(len(sp.part.Notes))
	if s.Start < 0 || s.End < 0 || s.Start >= n || s.End >= n || s.Start >= s.End || sp.part.Notes[s.Start].Head == sp.part.Notes[s.End].Head {
		return fmt.Errorf("musicxml: a slur from note %d to note %d is none", s.Start, s.End)
	}
	s.Number = freeNumber(sp.part, s, *kept, loose)
	if s.Number == 0 {
		return sp.errNote(s.Start, "more slurs at one time than MusicXML can number (16)")
	}
	*kept = append(*kept, s)
	start := fmt.Sprintf(`<slur number="%d"`, s.Number)
	if s.Placement == "above" || s.Placement == "below" {
		start += fmt.Sprintf(` placement="%s"`, s.Placement)
	}
	if err := sp.put(s.Start, "", start+` type="start"/>`); err != nil {
		return err
	}
	return sp.put(s.End, "", fmt.Sprintf(`<slur number="%d" type="stop"/>`, s.Number))
}

// freeNumber is the lowest slur number 1–16 (number-level) that no slur in
// others uses beside s, and that is not loose; 0 if there is none.
func freeNumber(p *score.Part, s score.Slur, others []score.Slur, loose map[int]bool) int {
	for n := 1; n <= 16; n++ {
		free := !loose[n]
		for i := range others {
			free = free && (others[i].Number != n || !beside(p, &s, &others[i]))
		}
		if free {
			return n
		}
	}
	return 0
}

// beside says that two slurs could be taken for each other if they had one
// number. In one voice the file has them in time order, so it is enough that
// they share no note; over several voices the file may have an end before its
// start, and they must share no measure.
func beside(p *score.Part, a, b *score.Slur) bool {
	v := p.Notes[a.Start].Voice
	if v == p.Notes[a.End].Voice && v == p.Notes[b.Start].Voice && v == p.Notes[b.End].Voice {
		return a.Start <= b.End && b.Start <= a.End
	}
	return p.Notes[a.Start].Measure <= p.Notes[b.End].Measure && p.Notes[b.Start].Measure <= p.Notes[a.End].Measure
}

// noteElem reads the element of a note again.
func (sp *splicer) noteElem(id score.NoteID) (elem, error) {
	n := sp.part.Notes[id].Src
	xml := sp.src.XML
	if n.Start < 0 || n.End > int64(len(xml)) || n.Start >= n.End || !bytes.HasPrefix(xml[n.Start:n.End], []byte("<note")) {
		return elem{}, sp.errNote(id, "the note was not read from %s", sp.src.Name)
	}
	s := newScanner(sp.src.Name, xml[:n.End])
	s.pos = int(n.Start)
	if err := s.next(); err != nil {
		return elem{}, err
	}
	return sp.f.read(s)
}

// cutSlur takes out both ends of a slur and what continues it in between.
func (sp *splicer) cutSlur(s *score.Slur) error {
	for _, end := range []score.Span{s.StartSrc, s.EndSrc} {
		if end.Start < 0 || end.End > int64(len(sp.src.XML)) || !bytes.HasPrefix(sp.src.XML[end.Start:max(end.Start, end.End)], []byte("<slur")) {
			return sp.errNote(s.Start, "the slur was not read from %s", sp.src.Name)
		}
		sp.cut(span{int(end.Start), int(end.End)})
	}
	for id := s.Start + 1; id < s.End; id++ {
		if !sp.mentionsSlur(id, "continue") {
			continue
		}
		e, err := sp.noteElem(id)
		if err != nil {
			return err
		}
		for c := range slursOf(e) {
			if c.get("type") == "continue" && slurNumber(c) == s.Number {
				sp.cut(c.span())
			}
		}
	}
	return nil
}

func (sp *splicer) cut(at span) {
	e := edit{at.start, at.end, "<!--" + cutOpen + cutEscape.Replace(string(sp.src.XML[at.start:at.end])) + "-->"}
	if !slices.Contains(sp.edits, e) {
		sp.edits = append(sp.edits, e)
	}
}

// mentionsSlur is a quick look whether a note may hold a slur element with word.
func (sp *splicer) mentionsSlur(id score.NoteID, word string) bool {
	n := sp.part.Notes[id].Src
	if n.Start < 0 || n.End > int64(len(sp.src.XML)) || n.Start > n.End {
		return false
	}
	b := sp.src.XML[n.Start:n.End]
	return bytes.Contains(b, []byte("<slur")) && bytes.Contains(b, []byte(word))
}

// looseNumbers are the numbers of slur ends in the file that belong to no slur;
// an added slur keeps away from them, or they might pair up with it.
func (sp *splicer) looseNumbers(gone map[int]bool) (map[int]bool, error) {
	bound := map[int64]bool{}
	for _, s := range sp.part.Slurs {
		bound[s.StartSrc.Start], bound[s.EndSrc.Start] = true, true
	}
	loose := map[int]bool{}
	for id := range sp.part.Notes {
		if !sp.mentionsSlur(score.NoteID(id), "") {
			continue
		}
		e, err := sp.noteElem(score.NoteID(id))
		if err != nil {
			return nil, err
		}
		for c := range slursOf(e) {
			if !bound[int64(c.node().start)] && c.get("type") != "continue" {
				loose[slurNumber(c)] = true
			}
		}
	}
	return loose, nil
}

// slursOf walks the slur elements of a note.
func slursOf(note elem) func(yield func(elem) bool) {
	return func(yield func(elem) bool) {
		for n := range note.children {
			if n.name() != "notations" {
				continue
			}
			for c := range n.children {
				if c.name() == "slur" && !yield(c) {
					return
				}
			}
		}
	}
}

func slurNumber(e elem) int {
	n, err := strconv.Atoi(e.get("number"))
	if err != nil {
		return 1
	}
	return n
}

// insert makes the edits that put a's elements on a note. It only ever inserts:
// beside an empty <technical/> or <notations/> it puts a second one.
func (sp *splicer) insert(id score.NoteID, a *additions) error {
	note, err := sp.noteElem(id)
	if err != nil {
		return err
	}
	if note.node().selfClosed {
		return sp.errNote(id, "an empty <note/> cannot carry a mark")
	}
	xml := sp.src.XML
	unit := indentUnit(xml, note)
	notations := openChild(note, "notations", a.order)
	if !notations.ok() {
		at, indent := slot(xml, note, unit, func(name string) bool { return name == "lyric" || name == "play" || name == "listen" })
		body := block("notations", indent, unit, sp.blocks(a, a.order, deeper(indent, unit), unit))
		sp.addAt(at, indent+body)
		return nil
	}
	var fresh []string // holders that <notations> does not have yet
	for _, holder := range a.order {
		if h := openChild(notations, holder, nil); holder != "" && h.ok() {
			at, indent := slot(xml, h, unit, nil)
			sp.addAt(at, indent+strings.Join(a.in[holder], indent))
			continue
		}
		fresh = append(fresh, holder)
	}
	if len(fresh) > 0 {
		at, indent := slot(xml, notations, unit, nil)
		sp.addAt(at, indent+strings.Join(sp.blocks(a, fresh, indent, unit), indent))
	}
	return nil
}

func (sp *splicer) addAt(at int, text string) {
	sp.edits = append(sp.edits, edit{at, at, "<!--" + addOpen + "-->" + text + "<!--" + addClose + "-->"})
}

// blocks are the children of <notations> for the holders given.
func (sp *splicer) blocks(a *additions, holders []string, indent, unit string) []string {
	var out []string
	for _, h := range holders {
		if h == "" {
			out = append(out, a.in[h]...)
		} else {
			out = append(out, block(h, indent, unit, a.in[h]))
		}
	}
	return out
}

// block is an element with children, each on a line of its own where the file
// is written in lines. indent is the white space before the element.
func block(name, indent, unit string, children []string) string {
	in := deeper(indent, unit)
	return "<" + name + ">" + in + strings.Join(children, in) + indent + "</" + name + ">"
}

func deeper(indent, unit string) string {
	if indent == "" {
		return ""
	}
	return indent + unit
}

// openChild is a child that elements can be put into: not written <x/>. Of
// several the first that has one of the holders wanted, else the last.
func openChild(e elem, name string, holders []string) elem {
	var best elem
	for c := range e.children {
		if name == "" || c.name() != name || c.node().selfClosed {
			continue
		}
		best = c
		for _, h := range holders {
			if openChild(c, h, nil).ok() {
				return c
			}
		}
	}
	return best
}

// slot is the offset in e where a new last child goes (before the first child
// that must stay behind it), and the white space to put before it: a line break
// and the indentation of its neighbour, or nothing in a file without lines.
func slot(xml []byte, e elem, unit string, behind func(name string) bool) (at int, indent string) {
	at = e.node().inner.start
	var prev elem
	for c := range e.children {
		if behind != nil && behind(c.name()) {
			break
		}
		prev = c
	}
	if prev.ok() {
		return prev.node().end, indentBefore(xml, prev.node().start)
	}
	return at, deeper(indentBefore(xml, e.node().start), unit)
}

// indentBefore is the line break and white space right before off, "" if off is
// not the first thing in its line.
func indentBefore(xml []byte, off int) string {
	from := blankBefore(xml, off)
	nl := bytes.LastIndexByte(xml[from:off], '\n')
	if nl < 0 {
		return ""
	}
	nl += from
	if nl > from && xml[nl-1] == '\r' {
		nl--
	}
	return string(xml[nl:off])
}

// indentUnit is how much deeper children stand than the note.
func indentUnit(xml []byte, note elem) string {
	outer := indentBefore(xml, note.node().start)
	for c := range note.children {
		if inner := indentBefore(xml, c.node().start); strings.HasPrefix(inner, outer) && len(inner) > len(outer) {
			return inner[len(outer):]
		}
	}
	return ""
}

// Added counts the stretches that Splice has put into a file, in one run or several.
func Added(src *Source) int { return bytes.Count(src.XML, []byte("<!--"+addOpen+"-->")) }

// Strip takes everything out that Splice has put into a file, in one run or
// several, and puts back what it took out: the result is the source that was
// spliced first, byte for byte. data is plain XML in any encoding that Open reads.
func Strip(data []byte, name string) ([]byte, error) {
	src, err := Open(data, name)
	if err != nil {
		return nil, err
	}
	if !bytes.Contains(src.XML, []byte("<!--pochette:")) {
		return src.Bytes(src.XML), nil
	}
	var edits []edit
	var open []int // offsets of the stretches that are open
	s := newScanner(src.Name, src.XML)
	for {
		if err := s.next(); err != nil {
			return nil, err
		}
		if s.kind == tokEOF {
			break
		}
		if s.kind != tokComment {
			continue
		}
		switch text := string(src.XML[s.inner.start:s.inner.end]); {
		case text == addOpen:
			open = append(open, s.start)
		case text == addClose && len(open) == 0:
			return nil, s.fail(s.start, "an added stretch ends that never began: the marks of this file were edited by hand")
		case text == addClose:
			if len(open) == 1 {
				edits = append(edits, edit{off: open[0], end: s.end})
			}
			open = open[:len(open)-1]
		case strings.HasPrefix(text, cutOpen) && len(open) == 0:
			edits = append(edits, edit{s.start, s.end, cutUnescape.Replace(text[len(cutOpen):])})
		}
	}
	if len(open) > 0 {
		return nil, errAt(src.Name, src.XML, open[0], "an added stretch begins that never ends: the marks of this file were edited by hand")
	}
	return src.Bytes(applyEdits(src.XML, edits)), nil
}
