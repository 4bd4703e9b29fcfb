package bowing

import (
	"fmt"
	"math"
	"strings"

	"pochette/internal/score"
	"pochette/internal/timeline"
)

// seeUse reports where the bow runs out and where its two directions are out of
// balance.
func (m *model) seeUse(st *Study) {
	for i := range st.Proposed {
		if u := st.Proposed[i].Use; u.Least > 1 {
			m.findings = append(m.findings, m.runsOut(&st.Proposed[i], u))
		}
	}
	m.unbalanced(st)
}

// surelyOut is from where on running out is more than a remark: the slowest
// speed is known to a quarter at best (machines disagree most about it; RESEARCH.md).
const surelyOut = 1.25

// surelyOutAnyway is the same where the pace is assumed: no player takes the music
// twice as fast. Ours.
const surelyOutAnyway = 2 * surelyOut

// runsOut: even the slowest bow that speaks does not last.
func (m *model) runsOut(s *Stroke, u Use) score.Finding {
	t := m.seconds(s.Onset, s.Dur)
	f := score.Finding{Kind: "bow-runs-out", Grade: score.Remark, At: m.locate(s), To: m.locate(s), Notes: s.Notes, Weight: u.Least,
		Text: fmt.Sprintf("This %s lasts %.1f seconds at %s, more than one bow can give: at the slowest that still speaks it is used up after %.1f.",
			strokeWord(m, s), t, m.loudAround(s), t/u.Least),
		Why: fmt.Sprintf("At this loudness the bow needs %.0f mm a second at least, and its hair is %.0f mm long.", 1000*HairLength*u.Least/t, 1000*HairLength)}
	f.Suggestion = m.moreBows(s, u)
	if u.Least >= surelyOut && m.o.Pace.Source != timeline.PaceAssumed || u.Least >= surelyOutAnyway {
		f.Grade = score.Caution
	}
	if m.o.Pace.Source == timeline.PaceAssumed {
		f.Why += fmt.Sprintf(" No tempo is printed; %.0f quarter notes a minute are assumed.", m.o.Pace.Quarter(s.Onset))
	}
	return f
}

func strokeWord(m *model, s *Stroke) string {
	if m.single(s) {
		return "note"
	}
	return "slur"
}

func (m *model) loudAround(s *Stroke) string {
	a, b := m.loud.at(s.Onset), m.loud.at(s.End()-1)
	if a.String() == b.String() {
		return a.String()
	}
	return a.String() + " to " + b.String()
}

// moreBows says how many bows a stroke takes at least and where to change.
func (m *model) moreBows(s *Stroke, u Use) string {
	n := int(math.Ceil(u.Least - 1e-9))
	if m.single(s) {
		if n <= 2 {
			return "Change the bow inside the note where it shows least, away from a beat."
		}
		return fmt.Sprintf("Take it in %d bows at least, changing inside the note where it shows least, away from the beats.", n)
	}
	places := m.changePlaces(s, n)
	switch {
	case len(places) == 0:
		return "Change the bow inside the slur."
	case n == 2:
		return "Change the bow inside the slur, best before " + places[0] + "."
	case len(places) < n-1:
		return fmt.Sprintf("Take it in %d bows at least: change before %s, and inside the long notes where it shows least.", n, listed(places))
	}
	return fmt.Sprintf("Take it in %d bows at least: change, say, before %s.", n, listed(places))
}

// placesNamed is how many places a sentence names.
const placesNamed = 12

// changePlaces names where a slur divides best into so many bows, each as long as
// the others as far as the strongest places allow.
func (m *model) changePlaces(s *Stroke, bows int) []string {
	if bows == 2 {
		if at := m.cutPlace(s); at > 0 {
			return []string{timeline.AtNote(m.p, m.events[at].Struck[0]).String()}
		}
		return nil
	}
	var out []string
	last := s.First
	for k := 1; k < bows && len(out) < placesNamed; k++ {
		aim := s.Onset + s.Dur*score.Tick(k)/score.Tick(bows)
		if at := m.cutNear(s, last, aim, s.Dur/score.Tick(4*bows)); at > last {
			out = append(out, timeline.AtNote(m.p, m.events[at].Struck[0]).String())
			last = at
		}
	}
	return out
}

// cutNear is the event after last where a slur divides best within a distance of a
// tick: the strongest, of equals the nearest; 0 for none.
func (m *model) cutNear(s *Stroke, last int, aim, within score.Tick) int {
	best := 0
	far := func(i int) score.Tick { return max(m.events[i].Onset-aim, aim-m.events[i].Onset) }
	for i := last + 1; i <= s.Last; i++ {
		e := &m.events[i]
		if e.Grace || m.events[i-1].Grace || far(i) > within || len(e.Held) > 0 && !m.reallyStruck(e) {
			continue
		}
		if best == 0 || e.Level < m.events[best].Level || e.Level == m.events[best].Level && far(i) < far(best) {
			best = i
		}
	}
	return best
}

// listed joins names: "a, b and c".
func listed(names []string) string {
	n := len(names)
	if n < 2 {
		return strings.Join(names, "")
	}
	return strings.Join(names[:n-1], "; ") + " and " + names[n-1]
}

// pairRatio is how unequal two strokes must be before the bow cannot simply
// travel to and fro. Three to one is still ordinary: the printed check in
// RESEARCH.md ("Bow physics") has three slurred notes down and one up take the
// same length of bow. The number is ours.
const pairRatio = 3.5

