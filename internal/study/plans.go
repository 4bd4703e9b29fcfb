package study

import (
	"errors"
	"fmt"
	"maps"
	"slices"
	"sync"

	"pochette/internal/bowing"
	"pochette/internal/decide"
	"pochette/internal/fingering"
	"pochette/internal/report"
	"pochette/internal/score"
	"pochette/internal/technique/joint"
	"pochette/internal/timeline"
)

// alternativesAsked is how many other plans a study tells of: as many as a
// player may want to try at the stand.
const alternativesAsked = 5

// Compared is what is beside the plan: other plans, and what the decisions cost.
type Compared struct {
	Others  []Other // cheapest first
	Weighed []Weighed
}

// Other is another plan in a sentence and measure by measure.
type Other struct {
	joint.Alternative
	Text    string // what a player asks first
	Beats   string // the first beats that differ
	Changes []joint.Consequence
}

// Weighed is a decided note with what the decision changes, beside those that
// stand before it in the part.
type Weighed struct {
	Note     score.NoteID
	Decision joint.Decision
	Cost     float64 // how much more the plan costs with it
	Changes  []joint.Consequence
}

// Compared works out the other plans when it is first asked for. It may be called
// by several goroutines.
func (s *Study) Compared() *Compared { return s.compared() }

// errNoPlan can only come of signs that exclude each other.
var errNoPlan = errors.New("the printed and decided signs leave no plan: take one of those that contradict each other away")

// plan solves bow and hand together. played is the part as it is bowed and
// plucked.
func (s *Study) plan(r Request, played *score.Part) error {
	solver := joint.NewSolver(s.Score, played, joint.Options{Bow: s.bowOptions(r), Hand: s.handOptions(r)})
	if s.Joint = solver.Plan(); s.Joint == nil {
		return fmt.Errorf("%s: %w", r.Name, errNoPlan)
	}
	s.Bow, s.Hand = s.Joint.BowStudy(), s.Joint.HandStudy()
	s.fewest = sync.OnceValue(func() []bowing.ChangeAt {
		o := s.bowOptions(r)
		o.Fewest = true
		return bowing.Analyze(s.Score, played, o).Changes
	})
	if r.Style.Fewest || r.Style.Strict {
		s.fewest = nil
	}
	s.compared = sync.OnceValue(func() *Compared {
		c := &Compared{Weighed: s.weigh(r, played)}
		for _, a := range solver.Alternatives(alternativesAsked) {
			c.Others = append(c.Others, Other{a, a.Otherwise(s.Joint), a.Beats(s.Joint), a.Changes(s.Joint)})
		}
		return c
	})
	return nil
}

// weigh puts the decisions one after the other, in the order of the part, on a
// plan without any, and keeps what each changes. Those that cannot be obeyed are
// told by the study of the hand or the bow.
func (s *Study) weigh(r Request, played *score.Part) []Weighed {
	if len(s.Decided) == 0 {
		return nil
	}
	free := joint.Options{Bow: s.bowOptions(r), Hand: s.handOptions(r)}
	free.Bow.Decided, free.Hand.Decided = nil, nil
	solver := joint.NewSolver(s.Score, played, free)
	if solver.Plan() == nil {
		return nil
	}
	var out []Weighed
	for _, id := range slices.Sorted(maps.Keys(s.Decided)) {
		d := jointDecision(s.Decided[id])
		before := solver.Plan()
		after, err := solver.Decide(id, d)
		if err != nil {
			continue
		}
		out = append(out, Weighed{id, d, after.Cost - before.Cost, joint.Consequences(before, after, id, d)})
	}
	return out
}

func jointDecision(d decide.Settled) joint.Decision {
	return joint.Decision{Bow: directionOf(d.Bow), Decision: fingering.Decision{Finger: d.Finger, String: d.String, Position: d.Position}}
}

// addPlans tells of the alternatives and of what the decisions change.
func (s *Study) addPlans(d *report.Document) {
	for i := range s.Compared().Others {
		a := &s.Compared().Others[i]
		it := report.Item{Bar: barID(a.First), Place: a.Where(), Text: a.Text + " " + extraText(a.Extra), Why: a.Beats}
		if why := joint.Sentence("What it costs and spares", a.Changes); why != "" {
			it.Why += " " + why
		}
		d.Alternatives = append(d.Alternatives, it)
	}
	for i := range s.Compared().Weighed {
		w := &s.Compared().Weighed[i]
		m := s.Part.Notes[w.Note].Measure
		it := report.Item{Bar: barID(m), Place: timeline.AtNote(s.Part, w.Note).String(), Text: decidedText(w)}
		it.Why = joint.Sentence(joint.Cause(s.Part, w.Note, w.Decision), w.Changes)
		d.Decided = append(d.Decided, it)
	}
	if len(d.Alternatives)+len(d.Decided) > 0 {
		d.Costs = costsText()
	}
}

// decidedText says what a decision costs in all.
func decidedText(w *Weighed) string {
	if len(w.Changes) == 0 {
		return joint.DecisionText(w.Decision) + " changes nothing: the plan has it so."
	}
	return fmt.Sprintf("%s. %s", joint.DecisionText(w.Decision), extraText(w.Cost))
}

