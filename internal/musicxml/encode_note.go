package musicxml

import (
	"fmt"
	"strconv"
	"strings"

	"pochette/internal/pitch"
	"pochette/internal/score"
)

// note writes <note> with its children in the order of the schema.
func (e *partEncoder) note(n *score.Note, beams []string) error {
	x := e.x
	hidden := ""
	if n.Hidden {
		hidden = "no"
	}
	x.open("note", "print-object", hidden, "pizzicato", yes(n.Has(score.NotePizzicato)))
	if n.Grace {
		x.empty("grace", "slash", yes(n.Slash))
	}
	if n.Cue {
		x.empty("cue")
	}
	if n.Chord {
		x.empty("chord")
	}
	e.pitch(n)
	if !n.Grace {
		x.text("duration", strconv.FormatInt(int64(n.Dur), 10))
	}
	if !n.Cue {
		e.tie("tie", n)
	}
	x.opt("voice", n.Voice)
	x.opt("type", n.Value.Type)
	for range n.Value.Dots {
		x.empty("dot")
	}
	x.opt("accidental", n.Accidental)
	if v := n.Value; v.Actual > 0 && v.Normal > 0 && (v.Actual != 1 || v.Normal != 1) {
		x.open("time-modification")
		x.int("actual-notes", v.Actual)
		x.int("normal-notes", v.Normal)
		x.close("time-modification")
	}
	x.opt("stem", n.Stem)
	if h, ok := n.Get("notehead"); ok {
		x.text("notehead", h.Text)
	}
	if e.p.Staves > 1 {
		x.int("staff", n.Staff)
	}
	for i, b := range beams {
		if b != "" {
			x.text("beam", b, "number", strconv.Itoa(i+1))
		}
	}
	if err := e.notations(n); err != nil {
		return err
	}
	if n.Lyric != "" {
		x.open("lyric")
		x.text("text", n.Lyric)
		x.close("lyric")
	}
	x.close("note")
	return nil
}

func (e *partEncoder) pitch(n *score.Note) {
	x := e.x
	display := func() {
		x.text("display-step", n.Display.Step.String())
		x.int("display-octave", int(n.Display.Octave))
	}
	switch {
	case n.Rest && n.Placed:
		x.open("rest", "measure", yes(n.MeasureRest))
		display()
		x.close("rest")
	case n.Rest:
		x.empty("rest", "measure", yes(n.MeasureRest))
	case n.Unpitched && n.Placed:
		x.open("unpitched")
		display()
		x.close("unpitched")
	case n.Unpitched:
		x.empty("unpitched")
	default:
		x.open("pitch")
		x.text("step", n.Written.Step.String())
		if n.Written.Alter != 0 || n.Written.Cents != 0 {
			x.text("alter", strconv.FormatFloat(float64(n.Written.Alter)+float64(n.Written.Cents)/100, 'f', -1, 64))
		}
		x.int("octave", int(n.Written.Octave))
		x.close("pitch")
	}
}

func (e *partEncoder) tie(name string, n *score.Note) {
	if n.TieFrom != score.NoNote {
		e.x.empty(name, "type", "stop")
	}
	if n.TieTo != score.NoNote {
		e.x.empty(name, "type", "start")
	}
}

// notations writes ties, slurs, tuplets and marks; marks that stand in one
// element and follow each other share it.
func (e *partEncoder) notations(n *score.Note) error {
	slurs := e.slurs[n.ID]
	marks := false
	for _, m := range n.Marks {
		marks = marks || m.Kind != "notehead" && m.Kind != score.NotePizzicato
	}
	if n.TieFrom == score.NoNote && n.TieTo == score.NoNote && len(slurs) == 0 && len(n.Tuplets) == 0 && !marks {
		return nil
	}
	x := e.x
	x.open("notations")
	if !n.Cue {
		e.tie("tied", n)
	}
	for _, stop := range []bool{true, false} {
		for _, s := range slurs {
			if s.start != stop {
				kind := "stop"
				if s.start {
					kind = "start"
				}
				x.empty("slur", "number", strconv.Itoa(s.number), "placement", s.placement, "type", kind)
			}
		}
	}
	for _, t := range n.Tuplets {
		kind := "stop"
		if t.Start {
			kind = "start"
		}
		x.empty("tuplet", "number", strconv.Itoa(max(1, t.Number)), "type", kind)
	}
	if err := e.marks(n); err != nil {
		return err
	}
	x.close("notations")
	return nil
}

