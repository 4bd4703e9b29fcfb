package harmony

import "pochette/internal/score"

// unheard says that the step to chord i is not played: one of the two chords only
// bridges a rest, or the part is silent for more than a bar between them.
func (s *Study) unheard(i int) bool {
	b, c := &s.Chords[i-1], &s.Chords[i]
	if b.Silent || c.Silent {
		return true
	}
	first := s.firstNote(c.From)
	for first < len(s.part.Notes) && !sounds(&s.part.Notes[first]) {
		first++
	}
	if first == len(s.part.Notes) {
		return false
	}
	end := b.From
	for j := first - 1; j >= 0 && s.part.Notes[j].Onset >= b.From; j-- {
		if n := &s.part.Notes[j]; sounds(n) {
			end = max(end, n.End())
		}
	}
	return s.part.Notes[first].Onset-end > s.part.Measures[c.Measure].Meter.Len
}

// unmoved says that the step to chord i is no change of the harmony: the notes of
// both chords come again just as they came in the two chords before, as in an
// ostinato. What is repeated so is not a close every time.
func (s *Study) unmoved(i int) bool {
	if i < 3 || s.Chords[i-3].Movement != s.Chords[i].Movement {
		return false
	}
	b := &s.Chords[i-1]
	length := b.From - s.Chords[i-3].From
	to := s.Chords[i].To
	return length > 0 && s.Chords[i-2].From+length == s.Chords[i].From && s.repeats(b.From, min(to, b.From+length), length)
}

// repeats says that what is struck in [from, to), something at least, was struck a
// length of time before as well: the same pitches at the same places.
func (s *Study) repeats(from, to, length score.Tick) bool {
	now, was := s.firstNote(from), s.firstNote(from-length)
	next := func(i int, end score.Tick) int {
		for i < len(s.part.Notes) && s.part.Notes[i].Onset < end && !sounds(&s.part.Notes[i]) {
			i++
		}
		return i
	}
	for n := 0; ; n++ {
		now, was = next(now, to), next(was, to-length)
		a, b := s.within(now, to), s.within(was, to-length)
		if a == nil || b == nil {
			return a == b && n > 0
		}
		if a.Onset-length != b.Onset || a.Sounding != b.Sounding {
			return false
		}
		now, was = now+1, was+1
	}
}

// within is note i where it begins before end.
func (s *Study) within(i int, end score.Tick) *score.Note {
	if i >= len(s.part.Notes) || s.part.Notes[i].Onset >= end {
		return nil
	}
	return &s.part.Notes[i]
}
