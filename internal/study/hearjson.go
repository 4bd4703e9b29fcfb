package study

import (
	"encoding/json"
	"math"

	"pochette/internal/listen"
	"pochette/internal/score"
	"pochette/internal/timeline"
)

type jsonHeard struct {
	Schema    int               `json:"schema"`
	Program   string            `json:"program"`
	Files     map[string]string `json:"files_sha256,omitempty"`
	Piece     string            `json:"piece"`
	Take      jsonTake          `json:"take"`
	Summary   []string          `json:"summary"`
	A4        float64           `json:"a4"`
	Given     bool              `json:"a4_given"`
	Tuning    string            `json:"tuning"`
	Fit       float64           `json:"fit"`
	Quarter   float64           `json:"quarter_notes_a_minute"`
	Steady    float64           `json:"spread_of_tempo"`
	Again     []jsonAgain       `json:"worth_hearing_again"`
	Spots     []jsonAgain       `json:"spots"`
	Bars      []jsonHeardBar    `json:"bars"`
	Notes     []jsonHeardNote   `json:"notes"`
	Figures   []listen.Figure   `json:"dotted_figures"`
	Pairs     []jsonHeardPair   `json:"dotted_pairs"`
	Slips     []jsonSlip        `json:"slips"`
	Scratches []jsonRough       `json:"scratches"`
	Touches   []jsonTouch       `json:"touched_strings"`
}

type jsonTake struct {
	Name     string   `json:"name"`
	Format   string   `json:"format"`
	Rate     int      `json:"samples_a_second"`
	Channels int      `json:"channels"`
	Seconds  float64  `json:"seconds"`
	Loudness float64  `json:"lufs"`
	Peak     float64  `json:"peak_db"`
	Notes    []string `json:"remarks"`
}

type jsonAgain struct {
	Kind   string  `json:"kind"`
	First  int     `json:"first_measure"`
	Last   int     `json:"last_measure"`
	Where  string  `json:"where"`
	Start  float64 `json:"start"`
	End    float64 `json:"end"`
	Text   string  `json:"text"`
	Weight float64 `json:"weight"`
}

type jsonHeardBar struct {
	Measure int      `json:"measure"`
	Label   string   `json:"label"`
	Round   int      `json:"round"`
	Start   float64  `json:"start"`
	End     float64  `json:"end"`
	Tempo   float64  `json:"quarter_notes_a_minute"`
	Planned *float64 `json:"planned,omitempty"`
	Level   float64  `json:"level_db"`
	Whole   bool     `json:"played_through"`
}

type jsonHeardNote struct {
	Note    int             `json:"note"`
	Measure int             `json:"measure"`
	Place   string          `json:"place"`
	Start   float64         `json:"start"`
	End     float64         `json:"end"`
	Tones   []jsonHeardTone `json:"tones"`
	Level   float64         `json:"level_db"`
	Late    *float64        `json:"late,omitempty"`
	Wrong   bool            `json:"other_pitch,omitempty"`
	Resumed bool            `json:"resumed,omitempty"`
	Missing int             `json:"passed_over_before,omitempty"`
}

type jsonHeardTone struct {
	Printed string   `json:"printed"`
	Heard   int      `json:"heard_key,omitempty"`
	Cents   *float64 `json:"cents,omitempty"` // against the tuning
	Sure    float64  `json:"sure_within_cents,omitempty"`
	Vibrato float64  `json:"vibrato_cents,omitempty"`
	Rate    float64  `json:"vibrato_hz,omitempty"`
	Open    bool     `json:"open_string,omitempty"`
}

type jsonHeardPair struct {
	Note     int     `json:"note"`
	Figure   string  `json:"figure"`
	Start    float64 `json:"start"`
	Fraction float64 `json:"long_share"`
	Written  float64 `json:"as_written"`
	Planned  float64 `json:"planned"`
	Slurred  bool    `json:"slurred"`
}

type jsonSlip struct {
	Note    int     `json:"note"`
	Place   string  `json:"place"`
	At      float64 `json:"at"`
	Missing bool    `json:"passed_over"`
	Text    string  `json:"text"`
}

type jsonRough struct {
	Note int     `json:"note"`
	At   float64 `json:"at"`
	By   float64 `json:"times_as_rough_as_usual"`
}

type jsonTouch struct {
	Note  int     `json:"note"`
	At    float64 `json:"at"`
	Key   int     `json:"open_string_key"`
	Level float64 `json:"level_db_under_note"`
	Share float64 `json:"share_of_note"`
}

// JSON is all of a hearing as data.
func (h *Heard) JSON(version string) ([]byte, error) { return h.json(version, nil) }

