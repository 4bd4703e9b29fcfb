package musicxml

import (
	"io"
	"slices"
	"sort"
	"strconv"
	"strings"

	"pochette/internal/score"
	"pochette/internal/timeline"
)

// Read opens and decodes a stream.
func Read(r io.Reader, name string) (*score.Score, []score.Finding, error) {
	src, err := OpenReader(r, name)
	if err != nil {
		return nil, nil, err
	}
	return Decode(src)
}

// Decode reads a document. What is odd in the music is a finding and reading
// goes on; an error says in one line what cannot be read at all. Spans in the
// score point into src.XML.
//
// Conventions: Note.Written is the <pitch> of the file (octave lines and
// octave clefs are counted in already, as the standard has it) and
// Note.Sounding that pitch after <transpose>. Measures of the same index have
// the same length in all parts. A mark that MusicXML builds from several
// elements or types is flattened as marks.go tells.
func Decode(src *Source) (*score.Score, []score.Finding, error) {
	q, exact, err := findQuarter(src)
	if err != nil {
		return nil, nil, err
	}
	d := &decoder{src: src, s: newScanner(src.Name, src.XML), f: newForest(), q: q, rounded: !exact,
		score: &score.Score{Quarter: score.Tick(q)}, byID: map[string]*partState{}}
	if !exact {
		d.note(finding{kind: "fine-time", grade: score.Caution, off: -1,
			text: "the file counts time more finely than can be kept exactly; onsets are rounded to " + strconv.Itoa(roundQuarter) + " parts of a quarter"})
	}
	if err := d.document(); err != nil {
		return nil, nil, err
	}
	for _, p := range d.score.Parts {
		timeline.FindRepeats(p)
	}
	return d.score, d.findings(), nil
}

type decoder struct {
	src     *Source
	s       *scanner
	f       *forest
	q       int64
	rounded bool
	score   *score.Score
	listed  []*partState // as the part list has them, later the unlisted ones
	byID    map[string]*partState
	notes   []finding // of the whole file
	lines   []int     // offsets of line ends, made when first asked for
	credits struct{ title, composer string }
	work    struct{ title, number string }
	move    struct{ title, number string }
}

// document walks from the root down to the measures.
func (d *decoder) document() error {
	for d.s.kind != tokStart {
		if err := d.s.next(); err != nil {
			return err
		}
	}
	switch root := string(d.s.tag); root {
	case "score-partwise":
		if err := d.each(func(name string) error {
			if name == "part" {
				return d.partwisePart()
			}
			return d.header(name)
		}); err != nil {
			return err
		}
	case "score-timewise":
		if err := d.each(func(name string) error {
			if name == "measure" {
				return d.timewiseMeasure()
			}
			return d.header(name)
		}); err != nil {
			return err
		}
	case "opus":
		return d.s.fail(d.s.start, "a collection (<opus>) of several scores: open one of the scores it names")
	case "container":
		return d.s.fail(d.s.start, "the container of an archive, not a score: open the .mxl file")
	default:
		return d.s.fail(d.s.start, "<%s> is not MusicXML, which begins with <score-partwise> or <score-timewise>: export the score as MusicXML", root)
	}
	for d.s.kind != tokEOF {
		if err := d.s.next(); err != nil {
			return err
		}
	}
	return d.finish()
}

// each calls visit with the name of every child element of the one the scanner
// stands on; visit must consume it.
func (d *decoder) each(visit func(name string) error) error {
	for {
		if err := d.s.next(); err != nil {
			return err
		}
		switch d.s.kind {
		case tokStart:
			if err := visit(d.f.intern(d.s.tag)); err != nil {
				return err
			}
		case tokEnd:
			return nil
		}
	}
}

