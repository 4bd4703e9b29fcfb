package study

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"pochette/internal/bowing"
	"pochette/internal/decide"
	"pochette/internal/demo"
	"pochette/internal/fingering"
	"pochette/internal/instrument"
	"pochette/internal/score"
	"pochette/internal/technique/joint"
	"pochette/internal/timeline"
)

func decisions(t *testing.T, lines ...string) []decide.Decision {
	t.Helper()
	var out []decide.Decision
	for i, l := range lines {
		d, err := decide.ParseLine(l)
		if err != nil {
			t.Fatal(err)
		}
		d.Source, d.Line = "d.yaml", i+1
		out = append(out, d)
	}
	return out
}

func jigWith(t *testing.T, r Request) *Study {
	t.Helper()
	r.Name, r.Data = demo.Name, demo.Jig
	s, err := Analyze(r)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func placeOf(s *Study, id score.NoteID) string {
	at := timeline.AtNote(s.Part, id)
	return fmt.Sprintf("m%s.%s:%s", timeline.Stem(at.Number), at.Beat, s.Part.Notes[id].Sounding)
}

// Every single stopped note of the movement is decided otherwise, one at a time:
// another string where there is one, the other direction of the bow. The plan
// obeys, the part carries it as decided, and stripping it gives the source back.
func TestDecisionsAreObeyed(t *testing.T) {
	plain := jigWith(t, Request{})
	tried := 0
	for i := range plain.Hand.Grips {
		g := &plain.Hand.Grips[i]
		if i%7 != 0 || len(g.Stops) != 1 || g.Stops[0].Finger == 0 || plain.Hand.Events[i].Grace {
			continue
		}
		id := g.Stops[0].Note
		str := g.Stops[0].String%plain.Instrument.Strings() + 1
		if n := plain.Instrument.Semitone(str, plain.Part.Notes[id].Sounding); n < 1 || n > 14 {
			continue
		}
		line := fmt.Sprintf("%s string=%d bow=%v", placeOf(plain, id), str, otherBow(plain, i))
		s := jigWith(t, Request{Decisions: decisions(t, line)})
		if got := s.Hand.Grips[i].Stops[0].String; got != str {
			t.Errorf("%s: string %d", line, got)
		}
		var kinds []string
		for _, m := range s.Marks {
			if m.Mark.Origin == score.Decided {
				kinds = append(kinds, string(m.Mark.Kind))
			}
		}
		slices.Sort(kinds)
		if strings.Join(kinds, " ") != fmt.Sprintf("%v-bow string", otherBow(plain, i)) && strings.Join(kinds, " ") != fmt.Sprintf("string %v-bow", otherBow(plain, i)) {
			t.Errorf("%s: decided marks %v", line, kinds)
		}
		checkRoundTrip(t, s)
		tried++
	}
	if tried < 5 {
		t.Fatalf("only %d notes tried", tried)
	}
}

func otherBow(s *Study, event int) string {
	strokes, _ := strokeOfEvents(s.Bow)
	return s.Bow.Proposed[strokes[event]].Direction.Opposite().String()
}

// A decided mark takes the place of a proposed one: no note carries two fingers.
func TestDecidedReplacesProposed(t *testing.T) {
	s := jigWith(t, Request{AllFingers: true})
	g := s.Hand.Grips[slices.IndexFunc(s.Hand.Grips, func(g fingering.Grip) bool { return len(g.Stops) == 1 && g.Stops[0].Finger == 2 && g.Position == 1 })]
	id := g.Stops[0].Note
	d := jigWith(t, Request{AllFingers: true, Decisions: decisions(t, placeOf(s, id)+" finger=1")})
	var on []score.Mark
	for _, m := range d.Marks {
		if m.Note == id && family(m.Mark.Kind) == "finger" {
			on = append(on, m.Mark)
		}
	}
	if len(on) != 1 || on[0].Text != "1" || on[0].Origin != score.Decided {
		t.Errorf("%+v", on)
	}
}

func TestDecisionAgainstPrint(t *testing.T) {
	s := jigWith(t, Request{})
	id := s.Hand.Events[slices.IndexFunc(s.Hand.Grips, func(g fingering.Grip) bool { return len(g.Stops) == 1 && g.Stops[0].Finger == 2 })].Struck[0]
	p := *s.Part
	s.Part = &p
	p.Notes = slices.Clone(p.Notes)
	p.Notes[id].Marks = append(slices.Clone(p.Notes[id].Marks), score.Mark{Kind: score.Fingering, Text: "3"})
	s.Decided = map[score.NoteID]decide.Settled{id: {Finger: ptr(int8(2))}}
	s.Marks = marks(s, false)
	f := s.againstPrint()
	if len(f) != 1 || f[0].Text != "The print has finger 3, and finger 2 was decided." {
		t.Errorf("%+v", f)
	}
	p.Notes[id].Marks[len(p.Notes[id].Marks)-1].Text = "2"
	s.Marks = marks(s, false)
	if slices.ContainsFunc(s.Marks, func(m score.NoteMark) bool { return m.Note == id && family(m.Mark.Kind) == "finger" }) {
		t.Error("what is printed is printed again")
	}
	if f := s.againstPrint(); len(f) != 0 {
		t.Errorf("%+v", f)
	}
}

func ptr[T any](v T) *T { return &v }

// Nothing is half done: one bad decision among good ones stops the study with a
// line that tells where it stands.
func TestBadDecisionStops(t *testing.T) {
	for _, c := range []struct {
		r    Request
		want string
	}{
		{Request{Decisions: decisions(t, "m1.1:1 bow=up", "m99.1 finger=1")}, "d.yaml line 2: m99.1: there is no measure 99"},
		{Request{Decisions: decisions(t, "m99.1 bow=up", "m98.1 finger=1", "m97.1 finger=1")}, "(and 2 more are wrong)"},
		{Request{DecisionsPart: "Flute", DecisionsFile: "d.yaml"}, `d.yaml: these decisions are for the part "Flute"`},
		{Request{Style: Style{Profile: "baroque"}}, `--profile "baroque": want early`},
		{Request{Style: Style{OpenStrings: "all"}}, "more, as-needed or fewer"},
		{Request{Setup: instrument.Setup{Hand: "tiny"}}, "hand"},
	} {
		c.r.Name, c.r.Data = demo.Name, demo.Jig
		_, err := Analyze(c.r)
		if err == nil || strings.Contains(err.Error(), "\n") || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v, want %q", err, c.want)
		}
	}
}

