package musicxml

import (
	"bytes"
	"strings"
)

// forest holds the elements of one chunk of a document (a note, an attributes
// block); it is reset for the next chunk, so reading takes little memory.
type forest struct {
	nodes []node
	attrs []attr
	names map[string]string
}

// node is one element. Links are indices into forest.nodes, 0 = none (node 0
// is the root of the chunk and nobody's child).
type node struct {
	name        string
	start, end  int // the whole element
	inner       span
	selfClosed  bool
	attrs       span // into forest.attrs
	text        []byte
	first, next int32
}

type attr struct {
	name  string
	value []byte // raw, between the quotes
}

func newForest() *forest { return &forest{names: map[string]string{}} }

// intern saves an allocation a name: MusicXML has few of them.
func (f *forest) intern(b []byte) string {
	if s, ok := f.names[string(b)]; ok {
		return s
	}
	s := string(b)
	if len(f.names) < 4096 {
		f.names[s] = s
	}
	return s
}

// read builds the element whose start tag the scanner stands on, up to its end
// tag, in place of what the forest held.
func (f *forest) read(s *scanner) (elem, error) {
	f.nodes, f.attrs = f.nodes[:0], f.attrs[:0]
	i, err := f.grow(s)
	return elem{f, i}, err
}

func (f *forest) grow(s *scanner) (int32, error) {
	me := int32(len(f.nodes))
	f.nodes = append(f.nodes, node{name: f.intern(s.tag), start: s.start, inner: span{s.end, s.end}, selfClosed: s.selfClosed})
	from := len(f.attrs)
	for _, a := range s.attrs {
		f.attrs = append(f.attrs, attr{f.intern(a.name), s.b[a.value.start:a.value.end]})
	}
	f.nodes[me].attrs = span{from, len(f.attrs)}
	last := int32(0)
	for {
		if err := s.next(); err != nil {
			return 0, err
		}
		switch s.kind {
		case tokStart:
			child, err := f.grow(s)
			if err != nil {
				return 0, err
			}
			if last == 0 {
				f.nodes[me].first = child
			} else {
				f.nodes[last].next = child
			}
			last = child
		case tokEnd:
			n := &f.nodes[me]
			n.end, n.inner.end = s.end, s.start
			return me, nil
		case tokText, tokCDATA:
			f.addText(me, s)
		}
	}
}

func (f *forest) addText(me int32, s *scanner) {
	t := s.b[s.inner.start:s.inner.end]
	if isBlank(t) {
		return
	}
	if s.kind == tokText {
		t = unescape(t)
	}
	if n := &f.nodes[me]; n.text == nil {
		n.text = t[:len(t):len(t)]
	} else {
		n.text = append(n.text, t...)
	}
}

// unescape resolves references, which the scanner has checked, and brings line
// ends to \n.
func unescape(b []byte) []byte {
	if bytes.IndexByte(b, '&') < 0 && bytes.IndexByte(b, '\r') < 0 {
		return b
	}
	out := make([]byte, 0, len(b))
	for i := 0; i < len(b); i++ {
		switch b[i] {
		case '&':
			n := bytes.IndexByte(b[i:], ';')
			r, _ := entity(b[i+1 : i+n])
			out = append(out, string(r)...)
			i += n
		case '\r':
			if i+1 >= len(b) || b[i+1] != '\n' {
				out = append(out, '\n')
			}
		default:
			out = append(out, b[i])
		}
	}
	return out
}

// elem is a handle on a node; the zero elem is an element that is not there,
// and answers every question with nothing.
type elem struct {
	f *forest
	i int32
}

func (e elem) ok() bool     { return e.f != nil }
func (e elem) node() *node  { return &e.f.nodes[e.i] }
func (e elem) name() string { return e.node().name }
func (e elem) span() span   { return span{e.node().start, e.node().end} }

// children lets `for c := range e.children` walk the child elements.
func (e elem) children(yield func(elem) bool) {
	if !e.ok() {
		return
	}
	for c := e.node().first; c != 0; c = e.f.nodes[c].next {
		if !yield(elem{e.f, c}) {
			return
		}
	}
}

// child is the first child of a name.
func (e elem) child(name string) elem {
	for c := range e.children {
		if c.name() == name {
			return c
		}
	}
	return elem{}
}

func (e elem) has(name string) bool { return e.child(name).ok() }

// text is the element's own text without the space around it.
func (e elem) text() string {
	if !e.ok() {
		return ""
	}
	return string(bytes.TrimSpace(e.node().text))
}

// rawText is text without a copy.
func (e elem) rawText() []byte {
	if !e.ok() {
		return nil
	}
	return bytes.TrimSpace(e.node().text)
}

// get is the value of an attribute without the space around it, "" if absent.
func (e elem) get(name string) string {
	if !e.ok() {
		return ""
	}
	for _, a := range e.f.attrs[e.node().attrs.start:e.node().attrs.end] {
		if a.name == name {
			return strings.TrimSpace(string(unescape(a.value)))
		}
	}
	return ""
}
