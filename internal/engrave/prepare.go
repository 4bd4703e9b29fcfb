package engrave

import (
	"cmp"
	"encoding/xml"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"slices"
	"strconv"
	"strings"
)

// maxDepth is the deepest nesting of elements accepted; MusicXML needs about ten.
const maxDepth = 100

// mark separates, inside the text of one fingering, the finger from the string numeral
// that is drawn above it. It is a private-use character that no font draws.
const mark = "\ue100"

// thumbSign stands for the thumb position: the small Greek koppa, whose form is that of
// the printed sign (a ring on a stem) and which text fonts have.
const thumbSign = "\u03d9"

// prepared is a score ready for the engraver: a copy of the source in which each note
// has at most one fingering element, since the engraver draws only the first.
type prepared struct {
	xml     string
	heading heading
	sum     uint32 // a checksum of the source
	// stacked says that fingerings hold the mark and must be split once read.
	stacked bool
}

// heading is what a score says about itself, for the top of the first page.
type heading struct {
	work, movement, number string // titles and the number of the movement
	part                   string // the name of the only part; "" when there are several
	people                 []person
}

type person struct{ role, name string }

// extent is a range of bytes of the source.
type extent struct{ from, to int64 }

type edit struct {
	extent
	text string
}

type fingering struct {
	extent
	text      string
	alternate bool
}

// notedNote is what prepare keeps of a note.
type notedNote struct {
	chord, fret  bool
	rest         bool
	from, to     float64 // quarters of the measure, from its beginning
	voice, staff string
	fingerings   []fingering
	strings      []fingering // text is the number
	thumbs, open []extent
	bows         []int64 // where the name of a bow sign without placement ends
	placement    string
	modified
}

// preparer walks the source once.
type preparer struct {
	source  string
	dec     *xml.Decoder
	out     prepared
	path    []string
	text    strings.Builder // character data of the element at hand
	note    *notedNote
	notes   []*notedNote // of the measure
	stretch int          // backup and forward elements passed in the measure
	at      float64      // where the next note begins, quarters from the beginning of the measure
	quarter float64      // divisions of a quarter
	attrs   []xml.Attr   // of the element at hand
	from    int64        // where the element at hand begins
	edits   []edit

	parts   int    // in the part list
	partID  string // of the last of them
	names   []edit // the contents of part-name elements
	noID    []edit // part elements without an id
	credit  int64  // where the credit at hand begins
	list    int64  // where the part list begins; 0 before it
	opening int64  // where the first measure of the part at hand has its content; 0 after it
	told    bool   // that measure has attributes
}

// prepare looks a score over and makes the engraver's copy of it. It says in one line
// where the XML is broken, and refuses what is no score-partwise.
func prepare(text string) (prepared, error) {
	p := &preparer{source: text, dec: xml.NewDecoder(strings.NewReader(text))}
	p.dec.CharsetReader = func(_ string, r io.Reader) (io.Reader, error) { return r, nil } // it is UTF-8 by now
	p.dec.Entity = nil
	for {
		from := p.dec.InputOffset()
		token, err := p.dec.RawToken()
		if errors.Is(err, io.EOF) {
			break
		}
		if err == nil {
			err = p.token(token, from)
		}
		if err != nil {
			return prepared{}, fmt.Errorf("engrave: the score cannot be read: %w", shortened(err))
		}
	}
	line, _ := p.dec.InputPos()
	switch {
	case len(p.path) > 0:
		return prepared{}, fmt.Errorf("engrave: the score is cut off: it ends on line %d inside <%s>", line, p.path[len(p.path)-1])
	case p.parts == 0:
		return prepared{}, errors.New("engrave: the score has no part")
	}
	if p.parts == 1 { // a lone part has its name in the heading, not before the staff
		p.edits = append(p.edits, p.names...)
		if len(p.noID) == 1 {
			p.edits = append(p.edits, p.noID...)
		}
	} else {
		p.out.heading.part = ""
	}
	if p.list > 0 {
		p.edits = append(p.edits, edit{extent{p.list, p.list}, p.out.heading.standIn()})
	}
	p.out.xml = splice(text, p.edits)
	p.out.sum = crc32.ChecksumIEEE([]byte(text))
	return p.out, nil
}

