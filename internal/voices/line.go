package voices

import (
	"slices"

	"pochette/internal/score"
	"pochette/internal/timeline"
)

// tone is a struck note of the line.
type tone struct {
	id         score.NoteID
	onset, end float64 // quarters
	key        int     // MIDI
	chord      int     // index into line.chords
	written    int     // its written voice (staff and voice), see poly
	measure    int
	// poly: its measure has several written voices.
	poly bool
	// before is the tone that the written voice continues, -1 where nothing is
	// written about it.
	before int
	// high: it is among the higher tones of those about it (1), split: how far these
	// lie from the lower ones, see line.registers
	high, split int
}

// chord is the range of tones that are struck at one moment.
type chord struct{ lo, hi int }

// line is a part as the search reads it: tones by onset, then by pitch.
type line struct {
	p        *score.Part
	tones    []tone
	chords   []chord
	together int // the most tones that sound at one moment
	most     int // voices
}

func readLine(sc *score.Score, p *score.Part) *line {
	l := &line{p: p}
	poly := polyphonic(p)
	names := map[string]int{}
	for _, e := range timeline.Events(p) {
		if e.Rest || e.Grace {
			continue
		}
		lo := len(l.tones)
		for _, id := range e.Struck {
			n := &p.Notes[id]
			key := string(rune('0'+n.Staff)) + "/" + n.Voice
			if _, ok := names[key]; !ok {
				names[key] = len(names)
			}
			l.tones = append(l.tones, tone{id: id, onset: quarters(sc, n.Onset), end: quarters(sc, soundingEnd(p, id)),
				key: n.Sounding.MIDI(), chord: len(l.chords), written: names[key], measure: n.Measure, poly: poly[n.Measure], before: -1})
		}
		l.chords = append(l.chords, chord{lo, len(l.tones)})
		l.together = max(l.together, len(e.Struck)+len(e.Held))
	}
	l.writtenVoices(len(names))
	l.registers()
	return l
}

// about is how many tones before and after a tone are looked at for its register.
const about = 12

// registers tells of each tone whether it is among the higher or the lower ones of those
// about it. The two groups are those of the least squares about their means (Fisher, On
// grouping for maximum homogeneity, Journal of the American Statistical Association 53,
// 1958; for two groups Otsu 1979).
func (l *line) registers() {
	var count [128]int
	lo, hi := 0, 0 // the tones counted, hi exclusive
	for i := range l.tones {
		for ; hi < min(len(l.tones), i+about+1); hi++ {
			count[l.tones[hi].key&127]++
		}
		for ; lo < i-about; lo++ {
			count[l.tones[lo].key&127]--
		}
		cut, apart := twoGroups(&count, hi-lo)
		t := &l.tones[i]
		t.split = splitBin(apart)
		if t.key > cut {
			t.high = 1
		}
	}
}

// twoGroups gives the highest key of the lower group, and how far apart the means of
// the groups lie.
func twoGroups(count *[128]int, n int) (cut int, apart float64) {
	sum := 0
	for k, c := range count {
		sum += k * c
	}
	below, lower, best := 0, 0, -1.0
	for k, c := range count {
		if c == 0 {
			continue
		}
		below, lower = below+c, lower+k*c
		if below == n {
			break
		}
		d := float64(sum-lower)/float64(n-below) - float64(lower)/float64(below)
		if between := d * d * float64(below) * float64(n-below); between > best {
			best, cut, apart = between, k, d
		}
	}
	if best < 0 {
		cut = 127
	}
	return cut, apart
}

func quarters(sc *score.Score, t score.Tick) float64 { return float64(t) / float64(sc.Quarter) }

func soundingEnd(p *score.Part, id score.NoteID) score.Tick {
	end := p.Notes[id].End()
	for steps := 0; p.Notes[id].TieTo != score.NoNote && steps < len(p.Notes); steps++ {
		id = p.Notes[id].TieTo
		end = max(end, p.Notes[id].End())
	}
	return end
}

// polyphonic tells of each measure whether several written voices have notes in it.
func polyphonic(p *score.Part) []bool {
	out := make([]bool, len(p.Measures))
	type name struct {
		staff int
		voice string
	}
	first := make([]name, len(p.Measures))
	seen := make([]bool, len(p.Measures))
	for i := range p.Notes {
		n := &p.Notes[i]
		if n.Rest || n.Cue || n.Unpitched || n.Grace {
			continue
		}
		v := name{n.Staff, n.Voice}
		switch {
		case !seen[n.Measure]:
			seen[n.Measure], first[n.Measure] = true, v
		case first[n.Measure] != v:
			out[n.Measure] = true
		}
	}
	return out
}

// writtenVoices sets before: in a bar of several written voices a single tone goes
// on from the single tone before it in its own written voice, if that stands in the
// same bar or in the one before, which has several voices too.
func (l *line) writtenVoices(names int) {
	last := slices.Repeat([]int{-1}, names)
	for _, c := range l.chords {
		for i := c.lo; i < c.hi; i++ {
			t := &l.tones[i]
			alone := true
			for j := c.lo; j < c.hi; j++ {
				alone = alone && (j == i || l.tones[j].written != t.written)
			}
			if b := last[t.written]; b >= 0 && alone && l.tied(b, i) {
				t.before = b
			}
		}
		for i := c.lo; i < c.hi; i++ {
			v := l.tones[i].written
			if last[v] >= c.lo {
				last[v] = -1 // a chord within one written voice says nothing of who goes on
			} else {
				last[v] = i
			}
		}
	}
}

// tied says that the written voices of two tones can be compared.
func (l *line) tied(a, b int) bool {
	s, t := &l.tones[a], &l.tones[b]
	return s.poly && t.poly && t.measure-s.measure <= 1
}

// forbidden says that tone b cannot go on from tone a (-1: begins a voice) by what
// is written: a still sounds, belongs to another written voice, or b's written voice
// goes on from another tone.
func (l *line) forbidden(a, b int) bool {
	t := &l.tones[b]
	if a < 0 {
		return t.before >= 0
	}
	s := &l.tones[a]
	return s.end > t.onset+1e-9 || t.before >= 0 && t.before != a || s.written != t.written && l.tied(a, b)
}
