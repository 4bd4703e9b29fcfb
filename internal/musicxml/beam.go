package musicxml

import "pochette/internal/score"

// beamsOf gives the beams of each note of a measure: those it has or, where no
// note of the measure has any, beams by the beat of the meter. Grouping is
// common practice without a source: dotted beats in compound meters (6, 9, 12
// over 8 or less), the whole measure in 3/8, the printed groups of an additive
// meter over 8 or less, the beat otherwise, at most a half note. A tuplet that
// runs over a beat stays whole. Grace notes have beams of their own, and the
// main notes around them are beamed as if they were not there.
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

// beamVoice cuts one voice into groups and beams each, main notes and grace
// notes apart.
func beamVoice(s *score.Score, m *score.Measure, notes []score.Note, voice []int, out [][]string) {
	b := beamer{s, m, notes, out}
	var main, grace []int
	for _, i := range voice {
		if notes[i].Grace {
			grace = append(grace, i)
		} else {
			main = append(main, i)
		}
	}
	b.cut(main)
	b.cut(grace)
}

// beamer beams the notes of one measure.
type beamer struct {
	s     *score.Score
	m     *score.Measure
	notes []score.Note
	out   [][]string
}

// cut beams what belongs together of a run of notes in time order.
func (b *beamer) cut(run []int) {
	var group []int
	flush := func() {
		if len(group) > 1 {
			b.group(group)
		}
		group = nil
	}
	for _, i := range run {
		n := &b.notes[i]
		if n.Rest || n.Hidden || flags(n) == 0 {
			flush()
			continue
		}
		if len(group) > 0 && b.parted(&b.notes[group[len(group)-1]], n) {
			flush()
		}
		group = append(group, i)
	}
	flush()
}

// parted says that no beam runs from p to n, which follows it.
func (b *beamer) parted(p, n *score.Note) bool {
	if n.Grace {
		return p.Onset != n.Onset
	}
	if p.Cue != n.Cue || p.End() != n.Onset {
		return true
	}
	beat, start := beatOf(b.s, b.m, n.Onset)
	if before, _ := beatOf(b.s, b.m, p.Onset); before == beat {
		return false
	}
	return start == n.Onset || !oneTuplet(p, n)
}

// oneTuplet says that n goes on in the tuplet of p, as far as ratio and brackets
// tell.
func oneTuplet(p, n *score.Note) bool {
	v, w := p.Value, n.Value
	return v.Actual != v.Normal && v.Actual == w.Actual && v.Normal == w.Normal && !tupletBetween(p, n)
}

// tupletBetween says that a tuplet ends on p or begins on n.
func tupletBetween(p, n *score.Note) bool {
	for _, t := range p.Tuplets {
		if !t.Start {
			return true
		}
	}
	for _, t := range n.Tuplets {
		if t.Start {
			return true
		}
	}
	return false
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
	case "256th":
		return 6
	case "512th":
		return 7
	case "1024th":
		return 8
	}
	return 0
}

// beatOf numbers the group of the meter in which t lies and tells where the
// group starts. A pickup is counted back from its bar line.
func beatOf(s *score.Score, m *score.Measure, t score.Tick) (number int, start score.Tick) {
	at := t - m.Start
	if m.Meter.Len > m.Len && (m.Index == 0 || m.Implicit) {
		at += m.Meter.Len - m.Len
	}
	if len(m.Meter.Groups) > 1 && m.Meter.Den > 4 {
		for i, g := range m.Meter.Groups {
			if at < g {
				return i, t - at
			}
			at -= g
		}
		return len(m.Meter.Groups), t - at
	}
	beat := s.Quarter
	switch den := score.Tick(m.Meter.Den); {
	case den <= 0:
	case compound(m):
		beat = 3 * (4 * s.Quarter / den)
	case den <= 2:
		beat = 2 * s.Quarter
	}
	beat = max(1, beat)
	return int(at / beat), t - at%beat
}

// compound says that the beat of the meter is dotted.
func compound(m *score.Measure) bool { return m.Meter.Num%3 == 0 && m.Meter.Den >= 8 }

// group writes begin, continue, end and hooks, level by level. A lone note of a
// level takes a hook toward the note it shares its part of the beat with.
func (b *beamer) group(group []int) {
	joined := func(j, k, level int) bool { // notes j and k = j+1 at the level
		return j >= 0 && k < len(group) && flags(&b.notes[group[j]]) >= level && flags(&b.notes[group[k]]) >= level &&
			!b.divided(&b.notes[group[j]], &b.notes[group[k]], level)
	}
	for k, i := range group {
		beams := make([]string, flags(&b.notes[i]))
		for level := 1; level <= len(beams); level++ {
			before, after := joined(k-1, k, level), joined(k, k+1, level)
			switch {
			case before && after:
				beams[level-1] = "continue"
			case before:
				beams[level-1] = "end"
			case after:
				beams[level-1] = "begin"
			case k == 0 || k+1 < len(group) && b.divided(&b.notes[group[k-1]], &b.notes[i], level):
				beams[level-1] = "forward hook"
			default:
				beams[level-1] = "backward hook"
			}
		}
		b.out[i] = beams
	}
}

// divided says that beams of a level stop between p and n though the first beam
// goes on: from the second where a tuplet ends or begins, and at the quarters of
// a longer beat that is not dotted; from the third at the eighths of a beat.
func (b *beamer) divided(p, n *score.Note, level int) bool {
	if level < 2 || n.Grace {
		return false
	}
	if tupletBetween(p, n) {
		return true
	}
	part := score.Tick(0)
	switch den := b.m.Meter.Den; {
	case len(b.m.Meter.Groups) > 1 && den > 4, den > 8:
	case !compound(b.m):
		part = b.s.Quarter
		if level > 2 {
			part /= 2
		}
	case level > 2:
		part = b.s.Quarter / 2
	}
	if part < 1 {
		return false
	}
	_, start := beatOf(b.s, b.m, n.Onset)
	return (n.Onset-start)%part == 0
}
