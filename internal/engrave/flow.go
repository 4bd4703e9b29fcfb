package engrave

import (
	"cmp"
	"context"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strconv"
	"strings"
)

// Flow is a score cut into measures in the engraver's own form, so that one system
// can be drawn by itself, with marks added that the source has not: what a page of a
// screen needs when one mark has changed. Drawing a system costs what its measures
// cost, whatever the length of the score. A Flow is safe for concurrent use.
//
// Notes are named by the id attributes that the MusicXML gives them.
type Flow struct {
	pool     *Pool
	staves   string // <staffGrp> with the place of each staff's signs left open
	measures []flowMeasure
	notes    map[string]int // measure of each note that has an identifier
	spans    []spanner
	widths   []float64
	sum      uint32
}

// flowMeasure is one measure with what a system needs that begins with it.
type flowMeasure struct {
	text    string // <measure>…</measure>
	before  string // changes of signs that stand before it
	ending  string // the start tag of the ending around it, "" for none
	clef    map[string]string
	key     map[string]string
	meter   map[string]string
	changed bool    // a meter is printed before it
	count   float64 // beats of its meter, for times at its end
	points  map[string]point
	firstOf bool // it begins its ending
}

// point is where the element of a note stands in the text of its measure.
type point struct {
	inside int    // where children go in; 0 for an element without content
	tag    extent // the start tag
	name   string
	chord  string // identifier of the chord around the note, "" for none
}

// spanner is a line from one note to another: a slur, a tie, a wedge.
type spanner struct {
	measure, to int
	text        string // the element
	name        string
}

// Flow reads a score for drawing by systems.
func (p *Pool) Flow(ctx context.Context, musicxml []byte) (*Flow, error) {
	s, err := p.Session(ctx, musicxml)
	if err != nil {
		return nil, err
	}
	defer s.Close()
	f := &Flow{pool: p, notes: map[string]int{}, sum: s.source.sum}
	if err := f.cut(s.mei); err != nil {
		return nil, err
	}
	l := flat()
	l.FitWidth = true
	svgs, err := s.SVG(ctx, l)
	if err != nil {
		return nil, err
	}
	if f.widths, err = naturalWidths(svgs, l); err != nil {
		return nil, err
	}
	if len(f.widths) != len(f.measures) {
		return nil, fmt.Errorf("engrave: %d measures drawn of %d", len(f.widths), len(f.measures))
	}
	return f, nil
}

// Measures is how many measures the score has.
func (f *Flow) Measures() int { return len(f.measures) }

// Width is the natural width of a measure in staff spaces; that of the first holds
// clef and signatures too.
func (f *Flow) Width(measure int) float64 { return f.widths[measure] }

// Lead is about the width in staff spaces of clef and key at the start of a system:
// a clef is under three spaces wide, a sharp or flat about one (the metrics of the
// music fonts in SMuFL), and there is air around them.
func (f *Flow) Lead(measure int) float64 {
	signs := 0
	for _, k := range f.measures[measure].key {
		signs = max(signs, signCount(k))
	}
	return 5.5 + 1.1*float64(signs)
}

func signCount(key string) int {
	_, sig, ok := strings.Cut(key, ` sig="`)
	if !ok || sig == "" || sig[0] < '0' || sig[0] > '9' {
		return 0
	}
	return int(sig[0] - '0')
}

// Has says that a note of this identifier is in the score.
func (f *Flow) Has(note string) bool { _, ok := f.notes[note]; return ok }

// naturalWidths reads the width of each measure off a drawing in one line.
func naturalWidths(svgs []string, l Layout) ([]float64, error) {
	space := l.StaffHeight / 4 * 100
	var out []float64
	for _, svg := range svgs {
		for _, at := range drawnMeasure.FindAllStringIndex(svg, -1) {
			var from, y, to float64
			m := staffLine.FindString(svg[at[1]:])
			if _, err := fmt.Sscanf(m, `<path d="M%g %g L%g`, &from, &y, &to); err != nil {
				return nil, fmt.Errorf("engrave: the width of a measure: %w", err)
			}
			out = append(out, (to-from)/space)
		}
	}
	return out, nil
}

// flowCut walks the engraver's form once.
type flowCut struct {
	f       *Flow
	mei     string
	dec     *xml.Decoder
	path    []string
	starts  []int
	clef    map[string]string
	key     map[string]string
	meter   map[string]string
	count   float64
	staff   string
	ending  string
	inMusic bool // measures have begun
	begun   bool // the ending's first measure is still to come
	before  strings.Builder
	changed bool
	chord   string
	m       *flowMeasure
	from    int
	ends    map[int]string // spanner -> identifier of its end
}

