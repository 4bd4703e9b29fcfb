package musicxml

import (
	"bytes"
	"fmt"
	"strings"
)

// Partwise gives the document with <score-partwise> as its root: the XML as it
// is where it has that root already, else the music of <score-timewise> moved
// chunk by chunk, each <measure> repeated for every part with the bytes that
// stand in it for that part. The result is UTF-8.
func Partwise(src *Source) ([]byte, error) {
	s := newScanner(src.Name, src.XML)
	var doctype span
	for s.kind != tokStart {
		if err := s.next(); err != nil {
			return nil, err
		}
		if s.kind == tokDoctype {
			doctype = span{s.start, s.end}
		}
	}
	if string(s.tag) != "score-timewise" {
		return src.XML, nil
	}
	root := span{s.start, s.end}
	music, err := readTimewise(s)
	if err != nil {
		return nil, err
	}
	xml := src.XML
	var out bytes.Buffer
	out.Grow(len(xml) + len(xml)/4)
	out.Write(xml[:doctype.start])
	out.Write(timeToPart.Replace(xml[doctype.start:doctype.end]))
	out.Write(xml[doctype.end:root.start])
	out.WriteString("<score-partwise")
	out.Write(xml[root.start+len("<score-timewise") : root.end])
	out.Write(xml[root.end:music.headerEnd])
	nl := lineBreak(xml)
	for i, id := range music.order {
		out.WriteString(nl + "  ")
		out.Write(music.partTag[id])
		for _, m := range music.measures {
			out.WriteString(nl + "    ")
			if i == 0 {
				out.Write(m.tag)
			} else {
				out.Write(m.tagNoID)
			}
			for _, inner := range m.parts[id] {
				out.Write(xml[inner.start:inner.end])
			}
			out.WriteString("</measure>")
		}
		out.WriteString(nl + "  </part>")
	}
	out.WriteString(nl + "</score-partwise>")
	out.Write(xml[music.end:])
	return out.Bytes(), nil
}

// replacer changes what names the timewise document type.
type replacer struct{ r *strings.Replacer }

func (r replacer) Replace(b []byte) []byte { return []byte(r.r.Replace(string(b))) }

var timeToPart = replacer{strings.NewReplacer("score-timewise", "score-partwise", "Timewise", "Partwise", "timewise", "partwise")}

// timewiseMusic is where the chunks of a timewise document lie.
type timewiseMusic struct {
	headerEnd int // before the first measure
	end       int // after the end tag of the root
	order     []string
	partTag   map[string][]byte // start tag of a part where it first appears
	measures  []timewiseMeasure
}

type timewiseMeasure struct {
	tag, tagNoID []byte // start tag, and the same without an id, which must be unique
	parts        map[string][]span
}

// readTimewise reads on from the start tag of the root.
func readTimewise(s *scanner) (*timewiseMusic, error) {
	t := &timewiseMusic{partTag: map[string][]byte{}, headerEnd: s.end}
	f := newForest()
	for {
		if err := s.next(); err != nil {
			return nil, err
		}
		switch {
		case s.kind == tokEnd:
			t.end = s.end
			if s.start == s.end { // the root was empty: <score-timewise/>
				return nil, s.fail(s.start, "the file holds no measure of music: export the score again")
			}
			for { // what follows must be sound too
				if err := s.next(); err != nil {
					return nil, err
				}
				if s.kind == tokEOF {
					return t, nil
				}
			}
		case s.kind == tokStart && string(s.tag) == "measure":
			if err := t.measure(s, f); err != nil {
				return nil, err
			}
		case s.kind == tokStart:
			e, err := f.read(s)
			if err != nil {
				return nil, err
			}
			if len(t.measures) == 0 {
				t.headerEnd = s.end
				t.listParts(e)
			}
		}
	}
}

// listParts takes the order of the parts from the part list.
func (t *timewiseMusic) listParts(e elem) {
	if e.name() != "part-list" {
		return
	}
	for c := range e.children {
		if c.name() == "score-part" {
			t.order = append(t.order, c.get("id"))
		}
	}
}

func (t *timewiseMusic) measure(s *scanner, f *forest) error {
	m := timewiseMeasure{parts: map[string][]span{}}
	m.tag = openTag(s, "")
	m.tagNoID = openTag(s, "id")
	for {
		if err := s.next(); err != nil {
			return err
		}
		switch s.kind {
		case tokEnd:
			t.measures = append(t.measures, m)
			return nil
		case tokStart:
			tag, isPart := openTag(s, ""), string(s.tag) == "part"
			e, err := f.read(s)
			if err != nil {
				return err
			}
			if !isPart {
				continue
			}
			id := e.get("id")
			if t.partTag[id] == nil {
				t.partTag[id] = tag
				known := false
				for _, o := range t.order {
					known = known || o == id
				}
				if !known {
					t.order = append(t.order, id)
				}
			}
			m.parts[id] = append(m.parts[id], e.node().inner)
		}
	}
}

// openTag is the start tag the scanner stands on, opened where it was empty, and
// without the attribute drop.
func openTag(s *scanner, drop string) []byte {
	var b bytes.Buffer
	b.WriteByte('<')
	b.Write(s.tag)
	for _, a := range s.attrs {
		if drop == "" || string(a.name) != drop {
			quote := s.b[a.value.start-1]
			fmt.Fprintf(&b, " %s=%c%s%c", a.name, quote, s.b[a.value.start:a.value.end], quote)
		}
	}
	b.WriteByte('>')
	return b.Bytes()
}

// lineBreak is the way lines end in a document.
func lineBreak(b []byte) string {
	if i := bytes.IndexByte(b, '\n'); i > 0 && b[i-1] == '\r' {
		return "\r\n"
	}
	return "\n"
}

// OnePart is a copy of a partwise document (UTF-8) with the music and the entry
// of one part only; part groups are dropped, all other bytes kept.
func OnePart(xml []byte, partID string) ([]byte, error) {
	const name = "score"
	s := newScanner(name, xml)
	f := newForest()
	for s.kind != tokStart {
		if err := s.next(); err != nil {
			return nil, err
		}
	}
	if string(s.tag) != "score-partwise" {
		return nil, s.fail(s.start, "<%s> where <score-partwise> should be: make the score partwise first", s.tag)
	}
	var edits []edit
	var ids []string
	found := false
	drop := func(sp span) { edits = append(edits, edit{off: blankBefore(xml, sp.start), end: sp.end}) }
	for {
		if err := s.next(); err != nil {
			return nil, err
		}
		if s.kind == tokEOF {
			break
		}
		if s.kind != tokStart {
			continue
		}
		e, err := f.read(s)
		if err != nil {
			return nil, err
		}
		switch e.name() {
		case "part-list":
			for c := range e.children {
				if c.name() == "part-group" || c.name() == "score-part" && c.get("id") != partID {
					drop(c.span())
				}
			}
		case "part":
			ids = append(ids, e.get("id"))
			if e.get("id") == partID {
				found = true
			} else {
				drop(e.span())
			}
		}
	}
	if !found {
		return nil, fmt.Errorf("%s: no part %q: the parts are %s", name, partID, strings.Join(ids, ", "))
	}
	return applyEdits(xml, edits), nil
}

// blankBefore goes back over the white space before off.
func blankBefore(b []byte, off int) int {
	for off > 0 && isSpace(b[off-1]) {
		off--
	}
	return off
}
