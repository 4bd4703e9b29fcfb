package desk

import (
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"pochette/internal/engrave"
	"pochette/internal/score"
	"pochette/internal/store"
	"pochette/internal/study"
	"pochette/internal/timeline"
)

type alternative struct {
	ID      string     `json:"id"`
	Text    string     `json:"text"`
	Where   string     `json:"where"`
	Cost    float64    `json:"cost"`
	Changes []altPoint `json:"changes"`
	Why     string     `json:"why"`
	Excerpt string     `json:"excerpt,omitempty"`
	marks   []engrave.Added
}

type altPoint struct {
	Event   int    `json:"event"`
	Text    string `json:"text"`
	Measure int    `json:"measure"`
}

// maxSpan is the longest passage that alternatives are asked for, in measures.
const maxSpan = 32

// getAlternatives gives the cheapest other plans: one that differs anywhere in the
// passage, and one for each of its measures; cheapest first, none twice.
func (d *Desk) getAlternatives(w http.ResponseWriter, r *http.Request) error {
	out := []alternative{}
	err := d.with(r.PathValue("id"), func(p *piece) error {
		from, to, err := span(r, len(p.live.Print.Measures))
		if err != nil {
			return err
		}
		if to-from >= maxSpan {
			return bad("alternatives are found for at most %d measures at once", maxSpan)
		}
		spans := [][2]int{{from, to}}
		for m := from; m <= to && to > from; m++ {
			spans = append(spans, [2]int{m, m})
		}
		seen := map[string]bool{}
		for _, sp := range spans {
			if r.Context().Err() != nil {
				return r.Context().Err()
			}
			if a, ok := p.alternative(sp[0], sp[1], seen); ok {
				out = append(out, a)
			}
		}
		slices.SortStableFunc(out, func(a, b alternative) int { return cmp.Compare(a.Cost, b.Cost) })
		return nil
	})
	if err != nil {
		return err
	}
	if r.URL.Query().Get("svg") != "0" && len(out) > 0 {
		pic, err := d.sidePicture(r)
		if err == nil {
			err = d.drawAlternatives(r.Context(), pic, out)
		}
		if err != nil {
			return err
		}
	}
	return writeJSON(w, http.StatusOK, out)
}

// alternative finds one and keeps it as an offer.
func (p *piece) alternative(from, to int, seen map[string]bool) (alternative, bool) {
	o, ok := p.live.AlternativeIn(from, to)
	if !ok {
		return alternative{}, false
	}
	other := *p.live.Study
	other.Joint = o.Plan
	other.Bow, other.Hand = o.Plan.BowStudy(), o.Plan.HandStudy()
	other.Stroke = study.StrokeOf(other.Bow)
	changes, points := p.differing(&other)
	key, err := json.Marshal(changes)
	if err != nil || len(changes) == 0 || seen[string(key)] {
		return alternative{}, false
	}
	seen[string(key)] = true
	id := fmt.Sprintf("%d-%d", p.revision, len(p.offers)+1)
	var why []string
	for _, c := range o.Changes {
		why = append(why, c.Text)
	}
	p.offers[id] = offer{p.revision, changes, o.Text}
	var marks []engrave.Added
	for _, c := range changes {
		if note, ok := p.refs.note(c.Note); ok {
			marks = append(marks, sides(note, c.Set, "there")...)
		}
	}
	return alternative{marks: marks, ID: id, Text: o.Text, Where: o.Where(), Cost: round(o.Extra), Changes: points, Why: strings.Join(why, " ")}, true
}

// differing lists what another plan has otherwise than the present one.
func (p *piece) differing(o *study.Study) ([]change, []altPoint) {
	last := len(p.live.Print.Measures) - 1
	now := map[string]map[string]string{}
	for _, c := range p.marksOf(p.live.Study, 0, last, nil) {
		now[c.Note] = c.Set
	}
	var out []change
	var points []altPoint
	event := map[score.NoteID]int{}
	for i := range o.Hand.Events {
		for _, id := range o.Hand.Events[i].Struck {
			event[id] = i
		}
	}
	for _, c := range p.marksOf(o, 0, last, nil) {
		set := map[string]string{}
		for k, v := range c.Set {
			if now[c.Note][k] != v {
				set[k] = v
			}
		}
		if len(set) == 0 {
			continue
		}
		out = append(out, change{c.Note, set})
		id, _ := p.refs.note(c.Note)
		points = append(points, altPoint{event[id], p.stepText(id, set), p.live.Print.Notes[id].Measure})
	}
	return out, points
}

