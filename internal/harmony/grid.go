package harmony

import (
	"pochette/internal/score"
	"pochette/internal/timeline"
)

// obs is one note as heard within a unit.
type obs struct {
	tone  Tone
	class int8    // see noteClass
	dur   float32 // quarters of it inside the unit
	onset bool    // struck inside the unit
	key   int16   // MIDI key number
}

// Notes are classed by how the line comes to them and leaves them, by step or
// not, and by whether they are struck on a unit: classes of note.
const noteClasses = 8

func noteClass(stepIn, stepOut, strong bool) int8 {
	c := int8(0)
	if stepIn {
		c++
	}
	if stepOut {
		c += 2
	}
	if strong {
		c += 4
	}
	return c
}

// unit is the shortest stretch that may have a chord of its own: the printed
// beat of simple meters, the eighth of compound and eighth-note ones.
type unit struct {
	start, end score.Tick
	measure    int
	level      int8 // metric level of its start, at most 3
	section    bool // a repeat or double bar stands before it
	inBar      int  // place in the bar, in quarters*8
	beats      float32
	bars       float32 // length as a share of the bar
	quarters   float32
	notes      []obs
	mask       uint64 // tones heard
	low        int16  // lowest key number heard, 127 for none
	lowTone    Tone
	barLow     Tone // lowest of its bar
	barWhen    int8 // it sounded before, sounds here, comes later; -1: the bar is silent
	first      Tone // lowest of what sounds at its start, or is struck first
	struck     int
	empty      bool
	memory     []memo

	line  [][2]Tone // melodic steps to the notes struck here
	place int       // part of the movement
}

// grid is a part cut into units.
type grid struct {
	p     *score.Part
	units []unit
	q     float64      // ticks to a quarter
	ends  []score.Tick // by note: where it ends, ties counted in
}

// newGrid cuts the part and lays its notes over the units. quarter is
// score.Score.Quarter.
func newGrid(p *score.Part, quarter score.Tick) *grid {
	g := &grid{p: p, q: float64(quarter), ends: endsOf(p)}
	for i := range p.Measures {
		g.cut(i, quarter)
	}
	g.lay(timeline.Events(p))
	g.remember()
	g.barLows()
	for i := range g.units {
		u := &g.units[i]
		u.empty = len(u.notes) == 0
	}
	return g
}

// unitLen is the length of a unit in a meter: the printed unit, but no longer
// than a quarter and no shorter than an eighth.
func unitLen(m score.Meter, quarter score.Tick) score.Tick {
	n := timeline.Unit(m)
	if n <= 0 || n >= quarter || n > quarter/2 {
		return quarter
	}
	if quarter%2 == 0 && n <= quarter/2 {
		return quarter / 2
	}
	return quarter
}

func (g *grid) cut(index int, quarter score.Tick) {
	m := &g.p.Measures[index]
	if m.Len <= 0 {
		return
	}
	off := timeline.Offset(g.p, index)
	step := unitLen(m.Meter, quarter)
	bar := m.Meter.Len
	if bar <= 0 {
		bar = m.Len
	}
	beat := timeline.Beat(m.Meter)
	if beat <= 0 {
		beat = quarter
	}
	section := index > 0 && (g.p.Measures[index-1].RepeatTimes > 0 || m.RepeatStart || g.p.Measures[index-1].RightBar == "light-light")
	for at := m.Start; at < m.Start+m.Len; {
		to := at + step - (off+at-m.Start)%step
		if rest := m.Start + m.Len - to; rest < step/2 {
			to = m.Start + m.Len
		}
		to = min(to, m.Start+m.Len)
		g.units = append(g.units, unit{start: at, end: to, measure: index,
			level:   int8(min(3, timeline.Level(m.Meter, off+at-m.Start))),
			section: section && at == m.Start,
			inBar:   int(8 * float64(off+at-m.Start) / g.q),
			beats:   float32(to-at) / float32(beat), bars: float32(to-at) / float32(bar), quarters: float32(float64(to-at) / g.q),
			low: 127})
		at = to
	}
}

// lay puts every sounding note into the units it covers.
func (g *grid) lay(events []timeline.Event) {
	at := 0
	for i := range events {
		e := &events[i]
		if e.Rest || e.Grace {
			continue
		}
		for at < len(g.units)-1 && g.units[at].end <= e.Onset {
			at++
		}
		in, out := neighbours(events, i)
		for _, id := range e.Struck {
			n := &g.p.Notes[id]
			strong := at < len(g.units) && g.units[at].start == e.Onset
			if in != nil && len(in.Struck) == 1 && at < len(g.units) {
				a, b := ToneOf(g.p.Notes[in.Struck[0]].Sounding), ToneOf(n.Sounding)
				if a.known() && b.known() {
					g.units[at].line = append(g.units[at].line, [2]Tone{a, b})
				}
			}
			c := noteClass(g.step(in, id), g.step(out, id), strong)
			g.sound(at, n, g.ends[id], c)
		}
	}
}

