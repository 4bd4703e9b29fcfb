package svg

import (
	"slices"
	"strings"
)

// decl is one property with its value.
type decl struct{ key, val string }

// rule is one selector with its declarations.
type rule struct {
	sel   []compound // outermost ancestor first
	decls []decl
	rank  int // specificity, CSS 2.1 section 6.4.3
}

// compound is a type, an id and classes that all must hold for one element.
type compound struct {
	tag, id string
	classes []string
}

// sheet is all the rules, weakest first.
type sheet []rule

// parseCSS reads style rules. Rules of at-blocks (such as @font-face) are
// passed over, as are selectors with parts that are not read (CSS 2.1 section
// 4.1.7 lets a reader drop those).
func parseCSS(src string) sheet {
	var out sheet
	src = stripComments(src)
	for {
		open := strings.IndexByte(src, '{')
		if open < 0 {
			break
		}
		head := strings.TrimSpace(src[:open])
		if k := strings.LastIndexByte(head, ';'); k >= 0 {
			head = strings.TrimSpace(head[k+1:]) // after an @import or @charset line
		}
		end := closing(src, open)
		if !strings.HasPrefix(head, "@") {
			body := parseDecls(src[open+1 : end])
			for sel := range strings.SplitSeq(head, ",") {
				if chain, rank, ok := parseSelector(sel); ok {
					out = append(out, rule{chain, body, rank})
				}
			}
		}
		src = src[min(end+1, len(src)):]
	}
	slices.SortStableFunc(out, func(a, b rule) int { return a.rank - b.rank })
	return out
}

// stripComments takes the comments out of a style sheet.
func stripComments(src string) string {
	if !strings.Contains(src, "/*") {
		return src
	}
	var b strings.Builder
	for {
		i := strings.Index(src, "/*")
		if i < 0 {
			b.WriteString(src)
			return b.String()
		}
		b.WriteString(src[:i])
		j := strings.Index(src[i+2:], "*/")
		if j < 0 {
			return b.String()
		}
		src = src[i+2+j+2:]
	}
}

// closing is where the block opened at src[open] ends.
func closing(src string, open int) int {
	depth := 0
	for i := open; i < len(src); i++ {
		switch src[i] {
		case '{':
			depth++
		case '}':
			if depth--; depth == 0 {
				return i
			}
		}
	}
	return len(src)
}

// parseDecls reads "property: value; ...".
func parseDecls(s string) []decl {
	var out []decl
	for part := range strings.SplitSeq(s, ";") {
		key, val, ok := strings.Cut(part, ":")
		if !ok {
			continue
		}
		val = strings.TrimSpace(strings.Replace(val, "!important", "", 1))
		out = append(out, decl{strings.TrimSpace(key), val})
	}
	return out
}

// parseSelector reads compounds joined by descent.
func parseSelector(s string) (chain []compound, rank int, ok bool) {
	for word := range strings.FieldsSeq(s) {
		c, r, ok := parseCompound(word)
		if !ok {
			return nil, 0, false
		}
		chain = append(chain, c)
		rank += r
	}
	return chain, rank, len(chain) > 0
}

// parseCompound reads one word of a selector, such as "#a", "g.tempo" or "*".
func parseCompound(w string) (c compound, rank int, ok bool) {
	i := 0
	for i < len(w) {
		mark := w[i]
		if mark == '.' || mark == '#' || mark == '*' {
			i++
		}
		j := i
		for j < len(w) && (isLetter(w[j]) || isDigit(w[j]) || w[j] == '-' || w[j] == '_' || w[j] >= 0x80) {
			j++
		}
		word := w[i:j]
		switch {
		case mark == '*' && word == "":
		case word == "" || mark == '*':
			return c, 0, false
		case mark == '.':
			c.classes = append(c.classes, word)
			rank += 100
		case mark == '#':
			c.id = word
			rank += 10000
		default:
			c.tag = word
			rank++
		}
		i = j
	}
	return c, rank, true
}

// matches says whether the compound holds for an element.
func (c *compound) matches(n *node) bool {
	if c.tag != "" && c.tag != n.name {
		return false
	}
	if c.id != "" {
		if id, _ := n.attr("id"); id != c.id {
			return false
		}
	}
	if len(c.classes) == 0 {
		return true
	}
	class, _ := n.attr("class")
	for _, want := range c.classes {
		if !hasWord(class, want) {
			return false
		}
	}
	return true
}

func hasWord(list, want string) bool {
	for w := range strings.FieldsSeq(list) {
		if w == want {
			return true
		}
	}
	return false
}

// matches says whether the rule applies to an element: the last compound on the
// element, the others in order on its ancestors in the document.
func (r *rule) matches(n *node) bool {
	k := len(r.sel) - 1
	if !r.sel[k].matches(n) {
		return false
	}
	for p := n.parent; k > 0; p = p.parent {
		if p == nil {
			return false
		}
		if r.sel[k-1].matches(p) {
			k--
		}
	}
	return true
}
