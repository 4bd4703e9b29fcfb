package bowing

import (
	"fmt"
	"strings"

	"pochette/internal/score"
	"pochette/internal/timeline"
)

// callsDown says that a stroke asks for the down-bow loudly enough to be called
// the wrong way round when it comes up: a bar start, a chord, an accent, the
// final note. The meter's smaller wishes do not count.
func (m *model) callsDown(b int) bool {
	loud := false
	for _, w := range m.wants[b] {
		switch w.rule {
		case BarStart, ChordOfThree, ChordOfFour, Accented, FinalNote:
			loud = loud || w.size > 0
		}
	}
	return loud && downWish(m.wants[b]) > 0
}

// wrongSpan is a stretch of strokes that want a down-bow and, as written, come
// up; strokes between that want nothing much belong to it, and single ones that
// come right (every other bar of three strokes) do not end it.
type wrongSpan struct {
	wrong []int // bows
	right int   // strong places inside that come down
	after int   // the strong bow at which it rights itself, -1
}

// wrongWay reports the spans of the written reading.
func (m *model) wrongWay(st *Study) {
	for _, sp := range m.wrongSpans() {
		m.findings = append(m.findings, m.wrongFinding(sp, st))
	}
}

func (m *model) wrongSpans() []wrongSpan {
	var out []wrongSpan
	cur := wrongSpan{after: -1}
	rights := 0
	firstRight := -1
	flush := func(after int) {
		if len(cur.wrong) > 0 {
			cur.after = after
			out = append(out, cur)
		}
		cur, rights, firstRight = wrongSpan{after: -1}, 0, -1
	}
	for b := range m.bowed {
		if !m.callsDown(b) {
			continue
		}
		if m.written[b] == Up {
			cur.right += rights
			rights, firstRight = 0, -1
			cur.wrong = append(cur.wrong, b)
			continue
		}
		if len(cur.wrong) == 0 {
			continue
		}
		if rights++; rights == 1 {
			firstRight = b
		}
		if rights >= 2 {
			flush(firstRight)
		}
	}
	flush(firstRight)
	return out
}

func (m *model) wrongFinding(sp wrongSpan, st *Study) score.Finding {
	first, last := m.bow(sp.wrong[0]), m.bow(sp.wrong[len(sp.wrong)-1])
	f := score.Finding{Kind: "wrong-way-round", Grade: score.Caution, At: m.locate(first), To: m.locate(last)}
	var bars []int
	counts := map[int]int{}
	for _, b := range sp.wrong {
		f.Notes = append(f.Notes, m.firstNote(m.bow(b)))
		for _, w := range m.wants[b] {
			if w.dir == Down && w.size > 0 {
				counts[w.rule]++
				f.Weight += w.size
			}
			if w.rule == BarStart {
				bars = append(bars, m.bow(b).Measure)
			}
		}
	}
	f.Text = m.wrongText(sp, bars)
	f.Why = wrongWhy(counts)
	f.Suggestion = m.wrongAdvice(sp, st)
	if sp.after >= 0 && m.leftAsIs(sp, st) {
		f.Grade = score.Remark
	}
	return f
}

func (m *model) wrongText(sp wrongSpan, bars []int) string {
	var t string
	switch {
	case len(bars) == len(sp.wrong):
		verb := "begins"
		if len(bars) > 1 {
			verb = "begin"
		}
		t = fmt.Sprintf("Played as written, %s %s up-bow", m.measureList(bars), verb)
	case len(sp.wrong) == 1:
		t = "Played as written, this stroke comes up-bow"
	default:
		t = fmt.Sprintf("Played as written, %d strokes that want a down-bow come up-bow", len(sp.wrong))
	}
	switch {
	case sp.right == 1:
		t += " (one between them comes right)"
	case sp.right > 1:
		t += fmt.Sprintf(" (%d between them come right)", sp.right)
	}
	if sp.after >= 0 {
		return t + fmt.Sprintf("; it rights itself in measure %s.", timeline.Name(m.p, m.bow(sp.after).Measure))
	}
	return t + " and it does not right itself."
}

