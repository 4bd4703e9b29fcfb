package engrave

import (
	"fmt"
	"iter"
	"regexp"
	"strconv"
	"strings"
)

// ownIDs names what belongs to the picture rather than to the score: the picture itself,
// its glyphs, and what the layout added (systems, repeated clefs and keys). The engraver
// numbers the last by all that was drawn before, so the bytes would depend on it; and it
// names the glyphs alike in every picture, so that in one HTML page the first would serve
// all, even when hidden. Identifiers of the score stay.
func (s *Session) ownIDs(svg string, l Layout, page int) string {
	own := fmt.Sprintf("g%08x%08x-%d", s.source.sum, l.sum(), page)
	return s.renamed(svg, own, own)
}

// renamed names the glyphs of a picture after one text and all else that is its own
// after another.
func (s *Session) renamed(svg, glyphs, own string) string {
	m := pictureID.FindStringSubmatch(svg)
	if m == nil {
		return svg
	}
	svg = strings.ReplaceAll(svg, "-"+m[1]+`"`, "-"+glyphs+`"`)
	var b strings.Builder
	b.Grow(len(svg) + len(svg)/8)
	at, n := 0, 0
	for from, to := range values(svg, `id="`) {
		before, id := svg[:from-len(`id="`)], svg[from:to]
		mine := strings.HasSuffix(before, " ") || strings.HasSuffix(before, " data-")
		if !mine || !engraverID(id) || s.ids[id] {
			continue
		}
		n++
		b.WriteString(svg[at:from])
		b.WriteString(own)
		b.WriteString("-" + strconv.Itoa(n))
		at = to
	}
	b.WriteString(svg[at:])
	return b.String()
}

var pictureID = regexp.MustCompile(`^<svg [^>]*\bid="([^"]+)"`)

// engraverID says that an identifier looks like those that the engraver makes: small
// letters and digits. Those of glyphs have a capital.
func engraverID(id string) bool {
	for _, c := range []byte(id) {
		if (c < 'a' || c > 'z') && (c < '0' || c > '9') {
			return false
		}
	}
	return id != ""
}

// values are the places, from and to, of what stands between an opening text and the next
// quotation mark. Searching for a text is many times faster than for a pattern.
func values(text, opening string) iter.Seq2[int, int] {
	return func(yield func(from, to int) bool) {
		for at := 0; ; {
			i := strings.Index(text[at:], opening)
			if i < 0 {
				return
			}
			from := at + i + len(opening)
			n := strings.IndexByte(text[from:], '"')
			if n < 0 || !yield(from, from+n) {
				return
			}
			at = from + n
		}
	}
}
