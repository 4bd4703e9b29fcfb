package engrave

import (
	"regexp"
	"strings"
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

// pageHead sets titles in the middle, the part to the left and the people to the right,
// as a printed part does.
func (h heading) pageHead() string {
	var b strings.Builder
	line := func(align, valign, size, text string) {
		if text != "" {
			b.WriteString(`<rend halign="` + align + `" valign="` + valign + `"><rend fontsize="` + size + `">` + escape(text) + `</rend></rend>`)
		}
	}
	title, second := h.titles()
	b.WriteString(`<pgHead func="first">`)
	line("center", "top", "x-large", title)
	line("center", "top", "medium", second)
	line("left", "bottom", "medium", h.part)
	for _, p := range h.people {
		switch p.role {
		case "composer", "", "arranger", "editor", "transcriber":
			line("right", "bottom", "medium", p.name)
		}
	}
	b.WriteString(`</pgHead>`)
	return b.String()
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
