package musicxml

import (
	"bytes"
	"fmt"
	"strconv"
	"unicode/utf8"
)

// Limits of what is read. They are far above any real score and keep a hostile
// file from taking the machine.
const (
	MaxBytes      = 256 << 20 // of XML, after decompression and decoding
	MaxDepth      = 64        // nested elements; MusicXML itself needs about 10
	MaxElements   = 16 << 20  // in one document
	MaxAttributes = 128       // on one element; MusicXML has at most about 40
	MaxName       = 256       // bytes in one element or attribute name
)

// scanner splits XML 1.0 into tokens that are slices of the input, so that
// each has its exact byte offsets (encoding/xml gives offsets only between
// tokens, rewrites line ends, and is several times slower). It checks
// well-formedness; validity is no matter of it. Entities declared in the
// document type are not expanded but refused where they are used.
type scanner struct {
	name     string // of the file, for errors
	b        []byte
	pos      int
	stack    []span
	elements int
	rootSeen bool
	// doctype holds the names of the entities the file declares.
	doctype bool

	// The current token.
	kind       tokenKind
	start, end int
	tag        []byte // element name or processing instruction target
	attrs      []rawAttr
	selfClosed bool
	inner      span // of text, CDATA, comment or instruction: what is between the marks
}

type span struct{ start, end int }

// rawAttr is one attribute; value is the span between the quotes.
type rawAttr struct {
	name  []byte
	value span
}

type tokenKind uint8

const (
	tokEOF tokenKind = iota
	tokStart
	tokEnd
	tokText
	tokCDATA
	tokComment
	tokInst
	tokDoctype
)

// newScanner starts at the first byte after a byte order mark.
func newScanner(name string, b []byte) *scanner {
	s := &scanner{name: name, b: b}
	if bytes.HasPrefix(b, bom) {
		s.pos = len(bom)
	}
	return s
}

var bom = []byte("\xef\xbb\xbf")

// errAt is the one line that says what is wrong where, and what to do.
func errAt(name string, b []byte, off int, format string, args ...any) error {
	line, col := position(b, off)
	return fmt.Errorf("%s: line %d:%d: %s", name, line, col, fmt.Sprintf(format, args...))
}

// position is line and column, both from 1, the column counted in characters.
func position(b []byte, off int) (line, col int) {
	off = min(max(off, 0), len(b))
	line = 1 + bytes.Count(b[:off], []byte{'\n'})
	from := bytes.LastIndexByte(b[:off], '\n') + 1
	if from == 0 && bytes.HasPrefix(b, bom) && off >= len(bom) {
		from = len(bom)
	}
	return line, 1 + utf8.RuneCount(b[from:off])
}

func (s *scanner) fail(off int, format string, args ...any) error {
	return errAt(s.name, s.b, off, format, args...)
}

// next moves to the next token. An element written <x/> gives a start (with
// selfClosed set) and then an end of no length.
func (s *scanner) next() error {
	if s.kind == tokStart && s.selfClosed {
		s.kind, s.start, s.selfClosed = tokEnd, s.end, false
		s.stack = s.stack[:len(s.stack)-1]
		return nil
	}
	s.start = s.pos
	if s.pos >= len(s.b) {
		return s.atEOF()
	}
	if s.b[s.pos] != '<' {
		return s.scanText()
	}
	rest := s.b[s.pos:]
	switch {
	case bytes.HasPrefix(rest, []byte("</")):
		return s.scanEnd()
	case bytes.HasPrefix(rest, []byte("<!--")):
		return s.scanComment()
	case bytes.HasPrefix(rest, []byte("<![CDATA[")):
		return s.scanCDATA()
	case bytes.HasPrefix(rest, []byte("<!DOCTYPE")):
		return s.scanDoctype()
	case bytes.HasPrefix(rest, []byte("<?")):
		return s.scanInst()
	}
	return s.scanStart()
}

func (s *scanner) atEOF() error {
	s.kind, s.end = tokEOF, s.pos
	if len(s.stack) > 0 {
		open := s.stack[len(s.stack)-1]
		return s.fail(open.start, "the file ends inside <%s>, which begins here: the file is cut off, get a whole copy", s.b[open.start:open.end])
	}
	if !s.rootSeen {
		return s.fail(s.pos, "no XML element in the file: is this a MusicXML file?")
	}
	return nil
}

func (s *scanner) scanText() error {
	n := bytes.IndexByte(s.b[s.pos:], '<')
	if n < 0 {
		n = len(s.b) - s.pos
	}
	s.kind, s.end = tokText, s.pos+n
	s.inner = span{s.start, s.end}
	text := s.b[s.start:s.end]
	s.pos = s.end
	if isBlank(text) {
		return nil
	}
	if len(s.stack) == 0 {
		i := s.start + len(text) - len(bytes.TrimLeft(text, " \t\r\n"))
		if !s.rootSeen {
			return s.fail(i, "text where an XML element should begin: this is not a MusicXML file")
		}
		return s.fail(i, "text after the end of the document: remove what follows")
	}
	if i := bytes.Index(text, []byte("]]>")); i >= 0 {
		return s.fail(s.start+i, "\"]]>\" inside text: write ]]&gt; instead")
	}
	return s.checkEntities(s.inner)
}

