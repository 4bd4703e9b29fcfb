package pace

import (
	"fmt"
	"slices"

	"pochette/internal/score"
	"pochette/internal/timeline"
)

// breath is one before it is laid into the played bars.
type breath struct {
	measure int
	at      score.Tick // from the beginning of the measure, up to its length
	seconds float64
	taken   bool
	hold    bool
	decided bool
	why     string
}

// breaths finds breaths at the ends of phrases, at printed signs and where they were
// decided, and lays them into every playing of their bar but the very end.
func (b *builder) breaths() {
	byPlace := map[score.Tick]breath{} // by the tick before which they stand
	put := func(at score.Tick, n breath) {
		if o, ok := byPlace[at]; ok && (o.decided || o.hold) && !n.decided {
			return
		}
		byPlace[at] = n
	}
	b.printedBreaths(put)
	b.phraseBreaths(put)
	b.decidedBreaths(put)
	of := make([][]breath, len(b.in.Part.Measures))
	for at, n := range byPlace {
		m := b.measureAt(at - 1)
		n.measure, n.at = m, at-b.in.Part.Measures[m].Start
		if n.seconds > 0 && n.at <= b.in.Part.Measures[m].Len {
			of[m] = append(of[m], n)
		}
	}
	for m := range of {
		slices.SortFunc(of[m], func(x, y breath) int { return int(x.at - y.at) })
	}
	for v, visit := range b.clock.visits {
		for _, n := range of[visit.Measure] {
			if n.hold || v+1 < len(b.clock.visits) || n.at < b.in.Part.Measures[n.measure].Len {
				b.layBreath(v, n)
			}
		}
	}
}

func (b *builder) layBreath(v int, n breath) {
	at := b.in.Part.Measures[n.measure].Start + n.at
	b.plan.Breaths = append(b.plan.Breaths, Breathing{Bar: v, At: at, Seconds: n.seconds, Taken: n.taken, Hold: n.hold, Decided: n.decided, Why: n.why})
	if n.taken {
		b.taken[place{v, n.at}] = n.seconds
		return
	}
	b.clock.pause(v, pause{n.at, n.seconds, n.hold})
}

// Holds and caesuras, common practice, no source: a hold adds 0.6 of the note's
// length, at least half a beat and at most 3 s; a caesura is half a second of silence.
const (
	holdShare, holdBeats, holdMost = 0.6, 0.5, 3.0
	caesura                        = 0.5
)

// printedBreaths reads fermatas, caesuras and breath marks.
func (b *builder) printedBreaths(put func(score.Tick, breath)) {
	a := b.o.Amounts
	for i := range b.in.Part.Notes {
		n := &b.in.Part.Notes[i]
		end := b.ends[i]
		if n.Grace || n.Cue || end <= n.Onset {
			continue
		}
		beat := b.beatSeconds(n.Measure)
		switch {
		case n.Has(score.Fermata) && a.Hold > 0:
			long := b.in.Base.Seconds(n.Onset, end) / b.tempoScale()
			put(end, breath{seconds: a.Hold * min(holdMost, max(holdShare*long, holdBeats*beat)), hold: !n.Rest, why: "a fermata is printed"})
		case n.Has(score.Caesura) && a.Hold > 0:
			put(end, breath{seconds: a.Hold * caesura, why: "a caesura is printed"})
		case n.Has(score.BreathMark) && a.Breath > 0:
			put(end, breath{seconds: breathFor(1, beat, a.Breath), taken: a.BreathTaken, why: "a breath mark is printed"})
		}
	}
}

// phraseBreaths proposes one between two phrases, unless a rest or a slur is there, or
// the second begins with the end of the first.
func (b *builder) phraseBreaths(put func(score.Tick, breath)) {
	a := b.o.Amounts
	for _, f := range b.in.Facts.Phrases {
		if a.Breath <= 0 || f.Overlaps || !b.attackedAt(f.To) {
			continue
		}
		kind, strength := "", 0.3*f.Sure
		for _, c := range b.in.Facts.Cadences {
			if c.At == f.Arrival {
				kind, strength = c.Kind, max(strength, c.Strength)
			}
		}
		why := "a phrase ends here"
		if kind != "" {
			why += fmt.Sprintf(" with a cadence (%s, strength %.2f)", kind, strength)
		}
		put(f.To, breath{seconds: breathFor(strength, b.beatSeconds(b.measureAt(f.To-1)), a.Breath), taken: a.BreathTaken, why: why})
	}
}

// attackedAt says that at a tick a note is attacked which directly follows another.
func (b *builder) attackedAt(at score.Tick) bool {
	m := b.measureAt(at)
	for i := b.eventsOf[m][0]; i < b.eventsOf[m][1]; i++ {
		e := &b.in.Events[i]
		if e.Onset == at && !e.Grace {
			return !e.Rest && !e.Slurred && len(e.Held) == 0 && i > 0 && !b.in.Events[i-1].Rest
		}
	}
	return false
}

// decidedBreaths takes those that are said for a place. A hold is said for the note
// that begins there.
func (b *builder) decidedBreaths(put func(score.Tick, breath)) {
	for i := range b.o.Decisions {
		d := &b.o.Decisions[i]
		if !d.Placed {
			continue
		}
		switch d.Key {
		case Breath:
			put(d.At, breath{seconds: d.Value, taken: d.Taken, decided: true, why: "decided"})
		case Hold:
			if end := b.endOfEventAt(d.At); end > d.At {
				put(end, breath{seconds: d.Value, hold: true, decided: true, why: "decided"})
			}
		}
	}
}

func (b *builder) endOfEventAt(at score.Tick) score.Tick {
	end := at
	m := b.measureAt(at)
	for _, e := range b.in.Events[b.eventsOf[m][0]:b.eventsOf[m][1]] {
		if e.Onset == at && !e.Grace {
			for _, id := range e.Struck {
				end = max(end, b.ends[id])
			}
		}
	}
	return end
}

// says tells a breath of a bar in a sentence.
func (n *Breathing) says(p *score.Part) string {
	m := 0
	for m+1 < len(p.Measures) && p.Measures[m+1].Start < n.At {
		m++
	}
	where := "at its end"
	if n.At < p.Measures[m].Start+p.Measures[m].Len {
		where = "before beat " + timeline.At(p, m, n.At, score.NoNote).Beat
	}
	switch {
	case n.Hold:
		return fmt.Sprintf("hold of %.2f s more %s: %s", n.Seconds, where, n.Why)
	case n.Taken:
		return fmt.Sprintf("breath of %.2f s %s, off the note before: %s", n.Seconds, where, n.Why)
	}
	return fmt.Sprintf("breath of %.2f s %s: %s", n.Seconds, where, n.Why)
}
