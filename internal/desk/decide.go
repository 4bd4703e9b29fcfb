package desk

import (
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"pochette/internal/bowing"
	"pochette/internal/score"
	"pochette/internal/store"
	"pochette/internal/study"
	"pochette/internal/technique/joint"
	"pochette/internal/timeline"
)

type decideRequest struct {
	Base   *int           `json:"base"`
	Note   string         `json:"note"`
	Set    map[string]any `json:"set"`
	Reason string         `json:"reason"`
	Sight  *sightRequest  `json:"sight"`
}

// answer to a step.
type answer struct {
	Revision     int           `json:"revision"`
	Changed      []int         `json:"changed"`
	Events       []viewEvent   `json:"events"`
	Costs        costs         `json:"costs"`
	Consequences []consequence `json:"consequences"`
	CanUndo      bool          `json:"can_undo"`
	CanRedo      bool          `json:"can_redo"`
	// Text says what was done, in the history's words.
	Text string `json:"text"`
}

type costs struct {
	Before float64 `json:"before"`
	After  float64 `json:"after"`
}

type consequence struct {
	Text    string `json:"text"`
	Measure *int   `json:"measure,omitempty"`
}

// checkReason refuses a reason that the decisions' file could not hold.
func checkReason(s string) (string, error) {
	s = strings.TrimSpace(s)
	if len(s) > 500 || strings.ContainsFunc(s, func(r rune) bool { return r < ' ' }) {
		return "", bad("reason: want one line of plain text, at most 500 bytes")
	}
	return s, nil
}

func (d *Desk) postDecide(w http.ResponseWriter, r *http.Request) error {
	var q decideRequest
	if err := read(w, r, &q); err != nil {
		return err
	}
	set, err := setOf(q.Set)
	if err != nil {
		return badRequest{err}
	}
	return d.commit(w, r, q.Sight, q.Base, q.Reason, func(p *piece) (string, string, body, error) {
		cs, text, err := p.changesFor(q.Note, set)
		return kindDecide, text, body{Changes: cs}, err
	})
}

// commit makes a step of what build gives, and answers with what it changed.
func (d *Desk) commit(w http.ResponseWriter, r *http.Request, q *sightRequest, base *int, reason string, build func(*piece) (kind, text string, b body, err error)) error {
	reason, err := checkReason(reason)
	if err != nil {
		return err
	}
	if base == nil {
		return bad("base is missing: the revision on which this was decided")
	}
	eye, err := d.inSight(w, r, q)
	if err != nil {
		return err
	}
	var a *answer
	err = d.with(r.PathValue("id"), func(p *piece) error {
		if err := p.staleAt(*base); err != nil {
			return err
		}
		kind, text, b, err := build(p)
		if err != nil {
			return err
		}
		eye.before(p)
		a, err = d.take(p, kind, text, reason, b, eye)
		return err
	})
	return eye.end(w, r, a, err)
}

// take commits a step, shows it, and tells what it changed.
func (d *Desk) take(p *piece, kind, text, reason string, b body, eye *sight) (*answer, error) {
	matter, err := json.Marshal(b)
	if err != nil {
		return nil, fmt.Errorf("writing the step: %w", err)
	}
	before, events := p.live.Joint, p.events()
	if err := p.commit(d.store, store.Entry{Base: p.revision, Who: d.who(), Kind: kind, Text: text, Reason: reason, Body: matter}, eye); err != nil {
		return nil, err
	}
	eye.show(p.revision)
	d.news.tell(change1{Piece: p.id, Revision: p.revision})
	a := &answer{Revision: p.revision, Changed: []int{}, Costs: costs{round(before.Cost), round(p.live.Joint.Cost)}, Consequences: []consequence{},
		CanUndo: len(p.stand) > 0, CanRedo: len(p.back) > 0, Text: text}
	a.Events = changedEvents(events, p.events())
	for i := range a.Events {
		a.Changed = append(a.Changed, a.Events[i].ID)
	}
	p.noteChanged(a.Changed)
	if id, dec, ok := p.jointOf(b.Changes); ok && joint.Comparable(before, p.live.Joint) {
		for _, c := range joint.Consequences(before, p.live.Joint, id, dec) {
			m := c.Measure
			a.Consequences = append(a.Consequences, consequence{c.Text, &m})
		}
	}
	return a, nil
}

