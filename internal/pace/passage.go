package pace

import (
	"pochette/internal/score"
	"pochette/internal/timeline"
)

// Passage is a stretch of a plan, to be played or practised by itself. Times count
// from its beginning.
type Passage struct {
	Bars    []PassageBar
	Notes   []Note // Bar is an index into Bars
	Seconds float64
}

// PassageBar is a played bar with its print and its beats.
type PassageBar struct {
	Bar
	Length score.Tick // printed, of what the bar holds
	Offset score.Tick // where in the full bar it begins, see timeline.Offset
	Meter  score.Meter
	Fifths int // of the signature
	Minor  bool
	Beat   score.Tick // felt, the whole bar where there is no meter
	Beats  []Beat
}

// Beat is a felt beat of a bar.
type Beat struct {
	Planned float64 // where the plan has it
	Even    float64 // where it is when the bar is divided evenly
	Strict  float64 // where a metronome has it that began with the passage
	First   bool    // of the full bar
}

// Passage takes the bars from one measure to another, both included, as they are
// played; what a repeat inside plays twice is taken once, the last time. With all
// measures it is the whole plan with its repeats.
func (p *Plan) Passage(first, last int) Passage {
	if p.clock == nil {
		return Passage{}
	}
	picked := p.pick(first, last)
	place := make([]int, len(p.Bars)) // of each played bar in the passage, -1 for none
	for i := range place {
		place[i] = -1
	}
	var out Passage
	strict := 0.0
	for i, v := range picked {
		place[v] = i
		bar := p.passageBar(v, out.Seconds, strict)
		out.Bars = append(out.Bars, bar)
		out.Seconds += bar.Seconds
		strict += p.metronomeSeconds(v)
	}
	for _, n := range p.Notes {
		i := place[n.Bar]
		if i < 0 {
			continue
		}
		by := out.Bars[i].Start - p.Bars[n.Bar].Start
		end := p.goesOnUntil(picked, i)
		n.Bar = i
		n.Onset, n.Release = n.Onset+by, min(n.Release+by, end+by)
		if n.Onset >= 0 && n.Release > n.Onset {
			out.Notes = append(out.Notes, n)
		}
	}
	return out
}

// pick lists the played bars of a passage.
func (p *Plan) pick(first, last int) []int {
	var out []int
	measures := len(p.clock.p.Measures)
	if first <= 0 && last >= measures-1 {
		for v := range p.Bars {
			out = append(out, v)
		}
		return out
	}
	for v := range p.Bars {
		m := p.Bars[v].Measure
		if m < first || m > last {
			continue
		}
		for len(out) > 0 && p.Bars[out[len(out)-1]].Measure >= m {
			out = out[:len(out)-1]
		}
		out = append(out, v)
	}
	return out
}

// goesOnUntil is the end, in the time of the plan, of the bars that follow a picked
// one without a gap.
func (p *Plan) goesOnUntil(picked []int, i int) float64 {
	for i+1 < len(picked) && picked[i+1] == picked[i]+1 {
		i++
	}
	return p.clock.start[picked[i]+1]
}

// metronomeSeconds is the length of a played bar at its basic tempo.
func (p *Plan) metronomeSeconds(v int) float64 {
	bar := &p.Bars[v]
	if bar.Base <= 0 {
		return 0
	}
	return 60 / bar.Base * float64(p.clock.length(v)) / float64(p.beatOf(bar.Measure))
}

func (p *Plan) beatOf(measure int) score.Tick {
	if t := timeline.Beat(p.clock.p.Measures[measure].Meter); t > 0 {
		return t
	}
	return p.clock.p.Measures[measure].Len
}

