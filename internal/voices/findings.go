package voices

import (
	"fmt"
	"slices"
	"strings"

	"pochette/internal/pitch"
	"pochette/internal/score"
	"pochette/internal/timeline"
)

// findings says what the voices do: each stretch of implied voices, each register
// move, and where the bass goes by step.
func findings(p *score.Part, st *Study) []score.Finding {
	var out []score.Finding
	for i := range st.Spans {
		if !st.Spans[i].Written {
			out = append(out, spanFinding(p, st, &st.Spans[i]))
		}
	}
	for _, run := range bassRuns(p, st.lowBass()) {
		out = append(out, bassFinding(p, run))
	}
	for _, m := range st.widest() {
		out = append(out, moveFinding(p, st, m))
	}
	return out
}

// lowBass is the bass without the notes that a stretch tells of as one of its higher
// voices.
func (st *Study) lowBass() []score.NoteID {
	high := map[score.NoteID]bool{}
	for i := range st.Spans {
		for _, ln := range st.Spans[i].Lines[:len(st.Spans[i].Lines)-1] {
			for _, id := range ln.Notes {
				high[id] = true
			}
		}
	}
	return slices.DeleteFunc(slices.Clone(st.Bass), func(id score.NoteID) bool { return high[id] })
}

// movesTold is how many moves of register are told of a movement.
const movesTold = 5

// widest are the moves that are told: those that go farthest, in the order of the music.
func (st *Study) widest() []Move {
	out := slices.Clone(st.Moves)
	slices.SortStableFunc(out, func(a, b Move) int { return size(b.Before, b.After) - size(a.Before, a.After) })
	out = out[:min(movesTold, len(out))]
	slices.SortStableFunc(out, func(a, b Move) int { return int(a.To - b.To) })
	return out
}

var counts = []string{"No", "One", "Two", "Three", "Four"}

func spanFinding(p *score.Part, st *Study, s *Span) score.Finding {
	f := score.Finding{Kind: "implied-voices", Grade: score.Remark, Part: p.ID, At: timeline.AtNote(p, s.First), To: timeline.AtNote(p, s.Last), Weight: float64(s.Tones)}
	var parts []string
	saved := 0
	for i, ln := range s.Lines {
		f.Notes = append(f.Notes, ln.Notes...)
		parts = append(parts, "the "+Name(i, len(s.Lines))+" "+path(p, ln.Notes))
		for j := 1; j < len(ln.Notes); j++ {
			saved += size(key(p, ln.Notes[j-1]), key(p, ln.Notes[j]))
		}
	}
	f.Text = fmt.Sprintf("%s voices in one line: %s.", counts[min(len(s.Lines), 4)], strings.Join(parts, ", "))
	f.Why = fmt.Sprintf("Heard as voices, the %d notes move by %.1f semitones on average.", s.Tones, float64(saved)/float64(max(1, s.Tones-len(s.Lines))))
	return f
}

func key(p *score.Part, id score.NoteID) int { return p.Notes[id].Sounding.MIDI() }

// Name names voice i of n, the highest being 0.
func Name(i, n int) string {
	switch {
	case n == 1:
		return "only voice"
	case i == 0:
		return "upper"
	case i == n-1:
		return "lower"
	case n == 3:
		return "middle"
	case i == 1:
		return "second"
	}
	return "third"
}

// namedNotes is how many notes of a voice a sentence spells out.
const namedNotes = 8

// path says in words where a voice goes.
func path(p *score.Part, ids []score.NoteID) string {
	var turns []pitch.Pitch // without repetitions
	for _, id := range ids {
		if q := p.Notes[id].Sounding; len(turns) == 0 || turns[len(turns)-1] != q {
			turns = append(turns, q)
		}
	}
	first, last := turns[0], turns[len(turns)-1]
	switch {
	case len(turns) == 1:
		return fmt.Sprintf("stays on %s", first)
	case len(turns) <= namedNotes:
		return "goes " + names(turns)
	}
	low, high := first, first
	steps := 0
	for i, q := range turns {
		if q.MIDI() < low.MIDI() {
			low = q
		}
		if q.MIDI() > high.MIDI() {
			high = q
		}
		if i > 0 && size(turns[i-1].Diatonic(), q.Diatonic()) <= 1 {
			steps++
		}
	}
	how := "goes"
	if 4*steps >= 3*(len(turns)-1) {
		how = "goes mostly by step"
	}
	return fmt.Sprintf("%s from %s to %s, between %s and %s", how, first, last, low, high)
}

