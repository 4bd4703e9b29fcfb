package musicxml

import "pochette/internal/score"

// beamsOf gives the beams of each note of a measure: those it has or, where no
// note of the measure has any, beams by the beat of the meter. Grouping is
// common practice without a source: the printed groups of an additive meter,
// dotted beats in compound meters (6, 9, 12 over 8 or less), the whole measure
// in 3/8, the beat otherwise, at most a half note.
func beamsOf(s *score.Score, m *score.Measure, notes []score.Note) [][]string {
	out := make([][]string, len(notes))
	given := false
	for i := range notes {
		out[i] = notes[i].Beams
		given = given || len(notes[i].Beams) > 0
	}
	if given {
		return out
	}
	voices := map[string][]int{}
	var order []string
	for i := range notes {
		n := &notes[i]
		if n.Chord {
			continue
		}
		if voices[n.Voice] == nil {
			order = append(order, n.Voice)
		}
		voices[n.Voice] = append(voices[n.Voice], i)
	}
	for _, v := range order {
		beamVoice(s, m, notes, voices[v], out)
	}
	return out
}

// beamVoice cuts one voice into groups and beams each.
func beamVoice(s *score.Score, m *score.Measure, notes []score.Note, voice []int, out [][]string) {
	var group []int
	flush := func() {
		if len(group) > 1 {
			beamGroup(notes, group, out)
		}
		group = nil
	}
	for _, i := range voice {
		n := &notes[i]
		if n.Rest || flags(n) == 0 {
			flush()
			continue
		}
		if len(group) > 0 {
			p := &notes[group[len(group)-1]]
			if p.Grace != n.Grace || n.Grace && p.Onset != n.Onset || !n.Grace && (p.End() != n.Onset || beatOf(s, m, p.Onset) != beatOf(s, m, n.Onset)) {
				flush()
			}
		}
		group = append(group, i)
	}
	flush()
}

// flags is how many beams a note's value takes.
func flags(n *score.Note) int {
	switch n.Value.Type {
	case "eighth":
		return 1
	case "16th":
		return 2
	case "32nd":
		return 3
	case "64th":
		return 4
	case "128th":
		return 5
	}
	return 0
}

// beatOf numbers the group of the meter in which t lies. A pickup is counted
// back from its bar line.
func beatOf(s *score.Score, m *score.Measure, t score.Tick) int {
	t -= m.Start
	if m.Meter.Len > m.Len && (m.Index == 0 || m.Implicit) {
		t += m.Meter.Len - m.Len
	}
	if len(m.Meter.Groups) > 1 {
		for i, g := range m.Meter.Groups {
			if t < g {
				return i
			}
			t -= g
		}
		return len(m.Meter.Groups)
	}
	beat := s.Quarter
	if den := score.Tick(m.Meter.Den); den > 0 {
		unit := 4 * s.Quarter / den
		switch {
		case m.Meter.Num%3 == 0 && den >= 8:
			beat = 3 * unit
		case den <= 2:
			beat = 2 * s.Quarter
		}
	}
	return int(t / max(1, beat))
}

// beamGroup writes begin, continue, end and hooks, level by level. A lone note
// of a level takes a hook toward the inside of the group.
func beamGroup(notes []score.Note, group []int, out [][]string) {
	at := func(k, level int) bool { return k >= 0 && k < len(group) && flags(&notes[group[k]]) >= level }
	for k, i := range group {
		beams := make([]string, flags(&notes[i]))
		for level := 1; level <= len(beams); level++ {
			before, after := at(k-1, level), at(k+1, level)
			switch {
			case before && after:
				beams[level-1] = "continue"
			case before:
				beams[level-1] = "end"
			case after:
				beams[level-1] = "begin"
			case k == 0:
				beams[level-1] = "forward hook"
			default:
				beams[level-1] = "backward hook"
			}
		}
		out[i] = beams
	}
}