// header reads what stands before the music.
func (d *decoder) header(name string) error {
	e, err := d.f.read(d.s)
	if err != nil {
		return err
	}
	sc := d.score
	switch name {
	case "work":
		d.work.title, d.work.number = e.child("work-title").text(), e.child("work-number").text()
	case "movement-title":
		d.move.title = e.text()
	case "movement-number":
		d.move.number = e.text()
	case "identification":
		for c := range e.children {
			switch {
			case c.name() == "creator" && (c.get("type") == "composer" || c.get("type") == ""):
				sc.Composer = join(sc.Composer, c.text(), "; ")
			case c.name() == "rights":
				sc.Rights = join(sc.Rights, c.text(), "; ")
			}
		}
	case "credit":
		d.credit(e)
	case "part-list":
		for c := range e.children {
			if c.name() == "score-part" {
				d.listPart(c)
			}
		}
	}
	return nil
}

func join(a, b, sep string) string {
	if a == "" || b == "" {
		return a + b
	}
	return a + sep + b
}

// credit keeps titles that stand only as text on the page.
func (d *decoder) credit(e elem) {
	var kind, words string
	for c := range e.children {
		switch c.name() {
		case "credit-type":
			kind = c.text()
		case "credit-words":
			words = join(words, c.text(), " ")
		}
	}
	switch kind {
	case "title":
		d.credits.title = join(d.credits.title, words, " ")
	case "composer":
		d.credits.composer = join(d.credits.composer, words, " ")
	}
}

func (d *decoder) listPart(e elem) {
	p := &score.Part{ID: e.get("id"), Name: e.child("part-name").text(), Abbreviation: e.child("part-abbreviation").text(), Staves: 1}
	if si := e.child("score-instrument"); si.ok() {
		p.Instrument, p.Sound = si.child("instrument-name").text(), si.child("instrument-sound").text()
	}
	if n, err := strconv.Atoi(e.child("midi-instrument").child("midi-program").text()); err == nil && n >= 1 && n <= 128 {
		p.Program = n
	}
	ps := d.addPart(p)
	if p.ID == "" {
		d.note(finding{kind: "part-without-id", grade: score.Caution, off: e.node().start,
			text: "a part in the part list has no id; it is taken for the part in the same place"})
		return
	}
	if d.byID[p.ID] != nil {
		d.note(finding{kind: "part-id-twice", grade: score.Caution, off: e.node().start, text: "two parts in the part list have the id " + p.ID})
		return
	}
	d.byID[p.ID] = ps
}

func (d *decoder) addPart(p *score.Part) *partState {
	ps := &partState{d: d, part: p}
	d.listed = append(d.listed, ps)
	return ps
}

// findPart is the part that <part id="…"> gives music to; off is where the tag
// begins.
func (d *decoder) findPart(id string, off int) *partState {
	if ps := d.byID[id]; ps != nil && id != "" {
		return ps
	}
	var ps *partState
	for _, l := range d.listed {
		if id == "" && l.part.ID == "" && !l.seen {
			ps = l
			break
		}
	}
	if ps == nil {
		ps = d.addPart(&score.Part{ID: id, Staves: 1})
		d.note(finding{kind: "part-not-listed", grade: score.Caution, off: off, text: "the part \"" + id + "\" is not in the part list"})
	}
	if id != "" {
		d.byID[id] = ps
	}
	return ps
}

// tagAttr is an attribute of the start tag the scanner stands on.
func (d *decoder) tagAttr(name string) string {
	for _, a := range d.s.attrs {
		if string(a.name) == name {
			return strings.TrimSpace(string(unescape(d.s.b[a.value.start:a.value.end])))
		}
	}
	return ""
}

func (d *decoder) partwisePart() error {
	ps := d.findPart(d.tagAttr("id"), d.s.start)
	if ps.seen {
		d.note(finding{kind: "part-twice", grade: score.Trouble, off: d.s.start, text: "the part \"" + ps.part.ID + "\" has music twice; the second is read on after the first"})
	}
	ps.seen = true
	return d.each(func(name string) error {
		if name != "measure" {
			_, err := d.f.read(d.s)
			return err
		}
		return ps.measure(d.measureTag())
	})
}

