package decide

import (
	"fmt"
	"strings"
	"unicode"

	"pochette/internal/pitch"
)

// ParseLine reads one decision in the compact form: a place, then key=value
// pairs; a value with blanks stands in double quotes, inside which \" and \\
// are a quote and a backslash.
func ParseLine(s string) (Decision, error) {
	var d Decision
	words, err := split(s)
	if err != nil {
		return d, err
	}
	if len(words) == 0 {
		return d, fmt.Errorf(`an empty decision; want a place and what is decided, as in "m22.2 finger=3 string=II"`)
	}
	if d.At, err = ParsePlace(words[0]); err != nil {
		return d, err
	}
	seen := map[string]bool{}
	for _, w := range words[1:] {
		key, v, ok := strings.Cut(w, "=")
		if !ok {
			return d, fmt.Errorf("%v: %q is not of the form key=value", d.At, clip(w))
		}
		if seen[key] {
			return d, fmt.Errorf("%v: %s is given twice", d.At, clip(key))
		}
		seen[key] = true
		if err := d.value(key, v); err != nil {
			return d, fmt.Errorf("%v: %w", d.At, err)
		}
	}
	return d, d.complete()
}

// split cuts a line at blanks outside quotes, and takes the quotes away.
func split(s string) ([]string, error) {
	var out []string
	var word strings.Builder
	quoted, any, escaped := false, false, false
	for _, r := range s {
		switch {
		case escaped:
			word.WriteRune(r)
			escaped = false
		case quoted && r == '\\':
			escaped = true
		case r == '"':
			quoted, any = !quoted, true
		case !quoted && unicode.IsSpace(r):
			if any {
				out = append(out, word.String())
			}
			word.Reset()
			any = false
		default:
			word.WriteRune(r)
			any = true
		}
	}
	if quoted {
		return nil, fmt.Errorf("decision %q: a quote is not closed", clip(s))
	}
	if any {
		out = append(out, word.String())
	}
	return out, nil
}

// Text writes a decision as ParseLine reads it.
func (d *Decision) Text() string {
	var b strings.Builder
	b.WriteString(d.At.String())
	for _, p := range d.pairs() {
		b.WriteString(" " + p[0] + "=")
		if p[0] != "reason" {
			b.WriteString(p[1])
			continue
		}
		b.WriteString(`"` + strings.NewReplacer(`\`, `\\`, `"`, `\"`).Replace(p[1]) + `"`)
	}
	return b.String()
}

// plainPitch reads a pitch and writes it plainly: "F#5", "Bb3".
func plainPitch(s string) (string, bool) {
	p, err := pitch.Parse(s)
	if err != nil || strings.ContainsAny(s, " \t\r\n") {
		return "", false
	}
	acc := strings.Repeat("#", max(0, int(p.Alter))) + strings.Repeat("b", max(0, -int(p.Alter)))
	return fmt.Sprintf("%v%s%d", p.Step, acc, p.Octave), true
}
