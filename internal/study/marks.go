package study

import (
	"slices"

	"pochette/internal/fingering"
	"pochette/internal/score"
)

// marks merges what bow and hand want printed with what was decided, in score
// order. A kind of mark that a note already carries in print is never proposed a
// second time.
func marks(s *Study, allFingers bool) []score.NoteMark {
	out := slices.Clone(s.Bow.Plan.Marks)
	hand := fingering.Needed(s.Hand)
	if allFingers {
		hand = withAll(hand, s.Hand.Plan.Marks)
	}
	out = append(out, hand...)
	out = slices.DeleteFunc(out, func(m score.NoteMark) bool {
		n := &s.Part.Notes[m.Note]
		return n.Has(m.Mark.Kind)
	})
	out = s.withDecided(out)
	slices.SortStableFunc(out, func(a, b score.NoteMark) int { return int(a.Note) - int(b.Note) })
	return out
}

// withAll adds the fingers of all notes to those that are needed; strings are
// still named only where needed.
func withAll(needed, all []score.NoteMark) []score.NoteMark {
	type key struct {
		note score.NoteID
		kind score.MarkKind
	}
	have := map[key]bool{}
	for _, m := range needed {
		have[key{m.Note, m.Mark.Kind}] = true
	}
	for _, m := range all {
		if m.Mark.Kind == score.String || have[key{m.Note, m.Mark.Kind}] {
			continue
		}
		needed = append(needed, m)
	}
	return needed
}