func (d *Desk) postTake(w http.ResponseWriter, r *http.Request) error {
	var q struct {
		Base        *int   `json:"base"`
		ID          string `json:"id"`
		Alternative string `json:"alternative"`

		Sight  *sightRequest `json:"sight"`
		Reason string        `json:"reason"`
	}
	if err := read(w, r, &q); err != nil {
		return err
	}
	if q.ID == "" {
		q.ID = q.Alternative
	}
	return d.commit(w, r, q.Sight, q.Base, q.Reason, func(p *piece) (string, string, body, error) {
		o, ok := p.offers[q.ID]
		if !ok || o.revision != p.revision {
			return "", "", body{}, bad("this alternative was found for an earlier plan: ask for alternatives again")
		}
		for _, c := range o.changes {
			if id, ok := p.refs.note(c.Note); ok {
				if _, locked := p.st.lockedAt(p.live.Print.Notes[id].Measure); locked {
					return "", "", body{}, refused{errors.New("the alternative changes a locked passage: unlock it first")}
				}
			}
		}
		return kindTake, "another way: " + strings.TrimSuffix(o.text, "."), body{Changes: o.changes}, nil
	})
}

func (d *Desk) getPlans(w http.ResponseWriter, r *http.Request) error {
	ps, err := d.store.Plans(r.PathValue("id"))
	if err != nil {
		return err
	}
	return writeJSON(w, http.StatusOK, ps)
}

// planBody is what a named plan holds: bow and hand of every note, and what stood
// decided.
type planBody struct {
	Marks   []change                     `json:"marks"`
	Decided map[string]map[string]string `json:"decided"`
	Cost    float64                      `json:"cost"`
}

func (d *Desk) postPlan(w http.ResponseWriter, r *http.Request) error {
	var q struct {
		Name string `json:"name"`
		// Piece is another piece of the library, a colleague's: its plan is kept here.
		Piece string `json:"piece"`
	}
	if err := read(w, r, &q); err != nil {
		return err
	}
	q.Name = strings.TrimSpace(q.Name)
	if q.Name == "" || len(q.Name) > maxValue || strings.ContainsFunc(q.Name, func(c rune) bool { return c < ' ' }) {
		return bad("name: want a name for the plan, at most %d bytes on one line", maxValue)
	}
	id := r.PathValue("id")
	from := q.Piece
	if from == "" {
		from = id
	}
	var pl store.Plan
	err := d.with(from, func(p *piece) error {
		b := planBody{Marks: p.marksOf(p.live.Study, 0, len(p.live.Print.Measures)-1, nil), Decided: map[string]map[string]string{}, Cost: round(p.live.Joint.Cost)}
		for ref, s := range p.st.notes {
			b.Decided[ref] = s.set
		}
		text, err := json.Marshal(b)
		if err != nil {
			return fmt.Errorf("writing the plan: %w", err)
		}
		pl = store.Plan{Name: q.Name, Who: d.who(), Base: p.revision, Body: text}
		return nil
	})
	if err != nil {
		return err
	}
	if pl, err = d.store.SavePlan(id, pl); err != nil {
		return err
	}
	return writeJSON(w, http.StatusCreated, viewPlanName{strconv.FormatInt(pl.ID, 10), pl.Name})
}

type comparison struct {
	With     viewPlanName `json:"with"`
	Revision int          `json:"revision"`
	Bars     []barPair    `json:"bars"`
	Differ   int          `json:"differ"`
	Costs    *costPair    `json:"costs,omitempty"`

	marksHere, marksThere []engrave.Added
}

type costPair struct {
	Here  float64 `json:"here"`
	There float64 `json:"there"`
}

type barPair struct {
	Measure int     `json:"measure"`
	Number  string  `json:"number"`
	Same    bool    `json:"same"`
	Here    barText `json:"here"`
	There   barText `json:"there"`
}

