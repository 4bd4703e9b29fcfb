package parallels

import (
	"cmp"
	"slices"

	"pochette/internal/pitch"
	"pochette/internal/score"
)

// column sets a step of one passage beside one of the other; -1 where the other has
// nothing struck at that moment.
type column struct{ a, b int }

func (c column) both() bool { return c.a >= 0 && c.b >= 0 }

// Scores of a column, and how far an extension may fall below its best before it
// ends. With these a passage goes over three differing notes in a row, not over five.
const (
	scoreAlike  = 1.0  // pitch and length
	scorePitch  = 0.4  // pitch only
	scoreLength = -0.7 // length only
	scoreOther  = -0.9 // neither, or struck in one only
	dropOff     = 3.2
)

func (r *reader) score(c column, steps int) float64 {
	if !c.both() {
		return scoreOther
	}
	x, y := &r.steps[c.a], &r.steps[c.b]
	switch same := y.dia-x.dia == steps; {
	case same && x.dur == y.dur:
		return scoreAlike
	case same:
		return scorePitch
	case x.dur == y.dur:
		return scoreLength
	}
	return scoreOther
}

// extend lays step a over step b and follows both ways, moment by moment, as long as
// the score does not fall too far. It gives the best stretch (to be copied by whoever
// keeps it), and the last step of the later place that was looked at.
func (s *search) extend(a, b int) (cols []column, reached int) {
	steps := s.r.steps[b].dia - s.r.steps[a].dia
	s.back, _ = s.run(s.back[:0], -1, a-1, b-1, steps)
	slices.Reverse(s.back)
	s.back, reached = s.run(s.back, 1, a, b, steps)
	return s.back, reached
}

// run appends the best stretch from steps i and j on, forwards or backwards.
func (s *search) run(out []column, dir, i, j, steps int) ([]column, int) {
	if i < s.lo || j < s.lo {
		return out, j
	}
	r := s.r
	shift := s.shift
	sum, best, keep := 0.0, 0.0, len(out)
	for i >= s.lo && j >= s.lo && i < s.hi && j < s.hi && sum > best-dropOff {
		c := column{i, j}
		switch at := r.steps[i].onset + shift; {
		case at == r.steps[j].onset:
			i, j = i+dir, j+dir
		case (at < r.steps[j].onset) == (dir > 0):
			c.b = -1
			i += dir
		default:
			c.a = -1
			j += dir
		}
		out = append(out, c)
		if sum += r.score(c, steps); sum > best {
			best, keep = sum, len(out)
		}
	}
	return out[:keep], j
}

// apart cuts an alignment whose two places overlap into pieces that do not: each is
// as long as the shift.
func (r *reader) apart(cols []column, shift score.Tick) [][]column {
	from := r.steps[cols[0].a].onset
	var out [][]column
	piece := score.Tick(-1)
	for _, c := range cols {
		var at score.Tick
		if c.a >= 0 {
			at = r.steps[c.a].onset
		} else {
			at = r.steps[c.b].onset - shift
		}
		switch k := (at - from) / shift; {
		case k == piece:
			out[len(out)-1] = append(out[len(out)-1], c)
		case c.both(): // a piece begins with what is struck in both
			out = append(out, []column{c})
			piece = k
		}
	}
	return out
}

// trimmed drops what is not alike at both ends: there the places part, or have not
// met yet.
func (r *reader) trimmed(c []column, steps int) []column {
	for len(c) > 0 && r.score(c[0], steps) != scoreAlike {
		c = c[1:]
	}
	for len(c) > 0 && r.score(c[len(c)-1], steps) != scoreAlike {
		c = c[:len(c)-1]
	}
	return c
}

// edgeColumns is by how many moments a passage is completed at each end, as far as the
// bar goes: a note that differs just there would otherwise never be compared.
const edgeColumns = 3

// barColumns is how many moments a bar may have by which a passage is completed.
const barColumns = 4

// complete adds what stands in the rest of the bar at both ends, and beyond it a bar
// that differs in rhythm only (sameTune), and says how many moments it added. The first
// moment is struck in both places. Two places that come to overlap only thereby are
// left as they are.
func (r *reader) complete(cols []column, lo, hi int) (out []column, lead, trail int) {
	before := r.beyond(cols[0], -1, lo, hi, edgeColumns)
	before = append(before, r.barBeyond(append([]column{cols[0]}, before...), -1, lo, hi)...)
	for len(before) > 0 && !before[len(before)-1].both() {
		before = before[:len(before)-1]
	}
	slices.Reverse(before)
	end := cols[len(cols)-1]
	after := r.beyond(end, 1, lo, hi, edgeColumns)
	after = append(after, r.barBeyond(append([]column{end}, after...), 1, lo, hi)...)
	out = slices.Concat(before, cols, after)
	if a, b := ends(cols); a[1] < b[0] {
		if a, b = ends(out); a[1] >= b[0] {
			return cols, 0, 0
		}
	}
	return out, len(before), len(after)
}

