package study

import (
	"fmt"
	"sort"
	"strings"

	"pochette/internal/report"
	"pochette/internal/score"
	"pochette/internal/timeline"
)

// addReading puts into each bar what a player finds there: arrivals, hemiolas and
// tags, what the voices do, where it differs from its parallel.
func (s *Study) addReading(add func(int, report.Item)) {
	rd := s.Reading
	put := func(topic string, said *Said) {
		it := rd.item(topic, said)
		it.Place = "beat " + said.From.Beat
		if said.To.Measure > said.From.Measure {
			it.Place += " to " + said.To.String()
		}
		add(said.From.Measure, it)
	}
	for i := range rd.Harmony {
		if rd.Harmony[i].Arrival {
			put("arrival", &rd.Harmony[i])
		}
	}
	for i := range rd.Form {
		if k := rd.Form[i].Kind; k == "hemiola" || k == "tag" {
			put("form", &rd.Form[i])
		}
	}
	for i := range rd.Voices {
		put("voices", &rd.Voices[i])
	}
	for i := range rd.Odd {
		put("differs", &rd.Odd[i])
	}
}

func (rd *Reading) item(topic string, said *Said) report.Item {
	return report.Item{Topic: topic, Grade: score.Remark.String(), Place: rd.span(said.From, said.To), Text: said.Text, Why: strings.TrimSpace(said.Why)}
}

// tellReading fills the sections of the page that are about the movement as a
// whole; has says which bars the page shows.
func (s *Study) tellReading(d *report.Document, has func(measure int) bool) {
	rd := s.Reading
	bar := func(l score.Loc) string {
		if l.Measure >= 0 && has(l.Measure) {
			return barID(l.Measure)
		}
		return ""
	}
	for i := range rd.Form {
		it := rd.item("form", &rd.Form[i])
		it.Place = ""
		d.Form = append(d.Form, it)
	}
	for i := range rd.Keys {
		k := &rd.Keys[i]
		d.Keys = append(d.Keys, report.Item{Bar: bar(k.From), Place: capitalized(rd.span(k.From, k.To)), Text: k.Text})
	}
	if len(rd.Chords) > 0 {
		for m := range rd.Part.Measures {
			if key, line := rd.chordLine(m); line != "" {
				row := report.ChordRow{Label: timeline.Label(rd.Part, m), Key: key, Chords: line}
				if has(m) {
					row.Bar = barID(m)
				}
				d.Harmony = append(d.Harmony, row)
			}
		}
	}
	for i := range rd.Parallels {
		p := &rd.Parallels[i]
		if !p.near && !rd.strict { // as in the table of the command
			continue
		}
		out := report.Passage{Place: capitalized(rd.span(p.From, p.To)), Bar: bar(p.From), Again: rd.span(p.OtherFrom, p.OtherTo), Late: bar(p.OtherFrom), Text: p.Text}
		for _, d := range rd.gathered(p) {
			out.Differences = append(out.Differences, rd.item(d.Kind, &d))
		}
		d.Parallels = append(d.Parallels, out)
	}
	for i := range rd.Odd {
		it := rd.item("differs", &rd.Odd[i])
		it.Bar = bar(rd.Odd[i].From)
		d.Odd = append(d.Odd, it)
	}
	for i := range rd.Once {
		d.Once = append(d.Once, rd.item("once", &rd.Once[i]))
	}
}

// barChords is the line of a bar: its key and its chords.
func (rd *Reading) barChords(measure int) string {
	key, line := rd.chordLine(measure)
	if line == "" {
		return ""
	}
	return key + ": " + line
}

// chordLine gives the key at the head of a bar and what sounds in it, with the
// beats of the chords after the first; the chord that is held over stands first.
func (rd *Reading) chordLine(measure int) (key, line string) {
	var parts []string
	begins := rd.Part.Measures[measure].Start
	now := ""
	first := sort.Search(len(rd.Chords), func(i int) bool { return rd.Chords[i].Start+rd.Chords[i].Len > begins })
	for i := first; i < len(rd.Chords); i++ {
		c := &rd.Chords[i]
		held := c.Start < begins
		if !held && c.At.Measure != measure {
			break
		}
		text := c.short(rd.Level)
		if c.Key != now {
			if now != "" {
				text = "in " + c.Key + " " + text
			} else {
				key = c.Key
			}
			now = c.Key
		}
		if !held && c.At.Beat != "1" {
			text = fmt.Sprintf("%s (beat %s)", text, c.At.Beat)
		}
		parts = append(parts, text)
	}
	return key, strings.Join(parts, ", ")
}

// short is a chord as a level has it in a line.
func (c *Chord) short(l Level) string {
	if l == Student || c.Numeral == "" {
		return c.Name
	}
	return c.Numeral
}