type barText struct {
	Text string `json:"text"`
	SVG  string `json:"svg,omitempty"`
}

// getCompare holds the present plan against another, bar by bar.
func (d *Desk) getCompare(w http.ResponseWriter, r *http.Request) error {
	id, with := r.PathValue("id"), r.URL.Query().Get("with")
	var other planBody
	name := viewPlanName{ID: with, Name: "the proposal"}
	if with != "proposal" && with != "" {
		n, err := strconv.ParseInt(with, 10, 64)
		if err != nil {
			return bad("with=%s: want proposal or the number of a plan", oneLine(with))
		}
		pl, err := d.store.Plan(id, n)
		if err != nil {
			return err
		}
		if err := json.Unmarshal(pl.Body, &other); err != nil {
			return fmt.Errorf("the plan %q cannot be read: %w", pl.Name, err)
		}
		name.Name = pl.Name
	}
	var c comparison
	err := d.with(id, func(p *piece) error {
		if name.ID = with; with == "" || with == "proposal" {
			name.ID = "proposal"
			if p.free == nil {
				f, err := p.live.Free()
				if err != nil {
					return err
				}
				p.free = f
			}
			other = planBody{Marks: p.marksOf(p.free.Study, 0, len(p.live.Print.Measures)-1, nil), Cost: round(p.free.Joint.Cost)}
		}
		c = p.compare(name, other)
		return nil
	})
	if err != nil {
		return err
	}
	if r.URL.Query().Get("svg") != "0" && c.Differ > 0 {
		pic, err := d.sidePicture(r)
		if err == nil {
			err = d.drawSides(r.Context(), pic, &c)
		}
		if err != nil {
			return err
		}
	}
	return writeJSON(w, http.StatusOK, c)
}

func (p *piece) compare(name viewPlanName, other planBody) comparison {
	c := comparison{With: name, Revision: p.revision, Bars: []barPair{}, Costs: &costPair{round(p.live.Joint.Cost), other.Cost}}
	here := p.byNote(p.marksOf(p.live.Study, 0, len(p.live.Print.Measures)-1, nil))
	there := p.byNote(other.Marks)
	texts := make([][2][]string, len(p.live.Print.Measures))
	for i := range p.live.Hand.Events {
		for _, id := range p.live.Hand.Events[i].Struck {
			a, b := here[id], there[id]
			m := p.live.Print.Notes[id].Measure
			var x, y []string
			setX, setY := map[string]string{}, map[string]string{}
			for _, k := range []string{keyBow, keyFinger, keyString} {
				if a[k] != b[k] {
					x, y = append(x, markText(k, a[k])), append(y, markText(k, b[k]))
					setX[k], setY[k] = a[k], b[k]
				}
			}
			c.marksHere, c.marksThere = append(c.marksHere, sides(id, setX, "here")...), append(c.marksThere, sides(id, setY, "there")...)
			if len(x) > 0 {
				at := fmt.Sprintf("beat %s, %s: ", beatText(p.refs.beat(id)), p.live.Print.Notes[id].Sounding)
				texts[m][0] = append(texts[m][0], at+strings.Join(x, ", "))
				texts[m][1] = append(texts[m][1], at+strings.Join(y, ", "))
			}
		}
	}
	for m, t := range texts {
		same := len(t[0]) == 0
		if !same {
			c.Differ++
		}
		c.Bars = append(c.Bars, barPair{Measure: m, Number: timeline.Name(p.live.Print, m), Same: same, Here: barText{Text: strings.Join(t[0], "; ")}, There: barText{Text: strings.Join(t[1], "; ")}})
	}
	return c
}

func markText(k, v string) string {
	if v != "" {
		return keyText(k, v)
	}
	if k == keyBow {
		return "no new stroke"
	}
	return "no " + k
}

func (p *piece) byNote(cs []change) map[score.NoteID]map[string]string {
	out := map[score.NoteID]map[string]string{}
	for _, c := range cs {
		if id, ok := p.refs.note(c.Note); ok {
			out[id] = c.Set
		}
	}
	return out
}
