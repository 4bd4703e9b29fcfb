package study

import (
	"encoding/json"
	"fmt"
	"slices"

	"pochette/internal/technique"
)

type jsonHardness struct {
	Whole    jsonDifficulty `json:"whole"`
	Bars     []jsonHardBar  `json:"bars"`
	Passages []jsonPassage  `json:"passages"`
}

type jsonDifficulty struct {
	Score float64    `json:"score"`
	Word  string     `json:"word"`
	Parts []jsonTerm `json:"parts"`
}

type jsonHardBar struct {
	Measure int `json:"measure"`
	Hardest int `json:"hardest_event"`
	jsonDifficulty
}

type jsonPassage struct {
	First   int    `json:"first_event"`
	Last    int    `json:"last_event"`
	Hardest int    `json:"hardest_event"`
	Place   string `json:"place"`
	jsonDifficulty
	Text string `json:"text"`
}

// jsonChangeover is a mute set or taken off, plucking begun or ended; From is -1
// where nothing is played before.
type jsonChangeover struct {
	Kind    string  `json:"kind"`
	From    int     `json:"from_event"`
	To      int     `json:"to_event"`
	Place   string  `json:"place"`
	Seconds float64 `json:"seconds"`
	Need    float64 `json:"seconds_needed"`
	Jump    bool    `json:"over_a_jump,omitempty"`
}

type jsonHint struct {
	Kind   string  `json:"kind"`
	Event  int     `json:"event"`
	For    int     `json:"for_event"`
	Place  string  `json:"place"`
	Finger string  `json:"finger"`
	String int     `json:"string"`
	Pitch  string  `json:"pitch"`
	Text   string  `json:"text"`
	Weight float64 `json:"difficulty_of_event"`
}

func difficultyJSON(d technique.Difficulty) jsonDifficulty {
	return jsonDifficulty{round(d.Score), d.Word(), jsonTerms(d.Parts)}
}

func (s *Study) jsonInstrument() jsonInstrument {
	d := jsonInstrument{Name: s.Instrument.Kind.String(), Guessed: s.Guessed, Length: round(s.Instrument.Length), Stretch: round(s.Instrument.MaxStretch())}
	for _, p := range s.Instrument.Open {
		d.Strings = append(d.Strings, p.String())
	}
	return d
}

func (s *Study) jsonHard(d *jsonStudy) {
	d.Difficulty = jsonHardness{Whole: difficultyJSON(s.Hardness.Whole), Bars: []jsonHardBar{}, Passages: []jsonPassage{}}
	for _, b := range s.Hardness.Bars {
		d.Difficulty.Bars = append(d.Difficulty.Bars, jsonHardBar{b.Measure, b.Hardest, difficultyJSON(b.Difficulty)})
	}
	for _, p := range s.Hardness.Passages {
		d.Difficulty.Passages = append(d.Difficulty.Passages, jsonPassage{p.First, p.Last, p.Hardest, s.spanPlace(p.First, p.Last), difficultyJSON(p.Difficulty), s.momentText(p.Hardest)})
	}
	d.Changeovers = []jsonChangeover{}
	for i := range s.Changeovers {
		c := &s.Changeovers[i]
		d.Changeovers = append(d.Changeovers, jsonChangeover{string(c.Kind), c.From, c.To, s.eventPlace(c.To), round(c.Seconds), c.Need(), c.Jump})
	}
	d.Hints = []jsonHint{}
	for _, h := range s.Hints {
		d.Hints = append(d.Hints, jsonHint{string(h.Kind), h.Event, h.For, s.eventPlace(h.Event), fingerText(h.Finger), h.String, h.Pitch.String(), h.Text, round(h.Weight)})
	}
}

// Topic is what a table is about.
type Topic string

// The topics, as the commands are named.
const (
	Strokes   Topic = "strokes"
	Fingers   Topic = "fingers"
	Crossings Topic = "crossings"
	Hard      Topic = "hard"
)

// Table of a topic; why adds the reasons. A style that is not the usual is named over it.
func (s *Study) Table(t Topic, b Bars, why bool) Table {
	out := s.table(t, b, why)
	if style := s.Style.says(); style != "" {
		out.Before = slices.Insert(out.Before, 0, style)
	}
	return out
}