// beyond follows both places on from a column, within its bars and for at most so many
// moments.
func (r *reader) beyond(c column, dir, lo, hi, most int) []column {
	return r.follow(c.a+dir, c.b+dir, dir, r.steps[c.b].onset-r.steps[c.a].onset, most, func(a bool, k int) bool {
		return k >= lo && k < hi && (a && r.steps[k].measure == r.steps[c.a].measure || !a && r.steps[k].measure == r.steps[c.b].measure)
	})
}

// follow lists the moments of both places from steps i and j on, as long as in holds.
func (r *reader) follow(i, j, dir int, shift score.Tick, most int, in func(a bool, k int) bool) []column {
	var out []column
	for len(out) < most && (in(true, i) || in(false, j)) {
		x := column{-1, -1}
		var first int64 // less than 0: the next moment is struck in A only
		if in(true, i) && in(false, j) {
			first = int64(r.steps[i].onset+shift-r.steps[j].onset) * int64(dir)
		} else if in(false, j) {
			first = 1
		} else {
			first = -1
		}
		if first <= 0 {
			x.a = i
			i += dir
		}
		if first >= 0 {
			x.b = j
			j += dir
		}
		out = append(out, x)
	}
	return out
}

// barBeyond gives the bar next to a passage, in the order of dir, if there the places
// differ in rhythm only. near are the last moments of the passage on that side, the
// outermost last; they must reach the bar line in both places.
func (r *reader) barBeyond(near []column, dir, lo, hi int) []column {
	c := near[0]
	i, j := c.a, c.b
	for _, x := range near {
		if x.a >= 0 {
			i = x.a
		}
		if x.b >= 0 {
			j = x.b
		}
	}
	x, y := i+dir, j+dir
	if min(x, y) < lo || max(x, y) >= hi || r.steps[x].measure != r.steps[i].measure+dir || r.steps[y].measure != r.steps[j].measure+dir {
		return nil
	}
	shift := r.steps[c.b].onset - r.steps[c.a].onset
	a, b := &r.p.Measures[r.steps[x].measure], &r.p.Measures[r.steps[y].measure]
	if a.Start+shift != b.Start || a.Len != b.Len {
		return nil
	}
	bar := r.follow(x, y, dir, shift, barColumns+1, func(a bool, k int) bool {
		return k >= lo && k < hi && (a && r.steps[k].measure == r.steps[x].measure || !a && r.steps[k].measure == r.steps[y].measure)
	})
	if len(bar) > barColumns || !r.sameTune(bar, shift, r.steps[c.b].dia-r.steps[c.a].dia) {
		return nil
	}
	return bar
}

// sameTune says that a bar differs in rhythm only: what is struck in both places at once
// lies the interval apart, and for half of the time in which anything sounds it is the
// same in both.
func (r *reader) sameTune(bar []column, shift score.Tick, steps int) bool {
	var common, any score.Tick
	for _, c := range bar {
		if c.both() && r.steps[c.b].dia-r.steps[c.a].dia != steps {
			return false
		}
		if c.b >= 0 {
			any += r.steps[c.b].dur
		}
		if c.a < 0 {
			continue
		}
		x := &r.steps[c.a]
		any += x.dur
		for _, d := range bar {
			if d.b < 0 {
				continue
			}
			y := &r.steps[d.b]
			together := max(0, min(x.onset+x.dur+shift, y.onset+y.dur)-max(x.onset+shift, y.onset))
			any -= together
			if y.dia-x.dia == steps {
				common += together
			}
		}
	}
	return 2*common >= any
}

// ends gives the first and last steps of the two places.
func ends(cols []column) (a, b [2]int) {
	a, b = [2]int{cols[0].a, cols[0].a}, [2]int{cols[0].b, cols[0].b}
	for _, c := range cols {
		if c.a >= 0 {
			a[1] = c.a
		}
		if c.b >= 0 {
			b[1] = c.b
		}
	}
	return a, b
}

// Bounds of an alignment: notes alike, and their share.
const (
	leastAlike = 4
	leastShare = 0.55
)

