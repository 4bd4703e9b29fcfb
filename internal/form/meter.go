package form

import (
	"cmp"
	"fmt"
	"slices"

	"pochette/internal/score"
	"pochette/internal/timeline"
)

// Meter is a stretch under one time signature, with what the music does in it.
type Meter struct {
	First, Last int // measures
	Printed     string
	Bars        int
	Beats       []Beat
	// Division counts the felt beats by how they are divided: in 2 (and 4, 8), in
	// 3 (and 6), and whole ones or other ones.
	InTwo, InThree, Whole int
	Triplets              int // beats that go in three where the print goes in two
	DottedPairs           int // dotted note and short one, 3 : 1, within a beat
	Words                 Words
}

// Beat is how much weight the music puts on one felt beat of the bar.
type Beat struct {
	Number  int
	Level   int     // of the meter, 0 the downbeat
	Struck  float64 // share of the bars in which something is struck there
	Longest float64 // share of the bars whose longest note begins there
	Lowest  float64 // share whose lowest note is there
	Slurs   float64 // share with the beginning of a slur
	Chords  float64 // share with a chord
	Weight  float64 // mean of the five, the heaviest beat 1
}

// meters reads each stretch of one time signature.
func (g *grid) meters() []Meter {
	var out []Meter
	ms := g.p.Measures
	for i := 0; i < len(ms); {
		j := i
		for j+1 < len(ms) && ms[j+1].Meter.Beats == ms[i].Meter.Beats && ms[j+1].Meter.Unit == ms[i].Meter.Unit {
			j++
		}
		if ms[i].Meter.Len > 0 {
			out = append(out, g.meter(i, j))
		}
		i = j + 1
	}
	return out
}

func (g *grid) meter(first, last int) Meter {
	sig := g.p.Measures[first].Meter
	m := Meter{First: first, Last: last, Printed: sig.Beats + "/" + sig.Unit}
	beat := timeline.Beat(sig)
	n := int(sig.Len / beat)
	m.Beats = make([]Beat, n)
	for k := range m.Beats {
		m.Beats[k] = Beat{Number: k + 1, Level: timeline.Level(sig, score.Tick(k)*beat)}
	}
	for i := first; i <= last; i++ {
		if g.counts(i) {
			m.Bars++
			g.weigh(&m, g.p.Measures[i].Start, beat)
		}
	}
	top := 0.0
	for k := range m.Beats {
		b := &m.Beats[k]
		for _, x := range []*float64{&b.Struck, &b.Longest, &b.Lowest, &b.Slurs, &b.Chords} {
			*x /= float64(max(1, m.Bars))
			b.Weight += *x / 5
		}
		top = max(top, b.Weight)
	}
	for k := range m.Beats {
		if top > 0 {
			m.Beats[k].Weight /= top
		}
	}
	m.Words = g.meterWords(&m)
	return m
}

// weigh adds one bar, from its downbeat on, to the sums of a meter.
func (g *grid) weigh(m *Meter, start, beat score.Tick) {
	stop := start + beat*score.Tick(len(m.Beats))
	i := g.from(start)
	j := g.from(stop)
	if i == j {
		return
	}
	longest, lowest := i, i
	for k := i; k < j; k++ {
		if g.onsets[k].gap > g.onsets[longest].gap {
			longest = k
		}
		if g.onsets[k].low < g.onsets[lowest].low {
			lowest = k
		}
	}
	for k := range m.Beats {
		at := start + score.Tick(k)*beat
		a := g.from(at)
		b := g.from(at + beat)
		g.division(m, g.onsets[a:b], at, beat)
		if a >= len(g.onsets) || g.onsets[a].at != at {
			continue
		}
		o := &g.onsets[a]
		e := &g.in.Events[o.event]
		m.Beats[k].Struck++
		m.Beats[k].Longest += is(g.onsets[longest].gap == o.gap && longest == a && g.uneven(i, j))
		m.Beats[k].Lowest += is(lowest == a)
		m.Beats[k].Slurs += is(!e.Slurred && o.event+1 < len(g.in.Events) && g.in.Events[o.event+1].Slurred)
		m.Beats[k].Chords += is(o.notes > 1)
	}
}

// uneven says that the moments i to j are not all of one length.
func (g *grid) uneven(i, j int) bool {
	return slices.ContainsFunc(g.onsets[i:j], func(o onset) bool { return o.gap != g.onsets[i].gap })
}

// division counts how one beat is divided.
func (g *grid) division(m *Meter, os []onset, at, beat score.Tick) {
	if len(os) < 2 {
		m.Whole++
		return
	}
	two, three := true, true
	for _, o := range os {
		two = two && divides(beat, 2, o.at-at)
		three = three && divides(beat, 3, o.at-at)
	}
	compound := timeline.Compound(g.p.Measures[m.First].Meter)
	switch {
	case three && !two:
		m.InThree++
		if !compound {
			m.Triplets++
		}
	case two:
		m.InTwo++
	default:
		m.Whole++
	}
	if len(os) == 2 && os[0].at == at && 4*(os[1].at-at) == 3*beat {
		m.DottedPairs++
	}
}

// divides says that a place lies on the division of the beat in n parts, or on
// their halves, quarters or eighths.
func divides(beat score.Tick, n int, at score.Tick) bool {
	return at*score.Tick(8*n)%beat == 0
}

func (g *grid) meterWords(m *Meter) Words {
	heavy := m.heaviest()
	b := &m.Beats[heavy]
	head := fmt.Sprintf("%s, %s.", m.Printed, plural(m.Bars, "bar"))
	if len(m.Beats) == 1 {
		return Words{head, head, head + g.divisionText(m)}
	}
	w := Words{Student: head + fmt.Sprintf(" The notes lean most on beat %d.", b.Number)}
	w.Player = head + fmt.Sprintf(" Beat %d bears most: %s.", b.Number, b.why(m.Bars))
	w.Scholar = w.Player + " Weight of the beats, the heaviest 1:"
	for _, x := range m.Beats {
		w.Scholar += fmt.Sprintf(" %.2f", x.Weight)
	}
	w.Scholar += "." + g.divisionText(m)
	return w
}

func (m *Meter) heaviest() int {
	best := 0
	for k := range m.Beats {
		if m.Beats[k].Weight > m.Beats[best].Weight+1e-9 {
			best = k
		}
	}
	return best
}

// why says on what the weight of a beat rests, the greatest first.
func (b *Beat) why(bars int) string {
	type reason struct {
		share float64
		text  string
	}
	rs := []reason{{b.Longest, "the longest note"}, {b.Lowest, "the lowest note"}, {b.Slurs, "the beginning of a slur"}, {b.Chords, "a chord"}}
	slices.SortStableFunc(rs, func(x, y reason) int { return cmp.Compare(y.share, x.share) })
	if rs[0].share == 0 {
		return fmt.Sprintf("it is struck in %.0f of %s", b.Struck*float64(bars), plural(bars, "bar"))
	}
	text := fmt.Sprintf("%s is there in %.0f of %s", rs[0].text, rs[0].share*float64(bars), plural(bars, "bar"))
	if rs[1].share > 0 {
		text += fmt.Sprintf(", %s in %.0f", rs[1].text, rs[1].share*float64(bars))
	}
	return text
}

func (g *grid) divisionText(m *Meter) string {
	all := m.InTwo + m.InThree
	if all == 0 {
		return ""
	}
	return fmt.Sprintf(" Of %s that are divided, %d go in twos and %d in threes.", plural(all, "beat"), m.InTwo, m.InThree)
}