func (p *Plan) passageBar(v int, start, strict float64) PassageBar {
	part := p.clock.p
	m := &part.Measures[p.Bars[v].Measure]
	out := PassageBar{Bar: p.Bars[v], Length: m.Len, Offset: timeline.Offset(part, m.Index), Meter: m.Meter, Fifths: m.Key.Fifths, Minor: m.Key.Mode == "minor"}
	by := start - out.Start
	out.Start = start
	beat := p.beatOf(m.Index)
	out.Beat = beat
	if beat <= 0 {
		return out
	}
	moving, long := out.Seconds-out.Pause, p.metronomeSeconds(v)
	for at := (beat - out.Offset%beat) % beat; at < m.Len; at += beat {
		share := float64(at) / float64(m.Len)
		even := start + share*moving
		for _, q := range p.clock.pauses[v] {
			if q.at <= at {
				even += q.seconds
			}
		}
		out.Beats = append(out.Beats, Beat{Planned: p.clock.onset(v, at) + by, Even: even, Strict: strict + share*long, First: at+out.Offset == 0})
	}
	return out
}

// Scaled is the passage at another speed: 0.5 takes twice the time.
func (p Passage) Scaled(factor float64) Passage {
	out := Passage{Seconds: p.Seconds / factor}
	for _, b := range p.Bars {
		b.Start, b.Seconds, b.Pause = b.Start/factor, b.Seconds/factor, b.Pause/factor
		b.Tempo, b.Base = b.Tempo*factor, b.Base*factor
		beats := make([]Beat, len(b.Beats))
		for i, x := range b.Beats {
			beats[i] = Beat{x.Planned / factor, x.Even / factor, x.Strict / factor, x.First}
		}
		b.Beats = beats
		out.Bars = append(out.Bars, b)
	}
	for _, n := range p.Notes {
		n.Onset, n.Release = n.Onset/factor, n.Release/factor
		out.Notes = append(out.Notes, n)
	}
	return out
}

// Click is one beat of a click track.
type Click struct {
	At     float64
	Strong bool // the first beat of a bar
}

// Follow says what a click track goes by.
type Follow int8

// A click track follows the plan in every beat, or keeps to its bar lines and divides
// the bar evenly, or goes on as a metronome whatever is played.
const (
	FollowPlan Follow = iota
	FollowBars
	FollowNothing
)

// Clicks are the beats of the passage.
func (p *Passage) Clicks(f Follow) []Click {
	var out []Click
	for i := range p.Bars {
		for _, x := range p.Bars[i].Beats {
			at := map[Follow]float64{FollowPlan: x.Planned, FollowBars: x.Even, FollowNothing: x.Strict}[f]
			out = append(out, Click{at, x.First})
		}
	}
	return out
}

// Apart is how far the metronome's last click lies from the plan's last beat, in
// seconds: over 0 the metronome is ahead.
func (p *Passage) Apart() float64 {
	for i := len(p.Bars) - 1; i >= 0; i-- {
		if n := len(p.Bars[i].Beats); n > 0 {
			x := p.Bars[i].Beats[n-1]
			return x.Planned - x.Strict
		}
	}
	return 0
}

// CountIn are the beats of so many bars before the passage, at the tempo of its first
// bar; before a pickup also those of the bar that it ends. They begin at 0; the
// passage begins after seconds.
func (p *Passage) CountIn(bars int) (clicks []Click, seconds float64) {
	if len(p.Bars) == 0 || bars <= 0 || p.Bars[0].Base <= 0 {
		return nil, 0
	}
	b := &p.Bars[0]
	beat := timeline.Beat(b.Meter)
	full := b.Meter.Len
	if beat <= 0 || full <= 0 {
		beat, full = b.Length, b.Length
	}
	each := 60 / b.Base / float64(beat)
	for k := range bars {
		for at := score.Tick(0); at < full; at += beat {
			clicks = append(clicks, Click{seconds + float64(score.Tick(k)*full+at)*each, at == 0})
		}
	}
	seconds = float64(score.Tick(bars)*full) * each
	for at := score.Tick(0); at < b.Offset; at += beat {
		clicks = append(clicks, Click{seconds + float64(at)*each, at == 0})
	}
	return clicks, seconds + float64(b.Offset)*each
}