// Taste moves the plan the way it says, over the whole movement.
func TestOpenStrings(t *testing.T) {
	count := func(choice string) (n int) {
		for _, g := range jigWith(t, Request{Style: Style{OpenStrings: choice}}).Hand.Grips {
			for _, st := range g.Stops {
				if st.Finger == 0 && len(g.Stops) == 1 {
					n++
				}
			}
		}
		return n
	}
	more, usual, fewer := count("more"), count(""), count("fewer")
	if more < usual || usual < fewer || more == fewer {
		t.Errorf("open strings: more %d, usual %d, fewer %d", more, usual, fewer)
	}
}

// Strict takes the bow as written: every direction is the written one.
func TestStrict(t *testing.T) {
	s := jigWith(t, Request{Style: Style{Strict: true}})
	for i, st := range s.Bow.Proposed {
		if i < len(s.Bow.Written) && st.Direction != s.Bow.Written[i].Direction {
			t.Errorf("stroke %d is %v, written %v", i, st.Direction, s.Bow.Written[i].Direction)
		}
	}
}

// A + over a note is plucked by the left hand: no bow.
func TestLeftHandPizzicato(t *testing.T) {
	s := jigWith(t, Request{})
	i := slices.IndexFunc(s.Hand.Grips, func(g fingering.Grip) bool { return len(g.Stops) == 1 && g.Stops[0].Finger == 4 })
	if i < 0 {
		t.Fatal("no fourth finger")
	}
	id := s.Hand.Grips[i].Stops[0].Note
	p := *s.Part
	p.Notes = slices.Clone(p.Notes)
	p.Notes[id].Marks = append(slices.Clone(p.Notes[id].Marks), score.Mark{Kind: score.Stopped})
	sc := *s.Score
	sc.Parts = slices.Clone(sc.Parts)
	sc.Parts[s.PartIndex] = &p
	q := &Study{Source: s.Source, Score: &sc, Part: &p, PartIndex: s.PartIndex, Instrument: s.Instrument, Pace: s.Pace,
		Reading: &Reading{Source: s.Source, Score: &sc, Part: &p, PartIndex: s.PartIndex}}
	q.run(Request{})
	strokes, _ := strokeOfEvents(q.Bow)
	if strokes[i] >= 0 {
		t.Error("the bow plays what the left hand plucks")
	}
	if len(q.Strings[i]) > 0 {
		t.Error("the plucked note lies under the bow")
	}
	told := slices.ContainsFunc(q.Findings, func(f score.Finding) bool { return f.Kind == "left-hand-pizzicato" })
	if free := q.Hand.Grips[i].Stops[0].Finger != 4; told == free {
		t.Errorf("finger %d, finding %v", q.Hand.Grips[i].Stops[0].Finger, told)
	}
}

