package decide

import (
	"errors"
	"fmt"
	"math/big"
	"slices"
	"strings"

	"pochette/internal/instrument"
	"pochette/internal/pitch"
	"pochette/internal/score"
	"pochette/internal/timeline"
)

// Settled is what is decided for one note.
type Settled struct {
	Finger   *int8
	String   int
	Position *int
	Bow      Direction
	Reason   string
	Place    string // of the decision, for messages: "decisions.yaml line 4"
}

// Resolve finds the notes of the decisions in a part. strs is how many strings
// the instrument has. What cannot be found or contradicts another decision is a
// finding of grade Trouble whose text is one line with the source and line of the
// decision; where there is any, the map is nil: decisions are never obeyed by
// half.
//
// Of two sources (the file, then the command line) the later overrules the
// earlier key by key; inside one source two values for one note contradict.
func Resolve(p *score.Part, ds []Decision, strs int) (map[score.NoteID]Settled, []score.Finding) {
	r := resolver{p: p, strs: strs, out: map[score.NoteID]Settled{}, from: map[key]*Decision{}, index: map[string][]score.NoteID{}}
	r.indexNotes()
	for i := range ds {
		d := &ds[i]
		id, err := r.find(d)
		if err == nil {
			err = r.settle(id, d)
		}
		if err != nil {
			r.trouble(id, d, err)
		}
	}
	if len(r.findings) > 0 {
		return nil, r.findings
	}
	return r.out, nil
}

// key is one thing that can be settled.
type key struct {
	note score.NoteID
	what string
}

type resolver struct {
	p        *score.Part
	strs     int
	out      map[score.NoteID]Settled
	from     map[key]*Decision
	index    map[string][]score.NoteID // notes by measure and beat, see placeKey
	moments  map[int][]score.Tick      // onsets of each measure, filled when first asked for
	findings []score.Finding
}

func (r *resolver) trouble(id score.NoteID, d *Decision, err error) {
	at := score.Nowhere
	if id != score.NoNote {
		at = timeline.AtNote(r.p, id)
	}
	r.findings = append(r.findings, score.Finding{Kind: "decision", Grade: score.Trouble, Part: r.p.ID, At: at, To: at, Text: fmt.Sprintf("%s: %v", d.where(), err)})
}

func placeKey(measure int, beat *big.Rat) string {
	return fmt.Sprintf("%d %s", measure, beat.RatString())
}

// indexNotes sorts every note that a player would point at by measure and beat.
func (r *resolver) indexNotes() {
	for i := range r.p.Notes {
		n := &r.p.Notes[i]
		if n.Rest || n.Cue || n.Unpitched {
			continue
		}
		k := placeKey(n.Measure, r.beat(n))
		r.index[k] = append(r.index[k], n.ID)
	}
	for _, ids := range r.index {
		sortMoment(r.p, ids)
	}
}

// beat counts as timeline.BeatName does. In a measure without a meter it counts
// the moments at which something is struck.
func (r *resolver) beat(n *score.Note) *big.Rat {
	m := &r.p.Measures[n.Measure]
	if u := timeline.Unit(m.Meter); u > 0 {
		b := big.NewRat(int64(timeline.Offset(r.p, n.Measure)+n.Onset-m.Start), int64(u))
		return b.Add(b, big.NewRat(1, 1))
	}
	if r.moments == nil {
		r.moments = map[int][]score.Tick{}
		for i := range r.p.Notes {
			o := &r.p.Notes[i]
			if ts := r.moments[o.Measure]; len(ts) == 0 || ts[len(ts)-1] != o.Onset {
				r.moments[o.Measure] = append(ts, o.Onset)
			}
		}
	}
	at, _ := slices.BinarySearch(r.moments[n.Measure], n.Onset)
	return big.NewRat(int64(at+1), 1)
}

// measures with the number of the place; both halves of a split measure.
func (r *resolver) measures(at Place) ([]int, error) {
	if at.Index > 0 {
		if at.Index > len(r.p.Measures) {
			return nil, fmt.Errorf("%v: the part has %d measures", at, len(r.p.Measures))
		}
		return []int{at.Index - 1}, nil
	}
	var out []int
	for i := range r.p.Measures {
		name := timeline.Name(r.p, i)
		if name == at.Measure || timeline.Label(r.p, i) == at.Measure || timeline.Stem(name) == at.Measure {
			out = append(out, i)
		}
	}
	if len(out) == 0 {
		return nil, fmt.Errorf("%v: there is no measure %s; the part goes from %s to %s", at, at.Measure, timeline.Name(r.p, 0), timeline.Name(r.p, len(r.p.Measures)-1))
	}
	return out, nil
}

// find the note of a decision; on an error the note is NoNote.
func (r *resolver) find(d *Decision) (score.NoteID, error) {
	if len(r.p.Measures) == 0 {
		return score.NoNote, errors.New("the part has no measures")
	}
	ms, err := r.measures(d.At)
	if err != nil {
		return score.NoNote, err
	}
	var ids []score.NoteID
	var in []string // the measures that have a note there
	for _, m := range ms {
		if here := r.index[placeKey(m, d.At.Beat)]; len(here) > 0 {
			ids, in = here, append(in, fmt.Sprintf("m@%d", m+1))
		}
	}
	if n := len(in) - 1; n > 0 {
		return score.NoNote, fmt.Errorf("%v: measure %s stands more than once in the part; say which by its place in the file, %s or %s", d.At, d.At.Measure, strings.Join(in[:n], ", "), in[n])
	}
	if len(in) == 0 {
		return score.NoNote, fmt.Errorf("%v: no note begins there%s", d.At, r.beatsOf(ms))
	}
	id, err := r.choose(d, ids)
	if err != nil {
		return score.NoNote, err
	}
	if n := &r.p.Notes[id]; n.TieFrom != score.NoNote {
		return score.NoNote, fmt.Errorf("%v: %s is tied over from before; decide at the note that is struck", d.At, n.Sounding)
	}
	return id, nil
}