func (p *preparer) token(token xml.Token, from int64) error {
	switch t := token.(type) {
	case xml.StartElement:
		if len(p.path) == 0 {
			if err := checkRoot(t.Name.Local); err != nil {
				return err
			}
		}
		if len(p.path) == maxDepth {
			line, _ := p.dec.InputPos()
			return fmt.Errorf("line %d: elements are nested more than %d deep", line, maxDepth)
		}
		p.path = append(p.path, t.Name.Local)
		p.text.Reset()
		p.attrs, p.from = t.Attr, from
		p.start(t.Name.Local)
	case xml.EndElement:
		if n := len(p.path); n == 0 || p.path[n-1] != t.Name.Local {
			line, _ := p.dec.InputPos()
			return fmt.Errorf("line %d: </%s> ends nothing that is open", line, t.Name.Local)
		}
		p.end(t.Name.Local, from)
		p.path = p.path[:len(p.path)-1]
	case xml.CharData:
		if len(p.path) == 0 && strings.TrimSpace(string(t)) != "" {
			return errors.New("it is not XML: there is text outside the outermost element")
		}
		p.text.Write(t)
	}
	return nil
}

func checkRoot(name string) error {
	switch name {
	case "score-partwise":
		return nil
	case "score-timewise":
		return errors.New("it is a score-timewise; convert it to score-partwise first")
	}
	return fmt.Errorf("its outermost element is <%s>, not <score-partwise>", name)
}

func (p *preparer) parent() string {
	if n := len(p.path); n > 1 {
		return p.path[n-2]
	}
	return ""
}

func (p *preparer) start(name string) {
	switch name {
	case "credit":
		p.credit = p.from
	case "part-list":
		if p.list == 0 && len(p.path) == 2 {
			p.list = p.from
		}
	case "score-part":
		p.parts++
		p.partID = p.attr("id")
	case "part":
		p.opening, p.told, p.quarter = -1, false, 1
		if p.partID != "" && p.attr("id") == "" {
			at := p.from + int64(len("<part"))
			p.noID = append(p.noID, edit{extent{at, at}, ` id="` + escape(p.partID) + `"`})
		}
	case "measure":
		p.notes, p.stretch, p.at = p.notes[:0], 0, 0
		if p.opening < 0 {
			p.opening = p.dec.InputOffset()
		}
	case "attributes":
		p.told = true
	case "note":
		p.note = &notedNote{voice: "1", staff: "1"}
		p.note.stretch = p.stretch
	case "backup", "forward":
		p.stretch++
	case "repeat":
		p.boundRepeat()
	case "rest", "grace", "tremolo", "tuplet", "up-bow", "down-bow":
		if p.note != nil {
			p.startInNote(name)
		}
	}
}

// mostTimes is how often the engraver is told to repeat: it writes the music out so
// often, which no drawing shows.
const mostTimes = 4

// boundRepeat takes the count out of a repeat that is to be played more often.
func (p *preparer) boundRepeat() {
	n, err := strconv.Atoi(strings.TrimSpace(p.attr("times")))
	if p.attr("times") != "" && (err != nil || n > mostTimes) {
		p.edits = append(p.edits, edit{extent{p.from, p.dec.InputOffset()}, p.tagWithout("times")})
	}
}

// tagWithout is the start tag at hand without one of its attributes; an empty element
// stays empty.
func (p *preparer) tagWithout(name string) string {
	var b strings.Builder
	b.WriteString("<" + p.path[len(p.path)-1])
	for _, a := range p.attrs {
		if a.Name.Local != name {
			b.WriteString(" ")
			if a.Name.Space != "" {
				b.WriteString(a.Name.Space + ":")
			}
			b.WriteString(a.Name.Local + `="` + escape(a.Value) + `"`)
		}
	}
	if p.dec.InputOffset() >= 2 && p.source[p.dec.InputOffset()-2] == '/' {
		b.WriteString("/")
	}
	return b.String() + ">"
}

func (p *preparer) startInNote(name string) {
	switch kind := p.attr("type"); {
	case name == "rest":
		p.note.rest = true
	case name == "grace":
		p.note.grace = true
	case name == "up-bow", name == "down-bow":
		if p.attr("placement") == "" {
			p.note.bows = append(p.note.bows, p.from+int64(len("<"+name)))
		}
	case name == "tremolo":
		p.note.tremolo = p.note.tremolo || kind == "start" || kind == "stop"
	case kind == "start":
		p.note.starts++
	case kind == "stop":
		p.note.stops++
	}
}

// end handles an element whose end tag begins at the offset at.
func (p *preparer) end(name string, at int64) {
	whole := extent{p.from, p.dec.InputOffset()}
	text := strings.TrimSpace(p.text.String())
	switch {
	case name == "measure":
		p.finishMeasure()
		p.tellTuplets()
		p.tellAttributes(at)
	case name == "note":
		if p.note != nil {
			p.note.end = at
			p.timed(p.note)
			p.notes = append(p.notes, p.note)
		}
		p.note = nil
	case p.note != nil:
		p.endInNote(name, text, whole)
	default:
		p.endInHead(name, text, at)
	}
}

