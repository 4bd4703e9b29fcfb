package study

import (
	"pochette/internal/form"
	"pochette/internal/score"
	"pochette/internal/timeline"
)

type jsonForm struct {
	Sections []jsonSection `json:"sections"`
	Phrases  []jsonPhrase  `json:"phrases"`
	Tags     []jsonTag     `json:"tags"`
	Hemiolas []jsonHemiola `json:"hemiolas"`
	Meters   []jsonBeats   `json:"meters"`
	Facts    []jsonFact    `json:"facts"`
}

type jsonSection struct {
	Name    string `json:"name"`
	First   int    `json:"first_measure"`
	Last    int    `json:"last_measure"`
	Bars    int    `json:"bars"`
	Times   int    `json:"times_played"`
	EndsBy  string `json:"ends_by"`
	Phrases []int  `json:"phrases"`
	Text    string `json:"text"`
}

type jsonPhrase struct {
	Section int       `json:"section"`
	First   int       `json:"first_measure"`
	From    string    `json:"from"`
	Arrival string    `json:"arrival"`
	Start   string    `json:"start"`
	Close   string    `json:"close"`
	Bars    int       `json:"bars"`
	Pickup  string    `json:"pickup"`
	Cadence string    `json:"cadence,omitempty"`
	Share   float64   `json:"share_of_layouts"`
	Overlap bool      `json:"next_begins_with_arrival,omitempty"`
	Parts   []float64 `json:"parts_in_bars,omitempty"`
	Rests   []string  `json:"points_of_rest,omitempty"`
	Text    string    `json:"text"`
}

type jsonTag struct {
	Section int    `json:"section"`
	Place   string `json:"place"`
	Bars    int    `json:"bars"`
	Text    string `json:"text"`
}

type jsonHemiola struct {
	First    int      `json:"first_measure"`
	Last     int      `json:"last_measure"`
	Score    float64  `json:"score"`
	Evidence []string `json:"evidence"`
	ToEnd    bool     `json:"into_phrase_end,omitempty"`
	Text     string   `json:"text"`
}

type jsonBeats struct {
	First    int       `json:"first_measure"`
	Last     int       `json:"last_measure"`
	Printed  string    `json:"printed"`
	Bars     int       `json:"bars"`
	Weights  []float64 `json:"weights_of_beats"`
	InTwo    int       `json:"beats_in_two"`
	InThree  int       `json:"beats_in_three"`
	Triplets int       `json:"triplets"`
	Dotted   int       `json:"dotted_pairs"`
	Text     string    `json:"text"`
}

type jsonFact struct {
	Kind   string `json:"kind"`
	Source string `json:"source"`
	Text   string `json:"text"`
}

// readForm takes the form as package form tells it.
func (rd *Reading) readForm(events []timeline.Event, cadences []form.Cadence) {
	st := form.Analyze(form.Input{Score: rd.Score, Part: rd.Part, Events: events, Cadences: cadences})
	rd.formFacts(st)
	rd.formJSON(st)
	lv := rd.form()
	say := func(kind string, from, to score.Tick, w form.Words, weight float64) *Said {
		rd.Form = append(rd.Form, Said{Kind: kind, From: rd.loc(from), To: rd.loc(to), At: from, Text: w.At(lv), Weight: weight})
		return &rd.Form[len(rd.Form)-1]
	}
	start := func(measure int) score.Tick { return rd.Part.Measures[measure].Start }
	for _, x := range st.Sections {
		say("section", x.From, start(x.Last), x.Words, 0)
	}
	for _, x := range st.Phrases {
		say("phrase", x.From, x.Arrival, x.Words, x.Sure)
	}
	for _, x := range st.Tags {
		say("tag", x.From, start(rd.measureAt(x.To-1)), x.Words, 1)
	}
	for _, x := range st.Hemiolas {
		say("hemiola", x.From, start(x.Last), x.Words, x.Score)
	}
	for _, x := range st.Meters {
		say("meter", start(x.First), start(x.Last), x.Words, 0)
	}
	for _, x := range st.Facts {
		s := say(x.Kind, start(x.First), start(x.Last), x.Words, 0)
		if x.Source != "counted" {
			s.Why = "Source: " + x.Source + "."
		}
	}
}

// loc is the place of a tick.
func (rd *Reading) loc(at score.Tick) score.Loc {
	return timeline.At(rd.Part, rd.measureAt(at), at, score.NoNote)
}

func (rd *Reading) measureAt(at score.Tick) int {
	ms := rd.Part.Measures
	lo, hi := 0, len(ms)-1
	for lo < hi {
		mid := (lo + hi + 1) / 2
		if ms[mid].Start <= at {
			lo = mid
		} else {
			hi = mid - 1
		}
	}
	return lo
}

func (rd *Reading) formJSON(st *form.Study) {
	lv := rd.form()
	d := jsonForm{Sections: []jsonSection{}, Phrases: []jsonPhrase{}, Tags: []jsonTag{}, Hemiolas: []jsonHemiola{}, Meters: []jsonBeats{}, Facts: []jsonFact{}}
	for _, x := range st.Sections {
		d.Sections = append(d.Sections, jsonSection{x.Name, x.First, x.Last, x.Bars, x.Times, string(x.By), append([]int{}, x.Phrases...), x.Words.At(lv)})
	}
	for _, x := range st.Phrases {
		p := jsonPhrase{Section: x.Section, First: x.First, From: rd.loc(x.From).String(), Arrival: rd.loc(x.Arrival).String(), Start: rd.whole(x.From), Close: rd.whole(x.Arrival), Bars: x.Bars,
			Pickup: rd.whole(x.Pickup), Cadence: x.Cadence, Share: round(x.Sure), Overlap: x.Overlaps, Text: x.Words.At(lv)}
		for _, s := range x.Parts {
			p.Parts = append(p.Parts, s.Bars)
		}
		for _, at := range x.Rests {
			p.Rests = append(p.Rests, rd.loc(at).String())
		}
		d.Phrases = append(d.Phrases, p)
	}
	for _, x := range st.Tags {
		d.Tags = append(d.Tags, jsonTag{x.Section, rd.loc(x.From).String(), x.Bars, x.Words.At(lv)})
	}
	for _, x := range st.Hemiolas {
		d.Hemiolas = append(d.Hemiolas, jsonHemiola{x.First, x.Last, round(x.Score), x.Evidence, x.BeforeEnd, x.Words.At(lv)})
	}
	for _, x := range st.Meters {
		m := jsonBeats{First: x.First, Last: x.Last, Printed: x.Printed, Bars: x.Bars, Weights: []float64{}, InTwo: x.InTwo, InThree: x.InThree, Triplets: x.Triplets, Dotted: x.DottedPairs, Text: x.Words.At(lv)}
		for _, b := range x.Beats {
			m.Weights = append(m.Weights, round(b.Weight))
		}
		d.Meters = append(d.Meters, m)
	}
	for _, x := range st.Facts {
		d.Facts = append(d.Facts, jsonFact{x.Kind, x.Source, x.Words.At(lv)})
	}
	rd.layout = d
}

func (rd *Reading) whole(t score.Tick) string { return rd.Score.Whole(t).RatString() }