func (f *Flow) cut(mei string) error {
	c := &flowCut{f: f, mei: mei, dec: xml.NewDecoder(strings.NewReader(mei)), clef: map[string]string{}, key: map[string]string{}, meter: map[string]string{}, count: 4, ends: map[int]string{}}
	for {
		from := int(c.dec.InputOffset())
		tok, err := c.dec.RawToken()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return fmt.Errorf("engrave: its own form of the score: %w", shortened(err))
		}
		to := int(c.dec.InputOffset())
		switch t := tok.(type) {
		case xml.StartElement:
			c.path, c.starts = append(c.path, t.Name.Local), append(c.starts, from)
			c.start(t, from, to)
		case xml.EndElement:
			c.end(t.Name.Local, to)
			c.path, c.starts = c.path[:len(c.path)-1], c.starts[:len(c.starts)-1]
		}
	}
	if len(f.measures) == 0 {
		return errors.New("engrave: the score has no measures to draw")
	}
	for i := range f.spans {
		f.spans[i].to = -1
		if m, ok := f.notes[c.ends[i]]; ok {
			f.spans[i].to = m
		}
	}
	return nil
}

func attrOf(t xml.StartElement, name string) string {
	for _, a := range t.Attr {
		if a.Name.Local == name {
			return a.Value
		}
	}
	return ""
}

func (c *flowCut) within(name string) bool { return slices.Contains(c.path[:len(c.path)-1], name) }

func (c *flowCut) start(t xml.StartElement, from, to int) {
	switch name := t.Name.Local; {
	case name == "staffDef" || name == "staff":
		c.staff = attrOf(t, "n")
	case name == "ending":
		c.ending, c.begun = c.mei[from:to], true
	case name == "measure":
		c.m = &flowMeasure{before: c.before.String(), ending: c.ending, clef: maps.Clone(c.clef), key: maps.Clone(c.key), meter: maps.Clone(c.meter),
			changed: c.changed, count: c.count, points: map[string]point{}, firstOf: c.begun}
		c.before.Reset()
		c.changed, c.begun, c.inMusic, c.from = false, false, true, from
	case c.m != nil:
		c.startInMeasure(t, from, to)
	}
}

func (c *flowCut) startInMeasure(t xml.StartElement, from, to int) {
	id := attrOf(t, "id")
	switch name := t.Name.Local; name {
	case "chord":
		c.chord = id
		c.m.points[id] = c.point(name, from, to)
	case "note", "rest":
		p := c.point(name, from, to)
		p.chord = c.chord
		c.m.points[id] = p
		c.f.notes[id] = len(c.f.measures)
	}
}

func (c *flowCut) point(name string, from, to int) point {
	p := point{tag: extent{int64(from - c.from), int64(to - c.from)}, name: name, inside: to - c.from}
	if strings.HasSuffix(c.mei[from:to], "/>") {
		p.inside = 0
	}
	return p
}

func (c *flowCut) end(name string, to int) {
	from := c.starts[len(c.starts)-1]
	text := c.mei[from:to]
	switch name {
	case "clef":
		c.clef[c.staff] = text
	case "keySig":
		c.sign(c.key, text)
	case "meterSig", "meterSigGrp":
		if name == "meterSig" && c.within("meterSigGrp") {
			break
		}
		c.sign(c.meter, text)
		c.changed = true
		if n, err := strconv.ParseFloat(valueOf(text, "count"), 64); err == nil {
			c.count = n
		}
	case "staffGrp":
		if !c.inMusic && !c.within("staffGrp") {
			c.f.staves = text
		}
	case "scoreDef":
		if c.inMusic && c.m == nil {
			c.before.WriteString(text)
		}
	case "ending":
		c.ending = ""
	case "chord":
		c.chord = ""
	case "measure":
		c.m.text = text
		c.f.measures = append(c.f.measures, *c.m)
		c.m = nil
	case "slur", "tie", "hairpin", "octave", "gliss", "trill", "lv", "phrase", "bracketSpan":
		if end := strings.TrimPrefix(valueOf(text, "endid"), "#"); c.m != nil && end != "" {
			c.ends[len(c.f.spans)] = end
			c.f.spans = append(c.f.spans, spanner{measure: len(c.f.measures), text: text, name: name})
		}
	}
}

// sign notes a signature of a staff, or of all where it stands in no staffDef.
func (c *flowCut) sign(of map[string]string, text string) {
	if c.within("staffDef") || c.m != nil {
		of[c.staff] = text
		return
	}
	clear(of)
	of[""] = text
}

