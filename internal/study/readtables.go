package study

import (
	"fmt"
	"slices"
	"sort"
	"strings"

	"pochette/internal/score"
	"pochette/internal/timeline"
)

// The topics of a reading, as the commands are named.
const (
	HarmonyTopic   Topic = "harmony"
	VoicesTopic    Topic = "voices"
	FormTopic      Topic = "form"
	ParallelsTopic Topic = "parallels"
	OddTopic       Topic = "odd"
)

// Table of a topic of the reading, for some bars.
func (rd *Reading) Table(t Topic, b Bars) Table {
	switch t {
	case HarmonyTopic:
		return rd.harmonyTable(b)
	case VoicesTopic:
		return rd.voicesTable(b)
	case FormTopic:
		return rd.saidTable(rd.Form, b)
	case ParallelsTopic:
		return rd.parallelsTable(b)
	case OddTopic:
		return rd.oddTable(b)
	}
	panic("study: no reading of " + string(t))
}

// touches says that a stretch has to do with some bars.
func (b Bars) touches(from, to score.Loc) bool {
	return from.Measure <= b.Last && max(from.Measure, to.Measure) >= b.First
}

func (rd *Reading) overview(b Bars, text string) []string {
	if text == "" {
		return nil
	}
	if b.First > 0 || b.Last < len(rd.Part.Measures)-1 {
		return []string{"The whole movement: " + text}
	}
	return []string{text}
}

// wholeRhythm is the kind of the sentence about the pace of the chords: it is about
// the movement, not about the place at which it stands.
const wholeRhythm = "harmonic-rhythm"

// harmonyTable lists the chords, and under each what is said of its place.
func (rd *Reading) harmonyTable(b Bars) Table {
	t := Table{Head: []string{"bar", "beat", "key", "numeral", "chord"}, Before: rd.overview(b, strings.TrimSpace(rd.summaryKeys()+" "+rd.chordPace()))}
	if alone := rd.alone(); alone != "" {
		t.Before = slices.Insert(t.Before, 0, alone)
	}
	if rd.Level == Student {
		t.Head = []string{"bar", "beat", "key", "chord"}
	}
	if rd.Level == Scholar {
		t.Head = []string{"bar", "beat", "key", "numeral", "bass", "tension", "chord"}
	}
	key := ""
	from, to := rd.ticks(b)
	for i := range rd.Chords {
		c := &rd.Chords[i]
		if c.Start >= to || c.Start+c.Len <= from {
			continue
		}
		shown := c.Key
		if shown == key {
			shown = ""
		}
		key = c.Key
		cells := []string{score.SpokenNumber(c.At.Number), c.At.Beat, shown, c.Numeral, c.Name}
		switch rd.Level {
		case Student:
			cells = []string{score.SpokenNumber(c.At.Number), c.At.Beat, shown, c.Name}
		case Scholar:
			cells = []string{score.SpokenNumber(c.At.Number), c.At.Beat, shown, c.Numeral, c.Bass, fmt.Sprintf("%.1f", c.Tension), c.Name}
		}
		r := Row{Cells: cells}
		if c.Text != "" {
			r.Under = append(r.Under, c.Text)
		}
		for k := rd.harmonyFrom(max(from, c.Start)); k < len(rd.Harmony) && rd.Harmony[k].At < min(to, c.Start+c.Len); k++ {
			s := &rd.Harmony[k]
			if s.Kind == wholeRhythm {
				continue
			}
			text := rd.sentence(s, false)
			if s.At > c.Start {
				text = shortPlace(s.From) + ": " + text
			}
			r.Under = append(r.Under, text)
		}
		t.Rows = append(t.Rows, r)
	}
	for _, k := range rd.Keys {
		if len(rd.Keys) > 1 && b.touches(k.From, k.To) {
			t.After = append(t.After, capitalized(rd.span(k.From, k.To))+": "+k.Text)
		}
	}
	return t
}

