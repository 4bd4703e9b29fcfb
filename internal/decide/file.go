package decide

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"
)

// Version of the file's form.
const Version = 1

// File is a decisions file.
type File struct {
	Name      string // for messages
	Part      string // the part it is for: name, id or number; "" any
	Style     []Setting
	Decisions []Decision
}

// Setting is one line of the style that a player plans with; what its value may be is
// not known here.
type Setting struct {
	Key, Value string
	Source     string
	Line       int
}

// Where begins a message about a setting.
func (s *Setting) Where() string { return fmt.Sprintf("%s line %d", s.Source, s.Line) }

// styleKeys are those of a style.
var styleKeys = []string{"profile", "taste", "open-strings", "harmonics"}

// ParseFile reads a decisions file:
//
//	version: 1
//	part: Viola
//	style:
//	  profile: romantic
//	decisions:
//	  - at: m22.2
//	    finger: 3
//	    string: II
//	    reason: keeps the colour
//	  - m24.1 bow=up
//
// The error is one line with the file's name and the line in it; nothing is read
// by half. Anchors, aliases and further documents are refused.
func ParseFile(name string, data []byte) (File, error) {
	f := File{Name: name}
	if len(data) > MaxBytes {
		return f, fmt.Errorf("%s: larger than %d kB, the most that is read", name, MaxBytes>>10)
	}
	root, err := document(name, data)
	if err != nil || root == nil {
		return f, err
	}
	r := reader{name: name}
	fields, err := r.mapping(root, "a mapping with version, part, style and decisions")
	if err != nil {
		return f, err
	}
	versioned := false
	for _, e := range fields {
		switch e.key {
		case "version":
			if versioned = e.value.Kind == yaml.ScalarNode && e.value.Value == strconv.Itoa(Version); !versioned {
				return f, r.at(e.value, "version %q: this program reads version %d", clip(e.value.Value), Version)
			}
		case "part":
			if f.Part, err = r.scalar(e.value, "part"); err != nil {
				return f, err
			}
			if !oneLineText(f.Part, 200) {
				return f, r.at(e.value, "part wants the name of one part on one line")
			}
		case "style":
			if f.Style, err = r.style(e.value); err != nil {
				return f, err
			}
		case "decisions":
			if f.Decisions, err = r.list(e.value); err != nil {
				return f, err
			}
		default:
			return f, r.at(e.node, "unknown key %q: want version, part, style or decisions", clip(e.key))
		}
	}
	if !versioned {
		return f, r.at(root, "no version: the file begins with \"version: %d\"", Version)
	}
	return f, nil
}

// document reads the one document of a file; nil where there is nothing in it.
func document(name string, data []byte) (*yaml.Node, error) {
	dec := yaml.NewDecoder(bytes.NewReader(data))
	var doc, more yaml.Node
	if err := dec.Decode(&doc); err != nil {
		if errors.Is(err, io.EOF) {
			return nil, fmt.Errorf("%s: holds no decisions; it begins with \"version: %d\"", name, Version)
		}
		return nil, fmt.Errorf("%s: not YAML: %s", name, oneLine(err))
	}
	if err := dec.Decode(&more); !errors.Is(err, io.EOF) {
		return nil, fmt.Errorf("%s: holds more than one YAML document", name)
	}
	if doc.Kind != yaml.DocumentNode || len(doc.Content) != 1 {
		return nil, fmt.Errorf("%s: holds no decisions", name)
	}
	return doc.Content[0], nil
}

func oneLine(err error) string {
	return strings.Join(strings.Fields(strings.TrimPrefix(err.Error(), "yaml: ")), " ")
}

// reader carries the file's name into messages.
type reader struct{ name string }

func (r *reader) at(n *yaml.Node, format string, args ...any) error {
	return fmt.Errorf("%s line %d: %s", r.name, n.Line, fmt.Sprintf(format, args...))
}

type entry struct {
	key         string
	node, value *yaml.Node
}

// mapping lists the entries of a mapping, each key once.
func (r *reader) mapping(n *yaml.Node, want string) ([]entry, error) {
	if n.Kind != yaml.MappingNode || n.Anchor != "" {
		return nil, r.at(n, "want %s", want)
	}
	var out []entry
	seen := map[string]bool{}
	for i := 0; i+1 < len(n.Content); i += 2 {
		k, v := n.Content[i], n.Content[i+1]
		if k.Kind != yaml.ScalarNode {
			return nil, r.at(k, "a key that is no word")
		}
		if v.Kind == yaml.AliasNode || v.Anchor != "" || k.Anchor != "" {
			return nil, r.at(v, "anchors and aliases are not read")
		}
		if seen[k.Value] {
			return nil, r.at(k, "%q is given twice", clip(k.Value))
		}
		seen[k.Value] = true
		out = append(out, entry{k.Value, k, v})
	}
	return out, nil
}