// wrongWhy names what wants the down-bow.
func wrongWhy(counts map[int]int) string {
	words := []struct {
		rule      int
		one, many string
	}{
		{BarStart, "a bar start", "%d bar starts"},
		{ChordOfFour, "a chord of four notes", "%d chords of four notes"},
		{ChordOfThree, "a chord of three notes", "%d chords of three notes"},
		{Accented, "an accent", "%d accents"},
		{FinalNote, "the final note", "%d final notes"},
	}
	var parts []string
	total := 0
	for _, w := range words {
		switch n := counts[w.rule]; {
		case n == 1:
			parts = append(parts, w.one)
		case n > 1:
			parts = append(parts, fmt.Sprintf(w.many, n))
		}
		total += counts[w.rule]
	}
	if len(parts) == 0 {
		return "The meter wants a down-bow here."
	}
	verb := "wants"
	if total > 1 {
		verb = "want"
	}
	s := strings.Join(parts, ", ")
	if k := strings.LastIndex(s, ", "); k >= 0 {
		s = s[:k] + " and " + s[k+2:]
	}
	return strings.ToUpper(s[:1]) + s[1:] + " " + verb + " a down-bow here."
}

// leftAsIs says that the proposal keeps every stroke of the span up.
func (m *model) leftAsIs(sp wrongSpan, st *Study) bool {
	for _, b := range sp.wrong {
		if st.Proposed[m.place[b]].Direction != Up {
			return false
		}
	}
	return true
}

// wrongAdvice is the change that rights the span, or that it may be left.
func (m *model) wrongAdvice(sp wrongSpan, st *Study) string {
	if m.leftAsIs(sp, st) {
		if sp.after >= 0 {
			return "It may be left: a change would cost more than it mends."
		}
		if m.mode == strict {
			return "The print was asked for as it stands; let the bow be retaken or notes be linked to right this."
		}
		return "Every remedy costs more than it mends; decide a bow here to overrule this."
	}
	var best *ChangeAt
	for i := range st.Changes {
		if c := &st.Changes[i]; c.Stroke <= m.place[sp.wrong[len(sp.wrong)-1]] && (best == nil || c.Stroke <= m.place[sp.wrong[0]]) {
			best = c
		}
	}
	if best == nil {
		return ""
	}
	return fmt.Sprintf("In %s: %s", best.At, lowerFirst(best.Text))
}

func lowerFirst(s string) string {
	if s == "" {
		return s
	}
	return strings.ToLower(s[:1]) + s[1:]
}

// repeatFindings tells of repeats and jumps over which the bow arrives in the
// direction it has to start with.
func (m *model) repeatFindings(st *Study) {
	for _, l := range m.links {
		if !l.jump || l.gap > 0 || m.written[l.a] != m.written[l.b] {
			continue
		}
		a, b := m.bow(l.a), m.bow(l.b)
		f := score.Finding{Kind: "repeat-turns-bow", Grade: score.Remark, At: m.locate(a), To: m.locate(b),
			Notes: []score.NoteID{m.firstNote(a), m.firstNote(b)},
			Text:  fmt.Sprintf("Played as written, the bow comes back to measure %s from a %s-bow and has to begin %s-bow again.", timeline.Name(m.p, b.Measure), m.written[l.a], m.written[l.b]),
			Why:   "The same marks must work each time: without a change the bow is retaken here, or the repeat is played the other way round."}
		pa, pb := m.proposedExit(l.a, st), st.Proposed[m.place[l.b]].Direction
		f.Suggestion = "With the proposed changes it alternates."
		if pa == pb {
			f.Suggestion = fmt.Sprintf("Retake at the return, %s-bow again.", pb)
		}
		m.findings = append(m.findings, f)
	}
}

func (m *model) proposedExit(b int, st *Study) Direction {
	i := m.place[b]
	if i+1 < len(st.Proposed) && st.Proposed[i+1].Change == Split {
		return st.Proposed[i+1].Direction
	}
	return st.Proposed[i].Direction
}
