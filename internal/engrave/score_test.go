package engrave

import (
	"fmt"
	"strings"
)

// An invented score, built for the tests: quarters in 4/4, one measure for each string
// given, its notes written as the contents of <measure>.

func invented(measures ...string) []byte {
	var b strings.Builder
	b.WriteString(`<?xml version="1.0" encoding="UTF-8"?>
<score-partwise version="4.0">
<work><work-title>Invented Suite</work-title></work>
<movement-number>2</movement-number><movement-title>Jig</movement-title>
<identification><creator type="composer">Ada Nobody</creator></identification>
<part-list><score-part id="P1"><part-name>Viola</part-name></score-part></part-list>
<part id="P1">
`)
	for i, m := range measures {
		fmt.Fprintf(&b, `<measure number="%d">`, i+1)
		if i == 0 {
			b.WriteString(`<attributes><divisions>1</divisions><key><fifths>0</fifths></key><time><beats>4</beats><beat-type>4</beat-type></time><clef><sign>C</sign><line>3</line></clef></attributes>`)
		}
		b.WriteString(m + "</measure>\n")
	}
	b.WriteString("</part></score-partwise>\n")
	return []byte(b.String())
}

// quarter is a quarter note with technical marks, in voice 1.
func quarter(step string, octave int, technical ...string) string {
	return voiced(1, false, step, octave, technical...)
}

func voiced(voice int, chord bool, step string, octave int, technical ...string) string {
	var b strings.Builder
	b.WriteString("<note>")
	if chord {
		b.WriteString("<chord/>")
	}
	fmt.Fprintf(&b, "<pitch><step>%s</step><octave>%d</octave></pitch><duration>1</duration><voice>%d</voice><type>quarter</type>", step, octave, voice)
	if len(technical) > 0 {
		b.WriteString("<notations><technical>" + strings.Join(technical, "") + "</technical></notations>")
	}
	b.WriteString("</note>")
	return b.String()
}

// plainMeasures are n measures of four quarters each, the pitch walking up and down.
func plainMeasures(n int) []string {
	steps := []string{"C", "D", "E", "F", "G", "A", "B"}
	out := make([]string, n)
	for i := range out {
		for j := range 4 {
			out[i] += quarter(steps[(i*3+j)%7], 4)
		}
	}
	return out
}