// unbalanced looks for rows of strokes, long one way and short the other,
// that carry the bow toward one end; one pair alone can wait there.
func (m *model) unbalanced(st *Study) {
	for i := 0; i+1 < len(st.Proposed); {
		n, long := m.rowOfPairs(st, i)
		if far := drift(st, i, n); far >= driftLimit && (n >= 2 || n == 1 && m.loudReturn(st, i, long)) {
			m.findings = append(m.findings, m.balanceFinding(st, i, n, long))
		}
		i += max(1, 2*n)
	}
}

// driftLimit: half the bow; less the player takes up without thought. Ours.
const driftLimit = 0.5

// drift is how far n pairs from stroke i on would carry the bow, in bows.
func drift(st *Study, i, n int) float64 {
	sum := 0.0
	for k := i; k < i+2*n; k += 2 {
		sum += st.Usage(k) - st.Usage(k+1)
	}
	return math.Abs(sum)
}

// rowOfPairs counts the pairs from stroke i on of which the same stroke, the
// first (long 0) or the second (long 1), asks for much more bow than the other.
func (m *model) rowOfPairs(st *Study, i int) (n, long int) {
	for ; i+1 < len(st.Proposed); i += 2 {
		l := m.longOf(st, i)
		if l < 0 || n > 0 && l != long {
			break
		}
		if n > 0 && (st.Proposed[i].Direction != st.Proposed[i-2].Direction || !m.adjoin(&st.Proposed[i-1], &st.Proposed[i])) {
			break
		}
		long = l
		n++
	}
	return n, long
}

func (m *model) longOf(st *Study, i int) int {
	a, b := &st.Proposed[i], &st.Proposed[i+1]
	if a.Direction == None || b.Direction != a.Direction.Opposite() || b.Change != Alternate || !m.adjoin(a, b) {
		return -1
	}
	ua, ub := st.Proposed[i].Use.Asked, st.Proposed[i+1].Use.Asked
	switch {
	case ua <= 0 || ub <= 0:
		return -1
	case ua/ub >= pairRatio:
		return 0
	case ub/ua >= pairRatio:
		return 1
	}
	return -1
}

func (m *model) adjoin(a, b *Stroke) bool { return a.End() >= b.Onset }

// loudReturn says that the short stroke of a single pair comes after the long
// one and is loud or accented, so that it cannot stay small.
func (m *model) loudReturn(st *Study, i, long int) bool {
	if long != 0 {
		return false
	}
	e := m.mainEvent(&st.Proposed[i+1])
	return m.accented(e) || m.loud.at(e.Onset) >= dynamicMF+1 && m.loud.at(e.Onset) > m.loud.at(st.Proposed[i].Onset)+0.5
}

func (m *model) balanceFinding(st *Study, i, n, long int) score.Finding {
	l, s := &st.Proposed[i+long], &st.Proposed[i+1-long]
	last := &st.Proposed[i+2*n-1]
	much, little := 0.0, 0.0
	loud := false
	for k := i; k < i+2*n; k += 2 {
		much, little = much+st.Usage(k+long), little+st.Usage(k+1-long)
		loud = loud || m.accented(m.mainEvent(&st.Proposed[k+1-long]))
	}
	f := score.Finding{Kind: "bow-unbalanced", Grade: score.Remark, At: m.locate(&st.Proposed[i]), To: m.locate(last), Weight: float64(n),
		Notes: append(append([]score.NoteID(nil), st.Proposed[i].Notes...), st.Proposed[i+1].Notes...)}
	end := map[Direction]string{Down: "tip", Up: "frog"}[l.Direction]
	share, ok := Even(st.Proposed[i+long].Use, st.Proposed[i+1-long].Use)
	switch {
	case n == 1:
		f.Text = fmt.Sprintf("The long %s-bow is followed by a short, strong %s-bow: the bow stands near the %s when the strong note comes.", l.Direction, s.Direction, end)
	default:
		f.Text = fmt.Sprintf("%s in a row %s-bow asks for about %.0f times as much bow as the %s-bow beside it, so the bow drifts toward the %s.", timesText(n), oneOf(l.Direction), much/little, s.Direction, end)
	}
	f.Why = fmt.Sprintf("At first the %s-bow asks for %s of the bow, the %s-bow for %s.", l.Direction, percentText(st.Proposed[i+long].Use.Asked), s.Direction, percentText(st.Proposed[i+1-long].Use.Asked))
	switch {
	case !ok:
		f.Suggestion = fmt.Sprintf("The %s-bow is too short to bring the bow back: play these near the %s, or bring it back in the next rest.", s.Direction, end)
	case loud || n == 1:
		f.Suggestion = fmt.Sprintf("Save bow on the %s-bow: with about %s of it each way the bow comes back to where it was.", l.Direction, percentText(share))
	default:
		f.Suggestion = fmt.Sprintf("Save bow on the %s-bow and let the %s-bow travel fast and light, about %s of the bow each way, so that the short note does not stick out.", l.Direction, s.Direction, percentText(share))
	}
	return f
}

// oneOf is the direction with its article, before "-bow".
func oneOf(d Direction) string {
	if d == Up {
		return "an up"
	}
	return "a " + d.String()
}

func timesText(n int) string {
	if n == 2 {
		return "Twice"
	}
	return fmt.Sprintf("%d times", n)
}

func percentText(x float64) string {
	return fmt.Sprintf("%.0f %%", 100*x)
}
