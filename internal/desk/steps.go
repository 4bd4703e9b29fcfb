package desk

import (
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"pochette/internal/decide"
	"pochette/internal/instrument"
	"pochette/internal/score"
	"pochette/internal/store"
)

// Kinds of steps in the log of a piece, beside the log's own undo and redo.
const (
	kindDecide = "decide"
	kindTake   = "take" // an alternative or a plan: many decisions in one step
	kindLock   = "lock"
	kindChoose = "choose" // of a witness's reading
	kindReason = "reason" // a reason given afterwards
	kindPlaces = "places" // the list of places for a lesson
)

// body is the matter of a step.
type body struct {
	Changes []change      `json:"changes,omitempty"`
	Lock    *lock         `json:"lock,omitempty"`
	Choose  *choice       `json:"choose,omitempty"`
	Of      int           `json:"of,omitempty"` // the step that a reason is for
	Places  []lessonPlace `json:"places,omitempty"`
}

// change sets keys of one note, named by its ref. A value "" takes a key away.
type change struct {
	Note string            `json:"note"`
	Set  map[string]string `json:"set"`
}

// lock holds a passage (measures by index) as it was: what the plan had there.
type lock struct {
	From   int      `json:"from"`
	To     int      `json:"to"`
	Locked bool     `json:"locked"`
	Pins   []change `json:"pins,omitempty"`
}

type choice struct {
	Witness int64  `json:"witness"`
	N       int    `json:"n"`
	Key     string `json:"key"` // of the difference: it survives another reading of the files
	Reading string `json:"reading"`
	Text    string `json:"text"`
	step    int    // that chose
}

type lessonPlace struct {
	From int    `json:"from"`
	To   int    `json:"to"`
	Note string `json:"note"`
}

// Keys that can be set on a note.
const (
	keyFinger   = "finger"
	keyString   = "string"
	keyPosition = "position"
	keyBow      = "bow"
	keySlur     = "slur"
	keyLink     = "link"
	keyRetake   = "retake"
	keyBreath   = "breath"
	keyDynamic  = "dynamic"
	keyWords    = "words"
	keyReason   = "reason"
)

// noSlur is the value of a slur key where the printed slurs over the note go.
const noSlur = "none"

// isFlag says that a key is set or not, and has no value of its own.
func isFlag(key string) bool { return key == keyLink || key == keyRetake || key == keyBreath }

// maxValue is the longest text of a value, in bytes.
const maxValue = 200

// setOf reads the values that a page sends: texts, numbers, true, false or null.
func setOf(raw map[string]any) (map[string]string, error) {
	out := map[string]string{}
	for k, v := range raw {
		var text string
		switch v := v.(type) {
		case nil:
		case string:
			text = strings.TrimSpace(v)
		case float64:
			text = strconv.FormatFloat(v, 'f', -1, 64)
		case bool:
			if text = ""; v {
				text = "yes"
			}
			if !isFlag(k) && v {
				return nil, fmt.Errorf("%s: true is no value", k)
			}
		default:
			return nil, fmt.Errorf("%s: want a text, a number, true, false or null", k)
		}
		text, err := checkValue(k, text)
		if err != nil {
			return nil, err
		}
		out[k] = text
	}
	if len(out) == 0 {
		return nil, errors.New("nothing is set: want finger, string, position, bow, slur, link, retake, breath, dynamic or words")
	}
	return out, nil
}

