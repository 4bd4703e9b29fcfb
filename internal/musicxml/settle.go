package musicxml

import (
	"cmp"
	"fmt"
	"slices"

	"pochette/internal/score"
)

// settle turns what was read measure by measure into the finished part: onsets
// from the start of the part, notes in score order, ties and slurs bound.
func (ps *partState) settle() {
	p := ps.part
	var at score.Tick
	for i := range p.Measures {
		m := &p.Measures[i]
		if m.Len == 0 {
			m.Len = m.Meter.Len // an empty measure lasts as its meter says
		}
		m.Start = at
		at += m.Len
		m.Key.At = m.Start
		for j := range m.Keys {
			m.Keys[j].At += m.Start
		}
		for j := range m.Clefs {
			m.Clefs[j].At += m.Start
		}
	}
	for i := range p.Notes {
		n := &p.Notes[i]
		n.Onset += p.Measures[n.Measure].Start
		if n.MeasureRest && n.Dur == 0 {
			n.Dur = p.Measures[n.Measure].Len
		}
	}
	for i := range p.Directions {
		d := &p.Directions[i]
		d.At += p.Measures[d.Measure].Start
	}
	slices.SortStableFunc(p.Directions, func(a, b score.Direction) int {
		return cmp.Or(cmp.Compare(a.Measure, b.Measure), cmp.Compare(a.At, b.At))
	})
	ps.sortNotes()
	ps.checkLengths()
	ps.bindTies()
	ps.bindSlurs()
}

// sortNotes brings the notes into the order that score.Part promises and gives
// them their IDs.
func (ps *partState) sortNotes() {
	p := ps.part
	order := make([]score.NoteID, len(p.Notes))
	for i := range order {
		order[i] = score.NoteID(i)
	}
	slices.SortFunc(order, func(a, b score.NoteID) int {
		x, y := p.Notes[a].Head, p.Notes[b].Head
		if x == y {
			return cmp.Compare(a, b)
		}
		m, n := &p.Notes[x], &p.Notes[y]
		return cmp.Or(cmp.Compare(m.Measure, n.Measure), cmp.Compare(m.Onset, n.Onset), cmp.Compare(notGrace(m), notGrace(n)),
			cmp.Compare(ps.raw[x].rank, ps.raw[y].rank), cmp.Compare(x, y))
	})
	ps.newID = make([]score.NoteID, len(order))
	sorted := make([]score.Note, len(order))
	raw := make([]rawNote, len(order))
	for i, old := range order {
		ps.newID[old] = score.NoteID(i)
		sorted[i], raw[i] = p.Notes[old], ps.raw[old]
	}
	for i := range sorted {
		sorted[i].ID = score.NoteID(i)
		sorted[i].Head = ps.newID[sorted[i].Head]
	}
	p.Notes = sorted
	for i := range ps.slurs {
		ps.slurs[i].note = ps.newID[ps.slurs[i].note]
	}
	ps.raw = raw
}

func notGrace(n *score.Note) int {
	if n.Grace {
		return 0
	}
	return 1
}

// checkLengths compares what each measure holds with its meter. A pickup, an
// uncounted measure, and two short measures that make up a whole one are as
// they should be.
func (ps *partState) checkLengths() {
	p := ps.part
	pickup := ps.info[0].held
	for i := range p.Measures {
		m, held := &p.Measures[i], ps.info[i].held
		full := m.Meter.Len
		tol := score.Tick(0)
		if ps.d.rounded {
			tol = score.Tick(ps.d.q / 64)
		}
		if full == 0 || held >= full-tol && held <= full+tol || ps.info[i].meterChanges {
			continue
		}
		say := func(kind, format string, args ...any) {
			ps.note(finding{kind: kind, grade: score.Caution, off: int(m.Src.Start), measure: i + 1, text: fmt.Sprintf(format, args...),
				hint: "check the note values of the measure in the file"})
		}
		switch {
		case held == 0:
			ps.note(finding{kind: "empty-measure", grade: score.Remark, off: int(m.Src.Start), measure: i + 1, text: "the measure holds nothing"})
		case held > full:
			say("over-full", "the measure holds %s quarters, its meter %s", ps.d.quarters(held), ps.d.quarters(full))
		case i == 0 || m.Implicit || ps.completes(i, pickup):
		default:
			say("under-full", "the measure holds %s quarters, its meter %s", ps.d.quarters(held), ps.d.quarters(full))
		}
	}
}

