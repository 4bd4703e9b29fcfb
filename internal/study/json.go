package study

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"sort"
	"strings"

	"pochette/internal/bowing"
	"pochette/internal/fingering"
	"pochette/internal/instrument"
	"pochette/internal/score"
	"pochette/internal/technique"
	"pochette/internal/timeline"
)

// SchemaVersion is the version of study.json; docs/STUDY_JSON.md describes it.
// A field may be added without a new number; one that goes or changes its
// meaning takes a new one.
const SchemaVersion = 1

type jsonStudy struct {
	Schema       int               `json:"schema"`
	Program      string            `json:"program"`
	Source       string            `json:"source"`
	Title        string            `json:"title"`
	Work         string            `json:"work,omitempty"`
	Composer     string            `json:"composer,omitempty"`
	Part         jsonPart          `json:"part"`
	Instrument   jsonInstrument    `json:"instrument"`
	Pace         jsonPace          `json:"pace"`
	Style        *jsonStyle        `json:"style,omitempty"`
	Measures     []jsonMeasure     `json:"measures"`
	PlayOrder    []int             `json:"play_order"`
	Events       []jsonEvent       `json:"events"`
	Written      []jsonStroke      `json:"strokes_as_written"`
	Strokes      []jsonStroke      `json:"strokes"`
	Changes      []jsonChange      `json:"bow_changes"`
	Shifts       []jsonShift       `json:"shifts"`
	Crossings    []jsonCrossing    `json:"crossings"`
	Spots        []jsonSpot        `json:"crossing_spots"`
	Marks        []jsonMark        `json:"marks_added"`
	Slurs        []jsonSlur        `json:"slurs_changed"`
	Difficulty   jsonHardness      `json:"difficulty"`
	Hints        []jsonHint        `json:"hints"`
	Changeovers  []jsonChangeover  `json:"changeovers"`
	Alternatives []jsonAlternative `json:"alternatives"`
	Decided      []jsonDecided     `json:"decided"`
	Findings     []jsonFinding     `json:"findings"`
	Costs        jsonCosts         `json:"costs"`
	// Files are the sums of the files written beside this one.
	Files map[string]string `json:"files_sha256,omitempty"`
	jsonReading
}

type jsonPart struct {
	ID    string `json:"id"`
	Name  string `json:"name"`
	Index int    `json:"index"`
}

type jsonInstrument struct {
	Name    string   `json:"name"`
	Guessed string   `json:"guessed_because,omitempty"`
	Strings []string `json:"open_strings"`
	Length  float64  `json:"string_length_mm"`
	Stretch float64  `json:"widest_stretch_mm"`
}

// jsonStyle is what of the style is not the usual.
type jsonStyle struct {
	Profile     string `json:"profile,omitempty"`
	Taste       string `json:"taste,omitempty"`
	OpenStrings string `json:"open_strings,omitempty"`
	Harmonics   string `json:"harmonics,omitempty"`
	Strict      bool   `json:"strict,omitempty"`
	Fewest      bool   `json:"fewest_changes,omitempty"`
}

func (st Style) data() *jsonStyle {
	if st.says() == "" {
		return nil
	}
	return &jsonStyle{st.Profile, st.Taste, st.OpenStrings, st.Harmonics, st.Strict, st.Fewest}
}

type jsonPace struct {
	Quarter float64 `json:"quarters_a_minute"`
	From    string  `json:"from"`
}

type jsonMeasure struct {
	Number string `json:"number"`
	Start  string `json:"start"`
	Length string `json:"length"`
	Meter  string `json:"meter,omitempty"`
	Fifths int    `json:"fifths"`
}

type jsonEvent struct {
	Measure  int        `json:"measure"`
	Beat     string     `json:"beat,omitempty"`
	Start    string     `json:"start"`
	Length   string     `json:"length"`
	Rest     bool       `json:"rest,omitempty"`
	Grace    bool       `json:"grace,omitempty"`
	Stroke   int        `json:"stroke"`
	Position *int       `json:"position,omitempty"`
	Stops    []jsonStop `json:"stops,omitempty"`
	LeftOut  []string   `json:"left_out,omitempty"`
	Why      string     `json:"why,omitempty"`
	Terms    []jsonTerm `json:"terms,omitempty"`
	// Difficulty and its parts, 0–100; absent where nothing is hard.
	Difficulty float64    `json:"difficulty,omitempty"`
	Parts      []jsonTerm `json:"difficulty_parts,omitempty"`
}