// step makes an undo or a redo.
func (d *Desk) step(kind string) func(http.ResponseWriter, *http.Request) error {
	return func(w http.ResponseWriter, r *http.Request) error {
		var q decideRequest
		if err := read(w, r, &q); err != nil {
			return err
		}
		return d.commit(w, r, q.Sight, q.Base, "", func(p *piece) (string, string, body, error) {
			from := p.stand
			if kind == store.Redo {
				from = p.back
			}
			if len(from) == 0 {
				return "", "", body{}, bad("there is nothing to %s", kind)
			}
			return kind, from[len(from)-1].Text, body{}, nil
		})
	}
}

// changesFor turns what a page sets on a note into changes: one moment has one bow,
// a link or a retake is a direction, and a locked passage stays as it is.
func (p *piece) changesFor(ref string, set map[string]string) ([]change, string, error) {
	id, err := p.refs.find(ref)
	if err != nil {
		return nil, "", badRequest{err}
	}
	ref = p.refs.of[id]
	m := p.live.Print.Notes[id].Measure
	if l, ok := p.st.lockedAt(m); ok {
		return nil, "", refused{fmt.Errorf("%s lies in a locked passage (measures %s to %s): unlock it first", ref, timeline.Name(p.live.Print, l.From), timeline.Name(p.live.Print, l.To))}
	}
	if set[keyString] > fmt.Sprint(p.live.Instrument.Strings()) {
		return nil, "", refused{fmt.Errorf("string %s: the instrument has %d strings", set[keyString], p.live.Instrument.Strings())}
	}
	if now := p.st.notes[ref]; now != nil || set[keyFinger] != "" {
		set = p.untangle(now, set)
	}
	if v := set[keySlur]; v != "" && v != noSlur {
		end, err := p.refs.find(v)
		if err != nil {
			return nil, "", badRequest{err}
		}
		if p.live.Print.Notes[end].Head <= p.live.Print.Notes[id].Head {
			return nil, "", refused{errors.New("a slur ends on a note after the one that it begins on")}
		}
		set[keySlur] = p.refs.of[end]
	}
	cs := []change{{ref, set}}
	if v, ok := set[keyBow]; ok {
		cs = append(cs, p.clearBow(id, v)...)
	}
	if set[keyLink] != "" || set[keyRetake] != "" {
		if cs, err = p.sameDirection(id, cs); err != nil {
			return nil, "", err
		}
	}
	return cs, p.stepText(id, set), nil
}

// untangle takes away what a new value contradicts: an open string has no
// position, and of link and retake one can be.
func (p *piece) untangle(now *noteState, set map[string]string) map[string]string {
	have := func(k string) string {
		if v, ok := set[k]; ok || now == nil {
			return v
		}
		return now.set[k]
	}
	if set[keyFinger] == "0" && have(keyPosition) != "" {
		set[keyPosition] = ""
	}
	if set[keyPosition] != "" && have(keyFinger) == "0" {
		set[keyFinger] = ""
	}
	if set[keyLink] != "" && have(keyRetake) != "" {
		set[keyRetake] = ""
	}
	if set[keyRetake] != "" && have(keyLink) != "" {
		set[keyLink] = ""
	}
	off := func(k string) bool { v, ok := set[k]; return ok && v == "" && now != nil && now.set[k] != "" }
	if _, says := set[keyBow]; !says && (off(keyLink) || off(keyRetake)) {
		set[keyBow] = "" // the direction came with it
	}
	return set
}

