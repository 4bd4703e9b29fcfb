package engrave

import (
	"fmt"
	"math"
	"strings"
	"unicode/utf8"
)

// The heading and the page number are text that we set on the drawn page: of a heading
// the engraver draws the title alone, and its form of the score would have to be read a
// second time to tell it more. It keeps the room free for lines of a stand-in.

// Longest lines of a heading in characters, so that they fit the 180 mm between the
// margins of A4: seen by drawing, a character of a title is about 2.3 mm wide and one
// of smaller text 1.5 mm.
const (
	titleLine  = 66
	secondLine = 100
	personLine = 52
)

// Type and distances of a heading in hundredths of a millimetre, where the staff is
// headingStaff mm high; with another staff they grow and shrink as the notes do.
const (
	headingStaff = 7.0
	titleType    = 590
	plainType    = 390
	lineSpace    = 1.25 // from baseline to baseline, in the size of the type
	groupSpace   = 170  // more, between titles, and between them and the people
	standInLine  = 346  // the room that one line of the stand-in keeps free: measured
	numberHeight = 350  // at the foot of the page, for its number
)

// headingLine is a text on a page: its baseline is y below the top margin, its start,
// middle or end (the anchor) at the left margin, the middle or the right margin.
type headingLine struct {
	text, anchor string
	size, y      float64
}

// lines sets titles in the middle, the part to the left and the people to the right, as
// a printed part does; height is what they take.
func (h heading) lines() (lines []headingLine, height float64) {
	y := 0.0
	set := func(at float64, anchor string, size float64, texts []string) float64 {
		for _, t := range texts {
			at += size * lineSpace
			lines = append(lines, headingLine{t, anchor, size, at})
		}
		return at
	}
	title, second := h.titles()
	y = set(y, "middle", titleType, wrapped(title, titleLine))
	if second != "" {
		y = set(y+groupSpace, "middle", plainType, wrapped(second, secondLine))
	}
	if y > 0 {
		y += groupSpace
	}
	left := set(y, "start", plainType, wrapped(h.part, personLine))
	right := y
	for _, p := range h.people {
		if !p.named() {
			continue
		}
		switch p.role {
		case "composer", "", "arranger", "editor", "transcriber":
			right = set(right, "end", plainType, wrapped(p.name, personLine))
		}
	}
	return lines, max(left, right)
}

// longestName is how many characters a name may have; what is longer is a sentence.
const longestName = 60

// named says that a creator is a person or two, not a remark of whoever made the file:
// neither a sentence nor an address of the web or of mail. Such a one stays in the file
// and is not set.
func (p person) named() bool {
	name := strings.ToLower(p.name)
	for _, sign := range []string{"://", "www.", "@"} {
		if strings.Contains(name, sign) {
			return false
		}
	}
	return utf8.RuneCountInString(name) <= longestName
}

// standIn is what keeps the room of the heading free in the engraver's copy: credits of
// the first page, which it draws one below the other, whatever their type. With a page
// size in the source it takes those of the lower half for the foot, hence the height.
func (h heading) standIn() string {
	_, height := h.lines()
	n := int(math.Ceil(height / standInLine))
	return strings.Repeat(`<credit page="1"><credit-words default-y="100000" justify="center" valign="top">x</credit-words></credit>`, n)
}

// furnish sets the heading on the first page and the number on each.
func (h heading) furnish(svg string, l Layout, page int) string {
	svg = withoutStandIn(svg)
	scale := l.StaffHeight / headingStaff
	var b strings.Builder
	text := func(x, y, size float64, anchor, text string) {
		fmt.Fprintf(&b, `<text x="%.0f" y="%.0f" font-size="%.0fpx" font-family="Times, serif" text-anchor="%s">%s</text>`, x, y, size, anchor, escape(text))
	}
	left, right := l.MarginLeft*100, (l.PageWidth-l.MarginRight)*100
	at := map[string]float64{"start": left, "middle": (left + right) / 2, "end": right}
	if l.Header && page == 1 {
		lines, _ := h.lines()
		fmt.Fprintf(&b, `<g %s="heading">`, l.classAttr())
		for _, t := range lines {
			text(at[t.anchor], l.MarginTop*100+t.y*scale, t.size*scale, t.anchor, t.text)
		}
		b.WriteString("</g>\n")
	}
	if l.Footer {
		fmt.Fprintf(&b, `<g %s="page-number">`, l.classAttr())
		text(at["middle"], drawnHeight(svg, l)-l.MarginBottom*100, plainType*scale, "middle", fmt.Sprint(page))
		b.WriteString("</g>\n")
	}
	return beforeEnd(svg, b.String())
}

// withoutStandIn takes the stand-in off a page: a group without groups in it.
func withoutStandIn(svg string) string {
	at := strings.Index(svg, `class="pgHead"`) // also of data-class
	if at < 0 {
		return svg
	}
	from := strings.LastIndex(svg[:at], "<g ")
	end := strings.Index(svg[at:], "</g>")
	if from < 0 || end < 0 {
		return svg
	}
	return svg[:from] + svg[at+end+len("</g>"):]
}

// drawnHeight is the height of a drawing in hundredths of a millimetre: the page's, or
// less where it is cut to the music.
func drawnHeight(svg string, l Layout) float64 {
	var w, h float64
	if _, after, ok := strings.Cut(svg, `class="definition-scale"`); ok && l.FitHeight {
		if _, box, ok := strings.Cut(after, `viewBox="`); ok {
			if _, err := fmt.Sscanf(box, "0 0 %g %g", &w, &h); err == nil {
				return h
			}
		}
	}
	return l.PageHeight * 100
}

// beforeEnd puts elements at the end of a drawing, in the coordinates of its page.
func beforeEnd(svg, elements string) string {
	if outer := strings.LastIndex(svg, "</svg>"); elements != "" && outer > 0 {
		if inner := strings.LastIndex(svg[:outer], "</svg>"); inner > 0 {
			return svg[:inner] + elements + svg[inner:]
		}
	}
	return svg
}

// wrapped breaks a text between words into lines of about the same length, none longer
// than most characters unless a word is.
func wrapped(text string, most int) []string {
	words := strings.Fields(text)
	n := utf8.RuneCountInString(strings.Join(words, " "))
	if n == 0 {
		return nil
	}
	for count := (n + most - 1) / most; ; count++ {
		lines := filled(words, max((n+count-1)/count+6, 1)) // 6: half a word more evens the lines
		if fits(lines, most) || count >= len(words) {
			return lines
		}
	}
}

// filled puts as many words on each line as it holds.
func filled(words []string, most int) []string {
	var lines []string
	for _, w := range words {
		if n := len(lines); n > 0 && utf8.RuneCountInString(lines[n-1])+1+utf8.RuneCountInString(w) <= most {
			lines[n-1] += " " + w
		} else {
			lines = append(lines, w)
		}
	}
	return lines
}

func fits(lines []string, most int) bool {
	for _, l := range lines {
		if utf8.RuneCountInString(l) > most {
			return false
		}
	}
	return true
}

// titles are the two lines of the title: the work and its movement, or the only title.
func (h heading) titles() (title, second string) {
	movement := h.movement
	if h.number != "" && movement != "" && !strings.HasPrefix(movement, h.number) {
		movement = strings.TrimSuffix(h.number, ".") + ". " + movement
	}
	switch {
	case h.work == "" || h.work == h.movement:
		return movement, ""
	case h.movement == "" && h.number != "":
		return h.work, h.number
	}
	return h.work, movement
}
