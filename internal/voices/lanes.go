package voices

import (
	"math"
	"slices"

	"pochette/internal/score"
)

// strand is a chain of tones, each going on from the one before.
type strand struct {
	tones []int
	mean  float64
}

func (s *strand) first() int { return s.tones[0] }
func (s *strand) last() int  { return s.tones[len(s.tones)-1] }

// strandsOf follows the continuations; strands come in order of their first tones.
func strandsOf(prev []int) []strand {
	var out []strand
	of := make([]int, len(prev))
	for i, a := range prev {
		if a < 0 {
			of[i] = len(out)
			out = append(out, strand{})
		} else {
			of[i] = of[a]
		}
		out[of[i]].tones = append(out[of[i]].tones, i)
	}
	return out
}

// lane is a voice in the making: strands that follow one another.
type lane struct {
	last  int // last tone so far
	key   int // its pitch
	sum   float64
	count float64
	// members are the strands whose tones lie in it.
	members []int
}

// lanes joins strands into at most most voices over the whole part: a strand goes on
// in a voice that is free, the one whose last pitch is nearest after the order of
// the voices by register, which a strand should not upset. It gives for each strand
// its voice, the highest voice being 0.
func (l *line) lanes(strands []strand) []int {
	var all []lane
	of := make([]int, len(strands))
	for i := range strands {
		s := &strands[i]
		for _, t := range s.tones {
			s.mean += float64(l.tones[t].key) / float64(len(s.tones))
		}
		k := l.freeLane(all, s)
		if k < 0 {
			k = len(all)
			all = append(all, lane{})
		}
		of[i] = k
		n := float64(len(s.tones))
		all[k].last, all[k].key = s.last(), l.tones[s.last()].key
		all[k].sum, all[k].count = all[k].sum+s.mean*n, all[k].count+n
		all[k].members = append(all[k].members, i)
	}
	order := make([]int, len(all))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		return sign(all[b].sum/all[b].count - all[a].sum/all[a].count)
	})
	rank := make([]int, len(all))
	for r, k := range order {
		rank[k] = r
	}
	for i := range of {
		of[i] = rank[of[i]]
	}
	return of
}

func sign(x float64) int {
	switch {
	case x > 0:
		return 1
	case x < 0:
		return -1
	}
	return 0
}

// upset is what a strand pays, in semitones, for each busy voice on whose wrong side
// it would come to lie: an octave.
const upset = 12

// freeLane chooses a voice for a strand, -1 for a new one.
func (l *line) freeLane(all []lane, s *strand) int {
	best, arg := math.Inf(1), -1
	for k := range all {
		if all[k].last >= l.chords[l.tones[s.first()].chord].lo {
			continue
		}
		c := math.Abs(float64(all[k].key-l.tones[s.first()].key)) + upset*float64(l.upsets(all, k, s))
		if c < best {
			best, arg = c, k
		}
	}
	if arg >= 0 && best > upset && len(all) < l.most {
		return -1
	}
	return arg
}

// upsets counts the busy voices that lie on another side of the strand than of the
// voice it would go on in.
func (l *line) upsets(all []lane, k int, s *strand) int {
	n := 0
	mean := all[k].sum / all[k].count
	for j := range all {
		if j == k || all[j].last < s.first() {
			continue
		}
		other := all[j].sum / all[j].count
		if (mean-other)*(s.mean-other) < 0 {
			n++
		}
	}
	return n
}

// fill writes voices, strands and links into the study.
func (l *line) fill(st *Study, strands []strand, lanes []int) {
	count := 0
	for i, s := range strands {
		count = max(count, lanes[i]+1)
		g := Strand{Voice: lanes[i]}
		for _, t := range s.tones {
			g.Notes = append(g.Notes, l.tones[t].id)
			st.Of[l.tones[t].id] = lanes[i]
		}
		st.Strands = append(st.Strands, g)
	}
	st.Voices = make([]Voice, count)
	for i := range l.tones {
		t := &l.tones[i]
		v := &st.Voices[st.Of[t.id]]
		if n := len(v.Notes); n > 0 {
			st.Prev[t.id] = v.Notes[n-1]
			v.Low, v.High = min(v.Low, t.key), max(v.High, t.key)
		} else {
			v.Low, v.High = t.key, t.key
		}
		v.Notes = append(v.Notes, t.id)
		v.Mean += float64(t.key)
	}
	for i := range st.Voices {
		st.Voices[i].Mean /= float64(len(st.Voices[i].Notes))
	}
}

// spread gives tied-over and grace notes the voice of the note they belong to.
func spread(p *score.Part, of []int) {
	for i := range p.Notes {
		if from := p.Notes[i].TieFrom; from != score.NoNote && !p.Notes[i].Rest && from < score.NoteID(i) {
			of[i] = of[from]
		}
	}
	next := map[string]int{} // the voice of the main note that follows, by written voice
	for i := len(p.Notes) - 1; i >= 0; i-- {
		n := &p.Notes[i]
		switch {
		case n.Rest || n.Cue || n.Unpitched:
		case !n.Grace:
			next[n.Voice] = of[i]
		default:
			if v, ok := next[n.Voice]; ok {
				of[i] = v
			}
		}
	}
}
