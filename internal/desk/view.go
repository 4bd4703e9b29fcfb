package desk

import (
	"fmt"
	"math"
	"reflect"

	"pochette/internal/bowing"
	"pochette/internal/fingering"
	"pochette/internal/instrument"
	"pochette/internal/score"
	"pochette/internal/study"
	"pochette/internal/technique"
	"pochette/internal/timeline"
)

// The view of a piece, as the page reads it. Optional fields are left out where
// there is nothing to say.

type viewPiece struct {
	ID          string         `json:"id"`
	Revision    int            `json:"revision"`
	Title       string         `json:"title"`
	Part        string         `json:"part"`
	Instrument  string         `json:"instrument"`
	OpenStrings []string       `json:"open_strings"`
	Measures    []viewMeasure  `json:"measures"`
	Events      []viewEvent    `json:"events"`
	Findings    []viewFinding  `json:"findings"`
	Spots       []viewSpan     `json:"spots"`
	Hard        []viewSpan     `json:"hard"`
	Hints       []viewSpan     `json:"hints"`
	Whole       float64        `json:"difficulty_whole"`
	Locks       []viewLock     `json:"locks"`
	Plans       []viewPlanName `json:"plans"`
	Cost        float64        `json:"cost"`
	Parallels   []viewParallel `json:"parallels,omitempty"`
	CanUndo     bool           `json:"can_undo"`
	CanRedo     bool           `json:"can_redo"`
	// Since is the revision after which the events changed that are given; nil: all are.
	Since *int `json:"since,omitempty"`
}

type viewMeasure struct {
	Index      int     `json:"index"`
	Number     string  `json:"number"`
	Pickup     bool    `json:"pickup,omitempty"`
	Difficulty float64 `json:"difficulty"`
	Locked     bool    `json:"locked,omitempty"`

	Key     string   `json:"key,omitempty"`
	Chord   string   `json:"chord,omitempty"`
	Tension *float64 `json:"tension,omitempty"` // 0 to 1
}

type viewEvent struct {
	ID         int          `json:"id"`
	Measure    int          `json:"measure"`
	Beat       string       `json:"beat"`
	Rest       bool         `json:"rest,omitempty"`
	Notes      []viewNote   `json:"notes"`
	Bow        string       `json:"bow"`
	Stroke     int          `json:"stroke"`
	Follows    string       `json:"follows,omitempty"`
	Position   int          `json:"position"`
	Why        string       `json:"why"`
	Terms      []score.Term `json:"terms,omitempty"`
	Crossing   *viewCross   `json:"crossing,omitempty"`
	Difficulty float64      `json:"difficulty,omitempty"`
	Locked     bool         `json:"locked,omitempty"`
	Chord      string       `json:"chord,omitempty"`
	Key        string       `json:"key,omitempty"`
	Voice      string       `json:"voice,omitempty"`
}

type viewNote struct {
	Ref     string          `json:"ref"`
	Pitch   string          `json:"pitch"`
	String  int             `json:"string,omitempty"`
	Finger  string          `json:"finger,omitempty"`
	Decided map[string]bool `json:"decided,omitempty"`
	// Says is what was decided, where it is more than bow and hand show.
	Says    map[string]string `json:"says,omitempty"`
	Printed map[string]bool   `json:"printed,omitempty"`
	Reason  string            `json:"reason,omitempty"`
	// Voice is the implied voice, 1 for the highest; 0 for none.
	Voice int `json:"voice,omitempty"`
}

type viewCross struct {
	Text string  `json:"text"`
	Load float64 `json:"load"`
}

type viewFinding struct {
	Kind       string `json:"kind"`
	Grade      string `json:"grade"`
	Place      string `json:"place"`
	Measure    int    `json:"measure"`
	ToMeasure  *int   `json:"to_measure,omitempty"`
	Text       string `json:"text"`
	Why        string `json:"why,omitempty"`
	Suggestion string `json:"suggestion,omitempty"`
}

type viewSpan struct {
	Place   string  `json:"place"`
	Measure int     `json:"measure"`
	First   int     `json:"first_event"`
	Last    int     `json:"last_event"`
	Text    string  `json:"text"`
	Score   float64 `json:"score,omitempty"`
}

type viewLock struct {
	From int `json:"from"`
	To   int `json:"to"`
}

