package timeline

import (
	"slices"
	"sort"

	"pochette/internal/score"
)

// Event is what one bow does at one moment: notes struck together (a chord, or
// notes of several written voices on one staff), or a silence.
type Event struct {
	Onset, Dur score.Tick // Dur lasts to the next event; 0 for grace notes
	Measure    int
	Level      int            // metric level of the onset, see Level
	Struck     []score.NoteID // lowest sounding pitch first; empty for a rest
	Held       []score.NoteID // begun before and sounding on, lowest first
	Rest       bool
	Grace      bool
	Slurred    bool // bound to the event before by a printed slur or by a tie
}

// Events gathers the playable notes of a part into events in written order. Cue
// notes and unpitched notes are left out. A tied-over note makes no event of its
// own; it lengthens the one it continues.
func Events(p *score.Part) []Event {
	heads := struckGroups(p)
	ends := soundingEnds(p)
	var out []Event
	var sounding []score.NoteID
	var reach score.Tick // how far what is sounding lasts
	for gi, g := range heads {
		if g.onset > reach && !g.grace {
			out = append(out, silence(p, reach, g.onset))
		}
		e := Event{Onset: g.onset, Measure: p.Notes[g.notes[0]].Measure, Struck: g.notes, Grace: g.grace}
		sounding = slices.DeleteFunc(sounding, func(id score.NoteID) bool { return ends[id] <= g.onset })
		e.Held = sortByPitch(p, slices.Clone(sounding))
		for _, id := range g.notes {
			reach = max(reach, ends[id])
			if !g.grace {
				sounding = append(sounding, id)
			}
		}
		stop := reach
		for _, h := range heads[gi+1:] {
			if !h.grace {
				stop = min(stop, h.onset)
				break
			}
		}
		if !g.grace {
			e.Dur = stop - g.onset
		}
		m := &p.Measures[e.Measure]
		e.Level = Level(m.Meter, Offset(p, e.Measure)+e.Onset-m.Start)
		out = append(out, e)
	}
	if n := len(p.Measures); n > 0 {
		if end := p.Measures[n-1].Start + p.Measures[n-1].Len; end > reach {
			out = append(out, silence(p, reach, end))
		}
	}
	markSlurs(p, out)
	return out
}

type group struct {
	onset score.Tick
	grace bool
	notes []score.NoteID
}

// struckGroups joins the notes that are struck at one moment. Grace notes of
// one chord stand together, and each grace chord is a group of its own.
func struckGroups(p *score.Part) []group {
	var out []group
	for i := range p.Notes {
		n := &p.Notes[i]
		if !n.Struck() || n.Cue || n.Unpitched {
			continue
		}
		last := len(out) - 1
		joins := last >= 0 && out[last].onset == n.Onset && out[last].grace == n.Grace
		if n.Grace {
			joins = joins && n.Chord
		}
		if joins {
			out[last].notes = append(out[last].notes, n.ID)
			continue
		}
		out = append(out, group{n.Onset, n.Grace, []score.NoteID{n.ID}})
	}
	sort.SliceStable(out, func(a, b int) bool {
		if out[a].onset != out[b].onset {
			return out[a].onset < out[b].onset
		}
		return out[a].grace && !out[b].grace
	})
	for _, g := range out {
		sortByPitch(p, g.notes)
	}
	return out
}

// soundingEnds gives for each struck note where it ends, ties included.
func soundingEnds(p *score.Part) []score.Tick {
	ends := make([]score.Tick, len(p.Notes))
	for i := range p.Notes {
		id := score.NoteID(i)
		ends[i] = p.Notes[i].End()
		for steps := 0; p.Notes[id].TieTo != score.NoNote && steps < len(p.Notes); steps++ {
			id = p.Notes[id].TieTo
			ends[i] = max(ends[i], p.Notes[id].End())
		}
	}
	return ends
}

func silence(p *score.Part, from, to score.Tick) Event {
	m := measureAt(p, from)
	return Event{Onset: from, Dur: to - from, Measure: m, Rest: true,
		Level: Level(p.Measures[m].Meter, Offset(p, m)+from-p.Measures[m].Start)}
}

func measureAt(p *score.Part, at score.Tick) int {
	i := sort.Search(len(p.Measures), func(i int) bool { return p.Measures[i].Start > at })
	return max(0, i-1)
}

func sortByPitch(p *score.Part, ids []score.NoteID) []score.NoteID {
	sort.SliceStable(ids, func(a, b int) bool {
		return p.Notes[ids[a]].Sounding.MIDI() < p.Notes[ids[b]].Sounding.MIDI()
	})
	return ids
}

// EventOf maps each struck note to the index of its event, -1 for the others; a
// tied-over note maps to the event in which it was struck.
func EventOf(p *score.Part, events []Event) []int {
	of := make([]int, len(p.Notes))
	for i := range of {
		of[i] = -1
	}
	for i, e := range events {
		for _, id := range e.Struck {
			for steps := 0; id != score.NoNote && steps <= len(p.Notes); steps++ {
				of[id] = i
				id = p.Notes[id].TieTo
			}
		}
	}
	return of
}

// markSlurs sets Slurred. A slur around two or more slurs of its own voice is a
// phrase mark and binds nothing (common practice, no source); all others, and
// ties, bind the events they span.
func markSlurs(p *score.Part, events []Event) {
	of := EventOf(p, events)
	spans := slurSpans(p, of)
	bound := make([]int, len(events)+1) // difference array: +1 where a binding begins, -1 after it
	for i, s := range spans {
		if !phrase(spans, i) {
			bound[s.from+1]++
			bound[s.to+1]--
		}
	}
	depth := 0
	for i := range events {
		e := &events[i]
		depth += bound[i]
		e.Slurred = depth > 0 && !e.Rest
		for _, id := range e.Held {
			e.Slurred = e.Slurred || tiedAcross(p, id, e.Onset)
		}
	}
}

type slurSpan struct {
	from, to int // events
	voice    string
}

// slurSpans lists the slurs as event spans, ordered by from, longer first.
func slurSpans(p *score.Part, of []int) []slurSpan {
	var spans []slurSpan
	for _, s := range p.Slurs {
		if s.Start == score.NoNote || s.End == score.NoNote {
			continue
		}
		a, b := of[s.Start], of[s.End]
		if a > b {
			a, b = b, a
		}
		if a >= 0 && b > a {
			spans = append(spans, slurSpan{a, b, p.Notes[s.Start].Voice})
		}
	}
	slices.SortStableFunc(spans, func(a, b slurSpan) int {
		if a.from != b.from {
			return a.from - b.from
		}
		return b.to - a.to
	})
	return spans
}

// phrase says that span i holds two or more shorter spans of its voice.
func phrase(spans []slurSpan, i int) bool {
	o, inner := spans[i], 0
	for _, s := range spans[i+1:] {
		if s.from >= o.to {
			break
		}
		if s.voice == o.voice && s.to <= o.to && s.to-s.from < o.to-o.from {
			inner++
		}
	}
	return inner >= 2
}

// tiedAcross says that a tie of the chain that begins at id is drawn over the
// moment: the note is not merely longer than what the other voice strikes.
func tiedAcross(p *score.Part, id score.NoteID, at score.Tick) bool {
	for steps := 0; id != score.NoNote && steps < len(p.Notes); steps++ {
		if p.Notes[id].Onset == at && p.Notes[id].TieFrom != score.NoNote {
			return true
		}
		id = p.Notes[id].TieTo
	}
	return false
}
