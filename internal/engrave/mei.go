package engrave

import (
	"regexp"
	"strings"
	"unicode/utf8"
)

// Two things the engraver cannot take from MusicXML are written into its own reading of
// the score, which is MEI, and read again: a string numeral above a finger, and a
// heading with the people in it (it draws the title alone) and a page number below.

var fingElement = regexp.MustCompile(`<fing (xml:id="([^"]*)"[^>]*)>([^<]*` + mark + `[^<]*)</fing>`)

// stackNumerals splits each fingering that holds the mark into two: the finger, and over
// it the numeral of the string in smaller type.
func stackNumerals(mei string) string {
	return fingElement.ReplaceAllStringFunc(mei, func(s string) string {
		m := fingElement.FindStringSubmatch(s)
		attrs, id := m[1], m[2]
		finger, numeral, _ := strings.Cut(m[3], mark)
		small := func(attrs string) string {
			return "<fing " + attrs + `><rend fontsize="small">` + numeral + "</rend></fing>"
		}
		if finger == "" {
			return small(attrs)
		}
		return "<fing " + attrs + ">" + finger + "</fing>" +
			small(strings.Replace(attrs, `"`+id+`"`, `"`+id+`-string"`, 1))
	})
}

var (
	pageHead = regexp.MustCompile(`(?s)<pg(Head|Foot)\b[^>]*?(/>|>.*?</pg(Head|Foot)>)\s*`)
	scoreDef = regexp.MustCompile(`<scoreDef\b[^>]*>`)
)

// setHeading replaces the page heads and feet of a score by ours, inside its first
// score definition.
func setHeading(mei string, h heading) string {
	mei = pageHead.ReplaceAllString(mei, "")
	at := scoreDef.FindStringIndex(mei)
	if at == nil {
		return mei
	}
	return mei[:at[1]] + h.pageHead() + pageFoot + mei[at[1]:]
}

const pageFoot = `<pgFoot func="all"><rend halign="center" valign="bottom"><num label="page">#</num></rend></pgFoot>`

// Longest lines of a heading in characters, so that they fit the 180 mm between the
// margins of A4: seen by drawing, a character of a title is about 2.3 mm wide and one
// of smaller text 1.5 mm.
const (
	titleLine  = 66
	secondLine = 100
	personLine = 52
)

// pageHead sets titles in the middle, the part to the left and the people to the right,
// as a printed part does.
func (h heading) pageHead() string {
	var b strings.Builder
	line := func(align, valign, size, text string) {
		b.WriteString(`<rend halign="` + align + `" valign="` + valign + `"><rend fontsize="` + size + `">` + escape(text) + `</rend></rend>`)
	}
	set := func(align, valign, size, text string, most int) {
		for _, l := range wrapped(text, most) {
			line(align, valign, size, l)
		}
	}
	space := func() { line("center", "top", "xx-small", "\u00a0") } // keeps two lines apart
	title, second := h.titles()
	b.WriteString(`<pgHead func="first">`)
	set("center", "top", "x-large", title, titleLine)
	if second != "" {
		space()
		set("center", "top", "medium", second, secondLine)
	}
	space()
	set("left", "bottom", "medium", h.part, personLine)
	for _, p := range h.people {
		switch p.role {
		case "composer", "", "arranger", "editor", "transcriber":
			set("right", "bottom", "medium", p.name, personLine)
		}
	}
	b.WriteString(`</pgHead>`)
	return b.String()
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
