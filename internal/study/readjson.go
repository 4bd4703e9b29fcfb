package study

import "slices"

// jsonReading is what study.json has of the reading; the commands write parts of it.
type jsonReading struct {
	Level     string         `json:"level"`
	Alone     string         `json:"alone,omitempty"` // said where other parts sound
	Home      string         `json:"home_key,omitempty"`
	Keys      []jsonKey      `json:"keys"`
	Chords    []jsonChord    `json:"chords"`
	Harmony   []jsonSaid     `json:"harmony"`
	Form      jsonForm       `json:"form"`
	Voices    []jsonLine     `json:"voices"`
	VoiceSays []jsonSaid     `json:"voice_findings"`
	Parallels []jsonParallel `json:"parallels"`
	Odd       []jsonSaid     `json:"odd"`
	Once      []jsonSaid     `json:"once"`
}

type jsonKey struct {
	Key     string `json:"key"`
	Numeral string `json:"numeral,omitempty"`
	First   int    `json:"first_measure"`
	Last    int    `json:"last_measure"`
	From    string `json:"from"`
	To      string `json:"to"`
	Text    string `json:"text"`
}

type jsonChord struct {
	Measure int     `json:"measure"`
	Place   string  `json:"place"`
	Start   string  `json:"start"`
	Length  string  `json:"length"`
	Key     string  `json:"key"`
	Numeral string  `json:"numeral"`
	Name    string  `json:"chord"`
	Bass    string  `json:"bass,omitempty"`
	Figures string  `json:"figured_bass,omitempty"`
	Tension float64 `json:"tension"`
	Second  string  `json:"second_best,omitempty"`
	Lead    float64 `json:"lead,omitempty"`
	Text    string  `json:"text,omitempty"`
}

type jsonSaid struct {
	Kind    string  `json:"kind"`
	Measure int     `json:"measure"`
	Place   string  `json:"place"`
	To      string  `json:"to,omitempty"`
	Beside  string  `json:"beside,omitempty"`
	Arrival bool    `json:"arrival,omitempty"`
	Text    string  `json:"text"`
	Why     string  `json:"why,omitempty"`
	Weight  float64 `json:"weight"`
}

type jsonParallel struct {
	First       int        `json:"first_measure"`
	From        string     `json:"from"`
	To          string     `json:"to"`
	OtherFrom   string     `json:"again_from"`
	OtherTo     string     `json:"again_to"`
	Interval    string     `json:"moved_by,omitempty"`
	Alike       float64    `json:"alike"`
	Text        string     `json:"text,omitempty"`
	Differences []jsonSaid `json:"differences"`
}

// readingKeys are the fields that a command of the reading writes.
var readingKeys = map[Topic][]string{
	HarmonyTopic:   {"alone", "home_key", "keys", "chords", "harmony"},
	VoicesTopic:    {"voices", "voice_findings"},
	FormTopic:      {"form"},
	ParallelsTopic: {"parallels"},
	OddTopic:       {"odd", "once"},
}

func saidJSON(said []Said, b Bars) []jsonSaid {
	out := []jsonSaid{}
	for _, s := range said {
		if !b.touches(s.From, s.To) && (s.Other == nil || !b.touches(*s.Other, *s.Other)) {
			continue
		}
		j := jsonSaid{Kind: s.Kind, Measure: s.From.Measure, Place: s.From.String(), Arrival: s.Arrival, Text: s.Text, Why: s.Why, Weight: round(s.Weight)}
		if to := s.To.String(); to != j.Place {
			j.To = to
		}
		if s.Other != nil {
			j.Beside = s.Other.String()
		}
		out = append(out, j)
	}
	return out
}

// data of some bars.
func (rd *Reading) data(b Bars) jsonReading {
	d := jsonReading{Level: [...]string{"player", "student", "scholar"}[rd.Level], Alone: rd.alone(), Home: rd.Home, Keys: []jsonKey{}, Chords: []jsonChord{}, Parallels: []jsonParallel{},
		Harmony: saidJSON(rd.Harmony, b), Form: rd.layout, Voices: []jsonLine{}, VoiceSays: saidJSON(rd.Voices, b), Odd: saidJSON(rd.Odd, b), Once: saidJSON(rd.Once, b)}
	for _, k := range rd.Keys {
		if b.touches(k.From, k.To) {
			d.Keys = append(d.Keys, jsonKey{k.Key, k.Numeral, k.From.Measure, k.To.Measure, k.From.String(), k.To.String(), k.Text})
		}
	}
	for _, c := range rd.Chords {
		if b.Has(c.At.Measure) {
			d.Chords = append(d.Chords, jsonChord{c.At.Measure, c.At.String(), rd.whole(c.Start), rd.whole(c.Len), c.Key, c.Numeral, c.Name, c.Bass, c.Figures, round(c.Tension), c.Second, round(c.Lead), c.Text})
		}
	}
	for _, l := range rd.lines {
		kept := l
		kept.Notes = []jsonTone{}
		for _, n := range l.Notes {
			if b.Has(n.Measure) {
				kept.Notes = append(kept.Notes, n)
			}
		}
		d.Voices = append(d.Voices, kept)
	}
	for _, p := range rd.Parallels {
		if b.touches(p.From, p.To) || b.touches(p.OtherFrom, p.OtherTo) {
			d.Parallels = append(d.Parallels, jsonParallel{p.From.Measure, p.From.String(), p.To.String(), p.OtherFrom.String(), p.OtherTo.String(), p.Interval, round(float64(p.alike) / float64(max(1, p.moments))), p.Text, saidJSON(p.Differences, rd.all())})
		}
	}
	return d
}

func (rd *Reading) all() Bars { return Bars{0, len(rd.Part.Measures) - 1} }

// TopicJSON is what study.json has of a topic, cut to some bars.
func (rd *Reading) TopicJSON(t Topic, b Bars, version string) ([]byte, error) {
	d := struct {
		Schema  int      `json:"schema"`
		Program string   `json:"program"`
		Source  string   `json:"source"`
		Title   string   `json:"title"`
		Part    jsonPart `json:"part"`
		jsonReading
	}{SchemaVersion, "pochette " + version, rd.Source.Name, rd.title(), jsonPart{rd.Part.ID, rd.Part.Name, rd.PartIndex}, rd.data(b)}
	return picked(d, slices.Concat([]string{"schema", "program", "source", "title", "part", "level"}, readingKeys[t]))
}