// completes says that measure i, which is short, is one of two halves of a
// whole measure, or fills up the pickup at the end of a section.
func (ps *partState) completes(i int, pickup score.Tick) bool {
	ms := ps.part.Measures
	full, held := ms[i].Meter.Len, ps.info[i].held
	if i+1 < len(ms) && held+ps.info[i+1].held == full || held+ps.info[i-1].held == full {
		return true
	}
	section := i+1 == len(ms) || ms[i].RepeatTimes > 0 || ms[i].EndingStop || ms[i].RightBar != "" || ms[i+1].RepeatStart || ms[i+1].LeftBar != ""
	return section && held+pickup == full
}

// quarters is a length for people: "7/2".
func (d *decoder) quarters(t score.Tick) string {
	g := gcd(int64(t), d.q)
	if d.q == g {
		return fmt.Sprint(int64(t) / g)
	}
	return fmt.Sprintf("%d/%d", int64(t)/g, d.q/g)
}

// bindTies joins notes by pitch: a note that ends a tie continues the note of
// its sounding pitch that begins one and ends where it starts, of its own voice
// if there is one, else of its staff, else of any. At the start of a second or
// later ending the tie may come from the measure before the first one.
func (ps *partState) bindTies() {
	p := ps.part
	open := map[int][]score.NoteID{} // by MIDI key
	for i := range p.Notes {
		n := &p.Notes[i]
		if n.Rest || n.Unpitched {
			continue
		}
		key := n.Sounding.MIDI()
		if ps.raw[i].tieStop && !ps.tieBack(n, open, key) {
			ps.noteTie(n, "a tie ends here that no note of this pitch begins")
		}
		if ps.raw[i].tieStart {
			open[key] = append(open[key], n.ID)
		}
	}
	for i := range p.Notes {
		if n := &p.Notes[i]; ps.raw[i].tieStart && n.TieTo == score.NoNote && !n.Rest && !n.Unpitched {
			ps.noteTie(n, "a tie begins here that no note of this pitch ends")
		}
	}
}

func (ps *partState) noteTie(n *score.Note, text string) {
	ps.note(finding{kind: "tie-unmatched", grade: score.Caution, off: int(n.Src.Start), measure: n.Measure + 1,
		at: n.Onset - ps.part.Measures[n.Measure].Start, final: n.ID + 1, text: text})
}

// tieBack finds the note that n continues and takes it off the open ones.
func (ps *partState) tieBack(n *score.Note, open map[int][]score.NoteID, key int) bool {
	p := ps.part
	best, rank := -1, 0
	list := open[key]
	for j := len(list) - 1; j >= 0; j-- {
		o := &p.Notes[list[j]]
		if o.End() != n.Onset || o.Head == n.Head {
			continue
		}
		r := 1
		switch {
		case o.Voice == n.Voice:
			r = 3
		case o.Staff == n.Staff:
			r = 2
		}
		if r > rank {
			best, rank = j, r
		}
	}
	if best >= 0 {
		n.TieFrom = list[best]
		p.Notes[n.TieFrom].TieTo = n.ID
		open[key] = slices.Delete(list, best, best+1)
		return true
	}
	m := &p.Measures[n.Measure]
	if !m.EndingStart || n.Onset != m.Start {
		return false
	}
	first := n.Measure - 1 // the first measure of the first ending
	for first > 0 && len(p.Measures[first].Endings) > 0 && !(p.Measures[first].EndingStart && slices.Contains(p.Measures[first].Endings, 1)) {
		first--
	}
	if first <= 0 || len(p.Measures[first].Endings) == 0 {
		return false
	}
	for j := range p.Notes {
		o := &p.Notes[j]
		if ps.raw[j].tieStart && !o.Rest && o.Sounding.MIDI() == key && o.End() == p.Measures[first].Start && o.Measure == first-1 {
			n.TieFrom = o.ID
			if o.TieTo == score.NoNote {
				o.TieTo = n.ID
				open[key] = slices.DeleteFunc(open[key], func(x score.NoteID) bool { return x == o.ID })
			}
			return true
		}
	}
	return false
}

