package bowing

import (
	"fmt"
	"strconv"
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
		loud = loud || m.loudWant(w)
	}
	return loud && downWish(m.wants[b]) > 0
}

// loudWant: of chords in a row only the one that leads it (rule chords-in-row).
func (m *model) loudWant(w want) bool {
	switch w.rule {
	case BarStart, Accented, FinalNote:
		return w.size > 0
	}
	return m.leadingChord(w)
}

// leadingChord says that the want is the full wish of a chord.
func (m *model) leadingChord(w want) bool {
	return (w.rule == ChordOfThree || w.rule == ChordOfFour) && w.size > 0 && w.size >= m.w[w.rule]
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
	m.told = map[int]bool{}
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
			if w.dir == Down {
				f.Weight += w.size
			}
			if m.loudWant(w) {
				counts[w.rule]++
			}
			if w.rule == BarStart {
				bars = append(bars, m.bow(b).Measure)
			}
		}
	}
	f.Text = m.wrongText(sp, bars)
	f.Why = wrongWhy(counts)
	f.Suggestion = m.wrongAdvice(sp, st)
	if m.mayBeLeft(sp) {
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
		return t + fmt.Sprintf("; it rights itself in %s.", timeline.Called(m.p, m.bow(sp.after).Measure))
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

// mayBeLeft says that a span is short and rights itself, whatever the plan does there;
// the finding is then a remark.
func (m *model) mayBeLeft(sp wrongSpan) bool {
	return sp.after >= 0 && len(sp.wrong) <= m.leave
}

// wrongAdvice is the change that rights the span, or that it may be left.
func (m *model) wrongAdvice(sp wrongSpan, st *Study) string {
	left, may := m.leftAsIs(sp, st), m.mayBeLeft(sp)
	switch {
	case left && may && m.mode == weighted:
		return "It may be left: a change would cost more than it mends."
	case left && may:
		return "It may be left, since it rights itself before long."
	case left && m.mode == strict:
		return "The print was asked for as it stands; let the bow be lifted and set again, or notes be linked, to right this."
	case left && sp.after >= 0:
		return "It is left for all its length: a change would cost more than it mends."
	case left:
		return fmt.Sprintf("Every remedy costs more than it mends; to have it down-bow all the same, decide it: --decide %q.", m.decidedAs(sp.wrong[0], Down))
	}
	advice := m.remedies(m.changesFor(sp, st), st)
	if may && m.mode == weighted {
		advice += " It may be left as well, since it rights itself before long."
	}
	return strings.TrimSpace(advice)
}

// decidedAs is the line that decides the direction of a bow (docs/DECISIONS.md).
func (m *model) decidedAs(b int, d Direction) string {
	s := m.bow(b)
	at := m.locate(s)
	place := at.Number
	if !m.onlyMeasure(s.Measure) {
		place = fmt.Sprintf("@%d", s.Measure+1)
	}
	if at.Beat == "" {
		at.Beat = fmt.Sprint(m.momentOf(s))
	}
	return fmt.Sprintf("m%s.%s bow=%s", place, at.Beat, d)
}

// onlyMeasure says that the printed number of a measure is a number and no other
// measure's.
func (m *model) onlyMeasure(measure int) bool {
	if _, err := strconv.Atoi(m.p.Measures[measure].Number); err != nil {
		return false
	}
	for i := range m.p.Measures {
		if i != measure && timeline.Stem(timeline.Name(m.p, i)) == m.p.Measures[measure].Number {
			return false
		}
	}
	return true
}

// momentOf counts the moments of a measure without a meter up to a stroke, from 1.
func (m *model) momentOf(s *Stroke) int {
	n, last := 0, score.Tick(-1)
	for i := range m.p.Notes {
		if o := &m.p.Notes[i]; o.Measure == s.Measure && o.Onset != last && o.Onset <= s.Onset {
			n, last = n+1, o.Onset
		}
	}
	return n
}

// changesFor are the changes that bear on a span, as indices into the changes of
// the study: the one in force at its first wrong stroke, and those inside it.
func (m *model) changesFor(sp wrongSpan, st *Study) []int {
	first, last := m.place[sp.wrong[0]], m.place[sp.wrong[len(sp.wrong)-1]]
	var out []int
	for i := range st.Changes {
		switch at := st.Changes[i].Stroke; {
		case at <= first:
			out = []int{i}
		case at <= last:
			out = append(out, i)
		}
	}
	if len(out) > 0 && st.Proposed[first].Direction == Up && st.Changes[out[0]].Stroke < first {
		out = out[1:] // it left the first stroke as it was
	}
	return out
}

// remediesNamed is how many further changes a suggestion names.
const remediesNamed = 3

// remedies tells the first change in full and the rest in short; one that an earlier
// finding has told already is only referred to.
func (m *model) remedies(changes []int, st *Study) string {
	if len(changes) == 0 {
		return ""
	}
	c := &st.Changes[changes[0]]
	text := fmt.Sprintf("In %s, %s", c.At, lowerFirst(c.Text))
	if m.told[changes[0]] {
		text = fmt.Sprintf("The change in %s (%s) rights this too.", c.At, c.short(st))
	}
	m.told[changes[0]] = true
	var more []string
	for _, i := range changes[1:] {
		m.told[i] = true
		if len(more) < remediesNamed {
			more = append(more, fmt.Sprintf("in %s (%s)", st.Changes[i].At, st.Changes[i].short(st)))
		}
	}
	if n := len(changes) - 1 - len(more); n > 0 {
		more = append(more, fmt.Sprintf("%d more", n))
	}
	if n := len(more); n > 0 {
		verb := " Further changes: "
		if len(changes) == 2 {
			verb = " One more change: "
		}
		text += verb + strings.Join(more[:n-1], ", ")
		if n > 1 {
			text += " and "
		}
		text += more[n-1] + "."
	}
	return text
}

// short names a change: "retake, down-bow".
func (c *ChangeAt) short(st *Study) string {
	what := map[Change]string{Begin: "begin", AfterRest: "again after the rest", Retake: "retake", Link: "linked", Split: "slur split", Join: "slur added"}[c.Kind]
	return fmt.Sprintf("%s, %s-bow", what, st.Proposed[c.Stroke].Direction)
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
			Text:  fmt.Sprintf("Played as written, the bow comes back to %s from %s-bow and has to begin %s-bow again.", timeline.Called(m.p, b.Measure), oneOf(m.written[l.a]), m.written[l.b]),
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