func (p *preparer) endInNote(name, text string, whole extent) {
	n := p.note
	f := fingering{extent: whole, text: text, alternate: p.attr("alternate") == "yes"}
	switch name {
	case "duration":
		n.to, _ = strconv.ParseFloat(text, 64) // until the note ends, its length
	case "chord":
		n.chord = true
	case "voice":
		n.voice = text
	case "staff":
		n.staff = text
	case "type":
		n.kind = text
	case "dot":
		n.dots++
	case "actual-notes":
		n.actual = text
	case "normal-notes":
		n.normal = text
	case "fret":
		n.fret = true
	case "fingering":
		n.fingerings = append(n.fingerings, f)
		n.placement = cmp.Or(n.placement, p.attr("placement"))
	case "string":
		n.strings = append(n.strings, f)
	case "thumb-position":
		n.thumbs = append(n.thumbs, whole)
	case "open-string":
		n.open = append(n.open, whole)
	}
}

func (p *preparer) endInHead(name, text string, at int64) {
	h := &p.out.heading
	switch name {
	case "duration", "divisions":
		p.time(name, text)
	case "beats", "beat-type":
		p.boundMeter(text, at)
	case "credit":
		if len(p.path) == 2 {
			p.edits = append(p.edits, edit{extent{p.credit, p.dec.InputOffset()}, ""})
		}
	case "work-title":
		h.work = text
	case "movement-title":
		h.movement = text
	case "movement-number":
		h.number = text
	case "creator":
		if text != "" {
			h.people = append(h.people, person{strings.ToLower(p.attr("type")), text})
		}
	case "part-name":
		if p.parent() == "score-part" && p.dec.InputOffset() > at { // else written <part-name/>
			h.part = text
			if len(p.attrs) == 0 {
				p.names = append(p.names, edit{extent{p.from + int64(len("<part-name>")), at}, ""})
			}
		}
	case "part-abbreviation":
		if p.parent() == "score-part" && p.dec.InputOffset() > at && len(p.attrs) == 0 {
			p.names = append(p.names, edit{extent{p.from + int64(len("<part-abbreviation>")), at}, ""})
		}
	}
}

// boundMeter puts a four where a meter has a zero or a number no meter has: the engraver
// divides by it. The reader of scores tells of it.
func (p *preparer) boundMeter(text string, at int64) {
	if n, err := strconv.Atoi(text); err == nil && (n < 1 || n > 1<<10) && p.parent() == "time" {
		start := p.from + int64(strings.IndexByte(p.source[p.from:], '>')) + 1
		if start <= at {
			p.edits = append(p.edits, edit{extent{start, at}, "4"})
		}
	}
}

// tellAttributes gives a part whose first measure has no attributes empty ones: the
// engraver draws nothing of such a part. The measure's end tag begins at the offset at.
func (p *preparer) tellAttributes(at int64) {
	if p.opening > 0 && !p.told && p.dec.InputOffset() > at {
		p.edits = append(p.edits, edit{extent{p.opening, p.opening}, "<attributes><divisions>1</divisions></attributes>"})
	}
	p.opening = 0
}

func (p *preparer) attr(name string) string {
	for _, a := range p.attrs {
		if a.Name.Local == name {
			return a.Value
		}
	}
	return ""
}

// time moves the place of the next note, where a backup or forward tells its duration.
func (p *preparer) time(name, text string) {
	v, err := strconv.ParseFloat(text, 64)
	switch {
	case err != nil || !(v > 0):
	case name == "divisions":
		p.quarter = v
	case p.parent() == "backup":
		p.at = max(p.at-v/p.quarter, 0)
	case p.parent() == "forward":
		p.at += v / p.quarter
	}
}

// timed says when a note sounds; a grace note takes no time, the notes of a chord begin
// with the first.
func (p *preparer) timed(n *notedNote) {
	length := max(n.to, 0) / p.quarter
	if n.from = p.at; n.chord && len(p.notes) > 0 {
		n.from = p.notes[len(p.notes)-1].from
	}
	n.to = n.from + length
	if !n.chord {
		p.at = n.to
	}
}

// beside says that another voice of its staff sounds with the note.
func (p *preparer) beside(n *notedNote) bool {
	const little = 1e-6
	return slices.ContainsFunc(p.notes, func(o *notedNote) bool {
		return o.staff == n.staff && o.voice != n.voice && !o.rest &&
			o.from < max(n.to, n.from+little)-little/2 && n.from < max(o.to, o.from+little)-little/2
	})
}

