package svg

import (
	"fmt"
	"strconv"
	"strings"
	"unicode/utf8"
)

// A page is a few hundred kilobytes of very plain XML and is read on every
// print, so it has a reader of its own: no copies, no namespaces beyond a
// prefix, no document type. TestXMLTwin holds it against encoding/xml.

// node is an element, or a run of text when name is empty.
type node struct {
	name   string
	attrs  []attr
	kids   []*node
	text   string
	pos    int // byte offset of the tag
	path   *Path
	parent *node
}

type attr struct{ key, val string }

// attr looks an attribute up.
func (n *node) attr(key string) (string, bool) {
	for i := range n.attrs {
		if n.attrs[i].key == key {
			return n.attrs[i].val, true
		}
	}
	return "", false
}

// Error says what in the source can't be read or isn't supported, and where.
type Error struct {
	Line, Col int // from 1, in the SVG source; Col counts bytes
	What      string
}

func (e *Error) Error() string {
	return fmt.Sprintf("svg line %d, column %d: %s", e.Line, e.Col, e.What)
}

// errorAt makes an Error for a byte offset of src.
func errorAt(src string, pos int, format string, args ...any) *Error {
	pos = min(pos, len(src))
	line := 1 + strings.Count(src[:pos], "\n")
	col := pos - strings.LastIndexByte(src[:pos], '\n')
	return &Error{Line: line, Col: col, What: fmt.Sprintf(format, args...)}
}

// Limits on what is read.
const (
	MaxBytes = 32 << 20 // of source
	MaxDepth = 200      // of nesting, uses of definitions included
	MaxOps   = 1 << 20  // drawing operations
)

// xmlReader scans a document into nodes.
type xmlReader struct {
	s     string
	i     int
	stack []*node
	slab  []node
}

func (r *xmlReader) newNode(name string, pos int) *node {
	if len(r.slab) == 0 {
		r.slab = make([]node, 256)
	}
	n := &r.slab[0]
	r.slab = r.slab[1:]
	n.name, n.pos = name, pos
	return n
}

// readXML returns the root element.
func readXML(s string) (*node, error) {
	if len(s) > MaxBytes {
		return nil, fmt.Errorf("svg: %d bytes, the limit is %d", len(s), MaxBytes)
	}
	s = strings.TrimPrefix(s, "\ufeff")
	r := xmlReader{s: s}
	root := &node{}
	r.stack = append(r.stack, root)
	for r.i < len(s) {
		var err error
		if s[r.i] == '<' {
			err = r.markup()
		} else {
			err = r.chars()
		}
		if err != nil {
			return nil, err
		}
	}
	if top := r.stack[len(r.stack)-1]; top != root {
		return nil, errorAt(s, top.pos, "<%s> is never closed", top.name)
	}
	for _, k := range root.kids {
		if k.name != "" {
			return k, nil
		}
	}
	return nil, &Error{Line: 1, Col: 1, What: "there is no element in it"}
}

// chars reads text up to the next tag.
func (r *xmlReader) chars() error {
	start := r.i
	end := strings.IndexByte(r.s[start:], '<')
	if end < 0 {
		end = len(r.s) - start
	}
	raw := r.s[start : start+end]
	r.i += end
	if len(r.stack) == 1 {
		if strings.TrimLeft(raw, " \t\r\n") != "" {
			return errorAt(r.s, start, "text outside the root element")
		}
		return nil
	}
	text, err := r.unescape(raw, start)
	if err != nil {
		return err
	}
	r.addText(text, start)
	return nil
}

func (r *xmlReader) addText(text string, pos int) {
	top := r.stack[len(r.stack)-1]
	n := r.newNode("", pos)
	n.text = text
	top.kids = append(top.kids, n)
}

// markup reads what starts with '<'.
func (r *xmlReader) markup() error {
	rest := r.s[r.i:]
	switch {
	case strings.HasPrefix(rest, "<!--"):
		return r.skipTo("-->", 4, "comment")
	case strings.HasPrefix(rest, "<![CDATA["):
		start := r.i + 9
		if err := r.skipTo("]]>", 9, "CDATA section"); err != nil {
			return err
		}
		if len(r.stack) == 1 {
			return errorAt(r.s, start, "text outside the root element")
		}
		r.addText(r.s[start:r.i-3], start)
		return nil
	case strings.HasPrefix(rest, "<?"):
		return r.skipTo("?>", 2, "processing instruction")
	case strings.HasPrefix(rest, "<!DOCTYPE"):
		if end := strings.IndexAny(rest, "[>"); end < 0 || rest[end] == '[' {
			return errorAt(r.s, r.i, "a document type with declarations of its own is not read")
		}
		return r.skipTo(">", 2, "document type")
	case strings.HasPrefix(rest, "</"):
		return r.endTag()
	}
	return r.startTag()
}

func (r *xmlReader) skipTo(end string, from int, what string) error {
	n := strings.Index(r.s[r.i+from:], end)
	if n < 0 {
		return errorAt(r.s, r.i, "%s without an end", what)
	}
	r.i += from + n + len(end)
	return nil
}