func (s *Study) table(t Topic, b Bars, why bool) Table {
	switch t {
	case Strokes:
		return s.StrokeTable(b, why)
	case Fingers:
		return s.FingerTable(b, why)
	case Crossings:
		return s.CrossingTable(b, why)
	case Hard:
		return s.HardTable(b, why)
	}
	panic("study: no table of " + string(t))
}

// topicKeys are the fields of study.json that a topic keeps, in their order.
var topicKeys = map[Topic][]string{
	Strokes:   {"strokes_as_written", "strokes", "bow_changes", "slurs_changed"},
	Fingers:   {"events", "shifts"},
	Crossings: {"crossings", "crossing_spots"},
	Hard:      {"difficulty", "hints"},
}

// commonKeys begin every file of data.
var commonKeys = []string{"schema", "program", "source", "title", "part", "instrument", "pace", "style"}

// TopicJSON is the part of study.json that a topic needs, cut to some bars.
// Indices are those of the whole study.
func (s *Study) TopicJSON(t Topic, b Bars, version string) ([]byte, error) {
	d := s.data(version)
	s.cut(&d, t, b)
	keys := topicKeys[t]
	if len(s.Decided) > 0 && (t == Strokes || t == Fingers) {
		s.jsonPlans(&d)
		keys = append(slices.Clip(keys), "decided", "alternatives")
	}
	return picked(d, slices.Concat(commonKeys, keys, []string{"findings"}))
}

// picked writes some fields of the data, in the order of their names here; those that are
// left out of the data stay so.
func picked(data any, keys []string) ([]byte, error) {
	text, err := json.Marshal(data)
	if err != nil {
		return nil, fmt.Errorf("study data: %w", err)
	}
	fields := map[string]json.RawMessage{}
	if err := json.Unmarshal(text, &fields); err != nil {
		return nil, fmt.Errorf("study data: %w", err)
	}
	out := []byte("{")
	for _, k := range keys {
		v, ok := fields[k]
		if !ok {
			continue
		}
		if len(out) > 1 {
			out = append(out, ',')
		}
		out = append(out, fmt.Sprintf("%q:", k)...)
		out = append(out, v...)
	}
	return indented(append(out, '}'))
}

// cut leaves what lies in some bars and, of the findings, those of the topic.
func (s *Study) cut(d *jsonStudy, t Topic, b Bars) {
	in := func(event int) bool { return b.Has(s.Hand.Events[event].Measure) }
	d.Written = slices.DeleteFunc(d.Written, func(x jsonStroke) bool { return !in(x.First) })
	strokes := d.Strokes
	d.Changes = slices.DeleteFunc(d.Changes, func(x jsonChange) bool { return !in(strokes[x.Stroke].First) })
	d.Strokes = slices.DeleteFunc(slices.Clone(strokes), func(x jsonStroke) bool { return !in(x.First) })
	d.Events = slices.DeleteFunc(d.Events, func(x jsonEvent) bool { return !b.Has(x.Measure) })
	d.Shifts = slices.DeleteFunc(d.Shifts, func(x jsonShift) bool { return !in(x.To) })
	d.Crossings = slices.DeleteFunc(d.Crossings, func(x jsonCrossing) bool { return !in(x.To) })
	d.Spots = slices.DeleteFunc(d.Spots, func(x jsonSpot) bool { return !in(x.First) })
	d.Difficulty.Bars = slices.DeleteFunc(d.Difficulty.Bars, func(x jsonHardBar) bool { return !b.Has(x.Measure) })
	d.Difficulty.Passages = slices.DeleteFunc(d.Difficulty.Passages, func(x jsonPassage) bool { return !in(x.First) })
	d.Hints = slices.DeleteFunc(d.Hints, func(x jsonHint) bool { return !in(x.Event) })
	topic := map[Topic]string{Strokes: "bow", Fingers: "hand", Crossings: "crossing"}[t]
	kept := []jsonFinding{}
	for i, f := range s.Findings {
		if b.Has(f.At.Measure) && (s.topic(f) == topic || t == Hard && f.Kind == "stays-high") {
			kept = append(kept, d.Findings[i])
		}
	}
	d.Findings = kept
}