type viewPlanName struct {
	ID   string `json:"id"`
	Name string `json:"name"`
}

// view is the whole piece but for what the library adds.
func (p *piece) view() *viewPiece {
	l := p.live
	v := &viewPiece{ID: p.id, Revision: p.revision, Title: l.Title(), Part: partName(l.Print), Instrument: l.Instrument.Kind.String(), OpenStrings: []string{},
		Findings: []viewFinding{}, Spots: []viewSpan{}, Hard: []viewSpan{}, Hints: []viewSpan{}, Locks: []viewLock{}, Plans: []viewPlanName{},
		Whole: round(l.Hardness.Whole.Score), Cost: round(l.Joint.Cost), CanUndo: len(p.stand) > 0, CanRedo: len(p.back) > 0}
	for _, o := range l.Instrument.Open {
		v.OpenStrings = append(v.OpenStrings, o.String())
	}
	for i := range l.Print.Measures {
		m := &l.Print.Measures[i]
		_, locked := p.st.lockedAt(i)
		v.Measures = append(v.Measures, viewMeasure{Index: i, Number: timeline.Name(l.Print, i), Pickup: i == 0 && m.Implicit, Difficulty: round(l.Hardness.Bars[i].Score), Locked: locked})
	}
	readMeasures(l.Reading, v.Measures)
	v.Parallels = readParallels(l.Reading)
	v.Events = p.events()
	for _, f := range l.Findings {
		vf := viewFinding{Kind: f.Kind, Grade: f.Grade.String(), Place: f.At.String(), Measure: f.At.Measure, Text: f.Text, Why: f.Why, Suggestion: f.Suggestion}
		if f.To.Measure != f.At.Measure {
			to := f.To.Measure
			vf.ToMeasure = &to
		}
		v.Findings = append(v.Findings, vf)
	}
	p.spans(v)
	for _, o := range p.st.locks {
		v.Locks = append(v.Locks, viewLock{o.From, o.To})
	}
	return v
}

func partName(p *score.Part) string {
	if p.Name != "" {
		return p.Name
	}
	return p.ID
}

func round(v float64) float64 { return math.Round(v*1000) / 1000 }

// spans are passages that stand out.
func (p *piece) spans(v *viewPiece) {
	l := p.live
	for _, s := range l.Spots {
		text := ""
		for i, k := range s.Skeleton {
			if i > 0 {
				text += ", "
			}
			text += technique.StringsName(k)
		}
		v.Spots = append(v.Spots, viewSpan{Place: p.place(s.First), Measure: l.Hand.Events[s.First].Measure, First: s.First, Last: s.Last, Text: text, Score: round(s.Load)})
	}
	for _, s := range l.Hardness.Passages {
		text := s.Word()
		for i, t := range s.Parts {
			if i == 2 {
				break
			}
			text += [...]string{": ", ", "}[i] + technique.PartWords(t.Name)
		}
		v.Hard = append(v.Hard, viewSpan{Place: p.place(s.First), Measure: l.Hand.Events[s.First].Measure, First: s.First, Last: s.Last, Text: text, Score: round(s.Score)})
	}
}

func (p *piece) place(event int) string {
	e := &p.live.Hand.Events[event]
	return timeline.At(p.live.Print, e.Measure, e.Onset, score.NoNote).String()
}

// events are all events as they stand; they are worked out once for a state.
func (p *piece) events() []viewEvent {
	if p.seen.study == p.live.Study && p.seen.state == p.st {
		return p.seen.events
	}
	p.seen = seen{p.live.Study, p.st, p.workEvents()}
	return p.seen.events
}

// keptChanges is for how many steps a page that missed them is told the events alone.
const keptChanges = 200

// noteChanged keeps what a step changed.
func (p *piece) noteChanged(events []int) {
	p.changed[p.revision] = events
	delete(p.changed, p.revision-keptChanges)
}

// eventsSince are the events that steps after a revision changed; false where that is
// not known any more.
func (p *piece) eventsSince(revision int) ([]viewEvent, bool) {
	out, all := []viewEvent{}, p.events()
	have := map[int]bool{}
	for r := revision + 1; r <= p.revision; r++ {
		ids, ok := p.changed[r]
		if !ok {
			return nil, false
		}
		for _, id := range ids {
			if !have[id] {
				have[id] = true
				out = append(out, all[id])
			}
		}
	}
	return out, revision >= 0 && revision <= p.revision
}