func isNameByte(c byte) bool {
	return isLetter(c) || isDigit(c) || c == ':' || c == '_' || c == '-' || c == '.' || c >= 0x80
}

func (r *xmlReader) name() string {
	start := r.i
	for r.i < len(r.s) && isNameByte(r.s[r.i]) {
		r.i++
	}
	return r.s[start:r.i]
}

func (r *xmlReader) skipSpace() {
	for r.i < len(r.s) && isSpace(r.s[r.i]) {
		r.i++
	}
}

func (r *xmlReader) endTag() error {
	pos := r.i
	r.i += 2
	name := r.name()
	r.skipSpace()
	if r.i >= len(r.s) || r.s[r.i] != '>' {
		return errorAt(r.s, pos, "end tag </%.30s is cut off", name)
	}
	r.i++
	top := r.stack[len(r.stack)-1]
	if len(r.stack) == 1 || top.name != strings.TrimPrefix(name, "svg:") {
		return errorAt(r.s, pos, "</%.30s> closes nothing that is open", name)
	}
	r.stack = r.stack[:len(r.stack)-1]
	return nil
}

func (r *xmlReader) startTag() error {
	pos := r.i
	r.i++
	name := r.name()
	if name == "" {
		return errorAt(r.s, pos, "'<' without a name")
	}
	n := r.newNode(strings.TrimPrefix(name, "svg:"), pos)
	if len(r.stack) > MaxDepth {
		return errorAt(r.s, pos, "nesting deeper than %d", MaxDepth)
	}
	top := r.stack[len(r.stack)-1]
	top.kids = append(top.kids, n)
	for {
		r.skipSpace()
		if r.i >= len(r.s) {
			return errorAt(r.s, pos, "tag <%.30s is cut off", name)
		}
		switch r.s[r.i] {
		case '>':
			r.i++
			r.stack = append(r.stack, n)
			return nil
		case '/':
			if r.i+1 >= len(r.s) || r.s[r.i+1] != '>' {
				return errorAt(r.s, r.i, "'/' inside the tag <%.30s>", name)
			}
			r.i += 2
			return nil
		}
		if err := r.attribute(n); err != nil {
			return err
		}
	}
}

func (r *xmlReader) attribute(n *node) error {
	pos := r.i
	key := r.name()
	r.skipSpace()
	if key == "" || r.i >= len(r.s) || r.s[r.i] != '=' {
		return errorAt(r.s, pos, "attribute of <%.30s> without a value", n.name)
	}
	r.i++
	r.skipSpace()
	if r.i >= len(r.s) || r.s[r.i] != '"' && r.s[r.i] != '\'' {
		return errorAt(r.s, pos, "attribute %.30s without quotes", key)
	}
	quote := r.s[r.i]
	r.i++
	end := strings.IndexByte(r.s[r.i:], quote)
	if end < 0 {
		return errorAt(r.s, pos, "attribute %.30s: the quote is never closed", key)
	}
	raw := r.s[r.i : r.i+end]
	if strings.IndexByte(raw, '<') >= 0 {
		return errorAt(r.s, pos, "attribute %.30s: '<' in a value", key)
	}
	val, err := r.unescape(raw, r.i)
	if err != nil {
		return err
	}
	r.i += end + 1
	n.attrs = append(n.attrs, attr{key, val})
	return nil
}

// entities are the five that XML defines itself.
var entities = map[string]string{"amp": "&", "lt": "<", "gt": ">", "quot": `"`, "apos": "'"}

// unescape replaces entity and character references; pos is where s stands.
func (r *xmlReader) unescape(s string, pos int) (string, error) {
	if strings.IndexByte(s, '&') < 0 {
		return s, nil
	}
	var b strings.Builder
	for i := 0; i < len(s); {
		if s[i] != '&' {
			j := strings.IndexByte(s[i:], '&')
			if j < 0 {
				j = len(s) - i
			}
			b.WriteString(s[i : i+j])
			i += j
			continue
		}
		end := strings.IndexByte(s[i:], ';')
		if end < 0 || end > 12 {
			return "", errorAt(r.s, pos+i, "'&' without its ';'")
		}
		text, ok := reference(s[i+1 : i+end])
		if !ok {
			return "", errorAt(r.s, pos+i, "reference %.12q is not known", s[i+1:i+end])
		}
		b.WriteString(text)
		i += end + 1
	}
	return b.String(), nil
}

// reference gives the text of an entity or character reference without & and ;.
func reference(name string) (string, bool) {
	if t, ok := entities[name]; ok {
		return t, true
	}
	if !strings.HasPrefix(name, "#") {
		return "", false
	}
	base, digits := 10, name[1:]
	if strings.HasPrefix(digits, "x") {
		base, digits = 16, digits[1:]
	}
	v, err := strconv.ParseUint(digits, base, 32)
	if err != nil || v == 0 || v > utf8.MaxRune || !utf8.ValidRune(rune(v)) {
		return "", false
	}
	return string(rune(v)), true
}