// chordPace is that sentence, "" where there is none.
func (rd *Reading) chordPace() string {
	for i := range rd.Harmony {
		if rd.Harmony[i].Kind == wholeRhythm {
			return rd.Harmony[i].Text
		}
	}
	return ""
}

// ticks are the bounds of some bars.
func (rd *Reading) ticks(b Bars) (from, to score.Tick) {
	last := &rd.Part.Measures[b.Last]
	return rd.Part.Measures[b.First].Start, last.Start + last.Len
}

// harmonyFrom is the first sentence about harmony at or after a tick.
func (rd *Reading) harmonyFrom(at score.Tick) int {
	return sort.Search(len(rd.Harmony), func(i int) bool { return rd.Harmony[i].At >= at })
}

// sentence is what is said with its place, where asked, and its reason.
func (rd *Reading) sentence(s *Said, place bool) string {
	text := s.Text
	if place {
		text = capitalized(rd.span(s.From, s.To)) + ": " + text
	}
	if s.Why != "" {
		text += " " + strings.TrimSpace(s.Why)
	}
	return text
}

func capitalized(text string) string {
	if text == "" {
		return text
	}
	return strings.ToUpper(text[:1]) + text[1:]
}

// span names a stretch shortly.
func (rd *Reading) span(from, to score.Loc) string {
	text := from.String()
	switch {
	case to.Measure < 0 || to.Measure == from.Measure && to.Beat == from.Beat:
	case to.Measure == from.Measure:
		text += " to " + to.Beat
	default:
		text += " to " + to.String()
	}
	return text
}

// voicesTable lists the notes with their voice, one column a voice.
func (rd *Reading) voicesTable(b Bars) Table {
	n := max(1, len(rd.lines))
	t := Table{Head: []string{"bar", "beat"}, Before: rd.overview(b, rd.summaryVoices())}
	for i := range n {
		t.Head = append(t.Head, voiceName(i, n))
	}
	row := map[score.Tick]int{}
	for id := range rd.Part.Notes {
		x := &rd.Part.Notes[id]
		if !b.Has(x.Measure) || !x.Struck() || x.Grace || rd.Of[id] < 0 {
			continue
		}
		k, ok := row[x.Onset]
		if !ok {
			k = len(t.Rows)
			row[x.Onset] = k
			at := timeline.At(rd.Part, x.Measure, x.Onset, score.NoNote)
			t.Rows = append(t.Rows, Row{Cells: append([]string{score.SpokenNumber(at.Number), at.Beat}, make([]string, n)...)})
		}
		cell := &t.Rows[k].Cells[2+rd.Of[id]]
		if *cell != "" {
			*cell += "+"
		}
		*cell += x.Sounding.String()
	}
	t.After = rd.sentences(rd.Voices, b)
	return t
}

// sentences are the sentences of a list that touch some bars, one a line.
func (rd *Reading) sentences(said []Said, b Bars) []string {
	var out []string
	for i := range said {
		if b.touches(said[i].From, said[i].To) {
			out = append(out, rd.sentence(&said[i], true))
		}
	}
	return out
}

// saidTable lists sentences by place.
func (rd *Reading) saidTable(said []Said, b Bars) Table {
	t := Table{Head: []string{"bar", "beat", "what", ""}, Before: rd.overview(b, rd.summaryForm())}
	sorted := slices.Clone(said)
	for i := range sorted {
		s := &sorted[i]
		if b.touches(s.From, s.To) {
			t.Rows = append(t.Rows, Row{Cells: []string{score.SpokenNumber(s.From.Number), s.From.Beat, strings.ReplaceAll(s.Kind, "-", " "), rd.sentence(s, false)}})
		}
	}
	return t
}