// finishMeasure edits the fingerings of a measure. Where a staff holds several voices,
// those under the first have their fingerings below while another sounds; the bow signs
// of all stand above it, since the engraver would turn those below over.
func (p *preparer) finishMeasure() {
	first := map[string]int{} // staff -> its lowest voice number
	for _, n := range p.notes {
		v, _ := strconv.Atoi(n.voice) // a voice that is no number counts as the first
		if low, ok := first[n.staff]; !ok || v < low {
			first[n.staff] = v
		}
	}
	for i, n := range p.notes {
		v, _ := strconv.Atoi(n.voice)
		inChord := n.chord || i+1 < len(p.notes) && p.notes[i+1].chord
		lower := v > first[n.staff]
		if lower {
			for _, at := range n.bows {
				p.edits = append(p.edits, edit{extent{at, at}, ` placement="above"`})
			}
		}
		switch {
		case !lower:
			p.finishNote(n, inChord, "")
		case p.beside(n):
			p.finishNote(n, inChord, "below")
		default:
			p.finishNote(n, inChord, "above")
		}
	}
}

// finishNote merges the finger, the thumb sign and the string of a note into one
// fingering element, to be placed as told where the source does not say. A note that is
// fine as it stands is left alone.
func (p *preparer) finishNote(n *notedNote, inChord bool, place string) {
	if n.fret { // tablature: the string is drawn as a line
		return
	}
	place = cmp.Or(n.placement, place)
	if len(n.fingerings) == 1 && n.fingerings[0].text == "0" { // both would say the same
		for _, open := range n.open {
			p.edits = append(p.edits, edit{open, ""})
		}
	}
	extra := len(n.strings) + len(n.thumbs)
	if len(n.fingerings)+extra == 0 || len(n.fingerings) == 1 && extra == 0 && place == n.placement {
		return
	}
	finger, numeral := n.fingerText(), n.numeral()
	text := finger
	switch {
	case numeral == "":
	case inChord: // stacked, the numerals of a chord could not be told apart
		text = strings.TrimSpace(finger + " " + numeral)
	default:
		text = finger + mark + numeral
		p.out.stacked = true
	}
	var places []extent
	for _, f := range slices.Concat(n.fingerings, n.strings) {
		places = append(places, f.extent)
	}
	places = append(places, n.thumbs...)
	slices.SortFunc(places, func(a, b extent) int { return cmp.Compare(a.from, b.from) })
	for i, at := range places {
		e := edit{extent: at}
		if i == 0 {
			e.text = fingeringElement(text, place)
		}
		p.edits = append(p.edits, e)
	}
}

// fingerText joins the fingers of a note: "2", a substitution "1-3", an alternative
// in brackets "2(3)"; the thumb by its sign.
func (n *notedNote) fingerText() string {
	var b strings.Builder
	if len(n.thumbs) > 0 {
		b.WriteString(thumbSign)
	}
	for _, f := range n.fingerings {
		switch {
		case f.text == "":
		case f.alternate:
			b.WriteString("(" + f.text + ")")
		case b.Len() > 0:
			b.WriteString("-" + f.text)
		default:
			b.WriteString(f.text)
		}
	}
	return b.String()
}

// numeral is the Roman numeral of the note's string, I for the highest, as players
// write it; a number beyond the four strings stays as it is.
func (n *notedNote) numeral() string {
	if len(n.strings) == 0 {
		return ""
	}
	text := n.strings[0].text
	if i, err := strconv.Atoi(text); err == nil && i >= 1 && i <= 4 {
		return []string{"I", "II", "III", "IV"}[i-1]
	}
	return text
}

func fingeringElement(text, place string) string {
	var b strings.Builder
	b.WriteString("<fingering")
	if place != "" {
		b.WriteString(` placement="` + escape(place) + `"`)
	}
	b.WriteString(">" + escape(text) + "</fingering>")
	return b.String()
}

// escape writes text for XML; a strings.Builder never fails.
func escape(text string) string {
	var b strings.Builder
	_ = xml.EscapeText(&b, []byte(text))
	return b.String()
}

// splice applies edits; of two that overlap, which only a score gone astray can bring
// about (a note inside a fingering), the first.
func splice(text string, edits []edit) string {
	if len(edits) == 0 {
		return text
	}
	slices.SortStableFunc(edits, func(a, b edit) int { return cmp.Compare(a.from, b.from) })
	var b strings.Builder
	b.Grow(len(text) + 32*len(edits))
	at := int64(0)
	for _, e := range edits {
		if e.from < at {
			continue
		}
		b.WriteString(text[at:e.from])
		b.WriteString(e.text)
		at = e.to
	}
	b.WriteString(text[at:])
	return b.String()
}