// checkEntities refuses every reference but the five of XML and characters.
func (s *scanner) checkEntities(sp span) error {
	for i := sp.start; i < sp.end; {
		n := bytes.IndexByte(s.b[i:sp.end], '&')
		if n < 0 {
			return nil
		}
		i += n
		end := bytes.IndexByte(s.b[i:min(sp.end, i+MaxName)], ';')
		if end < 0 {
			return s.fail(i, "an & that begins no character reference: write &amp; instead")
		}
		ref := s.b[i+1 : i+end]
		if _, ok := entity(ref); !ok {
			if s.doctype && len(ref) > 0 && ref[0] != '#' {
				return s.fail(i, "&%s; is an entity of the file's own document type, which is not expanded: replace it by its text", ref)
			}
			return s.fail(i, "unknown reference &%s;: write the character itself", ref)
		}
		i += end + 1
	}
	return nil
}

// entity is the character that a reference (without & and ;) stands for.
func entity(ref []byte) (rune, bool) {
	switch string(ref) {
	case "amp":
		return '&', true
	case "lt":
		return '<', true
	case "gt":
		return '>', true
	case "quot":
		return '"', true
	case "apos":
		return '\'', true
	}
	if len(ref) < 2 || ref[0] != '#' {
		return 0, false
	}
	digits, base := ref[1:], 10
	if digits[0] == 'x' {
		digits, base = digits[1:], 16
	}
	v, err := strconv.ParseUint(string(digits), base, 32)
	if err != nil || !isChar(rune(v)) {
		return 0, false
	}
	return rune(v), true
}

// isChar is the production Char of XML 1.0, section 2.2.
func isChar(r rune) bool {
	return r == '\t' || r == '\n' || r == '\r' || r >= 0x20 && r <= 0xD7FF || r >= 0xE000 && r <= 0xFFFD || r >= 0x10000 && r <= 0x10FFFF
}

func isBlank(b []byte) bool {
	for _, c := range b {
		if !isSpace(c) {
			return false
		}
	}
	return true
}

func isSpace(c byte) bool { return c == ' ' || c == '\n' || c == '\t' || c == '\r' }

func (s *scanner) scanComment() error {
	from := s.pos + len("<!--")
	n := bytes.Index(s.b[from:], []byte("--"))
	if n < 0 {
		return s.fail(s.pos, "a comment begins here and never ends: the file is cut off, get a whole copy")
	}
	if from+n+2 >= len(s.b) || s.b[from+n+2] != '>' {
		return s.fail(from+n, "\"--\" inside a comment, which XML does not allow: remove it")
	}
	s.kind, s.inner = tokComment, span{from, from + n}
	s.end = from + n + 3
	s.pos = s.end
	return nil
}

func (s *scanner) scanCDATA() error {
	from := s.pos + len("<![CDATA[")
	n := bytes.Index(s.b[from:], []byte("]]>"))
	if n < 0 {
		return s.fail(s.pos, "a CDATA section begins here and never ends: the file is cut off, get a whole copy")
	}
	if len(s.stack) == 0 {
		return s.fail(s.pos, "text outside the document element: remove it")
	}
	s.kind, s.inner = tokCDATA, span{from, from + n}
	s.end = from + n + 3
	s.pos = s.end
	return nil
}

func (s *scanner) scanInst() error {
	from := s.pos + 2
	n := bytes.Index(s.b[from:], []byte("?>"))
	if n < 0 {
		return s.fail(s.pos, "a processing instruction begins here and never ends: the file is cut off, get a whole copy")
	}
	name := s.scanName(from)
	if name == nil {
		return s.fail(s.pos, "<? without a name: the file is damaged here")
	}
	first := s.start == 0 || s.start == len(bom) && bytes.HasPrefix(s.b, bom)
	if bytes.EqualFold(name, []byte("xml")) && !first {
		return s.fail(s.pos, "an XML declaration that is not at the very beginning of the file: remove what stands before it")
	}
	s.kind, s.tag, s.inner = tokInst, name, span{from, from + n}
	s.end = from + n + 2
	s.pos = s.end
	return nil
}

// scanDoctype skips the document type with its internal subset.
func (s *scanner) scanDoctype() error {
	if s.rootSeen || s.doctype {
		return s.fail(s.pos, "a DOCTYPE that is not before the document element: remove it")
	}
	s.doctype = true
	depth := 0
	for i := s.pos + 2; i < len(s.b); i++ {
		switch s.b[i] {
		case '"', '\'':
			n := bytes.IndexByte(s.b[i+1:], s.b[i])
			if n < 0 {
				i = len(s.b)
				break
			}
			i += 1 + n
		case '<':
			if bytes.HasPrefix(s.b[i:], []byte("<!--")) {
				n := bytes.Index(s.b[i+4:], []byte("-->"))
				if n < 0 {
					i = len(s.b)
					break
				}
				i += 4 + n + 2
				continue
			}
			depth++
		case '[':
			depth++
		case ']':
			depth--
		case '>':
			if depth == 0 {
				s.kind, s.end, s.pos = tokDoctype, i+1, i+1
				return nil
			}
			depth--
		}
	}
	return s.fail(s.pos, "the DOCTYPE never ends: the file is cut off, get a whole copy")
}

