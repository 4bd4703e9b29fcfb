package study

import (
	"encoding/json"
	"math"

	"pochette/internal/pace"
	"pochette/internal/score"
	"pochette/internal/timeline"
)

// PaceSchemaVersion is the version of what Paced.JSON writes.
const PaceSchemaVersion = 1

type paceJSON struct {
	Schema      int               `json:"schema"`
	Program     string            `json:"program"`
	Title       string            `json:"title"`
	Part        string            `json:"part"`
	Seconds     float64           `json:"seconds"`
	Models      []pace.Model      `json:"models"`
	Bars        []paceBarJSON     `json:"bars"`
	Notes       []paceNoteJSON    `json:"notes"`
	Breaths     []paceBreathJSON  `json:"breaths"`
	Broadenings []paceBroadenJSON `json:"broadenings"`
	Figures     []paceFigureJSON  `json:"dotted_figures"`
	Inequality  float64           `json:"inequality"`
	Unequal     int               `json:"unequal_pairs"`
	Steady      paceSteadyJSON    `json:"steadiness"`
	Findings    []jsonFinding     `json:"findings"`
}

type paceBarJSON struct {
	Measure  int      `json:"measure"`
	Number   string   `json:"number"`
	Round    int      `json:"round"`
	Start    float64  `json:"start_s"`
	Seconds  float64  `json:"seconds"`
	Pause    float64  `json:"pause_s,omitempty"`
	Tempo    float64  `json:"beats_a_minute"`
	Base     float64  `json:"base_beats_a_minute"`
	Power    float64  `json:"power"`
	Broadens bool     `json:"broadens,omitempty"`
	Reasons  []string `json:"reasons,omitempty"`
}

type paceNoteJSON struct {
	Event    int        `json:"event"`
	Note     int        `json:"note"`
	Bar      int        `json:"bar"` // played
	Place    string     `json:"place"`
	Pitch    string     `json:"pitch"`
	Key      int        `json:"midi_key"`
	Onset    float64    `json:"onset_s"`
	Release  float64    `json:"release_s"`
	Level    float64    `json:"level_db"`
	Velocity int        `json:"velocity"`
	Stroke   int        `json:"stroke"`
	Bow      string     `json:"bow"`
	Begins   bool       `json:"attacked"`
	Plucked  bool       `json:"plucked,omitempty"`
	Grace    bool       `json:"grace,omitempty"`
	Terms    []jsonTerm `json:"level_terms,omitempty"`
}

type paceBreathJSON struct {
	Bar     int     `json:"bar"` // played
	Place   string  `json:"before"`
	Seconds float64 `json:"seconds"`
	Taken   bool    `json:"taken_from_note_before,omitempty"`
	Hold    bool    `json:"hold,omitempty"`
	Decided bool    `json:"decided,omitempty"`
	Why     string  `json:"why"`
}

type paceBroadenJSON struct {
	First   int     `json:"first_bar"` // played
	Last    int     `json:"last_bar"`
	From    string  `json:"from"`
	Ratio   float64 `json:"last_tempo_ratio"`
	Adds    float64 `json:"adds_s"`
	Decided bool    `json:"decided,omitempty"`
	Why     string  `json:"why"`
}

type paceFigureJSON struct {
	Event    int     `json:"event"`
	Place    string  `json:"place"`
	Name     string  `json:"name"`
	Fraction float64 `json:"fraction"`
	Slurred  bool    `json:"slurred,omitempty"`
	Decided  bool    `json:"decided,omitempty"`
}

type paceSteadyJSON struct {
	Bars     int     `json:"bars"`
	Steady   int     `json:"should_be_steady"`
	Bent     int     `json:"with_give_and_take"`
	Worst    float64 `json:"worst_deviation"`
	Late     float64 `json:"worst_bar_line_s"`
	Inside   float64 `json:"farthest_from_even_s"`
	WorstBar int     `json:"worst_bar"`
}