// bindSlurs pairs the ends of slurs. Numbers are reused, two voices may use one
// number at a time, and with chords, voices and <backup> an end may stand in the
// file before its start. So: first what pairs up at once in file order, then
// within one voice in time order (the start nearest before an end belongs to
// it), then over all voices.
func (ps *partState) bindSlurs() {
	byNumber := map[int][]int{}
	for i, ev := range ps.slurs {
		byNumber[ev.number] = append(byNumber[ev.number], i)
	}
	paired := make([]bool, len(ps.slurs))
	pair := func(a, b int) {
		s, e := ps.slurs[a], ps.slurs[b]
		paired[a], paired[b] = true, true
		placement := s.placement
		if placement == "" {
			placement = e.placement
		}
		ps.part.Slurs = append(ps.part.Slurs, score.Slur{Number: s.number, Start: s.note, End: e.note, Placement: placement, StartSrc: s.span, EndSrc: e.span})
	}
	for _, evs := range byNumber {
		ps.pairInFile(evs, pair)
		rest := slices.DeleteFunc(slices.Clone(evs), func(i int) bool { return paired[i] })
		voices := map[string][]int{}
		for _, i := range rest {
			v := ps.part.Notes[ps.slurs[i].note].Voice
			voices[v] = append(voices[v], i)
		}
		for _, list := range voices {
			ps.pairInTime(list, pair)
		}
		ps.pairInTime(slices.DeleteFunc(rest, func(i int) bool { return paired[i] }), pair)
	}
	slices.SortFunc(ps.part.Slurs, func(a, b score.Slur) int {
		return cmp.Or(cmp.Compare(a.Start, b.Start), cmp.Compare(a.End, b.End), cmp.Compare(a.Number, b.Number), cmp.Compare(a.StartSrc.Start, b.StartSrc.Start))
	})
	for i, ev := range ps.slurs {
		if !paired[i] {
			text := "a slur ends here that never began"
			if ev.start {
				text = "a slur begins here that never ends"
			}
			n := &ps.part.Notes[ev.note]
			ps.note(finding{kind: "slur-unmatched", grade: score.Caution, off: int(ev.span.Start), measure: n.Measure + 1,
				at: n.Onset - ps.part.Measures[n.Measure].Start, final: n.ID + 1, text: text})
		}
	}
}

// pairInFile pairs a start with the end that follows it directly among the ends
// of its number, where everything before was paired up and time runs forward. An
// end that stands directly before its start is that of another voice, written
// earlier in the same measure.
func (ps *partState) pairInFile(evs []int, pair func(a, b int)) {
	balance := 0
	for k := 0; k < len(evs); k++ {
		a := ps.slurs[evs[k]]
		if balance == 0 && k+1 < len(evs) {
			from, to := evs[k], evs[k+1]
			if !a.start {
				from, to = to, from
			}
			if ps.inTimeOrder(from, to) && (a.start || ps.acrossVoices(from, to)) {
				pair(from, to)
				k++
				continue
			}
		}
		if a.start {
			balance++
		} else {
			balance--
		}
	}
}

// inTimeOrder says that the two slur ends are a start and a later end.
func (ps *partState) inTimeOrder(from, to int) bool {
	a, b := ps.slurs[from], ps.slurs[to]
	return a.start && !b.start && a.note < b.note && ps.part.Notes[a.note].Head != ps.part.Notes[b.note].Head
}

func (ps *partState) acrossVoices(from, to int) bool {
	a, b := &ps.part.Notes[ps.slurs[from].note], &ps.part.Notes[ps.slurs[to].note]
	return a.Voice != b.Voice && a.Measure == b.Measure
}

// pairInTime pairs ends with the latest open start. At one stem the ends come
// first, those that find no start are tried again after its starts.
func (ps *partState) pairInTime(list []int, pair func(a, b int)) {
	list = slices.Clone(list)
	head := func(i int) score.NoteID { return ps.part.Notes[ps.slurs[i].note].Head }
	slices.SortStableFunc(list, func(a, b int) int { return cmp.Compare(head(a), head(b)) })
	var open []int
	for k := 0; k < len(list); {
		end := k
		for end < len(list) && head(list[end]) == head(list[k]) {
			end++
		}
		var late []int
		for _, i := range list[k:end] {
			if ps.slurs[i].start {
				continue
			}
			if len(open) == 0 {
				late = append(late, i)
				continue
			}
			pair(open[len(open)-1], i)
			open = open[:len(open)-1]
		}
		for _, i := range list[k:end] {
			if ps.slurs[i].start {
				open = append(open, i)
			}
		}
		for _, i := range late {
			for j := len(open) - 1; j >= 0; j-- {
				if ps.slurs[open[j]].note != ps.slurs[i].note {
					pair(open[j], i)
					open = slices.Delete(open, j, j+1)
					break
				}
			}
		}
		k = end
	}
}