// beatsOf lists where notes begin in measures, for a message.
func (r *resolver) beatsOf(ms []int) string {
	var beats []*big.Rat
	for i := range r.p.Notes {
		n := &r.p.Notes[i]
		if n.Rest || n.Cue || n.Unpitched || !slices.Contains(ms, n.Measure) {
			continue
		}
		b := r.beat(n)
		if !slices.ContainsFunc(beats, func(o *big.Rat) bool { return o.Cmp(b) == 0 }) {
			beats = append(beats, b)
		}
	}
	if len(beats) == 0 {
		return ""
	}
	slices.SortFunc(beats, func(a, b *big.Rat) int { return a.Cmp(b) })
	var names []string
	for i, b := range beats {
		if i == 8 {
			names = append(names, "…")
			break
		}
		names = append(names, beatText(b))
	}
	return "; notes begin at " + strings.Join(names, ", ")
}

// choose among the notes of one moment.
func (r *resolver) choose(d *Decision, ids []score.NoteID) (score.NoteID, error) {
	switch {
	case d.At.Pitch != "":
		want, err := pitch.Parse(d.At.Pitch)
		if err != nil {
			return score.NoNote, err
		}
		var found []score.NoteID
		for _, id := range ids {
			if n := &r.p.Notes[id]; n.Sounding.String() == want.String() || n.Written.String() == want.String() {
				found = append(found, id)
			}
		}
		if len(found) == 1 {
			return found[0], nil
		}
		if len(found) > 1 {
			return score.NoNote, fmt.Errorf("%v: %s stands there %d times; say which by its number: %s", d.At, d.At.Pitch, len(found), r.list(ids))
		}
		return score.NoNote, fmt.Errorf("%v: no %s there, but %s", d.At, d.At.Pitch, r.list(ids))
	case d.At.Nth > len(ids):
		return score.NoNote, fmt.Errorf("%v: %d notes are struck there: %s", d.At, len(ids), r.list(ids))
	case d.At.Nth > 0:
		return ids[d.At.Nth-1], nil
	}
	main := slices.DeleteFunc(slices.Clone(ids), func(id score.NoteID) bool { return r.p.Notes[id].Grace })
	if len(main) == 0 {
		main = ids
	}
	if bowOnly := d.Finger == nil && d.String == 0 && d.Position == nil; len(main) == 1 || bowOnly {
		return main[0], nil
	}
	return score.NoNote, fmt.Errorf("%v: several notes are struck there; say which by pitch or number: %s", d.At, r.list(ids))
}

func (r *resolver) list(ids []score.NoteID) string {
	var names []string
	for i, id := range ids {
		n := &r.p.Notes[id]
		name := fmt.Sprintf("%d %s", i+1, n.Sounding)
		if n.Grace {
			name += " (grace)"
		}
		names = append(names, name)
	}
	return strings.Join(names, ", ")
}

// settle enters a decision or says why it cannot be.
func (r *resolver) settle(id score.NoteID, d *Decision) error {
	if d.String > r.strs {
		return fmt.Errorf("%v: string %s: the instrument has %d strings", d.At, instrument.Numeral(d.String), r.strs)
	}
	for _, p := range d.pairs() {
		to := id
		if p[0] == "bow" {
			to = r.lowest(id)
		}
		if err := r.enter(to, p[0], d); err != nil {
			return err
		}
	}
	s := r.out[id]
	if s.Finger != nil && *s.Finger == 0 && s.Position != nil {
		return fmt.Errorf("%v: an open string (finger 0) has no position, and position %s is decided for the same note", d.At, positionText(*s.Position))
	}
	return nil
}

// lowest is the note that carries the bow of what is struck with a note: one
// moment has one bow.
func (r *resolver) lowest(id score.NoteID) score.NoteID {
	n := &r.p.Notes[id]
	for _, o := range r.index[placeKey(n.Measure, r.beat(n))] {
		if m := &r.p.Notes[o]; m.Grace == n.Grace && m.TieFrom == score.NoNote && (!n.Grace || o == id) {
			return o
		}
	}
	return id
}

// enter one key; an equal value twice is no contradiction, a reason is replaced.
func (r *resolver) enter(id score.NoteID, what string, d *Decision) error {
	s := r.out[id]
	k := key{id, what}
	before := r.from[k]
	if before != nil && what != "reason" && before.Source == d.Source && !same(before, d, what) {
		return fmt.Errorf("%v: %s contradicts %s, which decides the same note", d.At, what, before.where())
	}
	switch what {
	case "finger":
		s.Finger = d.Finger
	case "string":
		s.String = d.String
	case "position":
		s.Position = d.Position
	case "bow":
		s.Bow = d.Bow
	case "reason":
		s.Reason = d.Reason
	}
	s.Place = d.where()
	r.out[id], r.from[k] = s, d
	return nil
}

func same(a, b *Decision, what string) bool {
	value := func(d *Decision) string {
		for _, p := range d.pairs() {
			if p[0] == what {
				return p[1]
			}
		}
		return ""
	}
	return value(a) == value(b)
}