type jsonStop struct {
	Pitch    string `json:"pitch"`
	String   int    `json:"string"`
	Finger   string `json:"finger"`
	Semitone int    `json:"semitone"`
	Held     bool   `json:"held,omitempty"`
	Harmonic string `json:"harmonic,omitempty"`
}

type jsonStroke struct {
	First     int        `json:"first_event"`
	Last      int        `json:"last_event"`
	Place     string     `json:"place"`
	Direction string     `json:"direction"`
	Follows   string     `json:"follows"`
	Fixed     bool       `json:"fixed,omitempty"`
	From      *float64   `json:"bow_from,omitempty"`
	To        *float64   `json:"bow_to,omitempty"`
	Terms     []jsonTerm `json:"terms,omitempty"`
}

type jsonChange struct {
	Kind      string     `json:"kind"`
	Stroke    int        `json:"stroke"`
	Place     string     `json:"place"`
	Text      string     `json:"text"`
	Terms     []jsonTerm `json:"terms,omitempty"`
	Cost      float64    `json:"cost"`
	CostTerms []jsonTerm `json:"cost_terms"`
	Leave     float64    `json:"cost_of_leaving"`
}

type jsonShift struct {
	Kind         string  `json:"kind"`
	From         int     `json:"from_event"`
	To           int     `json:"to_event"`
	Place        string  `json:"place"`
	FromPosition int     `json:"from_position"`
	ToPosition   int     `json:"to_position"`
	MM           float64 `json:"millimetres"`
	Seconds      float64 `json:"seconds"`
	Cover        string  `json:"cover"`
}

type jsonCrossing struct {
	From        int     `json:"from_event"`
	To          int     `json:"to_event"`
	Place       string  `json:"place"`
	FromStrings []int   `json:"from_strings"`
	ToStrings   []int   `json:"to_strings"`
	Degrees     float64 `json:"degrees"`
	Skipped     []int   `json:"skipped,omitempty"`
	Touch       []int   `json:"may_touch,omitempty"`
	Slurred     bool    `json:"slurred,omitempty"`
	Lifted      bool    `json:"rest_or_lift,omitempty"`
	Seconds     float64 `json:"seconds"`
	Load        float64 `json:"load"`
	Rank        int     `json:"rank"`
}

type jsonSpot struct {
	First    int      `json:"first_event"`
	Last     int      `json:"last_event"`
	Place    string   `json:"place"`
	Skeleton []string `json:"skeleton"`
	Load     float64  `json:"load"`
}

type jsonMark struct {
	Measure int    `json:"measure"`
	Place   string `json:"place"`
	Pitch   string `json:"pitch"`
	Kind    string `json:"kind"`
	Text    string `json:"text,omitempty"`
	Origin  string `json:"origin"`
}

type jsonSlur struct {
	Change string `json:"change"`
	From   string `json:"from"`
	To     string `json:"to"`
}

type jsonFinding struct {
	Kind       string `json:"kind"`
	Grade      string `json:"grade"`
	Place      string `json:"place,omitempty"`
	Measure    int    `json:"measure"`
	To         string `json:"to,omitempty"`
	Text       string `json:"text"`
	Why        string `json:"why,omitempty"`
	Suggestion string `json:"suggestion,omitempty"`
}

type jsonTerm struct {
	Name  string  `json:"name"`
	Value float64 `json:"value"`
}

type jsonCosts struct {
	Bow      jsonCost `json:"bow"`
	Hand     jsonCost `json:"hand"`
	Together jsonCost `json:"together"`
}

type jsonCost struct {
	Total float64    `json:"total"`
	Terms []jsonTerm `json:"terms"`
}

// JSON is the data behind the report, indented, with a newline at its end.
func (s *Study) JSON(version string) ([]byte, error) { return s.json(version, nil) }

// json is JSON with the sums of the files that are written beside it.
func (s *Study) json(version string, beside []File) ([]byte, error) {
	d := s.data(version)
	s.jsonPlans(&d)
	for _, f := range beside {
		if d.Files == nil {
			d.Files = map[string]string{}
		}
		d.Files[f.Name] = Sum(f.Data)
	}
	d.jsonReading = s.Reading.data(s.Reading.all())
	text, err := json.Marshal(d)
	if err != nil {
		return nil, fmt.Errorf("study data: %w", err)
	}
	return indented(text)
}