// strokeOf is the stroke of a note in the plan, -1 for none.
func (p *piece) strokeOf(id score.NoteID) int {
	for i := range p.live.Hand.Events {
		if slices.Contains(p.live.Hand.Events[i].Struck, id) {
			return p.live.Stroke[i]
		}
	}
	return -1
}

// clearBow takes directions away that other notes of the same stroke have.
func (p *piece) clearBow(id score.NoteID, v string) []change {
	s := p.strokeOf(id)
	if s < 0 {
		return nil
	}
	st := &p.live.Bow.Proposed[s]
	var out []change
	for e := st.First; e <= st.Last; e++ {
		for _, o := range p.live.Hand.Events[e].Struck {
			if n := p.st.notes[p.refs.of[o]]; o != id && n != nil && n.set[keyBow] != "" && n.set[keyBow] != v {
				out = append(out, change{p.refs.of[o], map[string]string{keyBow: "", keyLink: "", keyRetake: ""}})
			}
		}
	}
	return out
}

// sameDirection decides the directions that make a link or a retake: those of the
// stroke and of the one before.
func (p *piece) sameDirection(id score.NoteID, cs []change) ([]change, error) {
	s := p.strokeOf(id)
	if s <= 0 || p.live.Bow.Proposed[s-1].Direction == bowing.None {
		return nil, refused{errors.New("there is no stroke before this note to take in the same direction")}
	}
	st := &p.live.Bow.Proposed[s]
	if !slices.Contains(p.live.Hand.Events[st.First].Struck, id) {
		return nil, refused{errors.New("the note is inside a stroke: link or retake at the note on which a stroke begins")}
	}
	prev := &p.live.Bow.Proposed[s-1]
	dir := prev.Direction.String()
	cs[0].Set[keyBow] = dir
	first := p.live.Hand.Events[prev.First].Struck[0]
	if n := p.st.notes[p.refs.of[first]]; n == nil || n.set[keyBow] != dir {
		cs = append(cs, change{p.refs.of[first], map[string]string{keyBow: dir}})
	}
	return cs, nil
}

// stepText says a decision in the history's words.
func (p *piece) stepText(id score.NoteID, set map[string]string) string {
	n := &p.live.Print.Notes[id]
	keys := make([]string, 0, len(set))
	for _, k := range []string{keyBow, keyFinger, keyString, keyPosition, keySlur, keyLink, keyRetake, keyBreath, keyDynamic, keyWords} {
		v, ok := set[k]
		if !ok {
			continue
		}
		if (k == keyBow) && (set[keyLink] != "" || set[keyRetake] != "") {
			continue
		}
		keys = append(keys, keyText(k, v))
	}
	return fmt.Sprintf("%s, %s: %s", timeline.AtNote(p.live.Print, id), n.Sounding, strings.Join(keys, ", "))
}

func keyText(k, v string) string {
	switch {
	case v == "":
		return "the " + k + " is open again"
	case k == keyBow:
		return v + "-bow"
	case k == keyFinger && v == "0":
		return "open string"
	case k == keyFinger && v == "thumb":
		return "thumb"
	case k == keyString:
		return "string " + numeral(v)
	case k == keyPosition && v == "0":
		return "half position"
	case k == keySlur && v == noSlur:
		return "no slur"
	case k == keySlur:
		return "a slur to " + v
	case k == keyLink:
		return "linked to the stroke before"
	case k == keyRetake:
		return "retake"
	case k == keyBreath:
		return "breath"
	}
	return k + " " + v
}

type lockRequest struct {
	Sight  *sightRequest `json:"sight"`
	Base   *int          `json:"base"`
	From   int           `json:"from"`
	To     int           `json:"to"`
	Locked bool          `json:"locked"`
}