func (h *Heard) json(version string, files map[string]string) ([]byte, error) {
	s := h.Sound
	d := jsonHeard{Schema: 1, Program: "pochette " + version, Files: files, Piece: h.title(), Summary: h.Summary(),
		Take: jsonTake{s.Name, s.Format, s.Rate, s.Channels, places(s.Seconds, 3), places(s.Loudness, 1), places(s.Peak, 1), append([]string{}, s.Notes...)},
		A4:   places(h.Alignment.A4, 2), Given: h.Given, Tuning: h.Tuning.String(), Fit: places(h.Alignment.Fit, 3),
		Quarter: fourPlaces(h.Quarter), Steady: fourPlaces(h.Steady),
		Again: h.jsonSpots(h.Again(AgainCount)), Spots: h.jsonSpots(h.Spots), Figures: append([]listen.Figure{}, h.Figures...),
		Bars: []jsonHeardBar{}, Pairs: []jsonHeardPair{}, Slips: []jsonSlip{}, Scratches: []jsonRough{}, Touches: []jsonTouch{}}
	for _, b := range h.Bars {
		v := h.Line.Visits[b.Visit]
		d.Bars = append(d.Bars, jsonHeardBar{v.Measure, timeline.Label(h.Line.Part, v.Measure), v.Round, places(b.Start, 4), places(b.End, 4), places(b.Quarter, 3), optional(b.Planned), places(b.Level, 1), b.Whole})
	}
	d.Notes = h.jsonNotes()
	for _, p := range h.Pairs {
		d.Pairs = append(d.Pairs, jsonHeardPair{h.noteID(p.Note), p.Figure, places(h.Notes[p.Note].Start, 4), places(p.Fraction, 4), p.Written, places(p.Planned, 4), p.Slurred})
	}
	for _, x := range h.Slips() {
		e := &h.Line.Events[x.Event]
		d.Slips = append(d.Slips, jsonSlip{int(e.Notes[0]), timeline.AtNote(h.Line.Part, e.Notes[0]).String(), places(h.Notes[x.Note].Start, 4), x.Missing, h.Say(x)})
	}
	for _, x := range h.Scratches {
		d.Scratches = append(d.Scratches, jsonRough{h.noteID(x.Note), places(h.Notes[x.Note].Start, 4), places(x.By, 1)})
	}
	for _, x := range h.Touches {
		d.Touches = append(d.Touches, jsonTouch{h.noteID(x.Note), places(h.Notes[x.Note].Start, 4), x.Key, places(-x.Level, 1), places(x.Share, 2)})
	}
	out, err := json.MarshalIndent(d, "", "  ")
	return append(out, '\n'), err
}

func (h *Heard) noteID(n int) int { return int(h.Line.Events[h.Notes[n].Event].Notes[0]) }

func (h *Heard) jsonSpots(spots []listen.Spot) []jsonAgain {
	out := []jsonAgain{}
	for _, s := range spots {
		out = append(out, jsonAgain{s.Kind, h.Line.Visits[s.First].Measure, h.Line.Visits[s.Last].Measure, h.Where(s.First, s.Last), places(s.Start, 3), places(s.End, 3), s.Text, places(s.Weight, 2)})
	}
	return out
}

func (h *Heard) jsonNotes() []jsonHeardNote {
	late := map[int]float64{}
	for _, p := range h.Placed {
		late[p.Note] = places(p.Late, 4)
	}
	type of struct {
		note int
		id   score.NoteID
	}
	off := map[of]listen.Pitched{}
	for _, p := range h.Pitches {
		off[of{p.Note, p.ID}] = p
	}
	out := []jsonHeardNote{}
	for i := range h.Notes {
		n := &h.Notes[i]
		e := &h.Line.Events[n.Event]
		j := jsonHeardNote{Note: int(e.Notes[0]), Measure: e.Measure, Place: timeline.AtNote(h.Line.Part, e.Notes[0]).String(), Start: places(n.Start, 4), End: places(n.End, 4),
			Level: places(n.Level, 1), Wrong: n.Wrong, Resumed: n.Resumed, Missing: n.Missing, Tones: []jsonHeardTone{}}
		if l, ok := late[i]; ok {
			j.Late = &l
		}
		for _, id := range e.Notes {
			t := jsonHeardTone{Printed: h.Line.Part.Notes[id].Sounding.String()}
			for _, tone := range n.Tones {
				if tone.Key == h.Line.Part.Notes[id].Sounding.MIDI() {
					t.Vibrato, t.Rate = places(tone.Width, 1), tone.Rate
					if tone.Heard != tone.Key {
						t.Heard = tone.Heard
					}
				}
			}
			if p, ok := off[of{i, id}]; ok {
				c := places(p.Off, 1)
				t.Cents, t.Sure, t.Open = &c, places(p.Sure, 1), p.Open
			}
			j.Tones = append(j.Tones, t)
		}
		out = append(out, j)
	}
	return out
}

// places rounds to some places; what is no number becomes 0, since JSON has none such.
func places(v float64, digits int) float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return 0
	}
	p := math.Pow(10, float64(digits))
	return math.Round(v*p) / p
}

func fourPlaces(v float64) float64 { return places(v, 4) }

func optional(v float64) *float64 {
	if v == 0 {
		return nil
	}
	v = places(v, 3)
	return &v
}
