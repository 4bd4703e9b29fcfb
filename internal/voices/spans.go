package voices

import (
	"slices"

	"pochette/internal/score"
	"pochette/internal/timeline"
)

// Span is a stretch of the line in which two or more voices go on at once.
type Span struct {
	First, Last score.NoteID
	Tones       int // struck notes of the stretch, all voices
	Lines       []Line
	// Written: every voice of it stands in the file as a chord note or a written voice
	// of its own; nothing is implied.
	Written bool
}

// Line is what one voice does in a span; the one that is highest there, in the mean,
// comes first, whatever its register elsewhere.
type Line struct {
	Voice int // index into Study.Voices
	Notes []score.NoteID
}

// Bounds of what is called a voice going on: shorter strands, and fewer notes
// in a span, are single far notes, shorter spans a turn of the line. Common practice, no source.
const (
	leastStrand = 3
	leastSpan   = 6
	leastInSpan = 3
)

// spans cuts the line wherever the number of strands that go on becomes one, or two.
func (l *line) spans(st *Study, strands []strand) []Span {
	change := make([]int, len(l.tones)+1)
	var real []int
	for i := range strands {
		if len(strands[i].tones) >= leastStrand {
			real = append(real, i)
			change[strands[i].first()]++
			change[strands[i].last()+1]--
		}
	}
	var out []Span
	open, from, at := 0, -1, 0
	shut := func(i int) {
		for at < len(real) && strands[real[at]].last() < from {
			at++
		}
		if i-from < leastSpan {
			return
		}
		s, ok := l.span(st, strands, real[at:], from, i-1)
		switch {
		case !s.Written && (!ok || l.crosses(&s, from, i-1)):
			st.Crossed = append(st.Crossed, s)
		case ok:
			out = append(out, s)
		}
	}
	for i := 0; i <= len(l.tones); i++ {
		open += change[i]
		if from >= 0 && (open < 2 || i == len(l.tones) || l.otherTime(i-1, i)) {
			shut(i)
			from = -1
		}
		if open >= 2 && i < len(l.tones) && from < 0 {
			from = i
		}
	}
	return out
}

// otherTime says that the bars of two tones are not played one after the other: they
// stand under different endings.
func (l *line) otherTime(a, b int) bool {
	return timeline.OtherTime(l.p, l.tones[a].measure, l.tones[b].measure)
}

// span gathers what the voices do from tone lo to tone hi.
func (l *line) span(st *Study, strands []strand, real []int, lo, hi int) (Span, bool) {
	s := Span{First: l.tones[lo].id, Last: l.tones[hi].id, Tones: hi - lo + 1}
	notes := map[int][]int{}
	for _, k := range real {
		g := &strands[k]
		if g.first() > hi {
			break
		}
		for _, t := range g.tones[firstFrom(g.tones, lo):] {
			if t > hi {
				break
			}
			v := st.Of[l.tones[t].id]
			notes[v] = append(notes[v], t)
		}
	}
	for v := range notes {
		slices.Sort(notes[v])
	}
	for v := range st.Voices {
		if len(notes[v]) < leastInSpan {
			continue
		}
		n := Line{Voice: v}
		for _, t := range notes[v] {
			n.Notes = append(n.Notes, l.tones[t].id)
		}
		s.Lines = append(s.Lines, n)
	}
	slices.SortStableFunc(s.Lines, func(a, b Line) int { return sign(l.mean(b.Notes) - l.mean(a.Notes)) })
	s.Written = l.written(lo, hi)
	return s, len(s.Lines) >= 2
}

// mean is the mean MIDI key of notes.
func (l *line) mean(ids []score.NoteID) float64 {
	sum := 0
	for _, id := range ids {
		sum += l.p.Notes[id].Sounding.MIDI()
	}
	return float64(sum) / float64(max(1, len(ids)))
}

func firstFrom(tones []int, lo int) int {
	i, _ := slices.BinarySearch(tones, lo)
	return i
}

// written says that at least half of the tones stand in chords or in bars of several
// written voices.
func (l *line) written(lo, hi int) bool {
	n := 0
	for i := lo; i <= hi; i++ {
		if l.tones[i].poly || !l.single(i) {
			n++
		}
	}
	return 2*n >= hi-lo+1
}

// bass lists the notes of the lowest voice wherever two or more go on at once, and
// the lowest note of each chord.
func (l *line) bass(strands []strand) []score.NoteID {
	of := make([]int, len(l.tones))
	for k := range strands {
		for _, t := range strands[k].tones {
			of[t] = k
		}
	}
	type voice struct{ strand, key int }
	var open []voice
	var out []score.NoteID
	for _, c := range l.chords {
		open = slices.DeleteFunc(open, func(v voice) bool { return strands[v.strand].last() < c.lo })
		for i := c.lo; i < c.hi; i++ {
			at := slices.IndexFunc(open, func(v voice) bool { return v.strand == of[i] })
			if at < 0 {
				open = append(open, voice{of[i], l.tones[i].key})
			} else {
				open[at].key = l.tones[i].key
			}
		}
		if len(open) < 2 {
			continue
		}
		low := slices.MinFunc(open, func(a, b voice) int { return a.key - b.key })
		if of[c.lo] == low.strand {
			out = append(out, l.tones[c.lo].id)
		}
	}
	return out
}