func TestBars(t *testing.T) {
	s := jigWith(t, Request{})
	last := len(s.Part.Measures) - 1
	if b, err := s.Bars(""); err != nil || b != (Bars{0, last}) {
		t.Errorf("%v %v", b, err)
	}
	b, err := s.Bars("3-5")
	if err != nil || timeline.Name(s.Part, b.First) != "3" || timeline.Name(s.Part, b.Last) != "5" {
		t.Errorf("%v %v", b, err)
	}
	if b, err := s.Bars("10"); err != nil || b.Last-b.First != 1 { // split by the repeat
		t.Errorf("%v %v", b, err)
	}
	for _, bad := range []string{"x", "5-3", "1-999", "-", "3-"} {
		if _, err := s.Bars(bad); err == nil || strings.Contains(err.Error(), "\n") {
			t.Errorf("%q: %v", bad, err)
		}
	}
}

// The data of a topic hold its lists, cut to the bars, and every index of them
// lies in those bars.
func TestTopicJSON(t *testing.T) {
	s := jigWith(t, Request{})
	b, err := s.Bars("3-5")
	if err != nil {
		t.Fatal(err)
	}
	for topic, keys := range topicKeys {
		data, err := s.TopicJSON(topic, b, "0")
		if err != nil {
			t.Fatal(err)
		}
		var d map[string]json.RawMessage
		if err := json.Unmarshal(data, &d); err != nil {
			t.Fatal(err)
		}
		if len(d) != len(commonKeys)-1+len(keys)+1 { // no style: it is the usual one
			t.Errorf("%s: %d fields", topic, len(d))
		}
	}
	var d struct {
		Events []struct{ Measure int }
	}
	data, _ := s.TopicJSON(Fingers, b, "0")
	if err := json.Unmarshal(data, &d); err != nil || len(d.Events) < 10 {
		t.Fatalf("%v, %d events", err, len(d.Events))
	}
	for _, e := range d.Events {
		if !b.Has(e.Measure) {
			t.Errorf("event in measure %d", e.Measure)
		}
	}
}

// Each sentence of --why stands beside the terms in brackets that it rests on, and
// each is a term of the costs.
func TestReasonsRestOnTerms(t *testing.T) {
	s := jigWith(t, Request{})
	all, _ := s.Bars("")
	known := map[string]bool{}
	for _, r := range bowing.Rules {
		known[r.Name] = true
	}
	for _, r := range joint.Rules {
		known[r.Name] = true
	}
	for _, name := range fingering.TermNames() {
		known[name] = true
	}
	n := 0
	for _, topic := range []Topic{Strokes, Fingers} {
		for _, r := range s.Table(topic, all, true).Rows {
			for _, u := range r.Under {
				i := strings.LastIndex(u, "[")
				if i < 0 {
					continue
				}
				for _, term := range strings.Split(strings.TrimPrefix(strings.Trim(u[i:], "[]"), "spares "), ", ") {
					name, _, _ := strings.Cut(term, " ")
					if n++; !known[name] {
						t.Errorf("%s: %q is no term of the plan", u, name)
					}
				}
			}
		}
	}
	if n < 50 {
		t.Errorf("only %d terms named", n)
	}
}

func TestTables(t *testing.T) {
	s := jigWith(t, Request{})
	all, _ := s.Bars("")
	for _, topic := range []Topic{Strokes, Fingers, Crossings, Hard} {
		tb := s.Table(topic, all, true)
		if len(tb.Rows) == 0 || len(tb.Before) == 0 {
			t.Errorf("%s: empty", topic)
		}
		for _, r := range tb.Rows {
			if len(r.Cells) != len(tb.Head) {
				t.Errorf("%s: %d cells under %d heads", topic, len(r.Cells), len(tb.Head))
			}
			for _, c := range r.Cells {
				if !utf8.ValidString(c) || strings.Contains(c, "\n") {
					t.Errorf("%s: cell %q", topic, c)
				}
			}
		}
	}
}

// A stretch beyond the limit of the hand is never silent, and an average hand has
// none on any instrument of the usual size.
func TestBeyondReachIsTold(t *testing.T) {
	for _, setup := range []instrument.Setup{{}, {Hand: "small"}, {Hand: "small", Length: 395}} {
		s := jigWith(t, Request{Setup: setup})
		told := map[score.NoteID]bool{}
		for _, f := range s.Findings {
			if f.Kind == "beyond-reach" {
				told[f.Notes[0]] = true
			}
		}
		if setup.Hand == "" && len(told) > 0 {
			t.Errorf("an average hand is stretched %d times", len(told))
		}
		for _, g := range s.Hand.Grips {
			for _, st := range g.Stops {
				if _, ok := s.Instrument.Fits(g.Hand, int(st.Finger), st.Semitone, len(g.Stops) > 1); st.Finger > 0 && !st.Held && st.Touch == fingering.Pressed && !ok && !told[st.Note] {
					t.Errorf("%+v: %+v lies beyond the hand, and nothing says so", setup, st)
				}
			}
		}
	}
}