func names(ps []pitch.Pitch) string {
	out := make([]string, len(ps))
	for i, q := range ps {
		out[i] = q.String()
	}
	return strings.Join(out, " ")
}

// leastRun is the number of notes from which a bass that goes by step is told of.
const leastRun = 4

// bassRuns gives the stretches of the bass that go by step in one direction;
// repeated notes do not end them.
func bassRuns(p *score.Part, bass []score.NoteID) [][]score.NoteID {
	var out [][]score.NoteID
	var run []score.NoteID
	steps, dir := 0, 0
	flush := func() {
		if steps+1 >= leastRun {
			out = append(out, run)
		}
	}
	for i, id := range bass {
		if i == 0 {
			run = []score.NoteID{id}
			continue
		}
		a, b := p.Notes[bass[i-1]].Sounding, p.Notes[id].Sounding
		d, way := b.Diatonic()-a.Diatonic(), sign(float64(b.MIDI()-a.MIDI()))
		near := p.Notes[id].Measure-p.Notes[bass[i-1]].Measure <= 1 && !timeline.OtherTime(p, p.Notes[bass[i-1]].Measure, p.Notes[id].Measure)
		step := near && d == way && d != 0
		switch {
		case near && d == 0 && (way == 0 || way == dir): // the same note, or altered on the way
			run = append(run, id)
		case step && (dir == 0 || dir == d):
			run, steps, dir = append(run, id), steps+1, d
		default:
			flush()
			run, steps, dir = []score.NoteID{id}, 0, 0
			if step {
				run, steps, dir = []score.NoteID{bass[i-1], id}, 1, d
			}
		}
	}
	flush()
	return out
}

func bassFinding(p *score.Part, run []score.NoteID) score.Finding {
	var turns []pitch.Pitch
	for _, id := range run {
		if q := p.Notes[id].Sounding; len(turns) == 0 || turns[len(turns)-1] != q {
			turns = append(turns, q)
		}
	}
	way := "up"
	if turns[0].Diatonic() > turns[len(turns)-1].Diatonic() {
		way = "down"
	}
	return score.Finding{Kind: "bass-line", Grade: score.Remark, Part: p.ID, Notes: run, Weight: float64(len(turns)),
		At: timeline.AtNote(p, run[0]), To: timeline.AtNote(p, run[len(run)-1]),
		Text: fmt.Sprintf("The bass goes %s by step: %s.", way, names(turns)),
		Why:  "It is the lowest of the voices that go on there."}
}

func moveFinding(p *score.Part, st *Study, m Move) score.Finding {
	from, to := p.Notes[m.From].Sounding, p.Notes[m.To].Sounding
	way := "higher"
	if to.MIDI() < from.MIDI() {
		way = "lower"
	}
	who := "The " + st.nameAt(m)
	f := score.Finding{Kind: "register-move", Grade: score.Remark, Part: p.ID, Notes: []score.NoteID{m.From, m.To}, Weight: float64(size(m.Before, m.After)),
		At: timeline.AtNote(p, m.From), To: timeline.AtNote(p, m.To),
		Text: fmt.Sprintf("%s moves to a %s register, from %s to %s.", who, way, from, to),
		Why:  fmt.Sprintf("The notes of the bar before and those of the bar after lie %d semitones apart, by the middle one of each.", size(m.Before, m.After))}
	if m.Step {
		f.Text = fmt.Sprintf("%s moves to a %s register: %s to %s is a step put into another octave.", who, way, from, to)
	}
	return f
}

// nameAt names the voice that moves as it lies there: a line that is the only one at that
// place is no upper or lower voice.
func (st *Study) nameAt(m Move) string {
	for i := range st.Spans {
		s := &st.Spans[i]
		if s.First > m.From || s.Last < m.To {
			continue
		}
		for k, ln := range s.Lines {
			if ln.Voice == m.Voice {
				return Name(k, len(s.Lines)) + " voice"
			}
		}
	}
	return "line"
}