// accept makes passages of an alignment if it is long and alike enough; one whose two
// places overlap (a sequence) gives several, the last of which may be short.
func (s *search) accept(cols []column, steps int) {
	r := s.r
	if cols = r.trimmed(cols, steps); len(cols) < leastAlike {
		return
	}
	agree := 0
	for _, c := range cols {
		if r.score(c, steps) == scoreAlike {
			agree++
		}
	}
	if agree < leastAlike || float64(agree) < leastShare*float64(len(cols)) {
		return
	}
	cols, lead, trail := r.complete(cols, s.lo, s.hi)
	a, b := ends(cols)
	if length := min(r.lasts(a, s.lo, s.hi), r.lasts(b, s.lo, s.hi)); length < leastLength(r.p, r.steps[a[0]].measure) {
		return
	}
	pieces := r.apart(cols, r.steps[b[0]].onset-r.steps[a[0]].onset)
	for i, c := range pieces {
		p := Passage{cols: c}
		if i == 0 {
			p.lead = min(lead, len(c)-1)
		}
		if i == len(pieces)-1 {
			p.trail = min(trail, len(c)-1-p.lead)
		}
		if s.measure(&p, steps) {
			s.out = append(s.out, p)
		}
	}
}

// lasts is how long a place lasts: to the bar lines, where nothing else is struck in
// its first and last bar.
func (r *reader) lasts(at [2]int, lo, hi int) score.Tick {
	first, last := &r.steps[at[0]], &r.steps[at[1]]
	from, to := first.onset, last.onset+last.dur
	if m := &r.p.Measures[first.measure]; at[0] == lo || r.steps[at[0]-1].measure != first.measure {
		from = min(from, m.Start)
	}
	if m := &r.p.Measures[last.measure]; at[1] == hi-1 || r.steps[at[1]+1].measure != last.measure {
		to = max(to, m.Start+m.Len)
	}
	return to - from
}

// measure fills in what is told of a passage. Its bits are the sum over the columns
// alike of -log2 of the share that such a step (time and interval from the step
// before) has in the movement: what agrees by habit, as repeated notes or plain scales
// do, weighs less.
func (s *search) measure(p *Passage, steps int) bool {
	r := s.r
	for i, c := range p.cols {
		p.like = append(p.like, r.score(c, steps) == scoreAlike)
		if p.like[i] {
			p.Agree++
			if i > 0 {
				p.Bits += s.logs[r.token(c.a)]
			}
		}
	}
	p.Pairs = len(p.cols)
	a, b := ends(p.cols)
	if p.Agree == 0 || a[1] >= b[0] {
		return false
	}
	p.A = [2]score.NoteID{r.steps[a[0]].note, r.steps[a[1]].note}
	p.B = [2]score.NoteID{r.steps[b[0]].note, r.steps[b[1]].note}
	p.Exact = p.Agree == p.Pairs
	r.transposition(p, steps)
	return true
}

// transposition settles by how much B lies above A: by one interval throughout, or by
// staff steps with the alterations of the key, whichever leaves fewer notes over.
func (r *reader) transposition(p *Passage, steps int) {
	semis := map[int]int{}
	tonal := 0
	for _, c := range p.cols {
		if !c.both() || r.steps[c.b].dia-r.steps[c.a].dia != steps {
			continue
		}
		semis[r.steps[c.b].key-r.steps[c.a].key]++
		if r.steps[c.a].relative == r.steps[c.b].relative {
			tonal++
		}
	}
	most, arg := 0, 0
	for k, n := range semis {
		if n > most || n == most && k < arg {
			most, arg = n, k
		}
	}
	p.Shift = pitch.Interval{Diatonic: steps, Chromatic: arg}
	p.Tonal = tonal > most
	if !p.Exact {
		return
	}
	for _, c := range p.cols {
		p.Exact = p.Exact && p.answers(&r.steps[c.a], &r.steps[c.b])
	}
}

// distinct drops of passages that lie on one diagonal and overlap all but the longest:
// two seeds on both sides of a difference may each have grown over the other.
func (r *reader) distinct(ps []Passage) []Passage {
	slices.SortStableFunc(ps, func(x, y Passage) int { return len(y.cols) - len(x.cols) })
	kept := map[diagonal][][2]int{}
	var out []Passage
	for _, p := range ps {
		a, b := p.cols[p.lead].a, p.cols[p.lead].b
		d := diagonal{r.steps[b].onset - r.steps[a].onset, int32(p.Shift.Diatonic)}
		span, _ := ends(p.cols[p.lead : len(p.cols)-p.trail]) // the completed ends may touch
		if slices.ContainsFunc(kept[d], func(o [2]int) bool { return span[0] <= o[1] && o[0] <= span[1] }) {
			continue
		}
		kept[d] = append(kept[d], span)
		out = append(out, p)
	}
	return out
}

func sortPassages(ps []Passage) {
	slices.SortFunc(ps, func(x, y Passage) int {
		return cmp.Or(cmp.Compare(x.cols[0].a, y.cols[0].a), cmp.Compare(x.cols[0].b, y.cols[0].b), cmp.Compare(len(x.cols), len(y.cols)))
	})
}