// valueOf is an attribute of an element written as the engraver writes it.
func valueOf(element, name string) string {
	_, after, ok := strings.Cut(element, " "+name+`="`)
	if !ok {
		return ""
	}
	v, _, _ := strings.Cut(after, `"`)
	return v
}

// An Added mark stands on a note or between two.
type Added struct {
	Note string // identifier of the note
	Kind AddedKind
	// Text is the finger, the numeral of the string, the words or the dynamic; of a
	// Bow up or down.
	Text string
	To   string // of a Slur: identifier of its last note
	// Class stands in the class attribute of what is drawn, beside the engraver's own.
	Class string
	// Strong sets text in bold, else in italics: two origins that print apart in black.
	Strong bool
	Below  bool
}

// AddedKind is what an Added mark is.
type AddedKind int

// The kinds.
const (
	Finger  AddedKind = iota // a text above the note
	Numeral                  // of the string, smaller, above the finger
	Bow                      // Text "up" or "down"
	Words
	Dynamic
	Breath // a comma above the staff, after the note
	SlurTo
	Caption // a text below the staff, such as the name of a chord
)

// System says how one is drawn.
type System struct {
	First, Last int     // measures by index
	Width       float64 // mm
	StaffHeight float64 // mm
	Loose       bool    // not stretched to the width: the last of a movement
	Added       []Added
	// Hide are kinds of printed marks that are left out, by the engraver's names: fing, artic.
	Hide []string
	// CutSlurs are printed slurs that are left out, each by its first and last note.
	CutSlurs [][2]string
}

// Drawn is a picture and its size in mm.
type Drawn struct {
	Body          string // children of an svg element whose viewBox is 0 0 Width Height (in hundredths of mm)
	Defs          string // the glyphs that Body refers to, with identifiers that end in GlyphMark
	Width, Height float64
}

// GlyphMark ends the identifiers of glyphs in a Drawn; whoever puts several into one
// document replaces it.
const GlyphMark = "-GLYPH"

// Draw draws one system.
func (f *Flow) Draw(ctx context.Context, sys System) (Drawn, error) {
	if sys.First < 0 || sys.Last < sys.First || sys.Last >= len(f.measures) {
		return Drawn{}, fmt.Errorf("engrave: the score has no measures %d-%d; it has 1-%d", sys.First+1, sys.Last+1, len(f.measures))
	}
	l := Excerpt("", sys.Width)
	l.StaffHeight, l.Breaks, l.Inline = cmp.Or(sys.StaffHeight, l.StaffHeight), BreaksEncoded, false
	if err := l.Check(); err != nil {
		return Drawn{}, err
	}
	mei := f.chunk(&sys)
	in, err := f.pool.take(ctx)
	if err != nil {
		return Drawn{}, err
	}
	svg, err := drawChunk(ctx, in, mei, l, sys.Loose)
	f.pool.give(context.Background(), in, !isFault(err))
	if err != nil {
		return Drawn{}, err
	}
	return unwrap(svg)
}

func drawChunk(ctx context.Context, in *instance, mei string, l Layout, loose bool) (string, error) {
	o := l.options()
	if o["minLastJustification"] = 0.0; loose {
		o["minLastJustification"] = 0.8
	}
	o["mnumInterval"] = 0
	if _, err := in.loadAs(ctx, "mei", mei, o, ownSeed); err != nil {
		return "", err
	}
	return in.page(ctx, 1)
}

// chunk writes the measures of a system as a score of their own.
func (f *Flow) chunk(sys *System) string {
	var b strings.Builder
	first := &f.measures[sys.First]
	b.WriteString(`<?xml version="1.0" encoding="UTF-8"?><mei xmlns="http://www.music-encoding.org/ns/mei" meiversion="5.1"><music><body><mdiv><score><scoreDef>`)
	b.WriteString(f.signs(first, sys.First == 0 || first.changed))
	b.WriteString(`</scoreDef><section><pb/>`)
	adds := f.byMeasure(sys)
	ending := ""
	for i := sys.First; i <= sys.Last; i++ {
		m := &f.measures[i]
		if ending != "" && (m.ending != ending || m.firstOf) {
			b.WriteString("</ending>")
			ending = ""
		}
		if i > sys.First {
			b.WriteString(m.before)
		}
		if m.ending != "" && ending == "" {
			b.WriteString(m.ending)
			ending = m.ending
		}
		b.WriteString(f.measureWith(i, adds[i-sys.First], sys))
	}
	if ending != "" {
		b.WriteString("</ending>")
	}
	b.WriteString(`</section></score></mdiv></body></music></mei>`)
	return b.String()
}