// weighedText says where a decision stands, what it costs in all and where.
func (s *Study) weighedText(w *Weighed) string {
	at := timeline.AtNote(s.Part, w.Note).String()
	text := fmt.Sprintf("Decided in %s: %s", at, decidedText(w))
	if why := joint.Sentence("Of that", w.Changes); why != "" {
		text += " " + why
	}
	return text
}

// extraText says what a plan costs beside the best one.
func extraText(v float64) string {
	switch {
	case v >= 0.05:
		return fmt.Sprintf("It costs %.1f more.", v)
	case v <= -0.05:
		return fmt.Sprintf("It costs %.1f less.", -v)
	}
	return "It costs the same."
}

// costsText says once what a cost of 1 is, by the weights of common practice.
func costsText() string {
	of := func(rule int) float64 { return bowing.Rules[rule].Default }
	return fmt.Sprintf("Costs say how much speaks against a plan; 1 is what a player hardly minds. By common practice a bar that begins up-bow costs %.3g, a retake %.3g and more the shorter the time, a strong beat up-bow %.3g. Two plans less than 1 apart are a matter of taste.",
		of(bowing.BarStart), of(bowing.RetakeLift), of(bowing.StrongPart2))
}

type jsonAlternative struct {
	First   int          `json:"first_measure"`
	Last    int          `json:"last_measure"`
	Place   string       `json:"place"`
	Extra   float64      `json:"extra_cost"`
	Text    string       `json:"text"`
	Beats   string       `json:"beats"`
	Changes []jsonEffect `json:"changes"`
	Bow     []jsonTurned `json:"bow"`
	Hand    []jsonGrip   `json:"hand"`
}

// jsonEffect is what a plan changes in a measure.
type jsonEffect struct {
	Measure int        `json:"measure"`
	Place   string     `json:"place"`
	Cost    float64    `json:"cost"`
	Terms   []jsonTerm `json:"terms"`
	Text    string     `json:"text"`
}

type jsonTurned struct {
	Event     int    `json:"event"`
	Direction string `json:"direction"`
	Follows   string `json:"follows"`
}

type jsonGrip struct {
	Event    int        `json:"event"`
	Position int        `json:"position"`
	Stops    []jsonStop `json:"stops"`
}

type jsonDecided struct {
	Measure int          `json:"measure"`
	Place   string       `json:"place"`
	Pitch   string       `json:"pitch"`
	Says    string       `json:"says"`
	Cost    float64      `json:"cost"`
	Changes []jsonEffect `json:"changes"`
}

func effects(cs []joint.Consequence) []jsonEffect {
	out := make([]jsonEffect, len(cs))
	for i, c := range cs {
		out[i] = jsonEffect{c.Measure, c.At.String(), round(c.Cost), jsonTerms(c.Terms), c.Text}
	}
	return out
}

// jsonPlans writes the alternatives as what differs from the plan.
func (s *Study) jsonPlans(d *jsonStudy) {
	d.Alternatives, d.Decided = []jsonAlternative{}, []jsonDecided{}
	for i := range s.Compared().Others {
		a := &s.Compared().Others[i]
		ja := jsonAlternative{First: a.First, Last: a.Last, Place: a.Where(), Extra: round(a.Extra), Text: a.Text, Beats: a.Beats, Changes: effects(a.Changes)}
		ja.Bow, ja.Hand = s.otherBow(a.Plan.BowStudy()), s.otherHand(a.Plan.HandStudy())
		d.Alternatives = append(d.Alternatives, ja)
	}
	for i := range s.Compared().Weighed {
		w := &s.Compared().Weighed[i]
		n := &s.Part.Notes[w.Note]
		d.Decided = append(d.Decided, jsonDecided{n.Measure, timeline.AtNote(s.Part, w.Note).String(), n.Sounding.String(), joint.DecisionText(w.Decision), round(w.Cost), effects(w.Changes)})
	}
}

// otherBow lists the strokes of another plan that are none of this one.
func (s *Study) otherBow(o *bowing.Study) []jsonTurned {
	begins := map[int]*bowing.Stroke{}
	for i := range s.Bow.Proposed {
		begins[s.Bow.Proposed[i].First] = &s.Bow.Proposed[i]
	}
	out := []jsonTurned{}
	for i := range o.Proposed {
		st := &o.Proposed[i]
		if was := begins[st.First]; was == nil || was.Direction != st.Direction || was.Change != st.Change {
			out = append(out, jsonTurned{st.First, st.Direction.String(), st.Change.String()})
		}
	}
	return out
}

// otherHand lists the grips of another plan that are none of this one.
func (s *Study) otherHand(o *fingering.Study) []jsonGrip {
	out := []jsonGrip{}
	for i := range o.Grips {
		was, is := &s.Hand.Grips[i], &o.Grips[i]
		if was.Position != is.Position || !slices.Equal(was.Stops, is.Stops) {
			out = append(out, jsonGrip{i, is.Position, s.jsonStops(is)})
		}
	}
	return out
}