func indented(text []byte) ([]byte, error) {
	var buf bytes.Buffer
	if err := json.Indent(&buf, text, "", " "); err != nil {
		return nil, fmt.Errorf("study data: %w", err)
	}
	return append(buf.Bytes(), '\n'), nil
}

func (s *Study) data(version string) jsonStudy {
	d := jsonStudy{
		Schema: SchemaVersion, Program: "pochette " + version, Source: s.Source.Name,
		Title: s.title(), Work: s.Score.Work, Composer: s.Score.Composer,
		Part:       jsonPart{s.Part.ID, s.Part.Name, s.PartIndex},
		Instrument: s.jsonInstrument(),
		Pace:       jsonPace{s.Pace.Quarter(0), [...]string{"assumed", "tempo word", "printed"}[s.Pace.Source]},
		Style:      s.Style.data(),
		Written:    s.jsonStrokes(s.Bow.Written), Strokes: s.jsonStrokes(s.Bow.Proposed),
		Costs: jsonCosts{Bow: jsonCost{round(s.Bow.Plan.Cost), jsonTerms(s.Bow.Plan.Terms)}, Hand: jsonCost{round(s.Hand.Plan.Cost), jsonTerms(s.Hand.Plan.Terms)}},
	}
	s.jsonMusic(&d)
	s.jsonBow(&d)
	s.jsonHand(&d)
	s.jsonHard(&d)
	return d
}

func (s *Study) whole(t score.Tick) string { return s.Score.Whole(t).RatString() }

func (s *Study) jsonMusic(d *jsonStudy) {
	for _, m := range s.Part.Measures {
		jm := jsonMeasure{Number: m.Number, Start: s.whole(m.Start), Length: s.whole(m.Len), Fifths: m.Key.Fifths}
		if m.Meter.Len > 0 {
			jm.Meter = m.Meter.Beats + "/" + m.Meter.Unit
		}
		d.Measures = append(d.Measures, jm)
	}
	order, _ := timeline.PlayOrder(s.Part)
	for _, v := range order {
		d.PlayOrder = append(d.PlayOrder, v.Measure)
	}
	d.Findings = []jsonFinding{}
	for _, f := range s.Findings {
		jf := jsonFinding{Kind: f.Kind, Grade: f.Grade.String(), Place: f.At.String(), Measure: f.At.Measure, Text: f.Text, Why: f.Why, Suggestion: f.Suggestion}
		if to := f.To.String(); to != jf.Place {
			jf.To = to
		}
		d.Findings = append(d.Findings, jf)
	}
}

func (s *Study) jsonBow(d *jsonStudy) {
	d.Changes, d.Slurs = []jsonChange{}, []jsonSlur{}
	for _, c := range s.Bow.Changes {
		d.Changes = append(d.Changes, jsonChange{c.Kind.String(), c.Stroke, c.At.String(), c.Text, jsonTerms(c.Terms), round(c.Cost), jsonTerms(c.CostOf), round(c.Leave)})
	}
	at := func(id score.NoteID) string {
		return fmt.Sprintf("%s, %s", timeline.AtNote(s.Part, id), s.Part.Notes[id].Sounding)
	}
	for _, c := range s.Bow.Plan.SlurChanges {
		for _, i := range c.Remove {
			d.Slurs = append(d.Slurs, jsonSlur{"removed", at(s.Part.Slurs[i].Start), at(s.Part.Slurs[i].End)})
		}
		for _, sl := range c.Add {
			d.Slurs = append(d.Slurs, jsonSlur{"added", at(sl.Start), at(sl.End)})
		}
	}
	s.jsonOnBow(d)
	rank := ranks(s.Crossings)
	d.Crossings, d.Spots = []jsonCrossing{}, []jsonSpot{}
	for i, c := range s.Crossings {
		d.Crossings = append(d.Crossings, jsonCrossing{c.From, c.To, s.eventPlace(c.To), c.FromStrings, c.ToStrings, round(c.Angle), c.Skipped, c.Touch, c.Slurred, c.Rest, round(c.Seconds), round(c.Load), rank[i]})
	}
	for _, sp := range s.Spots {
		js := jsonSpot{First: sp.First, Last: sp.Last, Place: s.eventPlace(sp.First), Load: round(sp.Load)}
		for _, k := range sp.Skeleton {
			js.Skeleton = append(js.Skeleton, technique.StringsName(k))
		}
		d.Spots = append(d.Spots, js)
	}
}