// JSON is the plan as data: every played bar and note of a range of measures. Times
// are in seconds from the beginning of the movement, to the microsecond.
func (p *Paced) JSON(b Bars, version string) ([]byte, error) {
	s := p.study
	d := paceJSON{Schema: PaceSchemaVersion, Program: "pochette " + version, Title: s.title(), Part: partName(s.Part), Seconds: micro(p.Seconds), Models: pace.Models,
		Bars: []paceBarJSON{}, Notes: []paceNoteJSON{}, Breaths: []paceBreathJSON{}, Broadenings: []paceBroadenJSON{}, Figures: []paceFigureJSON{}, Findings: []jsonFinding{},
		Inequality: p.Inequality, Unequal: p.Unequal}
	x := &p.Steadiness
	d.Steady = paceSteadyJSON{x.Bars, x.Steady, x.Bent, x.Worst, micro(x.Late), micro(x.Inside), x.WorstBar}
	for i := range p.Bars {
		if y := &p.Bars[i]; b.Has(y.Measure) {
			d.Bars = append(d.Bars, paceBarJSON{y.Measure, timeline.Label(s.Part, y.Measure), y.Round, micro(y.Start), micro(y.Seconds), micro(y.Pause), round(y.Tempo), round(y.Base), micro(y.Power), y.Broadens, y.Reasons})
		}
	}
	for i := range p.Notes {
		if y := &p.Notes[i]; b.Has(p.Bars[y.Bar].Measure) {
			d.Notes = append(d.Notes, p.noteJSON(y))
		}
	}
	p.placesJSON(&d, b)
	for _, f := range p.Findings {
		d.Findings = append(d.Findings, jsonFinding{Kind: f.Kind, Grade: f.Grade.String(), Place: f.At.String(), Measure: f.At.Measure, Text: f.Text, Why: f.Why, Suggestion: f.Suggestion})
	}
	text, err := json.Marshal(d)
	if err != nil {
		return nil, err
	}
	return indented(text)
}

func (p *Paced) noteJSON(y *pace.Note) paceNoteJSON {
	n := &p.study.Part.Notes[y.Note]
	return paceNoteJSON{y.Event, int(y.Note), y.Bar, timeline.AtNote(p.study.Part, y.Note).String(), n.Sounding.String(), y.Key, micro(y.Onset), micro(y.Release), round(y.Level), y.Velocity(),
		y.Stroke, y.Bow.String(), y.Begins, y.Plucked, y.Grace, jsonTerms(y.Terms)}
}

func (p *Paced) placesJSON(d *paceJSON, b Bars) {
	part := p.study.Part
	place := func(measure int, at score.Tick) string { return timeline.At(part, measure, at, score.NoNote).String() }
	for _, y := range p.Breaths {
		if m := p.Bars[y.Bar].Measure; b.Has(m) {
			next := m
			if end := part.Measures[m].Start + part.Measures[m].Len; y.At >= end && m+1 < len(part.Measures) {
				next = m + 1
			}
			d.Breaths = append(d.Breaths, paceBreathJSON{y.Bar, place(next, y.At), micro(y.Seconds), y.Taken, y.Hold, y.Decided, y.Why})
		}
	}
	for _, y := range p.Broadenings {
		if m := p.Bars[y.LastBar].Measure; b.Has(m) || b.Has(p.Bars[y.FirstBar].Measure) {
			d.Broadenings = append(d.Broadenings, paceBroadenJSON{y.FirstBar, y.LastBar, place(p.Bars[y.FirstBar].Measure, y.From), round(y.Ratio), micro(y.Seconds), y.Decided, y.Why})
		}
	}
	for i := range p.Figures {
		if y := &p.Figures[i]; b.Has(y.Measure) {
			d.Figures = append(d.Figures, paceFigureJSON{y.Event, place(y.Measure, y.Onset), y.Name(p.study.Score.Quarter), micro(y.Fraction), y.Slurred, y.Decided})
		}
	}
}

// micro rounds to a millionth.
func micro(v float64) float64 { return math.Round(v*1e6) / 1e6 }
