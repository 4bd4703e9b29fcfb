package desk

import (
	"math"
	"strings"

	"pochette/internal/engrave"
	"pochette/internal/score"
	"pochette/internal/study"
)

// What the reading of the score says of a measure and of a note: keys, chords, tension,
// voices, passages that come again. It rests on the score alone, so it stays as it is
// whatever is decided.

type viewParallel struct {
	First      int    `json:"first"`
	Last       int    `json:"last"`
	OtherFirst int    `json:"other_first"`
	OtherLast  int    `json:"other_last"`
	Text       string `json:"text"`
}

// readMeasures fills key, chords and tension of each measure. Tension is the highest of
// the measure as a share of the highest of the movement.
func readMeasures(rd *study.Reading, ms []viewMeasure) {
	for _, k := range rd.Keys {
		for i := max(0, k.From.Measure); i <= k.To.Measure && i < len(ms); i++ {
			if ms[i].Key == "" || i > k.From.Measure {
				ms[i].Key = k.Key
			}
		}
	}
	top := 0.0
	for _, c := range rd.Chords {
		top = math.Max(top, c.Tension)
	}
	chords := make([][]string, len(ms))
	for _, c := range rd.Chords {
		m := c.At.Measure
		if m < 0 || m >= len(ms) {
			continue
		}
		chords[m] = append(chords[m], c.Name)
		if top > 0 {
			t := round(math.Max(0, c.Tension) / top)
			if ms[m].Tension == nil || *ms[m].Tension < t {
				ms[m].Tension = &t
			}
		}
	}
	for i := range ms {
		ms[i].Chord = strings.Join(chords[i], ", ")
	}
}

// chordAt finds the chord that sounds at a time.
func chordAt(rd *study.Reading, at score.Tick) *study.Chord {
	for i := range rd.Chords {
		if c := &rd.Chords[i]; c.Start <= at && at < c.Start+c.Len {
			return c
		}
	}
	return nil
}

// readEvent fills chord, key and voice of an event.
func readEvent(rd *study.Reading, v *viewEvent, at score.Tick, struck []score.NoteID) {
	if v.Rest {
		return
	}
	if c := chordAt(rd, at); c != nil {
		v.Chord, v.Key = c.Name+" ("+c.Numeral+")", c.Key
	}
	var names []string
	for _, id := range struck {
		if name := rd.VoiceOf(id); name != "" {
			names = append(names, name)
		}
	}
	v.Voice = strings.Join(names, ", ")
}

// chordNames are the names of the chords below the first note that is struck in each.
func chordNames(rd *study.Reading, part *score.Part) []engrave.Added {
	var out []engrave.Added
	next := 0
	for i := range rd.Chords {
		c := &rd.Chords[i]
		for next < len(part.Notes) && (part.Notes[next].Onset < c.Start || !part.Notes[next].Struck()) {
			next++
		}
		if next < len(part.Notes) && part.Notes[next].Onset < c.Start+c.Len {
			out = append(out, engrave.Added{Note: idOf(score.NoteID(next)), Kind: engrave.Caption, Text: c.Name, Class: "chord-name", Below: true})
		}
	}
	return out
}

func readParallels(rd *study.Reading) []viewParallel {
	var out []viewParallel
	for _, p := range rd.Parallels {
		text := p.Text
		for _, d := range p.Differences {
			text += " " + d.Text
		}
		out = append(out, viewParallel{p.From.Measure, p.To.Measure, p.OtherFrom.Measure, p.OtherTo.Measure, text})
	}
	return out
}
