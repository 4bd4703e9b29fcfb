package voices

import "slices"

// columns gives each tone a column in which it is shown, 0 the highest: that of its
// voice, save that of tones struck together the highest stands in the highest column
// (what goes on from them follows), that a line without another beside it stands in
// the first, and that where strands cross too often to be told apart (st.Crossed) all
// stay in one.
func (l *line) columns(st *Study, strands []strand, lanes []int) []int {
	of := make([]int, len(l.tones))
	for k := range strands {
		for _, t := range strands[k].tones {
			of[t] = k
		}
	}
	c := &columnist{l: l, strands: strands, lanes: lanes, of: of, n: len(st.Voices), col: slices.Repeat([]int{-1}, len(strands))}
	out := make([]int, len(l.tones))
	var open []int // strands that go on, at first also those that ended just now
	crossed := st.Crossed
	for _, ch := range l.chords {
		open = slices.DeleteFunc(open, func(k int) bool { return strands[k].last() < ch.lo })
		for len(crossed) > 0 && crossed[0].Last < l.tones[ch.lo].id {
			crossed = crossed[1:]
		}
		if ch.hi-ch.lo == 1 && ch.lo > 0 && len(crossed) > 0 && crossed[0].First <= l.tones[ch.lo].id {
			c.col[of[ch.lo]] = out[ch.lo-1]
		}
		used := c.choose(ch, open)
		for i := ch.lo; i < ch.hi; i++ {
			out[i] = used[ch.hi-1-i]
			c.col[of[i]] = out[i]
			if !slices.Contains(open, of[i]) {
				open = append(open, of[i])
			}
		}
	}
	return out
}

type columnist struct {
	l       *line
	strands []strand
	lanes   []int
	of, col []int // of: strand of each tone; col: column of each strand so far, -1 for none
	n       int   // columns
}

// choose gives the columns of one moment, the highest first.
func (c *columnist) choose(ch chord, open []int) []int {
	taken := map[int]bool{}
	beside := false
	for _, k := range open {
		here := slices.Contains(c.of[ch.lo:ch.hi], k)
		taken[c.col[k]] = taken[c.col[k]] || !here
		beside = beside || !here && len(c.strands[k].tones) >= leastStrand
	}
	var used []int
	for i := ch.hi - 1; i >= ch.lo; i-- {
		want := c.col[c.of[i]]
		if want < 0 {
			want = c.lanes[c.of[i]]
			if ch.hi-ch.lo == 1 && !beside {
				want = 0
			}
			if taken[want] {
				want = c.free(taken, want)
			}
		}
		if slices.Contains(used, want) {
			want = c.free(taken, want)
		}
		taken[want] = true
		used = append(used, want)
	}
	slices.Sort(used)
	return used
}

// free is the column nearest to one that nothing stands in; that one where all are
// taken.
func (c *columnist) free(taken map[int]bool, want int) int {
	for d := 1; d < c.n; d++ {
		for _, k := range [2]int{want - d, want + d} {
			if k >= 0 && k < c.n && !taken[k] {
				return k
			}
		}
	}
	return want
}

// mostCrossed is the share of the moments of a stretch, 1 in so many, above which its
// voices cross too often to be heard as two. Common practice, no source.
const mostCrossed = 3

// crosses says that the lines of a stretch, the highest in the mean first, lie in
// another order than that in more than a third of its moments.
func (l *line) crosses(s *Span, lo, hi int) bool {
	line := map[int]int{} // of each tone id
	now := make([]int, len(s.Lines))
	for k := range s.Lines {
		for _, id := range s.Lines[k].Notes {
			line[int(id)] = k
		}
		now[k] = l.p.Notes[s.Lines[k].Notes[0]].Sounding.MIDI()
	}
	rows, crossed := 0, 0
	for i := lo; i <= hi; i++ {
		if k, ok := line[int(l.tones[i].id)]; ok {
			now[k] = l.tones[i].key
		}
		if i < hi && l.tones[i+1].chord == l.tones[i].chord {
			continue
		}
		rows++
		if !slices.IsSortedFunc(now, func(a, b int) int { return b - a }) {
			crossed++
		}
	}
	return crossed*mostCrossed > rows
}