// checkValue brings a value into its one form.
func checkValue(key, v string) (string, error) {
	if len(v) > maxValue {
		return "", fmt.Errorf("%s: at most %d bytes", key, maxValue)
	}
	if v == "" {
		return "", checkKey(key)
	}
	switch key {
	case keyFinger, keyString, keyPosition, keyBow:
		d, err := decide.ParseLine("m1.1 " + key + `="` + strings.NewReplacer(`\`, `\\`, `"`, `\"`).Replace(v) + `"`)
		if err != nil {
			return "", errors.New(strings.TrimPrefix(err.Error(), "m1.1: "))
		}
		return plainValue(key, &d), nil
	case keySlur:
		return v, nil
	case keyLink, keyRetake, keyBreath:
		if v != "yes" {
			return "", fmt.Errorf("%s: want true or false", key)
		}
		return v, nil
	case keyDynamic:
		if !slices.Contains(dynamics, v) {
			return "", fmt.Errorf("dynamic %q: want one of %s", v, strings.Join(dynamics, ", "))
		}
		return v, nil
	case keyWords:
		if strings.ContainsFunc(v, func(r rune) bool { return r < ' ' }) {
			return "", errors.New("words: want one line of text")
		}
		return v, nil
	}
	return "", checkKey(key)
}

// dynamics are elements of <dynamics> in MusicXML 4.0.
var dynamics = []string{"pppp", "ppp", "pp", "p", "mp", "mf", "f", "ff", "fff", "ffff", "fp", "pf", "sf", "sfz", "sffz", "sfp", "sfpp", "fz", "rf", "rfz", "n"}

func checkKey(key string) error {
	switch key {
	case keyFinger, keyString, keyPosition, keyBow, keySlur, keyLink, keyRetake, keyBreath, keyDynamic, keyWords:
		return nil
	}
	return fmt.Errorf("unknown key %q: want finger, string, position, bow, slur, link, retake, breath, dynamic or words", key)
}

// plainValue is the one value that a decision of one key holds.
func plainValue(key string, d *decide.Decision) string {
	switch key {
	case keyFinger:
		if *d.Finger == instrument.Thumb {
			return "thumb"
		}
		return strconv.Itoa(int(*d.Finger))
	case keyString:
		return strconv.Itoa(d.String)
	case keyPosition:
		return strconv.Itoa(*d.Position)
	}
	return string(d.Bow)
}

// noteState is what stands decided on a note.
type noteState struct {
	set map[string]string
	n   int // the newest step on it
}

// state is what the steps that stand add up to.
type state struct {
	notes   map[string]*noteState // by ref
	locks   []lock
	choices map[string]choice // by witness and key
	reasons map[int]string    // given afterwards, by step
	places  []lessonPlace
}

// fold adds the steps up.
func fold(steps []store.Entry) (*state, error) {
	st := &state{notes: map[string]*noteState{}, choices: map[string]choice{}, reasons: map[int]string{}}
	for i := range steps {
		var b body
		if err := json.Unmarshal(steps[i].Body, &b); err != nil {
			return nil, fmt.Errorf("step %d of the log cannot be read: %w", steps[i].N, err)
		}
		st.add(steps[i].N, steps[i].Reason, &b)
	}
	return st, nil
}

// checkLog refuses a log whose steps set what no page can: it came with a file. What the
// desk itself writes is checked before.
func checkLog(log []store.Entry) error {
	for i := range log {
		var b body
		if err := json.Unmarshal(log[i].Body, &b); err != nil {
			return fmt.Errorf("step %d of the log cannot be read: %w", log[i].N, err)
		}
		sets := b.Changes
		if b.Lock != nil {
			sets = slices.Concat(sets, b.Lock.Pins)
		}
		for _, c := range sets {
			for k, v := range c.Set {
				if is, err := checkValue(k, v); err != nil {
					return fmt.Errorf("step %d of the log: %w", log[i].N, err)
				} else if is != v {
					return fmt.Errorf("step %d of the log: %s %q: want %q", log[i].N, k, v, is)
				}
			}
		}
		if _, err := checkReason(log[i].Reason); err != nil {
			return fmt.Errorf("step %d of the log: %w", log[i].N, err)
		}
	}
	return nil
}

func (st *state) add(n int, reason string, b *body) {
	for _, c := range b.Changes {
		st.change(n, reason, c)
	}
	if b.Lock != nil {
		st.lock(*b.Lock)
	}
	if c := b.Choose; c != nil {
		c.step = n
		st.choices[fmt.Sprintf("%d %s", c.Witness, c.Key)] = *c
	}
	if b.Of > 0 {
		st.reasons[b.Of] = reason
		for _, s := range st.notes {
			if s.n == b.Of {
				s.set[keyReason] = reason
			}
		}
	}
	if b.Places != nil {
		st.places = b.Places
	}
}

func (st *state) change(n int, reason string, c change) {
	s := st.notes[c.Note]
	if s == nil {
		s = &noteState{set: map[string]string{}}
		st.notes[c.Note] = s
	}
	s.n = n
	for k, v := range c.Set {
		if v == "" {
			delete(s.set, k)
		} else {
			s.set[k] = v
		}
	}
	delete(s.set, keyReason)
	if len(s.set) == 0 {
		delete(st.notes, c.Note)
		return
	}
	if reason != "" {
		s.set[keyReason] = reason
	}
}

// lock adds a lock, or cuts a passage out of the locks.
func (st *state) lock(l lock) {
	if l.Locked {
		st.locks = append(st.locks, l)
		return
	}
	var out []lock
	for _, o := range st.locks {
		if o.To < l.From || o.From > l.To {
			out = append(out, o)
			continue
		}
		if o.From < l.From {
			left := o
			left.To = l.From - 1
			out = append(out, left)
		}
		if o.To > l.To {
			right := o
			right.From = l.To + 1
			out = append(out, right)
		}
	}
	st.locks = out
}

// lockedAt is the lock over a measure.
func (st *state) lockedAt(measure int) (lock, bool) {
	for _, l := range st.locks {
		if measure >= l.From && measure <= l.To {
			return l, true
		}
	}
	return lock{}, false
}

// settledOf turns the keys of a note into what the study takes.
func settledOf(set map[string]string) (decide.Settled, bool) {
	var s decide.Settled
	if f, ok := set[keyFinger]; ok {
		v := int8(instrument.Thumb)
		if f != "thumb" {
			n, err := strconv.Atoi(f)
			if err != nil {
				return s, false
			}
			v = int8(n)
		}
		s.Finger = &v
	}
	if v, err := strconv.Atoi(set[keyString]); err == nil {
		s.String = v
	}
	if v, err := strconv.Atoi(set[keyPosition]); err == nil {
		s.Position = &v
	}
	s.Bow, s.Reason = decide.Direction(set[keyBow]), set[keyReason]
	return s, s.Finger != nil || s.String > 0 || s.Position != nil || s.Bow != ""
}

// slurChanges are the decided slurs as changes of the printed ones.
func (st *state) slurChanges(p *score.Part, refs *references) []score.SlurChange {
	var out []score.SlurChange
	gone := map[int]bool{}
	ids := make([]score.NoteID, 0, len(st.notes))
	for ref, s := range st.notes {
		if id, ok := refs.note(ref); ok && s.set[keySlur] != "" {
			ids = append(ids, id)
		}
	}
	slices.Sort(ids)
	for _, id := range ids {
		var c score.SlurChange
		from, to := p.Notes[id].Head, p.Notes[id].Head
		if v := st.notes[refs.of[id]].set[keySlur]; v != noSlur {
			end, ok := refs.note(v)
			if !ok || p.Notes[end].Head <= from {
				continue
			}
			to = p.Notes[end].Head
			c.Add = []score.Slur{{Number: 1, Start: from, End: to, Origin: score.Decided}}
		}
		for i, sl := range p.Slurs {
			if gone[i] || sl.End < from || sl.Start > to || p.Notes[sl.Start].Voice != p.Notes[from].Voice {
				continue
			}
			if to > from && (sl.End == from || sl.Start == to) { // it only meets the new one
				continue
			}
			gone[i] = true
			c.Remove = append(c.Remove, i)
		}
		if len(c.Add)+len(c.Remove) > 0 {
			out = append(out, c)
		}
	}
	return out
}

func sameSlurChange(a, b score.SlurChange) bool {
	return slices.Equal(a.Remove, b.Remove) && slices.Equal(a.Add, b.Add)
}
