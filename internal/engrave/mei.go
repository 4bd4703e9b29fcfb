package engrave

import (
	"regexp"
	"strings"
)

// One thing the engraver cannot take from MusicXML is written into its own reading of the
// score, which is MEI, and read again: a string numeral above a finger.

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