// jsonOnBow adds where on the bow the strokes are, and what of the cost knows
// both bow and hand.
func (s *Study) jsonOnBow(d *jsonStudy) {
	for i, at := range s.Joint.OnBow(s.Bow) {
		if st := &s.Bow.Proposed[i]; !st.Pizzicato && st.Direction != bowing.None {
			from, to := round(at[0]), round(at[1])
			d.Strokes[i].From, d.Strokes[i].To = &from, &to
		}
	}
	d.Costs.Together = jsonCost{round(s.Joint.Cost), jsonTerms(s.Joint.Together())}
}

func (s *Study) jsonHand(d *jsonStudy) {
	for i, e := range s.Hand.Events {
		g := &s.Hand.Grips[i]
		je := jsonEvent{Measure: e.Measure, Beat: timeline.At(s.Part, e.Measure, e.Onset, score.NoNote).Beat,
			Start: s.whole(e.Onset), Length: s.whole(e.Dur), Rest: e.Rest, Grace: e.Grace, Stroke: s.Stroke[i], Terms: jsonTerms(g.Terms), Why: fingering.Why(s.Hand, i)}
		if len(g.Stops) > 0 {
			pos := g.Position
			je.Position = &pos
		}
		je.Stops = s.jsonStops(g)
		for _, id := range g.LeftOut {
			je.LeftOut = append(je.LeftOut, s.Part.Notes[id].Sounding.String())
		}
		je.Difficulty, je.Parts = round(s.Hardness.Events[i].Score), jsonTerms(s.Hardness.Events[i].Parts)
		d.Events = append(d.Events, je)
	}
	d.Shifts, d.Marks = []jsonShift{}, []jsonMark{}
	for _, sh := range s.Hand.Moves() {
		d.Shifts = append(d.Shifts, jsonShift{sh.Kind.String(), sh.From, sh.Event, s.eventPlace(sh.Event), sh.FromPos, sh.ToPos, round(sh.MM), round(sh.Seconds), sh.Cover.String()})
	}
	for _, m := range s.Marks {
		n := &s.Part.Notes[m.Note]
		d.Marks = append(d.Marks, jsonMark{n.Measure, timeline.AtNote(s.Part, m.Note).String(), n.Sounding.String(), string(m.Mark.Kind), m.Mark.Text, m.Mark.Origin.String()})
	}
}

func (s *Study) jsonStops(g *fingering.Grip) []jsonStop {
	var out []jsonStop
	for _, st := range g.Stops {
		out = append(out, jsonStop{s.Part.Notes[st.Note].Sounding.String(), st.String, fingerText(st.Finger), st.Semitone, st.Held, [...]string{"", "natural", "artificial"}[st.Touch]})
	}
	return out
}

func (s *Study) eventPlace(i int) string {
	e := &s.Hand.Events[i]
	return timeline.At(s.Part, e.Measure, e.Onset, score.NoNote).String()
}

// ranks numbers the crossings from the hardest (1) on.
func ranks(cs []technique.Crossing) []int {
	order := make([]int, len(cs))
	for i := range order {
		order[i] = i
	}
	sort.SliceStable(order, func(a, b int) bool { return cs[order[a]].Load > cs[order[b]].Load })
	rank := make([]int, len(cs))
	for place, i := range order {
		rank[i] = place + 1
	}
	return rank
}

func (s *Study) jsonStrokes(strokes []bowing.Stroke) []jsonStroke {
	out := make([]jsonStroke, len(strokes))
	for i, st := range strokes {
		dir := st.Direction.String()
		if st.Pizzicato {
			dir = bowing.None.String()
		}
		out[i] = jsonStroke{First: st.First, Last: st.Last, Place: s.eventPlace(st.First), Direction: dir, Follows: st.Change.String(), Fixed: st.Fixed, Terms: jsonTerms(st.Why)}
	}
	return out
}

func jsonTerms(ts []score.Term) []jsonTerm {
	out := make([]jsonTerm, len(ts))
	for i, t := range ts {
		out[i] = jsonTerm{t.Name, round(t.Value)}
	}
	return out
}

// round keeps a thousandth: more would promise more than the models know.
func round(v float64) float64 { return math.Round(v*1000) / 1000 }

func fingerText(f int8) string {
	if f == instrument.Thumb {
		return "thumb"
	}
	return fmt.Sprint(f)
}

func joined(parts []string) string { return strings.Join(parts, "+") }
