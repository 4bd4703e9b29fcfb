package desk

import (
	"fmt"
	"math/big"
	"strings"

	"pochette/internal/decide"
	"pochette/internal/score"
	"pochette/internal/timeline"
)

// references name the notes of a part in a way that survives another edition of
// the file: a place as package decide writes it.
type references struct {
	part *score.Part
	of   []string // by note; "" for rests and what is tied over
	id   map[string]score.NoteID
	strs int
	beat func(score.NoteID) *big.Rat
}

func newReferences(p *score.Part, strs int) *references {
	r := &references{part: p, of: make([]string, len(p.Notes)), id: map[string]score.NoteID{}, strs: strs}
	named := map[string]int{} // how many measures have a number
	for i := range p.Measures {
		named[stem(timeline.Name(p, i))]++
	}
	r.beat = decide.Beats(p)
	at := map[string][]score.NoteID{} // notes of one moment
	var order []string
	for i := range p.Notes {
		n := &p.Notes[i]
		if n.Rest || n.Cue || n.Unpitched {
			continue
		}
		k := r.place(n, named).String()
		if at[k] == nil {
			order = append(order, k)
		}
		at[k] = append(at[k], n.ID)
	}
	for _, k := range order {
		r.name(k, at[k])
	}
	return r
}

// stem is the number that both halves of a split measure have.
func stem(name string) string { return timeline.Stem(name) }

// place is the measure and beat of a note.
func (r *references) place(n *score.Note, named map[string]int) decide.Place {
	name := timeline.Name(r.part, n.Measure)
	pl := decide.Place{Measure: name, Beat: r.beat(n.ID)}
	if named[stem(name)] != 1 || strings.ContainsAny(name, " \t\"'#\\=.:@") || name == "" {
		pl.Measure, pl.Index = "", n.Measure+1
	}
	return pl
}

// name gives the notes of one moment their refs: the moment alone where there is
// one note, the pitch where it is the only one of that pitch, else its number.
func (r *references) name(moment string, ids []score.NoteID) {
	sorted := decide.Struck(r.part, ids)
	for i, id := range sorted {
		n := &r.part.Notes[id]
		ref := moment
		if len(sorted) > 1 {
			ref = fmt.Sprintf("%s:%d", moment, i+1)
			same := 0
			for _, o := range sorted {
				if m := &r.part.Notes[o]; m.Sounding.String() == n.Sounding.String() || m.Written.String() == n.Sounding.String() {
					same++
				}
			}
			if same == 1 {
				ref = moment + ":" + decide.PitchText(n.Sounding)
			}
		}
		r.id[ref] = id
		if n.TieFrom == score.NoNote {
			r.of[id] = ref
		}
	}
}

// note finds the note of a ref; false where there is none that is struck. A place
// in another form than the desk writes is read too.
func (r *references) note(ref string) (score.NoteID, bool) {
	if id, ok := r.id[ref]; ok {
		return id, r.part.Notes[id].TieFrom == score.NoNote
	}
	id, err := r.find(ref)
	return id, err == nil
}

// find reads a place and says what is wrong with it.
func (r *references) find(ref string) (score.NoteID, error) {
	if id, ok := r.id[ref]; ok {
		if r.part.Notes[id].TieFrom == score.NoNote {
			return id, nil
		}
		return score.NoNote, fmt.Errorf("%s is tied over from before; decide at the note that is struck", ref)
	}
	pl, err := decide.ParsePlace(ref)
	if err != nil {
		return score.NoNote, err
	}
	finger := int8(1)
	got, found := decide.Resolve(r.part, []decide.Decision{{At: pl, Finger: &finger, Source: "note"}}, r.strs)
	if len(found) > 0 {
		return score.NoNote, fmt.Errorf("%s", strings.TrimPrefix(found[0].Text, "note: "))
	}
	for id := range got {
		return id, nil
	}
	return score.NoNote, fmt.Errorf("%s: no note there", ref)
}

// struck is the note where a tied one began.
func (r *references) struck(id score.NoteID) score.NoteID {
	for r.part.Notes[id].TieFrom != score.NoNote && r.part.Notes[id].TieFrom < id {
		id = r.part.Notes[id].TieFrom
	}
	return id
}

// beatText writes a beat as a ref has it.
func beatText(b *big.Rat) string {
	return strings.TrimPrefix(decide.Place{Measure: "1", Beat: b}.String(), "m1.")
}
