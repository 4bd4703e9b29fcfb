// Package timeline reads the order of things out of a part: in what order its
// measures are played, where the beats lie, and which notes one bow plays at
// once. It only looks; it decides nothing.
package timeline

import (
	"slices"
	"strconv"
	"strings"

	"pochette/internal/score"
)

// Visit is one playing of a measure.
type Visit struct {
	Measure int // index into Part.Measures
	Round   int // 1 for the first time through its repeated section
}

// maxVisits bounds the unrolled length: a file may ask for any number of times.
const maxVisits = 1 << 18

// PlayOrder unrolls repeats, endings and jumps (da capo, dal segno, al coda, al
// fine). After a jump repeats are not taken again and the last ending is
// played, unless the file asks for the repeats (common practice; MusicXML 4.0,
// attribute forward-repeat). Signs that lead nowhere are passed over. A file of
// several movements is played movement by movement: da capo goes to the head of
// its own. complete is false where the order was cut at its limit.
func PlayOrder(p *score.Part) (order []Visit, complete bool) {
	starts := append(Movements(p), len(p.Measures))
	for i, from := range starts[:len(starts)-1] {
		one := score.Part{Measures: p.Measures[from:starts[i+1]]}
		visits, ok := playMovement(&one, maxVisits-len(order))
		for _, v := range visits {
			order = append(order, Visit{v.Measure + from, v.Round})
		}
		if !ok {
			return order, false
		}
	}
	return order, true
}

// Movements lists the indices of the measures with which movements begin: the
// first, and each whose printed number starts again at 1 (or 0, a pickup) after a
// final bar line. It is empty for a part without measures.
func Movements(p *score.Part) []int {
	var starts []int
	last := 0
	for i := range p.Measures {
		m := &p.Measures[i]
		n, err := strconv.Atoi(m.Number)
		if i == 0 || err == nil && n <= 1 && n < last && strings.HasSuffix(p.Measures[i-1].RightBar, "heavy") {
			starts = append(starts, i)
		}
		if err == nil {
			last = n
		}
	}
	return starts
}

func playMovement(p *score.Part, limit int) (order []Visit, complete bool) {
	w := walker{p: p, taken: map[int]bool{}, round: 1}
	for w.at < len(p.Measures) {
		if len(order) >= limit {
			return order, false
		}
		m := &p.Measures[w.at]
		if w.skipEnding(m) {
			w.at++
			w.arrived = false
			continue
		}
		if m.RepeatStart && !w.arrived {
			w.section, w.round = w.at, 1
		}
		w.arrived = false
		order = append(order, Visit{w.at, w.round})
		if !w.advance(m) {
			break
		}
	}
	return order, true
}

type walker struct {
	p       *score.Part
	at      int
	section int  // where a backward repeat returns to
	round   int  // times through the section
	arrived bool // came by a repeat or jump, so that a forward sign is no new section
	jumped  bool // after a da capo or dal segno
	repeats bool // repeats are played after the jump too
	taken   map[int]bool
}

// skipEnding tells whether m stands under an ending that is not for this time
// through. A lone first ending is skipped the second time; after a jump the
// last ending is played.
func (w *walker) skipEnding(m *score.Measure) bool {
	if len(m.Endings) == 0 {
		return false
	}
	nums := w.groupNumbers()
	if w.alone() && slices.Min(nums) > 1 {
		return false // a second ending whose first is not bracketed
	}
	last := slices.Max(nums)
	if _, to := w.group(w.at); w.p.Measures[to].RepeatTimes > 0 && w.alone() {
		last++
	}
	want := w.round
	if (w.jumped && !w.repeats) || (want < last && !slices.Contains(nums, want)) {
		want = last
	}
	return !slices.Contains(m.Endings, want)
}

// alone says that the endings around w.at are one bracket.
func (w *walker) alone() bool {
	from, to := w.group(w.at)
	return slices.Equal(w.p.Measures[from].Endings, w.p.Measures[to].Endings)
}

// groupNumbers lists the ending numbers of the group that covers w.at. A group
// is a run of measures under endings whose numbers never come twice in
// separate brackets.
func (w *walker) groupNumbers() []int {
	from, to := w.group(w.at)
	var nums []int
	for _, m := range w.p.Measures[from : to+1] {
		nums = append(nums, m.Endings...)
	}
	return nums
}

// group finds the run of endings around i. A bracket that begins again with a
// number already seen belongs to the next section.
func (w *walker) group(i int) (from, to int) {
	ms := w.p.Measures
	lo := i
	for lo > 0 && len(ms[lo-1].Endings) > 0 {
		lo--
	}
	start := lo
	seen := map[int]bool{}
	j := lo
	for ; j < len(ms) && len(ms[j].Endings) > 0; j++ {
		newBracket := j == lo || ms[j].EndingStart || !slices.Equal(ms[j].Endings, ms[j-1].Endings)
		if newBracket {
			again := false
			for _, n := range ms[j].Endings {
				again = again || seen[n]
			}
			if again {
				if j > i {
					break
				}
				start, seen = j, map[int]bool{}
			}
			for _, n := range ms[j].Endings {
				seen[n] = true
			}
		}
	}
	return start, j - 1
}

// advance moves on from the measure just played; false at the end.
func (w *walker) advance(m *score.Measure) bool {
	if m.RepeatTimes > 0 && (!w.jumped || w.repeats) && w.goesBack(m) {
		w.round++
		w.at, w.arrived = w.section, true
		return true
	}
	if w.jumped && m.Jump.Fine {
		return false
	}
	if w.jumped && m.Jump.ToCoda != "" {
		if c := w.find(func(j score.Jump) bool { return j.Coda == m.Jump.ToCoda }); c >= 0 && c > w.at {
			w.at, w.section, w.round = c, c, 1
			return true
		}
	}
	if (m.Jump.DaCapo || m.Jump.DalSegno != "") && !w.taken[w.at] {
		w.taken[w.at] = true
		target := 0
		if m.Jump.DalSegno != "" {
			target = w.find(func(j score.Jump) bool { return j.Segno == m.Jump.DalSegno })
		}
		if target >= 0 {
			w.jumped, w.repeats = true, m.Jump.ForwardRepeatRequired
			w.at, w.section, w.round = target, target, 1
			return true
		}
	}
	if m.RepeatTimes > 0 || w.leavesGroup() {
		w.section, w.round = w.at+1, 1
	}
	w.at++
	return true
}

// goesBack tells whether the backward repeat at the right of m is taken now.
func (w *walker) goesBack(m *score.Measure) bool {
	if len(m.Endings) > 0 {
		nums := w.groupNumbers()
		if slices.Contains(nums, w.round+1) {
			return true
		}
		if slices.Max(nums) > w.round {
			return false
		}
		return w.alone() && w.round < m.RepeatTimes && slices.Contains(m.Endings, w.round)
	}
	return w.round < m.RepeatTimes
}

// leavesGroup: the next measure is outside the endings that cover this one.
func (w *walker) leavesGroup() bool {
	if len(w.p.Measures[w.at].Endings) == 0 {
		return false
	}
	_, to := w.group(w.at)
	return w.at == to
}

func (w *walker) find(ok func(score.Jump) bool) int {
	return slices.IndexFunc(w.p.Measures, func(m score.Measure) bool { return ok(m.Jump) })
}