func (e *partEncoder) marks(n *score.Note) error {
	x, holder := e.x, "notations"
	leave := func() {
		if holder != "notations" {
			x.close(holder)
		}
	}
	for i, m := range n.Marks {
		switch m.Kind {
		case "notehead", score.NotePizzicato, "base-pitch", "touching-pitch", "sounding-pitch":
			continue
		}
		h := holderOf(m.Kind)
		if m.Kind == "accidental-mark" && holder == "ornaments" {
			h = holder
		}
		xml, ok := markXML(m)
		if !ok {
			return fmt.Errorf("musicxml: part %s, measure %s: a mark of the kind %q cannot be written", e.id, e.p.Measures[n.Measure].Number, m.Kind)
		}
		if m.Kind == score.Harmonic && i+1 < len(n.Marks) {
			xml = harmonicXML(m, n.Marks[i+1])
		}
		if h != holder {
			leave()
			if holder = h; h != "notations" {
				x.open(h)
			}
		}
		x.line()
		x.raw(xml)
	}
	leave()
	return nil
}

// harmonicXML adds which pitch of a harmonic is the one written.
func harmonicXML(m, next score.Mark) string {
	body := ""
	if m.Text != "" {
		body = "<" + m.Text + "/>"
	}
	switch next.Kind {
	case "base-pitch", "touching-pitch", "sounding-pitch":
		body += "<" + string(next.Kind) + "/>"
	}
	attrs := ""
	if m.Below {
		attrs = ` placement="below"`
	}
	return "<harmonic" + attrs + ">" + body + "</harmonic>"
}

// direction writes <direction>, or <sound> and <barline> for those two kinds.
func (e *partEncoder) direction(d *score.Direction) error {
	x := e.x
	tempo := ""
	if d.Tempo > 0 {
		tempo = strconv.FormatFloat(d.Tempo, 'f', -1, 64)
	}
	switch d.Kind {
	case "sound":
		x.empty("sound", "tempo", tempo)
		return nil
	case "pizzicato":
		x.empty("sound", "pizzicato", d.Text)
		return nil
	case "barline":
		x.open("barline", "location", "middle")
		x.text("bar-style", label(d.Text, "regular"))
		x.close("barline")
		return nil
	}
	above := ""
	if d.Above {
		above = "above"
	}
	x.open("direction", "placement", above)
	x.open("direction-type")
	if err := e.directionType(d); err != nil {
		return err
	}
	x.close("direction-type")
	x.opt("voice", d.Voice)
	if e.p.Staves > 1 && d.Staff > 0 {
		x.int("staff", d.Staff)
	}
	if tempo != "" {
		x.empty("sound", "tempo", tempo)
	}
	x.close("direction")
	return nil
}

func (e *partEncoder) directionType(d *score.Direction) error {
	x := e.x
	number := ""
	if d.Number > 1 {
		number = strconv.Itoa(d.Number)
	}
	switch d.Kind {
	case "words", "rehearsal":
		x.text(d.Kind, d.Text)
	case "segno", "coda":
		x.empty(d.Kind)
	case "dynamics":
		x.open("dynamics")
		if dynamicNames[d.Text] {
			x.empty(d.Text)
		} else {
			x.text("other-dynamics", d.Text)
		}
		x.close("dynamics")
	case "wedge", "dashes":
		x.empty(d.Kind, "type", d.Text, "number", number)
	case "bracket":
		x.empty(d.Kind, "type", d.Text, "number", number, "line-end", "none")
	case "pedal":
		x.empty(d.Kind, "type", d.Text, "number", number)
	case "octave-shift":
		x.empty(d.Kind, "type", d.Text, "size", strconv.Itoa(d.Size), "number", number)
	case "metronome":
		return e.metronome(d.Text)
	case "scordatura":
		p, err := pitch.Parse(d.Text)
		if err != nil {
			return fmt.Errorf("musicxml: scordatura: %w", err)
		}
		x.open("scordatura")
		x.open("accord", "string", strconv.Itoa(d.Number))
		x.text("tuning-step", p.Step.String())
		if p.Alter != 0 {
			x.int("tuning-alter", int(p.Alter))
		}
		x.int("tuning-octave", int(p.Octave))
		x.close("accord")
		x.close("scordatura")
	default:
		return fmt.Errorf("musicxml: part %s, measure %s: a direction of the kind %q cannot be written", e.id, e.p.Measures[d.Measure].Number, d.Kind)
	}
	return nil
}

// metronome writes "quarter. = 72" and "quarter = half".
func (e *partEncoder) metronome(text string) error {
	left, right, ok := strings.Cut(text, " = ")
	unit := strings.TrimRight(left, ".")
	if _, known := typeLength[unit]; !ok || !known {
		return fmt.Errorf("musicxml: a metronome mark %q cannot be written: want a note value, \" = \" and a number", text)
	}
	x := e.x
	write := func(s string) {
		u := strings.TrimRight(s, ".")
		x.text("beat-unit", u)
		for range len(s) - len(u) {
			x.empty("beat-unit-dot")
		}
	}
	x.open("metronome")
	write(left)
	if _, known := typeLength[strings.TrimRight(right, ".")]; known {
		write(right)
	} else {
		x.text("per-minute", right)
	}
	x.close("metronome")
	return nil
}