// parallelsTable lists the passages that come again, and under each what differs.
// Those that are little alike are counted only, unless the reading is strict.
func (rd *Reading) parallelsTable(b Bars) Table {
	t := Table{Head: []string{"passage", "again", "moved by", "differences"}, Before: rd.overview(b, rd.summaryParallels())}
	if rd.Level == Scholar {
		t.Head = []string{"passage", "again", "moved by", "alike", "bits", "differences"}
	}
	far := 0
	for i := range rd.Parallels {
		p := &rd.Parallels[i]
		if !b.touches(p.From, p.To) && !b.touches(p.OtherFrom, p.OtherTo) {
			continue
		}
		if !p.near && !rd.strict {
			far++
			continue
		}
		cells := []string{shortSpan(p.From, p.To), shortSpan(p.OtherFrom, p.OtherTo), rd.movedBy(p)}
		if rd.Level == Scholar {
			cells = append(cells, fmt.Sprintf("%d of %d", p.alike, p.moments), fmt.Sprintf("%.0f", p.bits))
		}
		r := Row{Cells: append(cells, fmt.Sprint(len(p.Differences)))}
		for _, d := range rd.gathered(p) {
			r.Under = append(r.Under, rd.sentence(&d, true))
		}
		t.Rows = append(t.Rows, r)
	}
	if far > 0 {
		t.After = append(t.After, fmt.Sprintf("%s alike at fewer than 7 of 10 moments; --strict lists %s.", count(far, "more passage is", "more passages are"), them(far)))
	}
	return t
}

func them(n int) string {
	if n == 1 {
		return "it"
	}
	return "them"
}

// movedBy is the interval of a passage; a student is told the way only.
func (rd *Reading) movedBy(p *Parallel) string {
	switch {
	case p.Interval == "":
		return "nothing"
	case rd.Level != Student:
		return p.Interval
	case strings.HasSuffix(p.Interval, " up"):
		return "higher"
	}
	return "lower"
}

// listedEach is how many differences of one kind a passage lists one by one; more
// of them are the way the passages differ, and told as one.
const listedEach = 3

// gathered are the differences of a passage, those of a kind that comes often told
// as one, unless the reading is strict.
func (rd *Reading) gathered(p *Parallel) []Said {
	if rd.strict {
		return p.Differences
	}
	kinds := map[string]int{}
	for i := range p.Differences {
		kinds[p.Differences[i].Kind]++
	}
	told := map[string]bool{}
	var out []Said
	for _, d := range p.Differences {
		if n := kinds[d.Kind]; n > listedEach {
			if told[d.Kind] {
				continue
			}
			told[d.Kind] = true
			what, rest, _ := strings.Cut(d.Text, ": ")
			d.Text = fmt.Sprintf("%s, in %d places; here first: %s", what, n, rest)
		}
		out = append(out, d)
	}
	return out
}

// shortSpan is a stretch as in docs/DECISIONS.md: m3.1-m4.2.
func shortSpan(from, to score.Loc) string {
	return shortPlace(from) + "-" + shortPlace(to)
}

func shortPlace(l score.Loc) string {
	number := timeline.Stem(l.Number)
	if l.Repeated {
		number = fmt.Sprintf("@%d", l.Measure+1)
	}
	if l.Beat == "" {
		return "m" + number
	}
	return "m" + number + "." + l.Beat
}

// oddTable lists differences between parallels, then what occurs only once; a scholar
// sees how surprising each is, in bits.
func (rd *Reading) oddTable(b Bars) Table {
	t := Table{Head: []string{"place", "beside", "what"}, Before: rd.overview(b, rd.summaryOdd())}
	if rd.Level == Scholar {
		t.Head = []string{"place", "beside", "bits", "what"}
	}
	for _, list := range [][]Said{rd.Odd, rd.Once} {
		for i := range list {
			s := &list[i]
			beside := ""
			if s.Other != nil {
				beside = shortPlace(*s.Other)
			}
			if !b.touches(s.From, s.To) && (s.Other == nil || !b.touches(*s.Other, *s.Other)) {
				continue
			}
			cells := []string{shortPlace(s.From), beside}
			if rd.Level == Scholar {
				cells = append(cells, fmt.Sprintf("%.1f", s.Weight))
			}
			t.Rows = append(t.Rows, Row{Cells: append(cells, rd.sentence(s, false))})
		}
	}
	return t
}