// seen is the events of a state.
type seen struct {
	study  *study.Study
	state  *state
	events []viewEvent
}

func (p *piece) workEvents() []viewEvent {
	l := p.live
	cross := map[int]*technique.Crossing{}
	for i := range l.Crossings {
		cross[l.Crossings[i].To] = &l.Crossings[i]
	}
	out := make([]viewEvent, len(l.Hand.Events))
	for i := range out {
		out[i] = p.event(i, cross[i])
	}
	return out
}

func (p *piece) event(i int, cross *technique.Crossing) viewEvent {
	l := p.live
	e, g := &l.Hand.Events[i], &l.Hand.Grips[i]
	v := viewEvent{ID: i, Measure: e.Measure, Beat: timeline.At(l.Print, e.Measure, e.Onset, score.NoNote).Beat, Rest: e.Rest, Notes: []viewNote{},
		Bow: bowing.None.String(), Stroke: l.Stroke[i], Position: g.Position, Why: fingering.Why(l.Hand, i), Terms: roundTerms(g.Terms), Difficulty: round(l.Hardness.Events[i].Score)}
	if v.Stroke >= 0 {
		st := &l.Bow.Proposed[v.Stroke]
		v.Stroke = st.First // its number would change with every stroke before it
		if v.Bow = st.Direction.String(); st.First == i {
			v.Follows = st.Change.String()
		}
	}
	if cross != nil {
		v.Crossing = &viewCross{crossText(cross), round(cross.Load)}
	}
	_, v.Locked = p.st.lockedAt(e.Measure)
	for _, id := range e.Struck {
		v.Notes = append(v.Notes, p.noteView(id, g))
	}
	readEvent(l.Reading, &v, e.Onset, e.Struck)
	return v
}

func roundTerms(ts []score.Term) []score.Term {
	out := make([]score.Term, len(ts))
	for i, t := range ts {
		out[i] = score.Term{Name: t.Name, Value: round(t.Value)}
	}
	return out
}

func crossText(c *technique.Crossing) string {
	text := fmt.Sprintf("from %s to %s", technique.StringsName(c.FromStrings), technique.StringsName(c.ToStrings))
	if len(c.Skipped) > 0 {
		text += ", over " + technique.StringsName(c.Skipped)
	}
	if c.Slurred {
		text += ", in one stroke"
	}
	if len(c.Touch) > 0 {
		text += "; may touch " + technique.StringsName(c.Touch)
	}
	return text
}

func fingerText(f int8) string {
	if f == instrument.Thumb {
		return "thumb"
	}
	return fmt.Sprint(f)
}

func (p *piece) noteView(id score.NoteID, g *fingering.Grip) viewNote {
	n := &p.live.Print.Notes[id]
	v := viewNote{Ref: p.refs.of[id], Pitch: n.Sounding.String()}
	if of := p.live.Reading.Of; int(id) < len(of) {
		v.Voice = of[id] + 1
	}
	for _, st := range g.Stops {
		if st.Note == id {
			v.String, v.Finger = st.String, fingerText(st.Finger)
		}
	}
	for _, m := range n.Marks {
		k := ""
		switch m.Kind {
		case score.UpBow, score.DownBow:
			k = keyBow
		case score.Fingering, score.OpenString, score.ThumbPosition:
			k = keyFinger
		case score.String:
			k = keyString
		default:
			continue
		}
		if v.Printed == nil {
			v.Printed = map[string]bool{}
		}
		v.Printed[k] = true
	}
	if s := p.st.notes[v.Ref]; s != nil {
		v.Decided, v.Says, v.Reason = map[string]bool{}, map[string]string{}, s.set[keyReason]
		for k, x := range s.set {
			if k != keyReason {
				v.Decided[k] = true
				v.Says[k] = x
			}
		}
	}
	return v
}

// changedEvents are those that differ.
func changedEvents(before, after []viewEvent) []viewEvent {
	out := []viewEvent{}
	for i := range after {
		if i >= len(before) || !sameEvent(&before[i], &after[i]) {
			out = append(out, after[i])
		}
	}
	return out
}

func sameEvent(a, b *viewEvent) bool { return reflect.DeepEqual(a, b) }