func (d *Desk) postLock(w http.ResponseWriter, r *http.Request) error {
	var q lockRequest
	if err := read(w, r, &q); err != nil {
		return err
	}
	build := func(p *piece) (string, string, body, error) {
		last := len(p.live.Print.Measures) - 1
		if q.From < 0 || q.To < q.From || q.To > last {
			return "", "", body{}, bad("measures %d to %d: want indices from 0 to %d", q.From, q.To, last)
		}
		l := lock{From: q.From, To: q.To, Locked: q.Locked}
		word := "unlocked"
		if q.Locked {
			l.Pins, word = p.pins(q.From, q.To), "locked"
		}
		text := fmt.Sprintf("measures %s to %s %s", timeline.Name(p.live.Print, q.From), timeline.Name(p.live.Print, q.To), word)
		return kindLock, text, body{Lock: &l}, nil
	}
	if q.Base == nil { // a page that does not say on what: the present state
		if err := d.with(r.PathValue("id"), func(p *piece) error { b := p.revision; q.Base = &b; return nil }); err != nil {
			return err
		}
	}
	return d.commit(w, r, q.Sight, q.Base, "", build)
}

// pins hold what the plan has in some measures.
func (p *piece) pins(from, to int) []change {
	return p.marksOf(p.live.Study, from, to, nil)
}

// marksOf lists bow and hand of a study's plan in some measures as changes; only
// those notes that keep says, all for nil.
func (p *piece) marksOf(s *study.Study, from, to int, keep func(score.NoteID) bool) []change {
	var out []change
	for i := range s.Hand.Events {
		e, g := &s.Hand.Events[i], &s.Hand.Grips[i]
		if e.Measure < from || e.Measure > to {
			continue
		}
		for k, id := range e.Struck {
			set := map[string]string{}
			for _, st := range g.Stops {
				if st.Note == id {
					set[keyFinger], set[keyString] = fingerText(st.Finger), fmt.Sprint(st.String)
				}
			}
			if j := s.Stroke[i]; k == 0 && j >= 0 && s.Bow.Proposed[j].First == i && s.Bow.Proposed[j].Direction != bowing.None {
				set[keyBow] = s.Bow.Proposed[j].Direction.String()
			}
			if len(set) > 0 && (keep == nil || keep(id)) {
				out = append(out, change{p.refs.of[id], set})
			}
		}
	}
	return out
}

type historyItem struct {
	N       int    `json:"n"`
	Who     string `json:"who"`
	When    string `json:"when"`
	Kind    string `json:"kind"`
	Text    string `json:"text"`
	Reason  string `json:"reason"`
	Undone  bool   `json:"undone"`
	Measure *int   `json:"measure,omitempty"`
	Ref     string `json:"ref,omitempty"`
}

func (d *Desk) getHistory(w http.ResponseWriter, r *http.Request) error {
	out := []historyItem{}
	err := d.with(r.PathValue("id"), func(p *piece) error {
		stands := map[int]bool{}
		for _, e := range p.stand {
			stands[e.N] = true
		}
		for _, e := range p.log {
			if e.Kind == store.Undo || e.Kind == store.Redo || e.Kind == kindReason {
				continue
			}
			out = append(out, p.historyItem(e, !stands[e.N]))
		}
		return nil
	})
	if err != nil {
		return err
	}
	return writeJSON(w, http.StatusOK, out)
}

func (p *piece) historyItem(e store.Entry, undone bool) historyItem {
	h := historyItem{N: e.N, Who: e.Who, When: e.At.Format(time.RFC3339), Kind: e.Kind, Text: e.Text, Reason: e.Reason, Undone: undone}
	if later, ok := p.st.reasons[e.N]; ok {
		h.Reason = later
	}
	var b body
	if err := json.Unmarshal(e.Body, &b); err != nil {
		return h // its text still tells what it was
	}
	if len(b.Changes) > 0 {
		h.Ref = b.Changes[0].Note
		if id, ok := p.refs.note(h.Ref); ok {
			m := p.live.Print.Notes[id].Measure
			h.Measure = &m
		}
	} else if b.Lock != nil {
		m := b.Lock.From
		h.Measure = &m
	}
	return h
}