// timewiseMeasure reads one measure of all parts. A part that leaves measures
// out gets empty ones, so that indices agree.
func (d *decoder) timewiseMeasure() error {
	tag := d.measureTag()
	index := d.timewiseLen()
	return d.each(func(name string) error {
		if name != "part" {
			_, err := d.f.read(d.s)
			return err
		}
		ps := d.findPart(d.tagAttr("id"), d.s.start)
		ps.seen = true
		tag := tag
		tag.start = d.s.start
		for len(ps.part.Measures) < index {
			ps.emptyMeasure(tag)
		}
		return ps.measure(tag)
	})
}

func (d *decoder) timewiseLen() int {
	n := 0
	for _, ps := range d.listed {
		n = max(n, len(ps.part.Measures))
	}
	return n
}

// measureTag holds the attributes of <measure>.
type measureTag struct {
	number               string
	implicit, noncontrol bool
	start                int // of the element that will be the measure's Src
}

func (d *decoder) measureTag() measureTag {
	t := measureTag{number: d.tagAttr("text"), implicit: d.tagAttr("implicit") == "yes", noncontrol: d.tagAttr("non-controlling") == "yes", start: d.s.start}
	if t.number == "" {
		t.number = d.tagAttr("number")
	}
	return t
}

// finish brings the parts together after the last measure.
func (d *decoder) finish() error {
	sc := d.score
	sc.Title, sc.Work, sc.Number = d.move.title, d.work.title, d.move.number
	for _, t := range []string{d.work.title, d.credits.title} {
		if sc.Title == "" {
			sc.Title = t
		}
	}
	if sc.Number == "" {
		sc.Number = d.work.number
	}
	if sc.Composer == "" {
		sc.Composer = d.credits.composer
	}
	var full []*partState
	for _, ps := range d.listed {
		if len(ps.part.Measures) == 0 {
			d.note(finding{kind: "part-without-music", grade: score.Caution, off: -1, text: "the part list names the part \"" + ps.part.ID + "\", which has no measures"})
			continue
		}
		full = append(full, ps)
	}
	if len(full) == 0 {
		return d.s.fail(0, "the file holds no measure of music: export the score again")
	}
	d.listed = full
	d.alignMeasures()
	for _, ps := range d.listed {
		ps.settle()
		sc.Parts = append(sc.Parts, ps.part)
	}
	shareJumps(sc.Parts)
	return nil
}

// shareJumps gives the jumps of the first part that has any (da capo, coda and
// the like stand over the top staff only) to the parts of as many measures that
// have none: all play in one order.
func shareJumps(parts []*score.Part) {
	has := func(p *score.Part) bool {
		return slices.ContainsFunc(p.Measures, func(m score.Measure) bool { return m.Jump != score.Jump{} })
	}
	from := slices.IndexFunc(parts, has)
	if from < 0 {
		return
	}
	for _, p := range parts {
		if len(p.Measures) != len(parts[from].Measures) || has(p) {
			continue
		}
		for i := range p.Measures {
			p.Measures[i].Jump = parts[from].Measures[i].Jump
		}
	}
}

// alignMeasures gives measures of one index one length in all parts, unless a
// part says that its bar lines are its own.
func (d *decoder) alignMeasures() {
	for _, ps := range d.listed {
		if ps.noncontrol {
			return
		}
	}
	for i := 0; ; i++ {
		longest, holders := score.Tick(0), 0
		for _, ps := range d.listed {
			if i < len(ps.part.Measures) {
				holders++
				longest = max(longest, ps.part.Measures[i].Len)
			}
		}
		if holders == 0 {
			return
		}
		for _, ps := range d.listed {
			if i < len(ps.part.Measures) {
				ps.part.Measures[i].Len = longest
			}
		}
	}
}

// lineOf is line and column of an offset.
func (d *decoder) lineOf(off int) (line, col int) {
	if d.lines == nil {
		d.lines = []int{-1}
		for i, c := range d.src.XML {
			if c == '\n' {
				d.lines = append(d.lines, i)
			}
		}
	}
	line = sort.SearchInts(d.lines, off)
	from := d.lines[line-1] + 1
	_, col = position(d.src.XML[from:min(off, len(d.src.XML))], off-from)
	return line, col
}