func (g *grid) sound(at int, n *score.Note, end score.Tick, class int8) {
	t := ToneOf(n.Sounding)
	if !t.known() {
		return
	}
	key := int16(n.Sounding.MIDI())
	for u := at; u < len(g.units) && g.units[u].start < end; u++ {
		x := &g.units[u]
		over := min(end, x.end) - max(n.Onset, x.start)
		if over <= 0 {
			continue
		}
		onset := n.Onset >= x.start
		x.notes = append(x.notes, obs{t, class, float32(float64(over) / g.q), onset, key})
		if onset {
			x.struck++
		}
		x.mask |= 1 << uint(t-loTone)
		if key < x.low {
			x.low, x.lowTone = key, t
			if n.Onset <= x.start || len(x.notes) == 1 {
				x.first = t
			}
		}
	}
}

// neighbours are the events before and after that strike notes, without rests
// of a whole measure or more between being looked at.
func neighbours(events []timeline.Event, i int) (in, out *timeline.Event) {
	for j := i - 1; j >= 0 && j >= i-3; j-- {
		if !events[j].Rest && !events[j].Grace {
			in = &events[j]
			break
		}
	}
	for j := i + 1; j < len(events) && j <= i+3; j++ {
		if !events[j].Rest && !events[j].Grace {
			out = &events[j]
			break
		}
	}
	return in, out
}

// step says that an event strikes a note one step away from the note, or the
// same note again.
func (g *grid) step(e *timeline.Event, id score.NoteID) bool {
	if e == nil {
		return false
	}
	p := g.p.Notes[id].Sounding
	for _, o := range e.Struck {
		q := g.p.Notes[o].Sounding
		d, c := q.Diatonic()-p.Diatonic(), q.MIDI()-p.MIDI()
		if d >= -1 && d <= 1 && c >= -2 && c <= 2 {
			return true
		}
	}
	return false
}

// endsOf gives for each struck note where it ends, ties counted in.
func endsOf(p *score.Part) []score.Tick {
	ends := make([]score.Tick, len(p.Notes))
	for i := len(p.Notes) - 1; i >= 0; i-- {
		n := &p.Notes[i]
		ends[i] = n.End()
		if to := n.TieTo; to != score.NoNote && int(to) > i && int(to) < len(ends) {
			ends[i] = max(ends[i], ends[to])
		}
	}
	return ends
}

// memo is a note that sounded earlier and that no step has displaced since.
type memo struct {
	tone Tone
	age  int8
}

// remember lists for each unit what is heard as lasting on: in one line a broken
// chord's notes are kept in mind until the line moves from them by step.
func (g *grid) remember() {
	type kept struct {
		tone Tone
		key  int16
		last int
	}
	var held []kept
	for i := range g.units {
		u := &g.units[i]
		u.place = min(places-1, i*places/len(g.units))
		for _, o := range u.notes {
			if !o.onset {
				for j := range held {
					if held[j].key == o.key {
						held[j].last = i
					}
				}
				continue
			}
			n := 0
			for _, h := range held {
				if d := h.key - o.key; d < -2 || d > 2 {
					held[n] = h
					n++
				}
			}
			held = append(held[:n], kept{o.tone, o.key, i})
		}
		n := 0
		for _, h := range held {
			switch age := i - h.last; {
			case age == 1:
				u.memory = append(u.memory, memo{h.tone, 0})
			case age == 2:
				u.memory = append(u.memory, memo{h.tone, 1})
			case age == 3 || age == 4:
				u.memory = append(u.memory, memo{h.tone, 2})
			case age > 4:
				continue
			}
			held[n] = h
			n++
		}
		held = held[:n]
	}
}

// barLows tells each unit the lowest tone of its bar and when it sounds: in one
// line the bass is struck now and then and heard through.
func (g *grid) barLows() {
	for from := 0; from < len(g.units); {
		to, at := from, -1
		for ; to < len(g.units) && g.units[to].measure == g.units[from].measure; to++ {
			if u := &g.units[to]; len(u.notes) > 0 && (at < 0 || u.low < g.units[at].low) {
				at = to
			}
		}
		for i := from; i < to; i++ {
			u := &g.units[i]
			u.barWhen = -1
			if at < 0 {
				continue
			}
			u.barLow = g.units[at].lowTone
			switch {
			case g.units[i].low == g.units[at].low:
				u.barWhen = 1
			case at < i:
				u.barWhen = 0
			default:
				u.barWhen = 2
			}
		}
		from = to
	}
}