// scanName is the XML name at i, nil if there is none. Beyond ASCII every
// letter is taken for a name character.
func (s *scanner) scanName(i int) []byte {
	j := i
	for j < len(s.b) && nameByte[s.b[j]] {
		j++
	}
	if j == i || j-i > MaxName || s.b[i] == '-' || s.b[i] == '.' || s.b[i] >= '0' && s.b[i] <= '9' {
		return nil
	}
	return s.b[i:j]
}

var nameByte = func() (t [256]bool) {
	for c := range t {
		t[c] = c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9' ||
			c == '_' || c == ':' || c == '-' || c == '.' || c >= 0x80
	}
	return
}()

func (s *scanner) skipSpace(i int) int {
	for i < len(s.b) && isSpace(s.b[i]) {
		i++
	}
	return i
}

func (s *scanner) scanEnd() error {
	name := s.scanName(s.pos + 2)
	i := s.skipSpace(s.pos + 2 + len(name))
	if name == nil || i >= len(s.b) || s.b[i] != '>' {
		return s.fail(s.pos, "a damaged end tag: write </name>")
	}
	if len(s.stack) == 0 {
		return s.fail(s.pos, "</%s> ends an element that never began: remove it", name)
	}
	open := s.stack[len(s.stack)-1]
	if !bytes.Equal(name, s.b[open.start:open.end]) {
		line, _ := position(s.b, open.start)
		return s.fail(s.pos, "</%s> where </%s> should end the element of line %d: the file is damaged, get a whole copy", name, s.b[open.start:open.end], line)
	}
	s.stack = s.stack[:len(s.stack)-1]
	s.kind, s.tag, s.end = tokEnd, name, i+1
	s.pos = s.end
	return nil
}

func (s *scanner) scanStart() error {
	name := s.scanName(s.pos + 1)
	if name == nil {
		return s.fail(s.pos, "a < that begins no tag: write &lt; instead")
	}
	if len(s.stack) == 0 && s.rootSeen {
		return s.fail(s.pos, "a second document element <%s>: remove what follows the first", name)
	}
	if len(s.stack) >= MaxDepth {
		return s.fail(s.pos, "elements nested more than %d deep: this is no score", MaxDepth)
	}
	if s.elements++; s.elements > MaxElements {
		return s.fail(s.pos, "more than %d elements: split the file", MaxElements)
	}
	s.rootSeen = true
	s.kind, s.tag, s.attrs = tokStart, name, s.attrs[:0]
	i := s.pos + 1 + len(name)
	s.stack = append(s.stack, span{s.pos + 1, i})
	for {
		j := s.skipSpace(i)
		switch {
		case j >= len(s.b):
			return s.fail(s.pos, "the file ends inside the tag <%s: the file is cut off, get a whole copy", name)
		case s.b[j] == '>':
			s.selfClosed, s.end, s.pos = false, j+1, j+1
			return nil
		case s.b[j] == '/' && j+1 < len(s.b) && s.b[j+1] == '>':
			s.selfClosed, s.end, s.pos = true, j+2, j+2
			return nil
		case j == i:
			return s.fail(j, "no space before an attribute of <%s>: the file is damaged here", name)
		}
		var err error
		if i, err = s.scanAttr(name, j); err != nil {
			return err
		}
	}
}

// scanAttr reads name="value" at i and gives the offset after it.
func (s *scanner) scanAttr(tag []byte, i int) (int, error) {
	name := s.scanName(i)
	j := s.skipSpace(i + len(name))
	if name == nil || j >= len(s.b) || s.b[j] != '=' {
		return 0, s.fail(i, "a damaged attribute of <%s>: write name=\"value\"", tag)
	}
	j = s.skipSpace(j + 1)
	if j >= len(s.b) || s.b[j] != '"' && s.b[j] != '\'' {
		return 0, s.fail(j, "attribute %s of <%s> has no quotes: write %s=\"value\"", name, tag, name)
	}
	n := bytes.IndexByte(s.b[j+1:], s.b[j])
	if n < 0 {
		return 0, s.fail(j, "the quotes of attribute %s never close: the file is cut off, get a whole copy", name)
	}
	v := span{j + 1, j + 1 + n}
	if k := bytes.IndexByte(s.b[v.start:v.end], '<'); k >= 0 {
		return 0, s.fail(v.start+k, "a < inside attribute %s: write &lt; instead", name)
	}
	for _, a := range s.attrs {
		if bytes.Equal(a.name, name) {
			return 0, s.fail(i, "attribute %s stands twice on <%s>: remove one", name, tag)
		}
	}
	if len(s.attrs) >= MaxAttributes {
		return 0, s.fail(i, "more than %d attributes on <%s>: this is no score", MaxAttributes, tag)
	}
	s.attrs = append(s.attrs, rawAttr{name, v})
	return v.end + 1, s.checkEntities(v)
}