func (r *reader) scalar(n *yaml.Node, what string) (string, error) {
	if n.Kind != yaml.ScalarNode || n.Anchor != "" || n.Tag == "!!null" {
		return "", r.at(n, "%s wants one value", what)
	}
	return n.Value, nil
}

func (r *reader) style(n *yaml.Node) ([]Setting, error) {
	entries, err := r.mapping(n, "a mapping with "+strings.Join(styleKeys, ", "))
	if err != nil {
		return nil, err
	}
	var out []Setting
	for _, e := range entries {
		if !slices.Contains(styleKeys, e.key) {
			return nil, r.at(e.node, "unknown key %q of the style: want %s", clip(e.key), strings.Join(styleKeys, ", "))
		}
		v, err := r.scalar(e.value, e.key)
		if err != nil {
			return nil, err
		}
		if v == "" || !oneLineText(v, 40) {
			return nil, r.at(e.value, "%s wants one word", e.key)
		}
		out = append(out, Setting{e.key, v, r.name, e.value.Line})
	}
	return out, nil
}

func (r *reader) list(n *yaml.Node) ([]Decision, error) {
	if n.Kind == yaml.ScalarNode && n.Tag == "!!null" {
		return nil, nil
	}
	if n.Kind != yaml.SequenceNode {
		return nil, r.at(n, "decisions want a list")
	}
	if len(n.Content) > MaxDecisions {
		return nil, r.at(n, "%d decisions; at most %d are read", len(n.Content), MaxDecisions)
	}
	var out []Decision
	for _, c := range n.Content {
		d, err := r.decision(c)
		if err != nil {
			return nil, err
		}
		d.Source, d.Line = r.name, c.Line
		out = append(out, d)
	}
	return out, nil
}

func (r *reader) decision(n *yaml.Node) (Decision, error) {
	if n.Kind == yaml.ScalarNode && n.Anchor == "" {
		d, err := ParseLine(n.Value)
		if err != nil {
			return d, r.at(n, "%v", err)
		}
		return d, nil
	}
	var d Decision
	entries, err := r.mapping(n, `a decision, as in "m22.2 finger=3" or a mapping with at, finger, string, position, bow, reason`)
	if err != nil {
		return d, err
	}
	placed := false
	for _, e := range entries {
		v, err := r.scalar(e.value, clip(e.key))
		if err != nil {
			return d, err
		}
		if e.key == "at" {
			placed = true
			if d.At, err = ParsePlace(v); err != nil {
				return d, r.at(e.value, "%v", err)
			}
			continue
		}
		if err := d.value(e.key, v); err != nil {
			return d, r.at(e.node, "%v", err)
		}
	}
	if !placed {
		return d, r.at(n, "a decision without its place; want at: m<measure>.<beat>")
	}
	if err := d.complete(); err != nil {
		return d, r.at(n, "%v", err)
	}
	return d, nil
}

// Format writes the file as ParseFile reads it.
func (f *File) Format() []byte {
	var b bytes.Buffer
	fmt.Fprintf(&b, "version: %d\n", Version)
	if f.Part != "" {
		fmt.Fprintf(&b, "part: %s\n", quoted(f.Part))
	}
	if len(f.Style) > 0 {
		b.WriteString("style:\n")
		for _, s := range f.Style {
			fmt.Fprintf(&b, "  %s: %s\n", s.Key, quoted(s.Value))
		}
	}
	if len(f.Decisions) == 0 {
		b.WriteString("decisions: []\n")
		return b.Bytes()
	}
	b.WriteString("decisions:\n")
	for i := range f.Decisions {
		d := &f.Decisions[i]
		fmt.Fprintf(&b, "  - at: %s\n", quoted(d.At.String()))
		for _, p := range d.pairs() {
			v := p[1]
			if p[0] == "reason" {
				v = quoted(v)
			}
			fmt.Fprintf(&b, "    %s: %s\n", p[0], v)
		}
	}
	return b.Bytes()
}

// quoted is text as a YAML scalar on one line.
func quoted(s string) string {
	n := yaml.Node{Kind: yaml.ScalarNode, Tag: "!!str", Value: s}
	if strings.ContainsFunc(s, func(r rune) bool { return r < ' ' || r == '\u0085' || r == '\u2028' || r == '\u2029' }) || len(s) > 70 {
		n.Style = yaml.DoubleQuotedStyle
	}
	out, err := yaml.Marshal(&n)
	text := strings.TrimSuffix(string(out), "\n")
	if err != nil || strings.Contains(text, "\n") {
		return strconv.Quote(s)
	}
	return text
}
