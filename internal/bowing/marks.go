package bowing

import (
	"fmt"
	"strings"

	"pochette/internal/score"
	"pochette/internal/timeline"
)

// signOf reads the bow sign of an event: decided over printed, and both when
// the signs of one origin disagree.
func (m *model) signOf(e *timeline.Event) (d Direction, both bool) {
	var rank score.Origin = -1
	for _, id := range e.Struck {
		if dec, ok := m.o.Decided[id]; ok && dec != None {
			if rank == score.Decided && d != dec {
				both = true
			}
			if rank != score.Decided {
				d, rank, both = dec, score.Decided, false
			}
		}
		for _, mk := range m.p.Notes[id].Marks {
			var s Direction
			switch mk.Kind {
			case score.UpBow:
				s = Up
			case score.DownBow:
				s = Down
			default:
				continue
			}
			switch {
			case mk.Origin == score.Proposed:
			case rank < 0 || mk.Origin == score.Decided && rank == score.Printed:
				d, rank, both = s, mk.Origin, false
			case mk.Origin == rank && s != d:
				both = true
			}
		}
	}
	return d, both
}

// fixMarks sets m.fixed from printed and decided marks and reports marks that
// contradict each other on one note or inside one stroke. Where they do, the
// first mark of the stroke holds; of two on one note neither does.
func (m *model) fixMarks() {
	m.fixed = make([]Direction, len(m.bowed))
	m.fixedAt = make([]int, len(m.bowed))
	m.inside = make([]int, len(m.bowed))
	m.turnAt = make([]int, len(m.bowed))
	m.turnsBack = make([]bool, len(m.bowed))
	for b := range m.bowed {
		s := m.bow(b)
		for i := s.First; i <= s.Last; i++ {
			d, both := m.signOf(&m.events[i])
			if both {
				m.tell("two-bows-on-one-note", score.Trouble, i,
					"This note carries an up-bow and a down-bow sign.", "One stroke has one direction; both signs are passed over here.", "Decide which of the two is meant.")
				continue
			}
			if d == None {
				continue
			}
			m.inside[b]++
			switch {
			case m.fixed[b] == None:
				m.fixed[b], m.fixedAt[b] = d, i
				if i > s.First && !m.onlyGraceBefore(s, i) {
					m.insideSlur(i, d)
				}
			case m.fixed[b] == d:
				m.turnsBack[b] = m.turnsBack[b] || m.turnAt[b] > 0
			default:
				if m.turnAt[b] == 0 {
					m.turnAt[b] = i
				}
				m.tell("bow-against-slur", score.Trouble, i,
					fmt.Sprintf("Inside one stroke the signs change from %s-bow to %s-bow.", m.fixed[b], d),
					"The bow cannot turn inside a slur.", "Split the slur before this note, or drop the sign.")
			}
		}
	}
	m.markPairs()
}

// insideSlur tells of a direction that is asked for inside a slur. A decided one holds
// for the whole stroke, whichever of its notes it is given on (docs/DECISIONS.md).
func (m *model) insideSlur(i int, d Direction) {
	for _, id := range m.events[i].Struck {
		if m.o.Decided[id] == d {
			m.tell("bow-inside-slur", score.Remark, i,
				fmt.Sprintf("%s-bow is decided on a note inside a slur.", strings.ToUpper(d.String()[:1])+d.String()[1:]),
				"A slur is one stroke, and a decision holds for the whole of it.",
				fmt.Sprintf("The whole slur is taken %s-bow; to turn the bow here, split the slur.", d))
			return
		}
	}
	m.tell("bow-inside-slur", score.Caution, i,
		fmt.Sprintf("A sign for %s-bow stands inside a slur, not on its first note.", d),
		"A slur is one stroke; a sign inside it means nothing new, or that the slur is to be split there.",
		fmt.Sprintf("Taken as: the whole slur is %s-bow.", d))
}

func (m *model) onlyGraceBefore(s *Stroke, i int) bool {
	for k := s.First; k < i; k++ {
		if !m.events[k].Grace {
			return false
		}
	}
	return true
}

func (m *model) tell(kind string, g score.Grade, event int, text, why, suggestion string) {
	at := timeline.AtNote(m.p, m.events[event].Struck[0])
	m.findings = append(m.findings, score.Finding{Kind: kind, Grade: g, At: at, To: at,
		Notes: m.events[event].Struck, Text: text, Why: why, Suggestion: suggestion})
}

// markPairs looks at marks that follow each other without a rest between: where
// plain alternation from the first does not arrive at the second, a retake or a
// linked stroke is implied.
func (m *model) markPairs() {
	prev := -1
	for b := range m.bowed {
		if b > 0 && m.bow(b).Onset > m.bow(b-1).End() {
			prev = -1
		}
		if m.fixed[b] == None {
			continue
		}
		if prev >= 0 {
			want := m.fixed[prev]
			if (b-prev)%2 == 1 {
				want = want.Opposite()
			}
			if want != m.fixed[b] {
				m.impliedChange(prev, b)
			}
		}
		prev = b
	}
}

func (m *model) impliedChange(a, b int) {
	sa, sb := m.bow(a), m.bow(b)
	text := fmt.Sprintf("Two strokes in a row are marked %s-bow.", m.fixed[a])
	if b > a+1 {
		text = fmt.Sprintf("From this %s-bow, %d strokes lead to a marked %s-bow; alternation would come out the other way.", m.fixed[a], b-a, m.fixed[b])
	}
	m.implied = append(m.implied, implied{len(m.findings), a, b})
	m.findings = append(m.findings, score.Finding{Kind: "marks-imply-change", Grade: score.Remark, At: m.locate(sa), To: m.locate(sb),
		Notes: []score.NoteID{m.firstNote(sa), m.firstNote(sb)}, Text: text,
		Why: "Between them the bow must be retaken or two notes linked in one stroke."})
}

// implied remembers a finding of markPairs: its index and the two bows.
type implied struct{ finding, a, b int }

// resolveImplied says where the proposal makes the change that marks imply.
func (m *model) resolveImplied(st *Study) {
	words := map[Change]string{Retake: "a retake", Link: "a linked stroke", Split: "a split slur", Join: "two notes slurred"}
	for _, im := range m.implied {
		for i := m.place[im.a] + 1; i <= m.place[im.b]; i++ {
			s := &st.Proposed[i]
			if w, ok := words[s.Change]; ok {
				m.findings[im.finding].Suggestion = "Easiest here as " + w + " in " + m.locate(s).String() + "."
				break
			}
		}
	}
}
