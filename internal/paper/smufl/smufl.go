// Package smufl holds the outlines of the engraver's music font, for music
// symbols that stand inside text (a metronome note, a figure, a sharp in a
// title). Code points follow SMuFL 1.4 (W3C Music Notation Community Group) and
// Unicode's musical symbols U+266D to U+266F.
//
// The engraver writes most symbols as shapes, but inside <text> it only names
// the font and the code point, or embeds the font as WOFF2; the outlines are
// the same, so they are kept here, made from the engraver's data by make.mjs.
package smufl

import (
	"bytes"
	"compress/gzip"
	_ "embed"
	"fmt"
	"io"
	"strconv"
	"strings"
	"sync"
)

//go:embed leipzig.txt.gz
var packed []byte

// Glyph is one symbol.
type Glyph struct {
	Advance float64 // in ems
	D       string  // SVG path data in 1/1000 em, y upwards; empty for a space
}

// table is unpacked once, when the first symbol is asked for.
var table = sync.OnceValue(func() map[rune]Glyph {
	glyphs, err := unpack(packed)
	if err != nil {
		panic("smufl: the embedded table is damaged: " + err.Error())
	}
	return glyphs
})

func unpack(data []byte) (map[rune]Glyph, error) {
	z, err := gzip.NewReader(bytes.NewReader(data))
	if err != nil {
		return nil, err
	}
	text, err := io.ReadAll(z)
	if err != nil {
		return nil, err
	}
	out := make(map[rune]Glyph, 700)
	for line := range strings.SplitSeq(strings.TrimSuffix(string(text), "\n"), "\n") {
		code, rest, _ := strings.Cut(line, " ")
		adv, d, ok := strings.Cut(rest, " ")
		c, err := strconv.ParseUint(code, 16, 32)
		a, err2 := strconv.ParseFloat(adv, 64)
		if !ok || err != nil || err2 != nil {
			return nil, fmt.Errorf("line %.30q", line)
		}
		out[rune(c)] = Glyph{Advance: a / 1000, D: d}
	}
	return out, nil
}

// unicode maps characters of Unicode's blocks Miscellaneous Symbols and Musical
// Symbols, which text may hold, to the SMuFL symbols of the same name.
var unicode = map[rune]rune{
	0x2669:  0xECA5, // quarter note: metNoteQuarterUp
	0x266A:  0xECA7, // eighth note: metNote8thUp
	0x1D12A: 0xE263, // musical symbol double sharp: accidentalDoubleSharp
	0x1D12B: 0xE264, // musical symbol double flat: accidentalDoubleFlat
	0x1D15E: 0xECA3, // musical symbol half note: metNoteHalfUp
	0x1D15F: 0xECA5, // musical symbol quarter note: metNoteQuarterUp
	0x1D160: 0xECA7, // musical symbol eighth note: metNote8thUp
	0x1D161: 0xECA9, // musical symbol sixteenth note: metNote16thUp
}

// Lookup finds a symbol by its code point.
func Lookup(r rune) (Glyph, bool) {
	if s, ok := unicode[r]; ok {
		r = s
	}
	g, ok := table()[r]
	return g, ok
}

// Private says whether r is in the block of Unicode's private area that SMuFL
// uses (U+E000 to U+F8FF).
func Private(r rune) bool { return 0xE000 <= r && r <= 0xF8FF }
