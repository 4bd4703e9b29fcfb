package engrave

import "strconv"

// The engraver takes the ratio of a tuplet from its tuplet element alone: notes that have
// only a time-modification it reads at their full written length, and the voices beside
// them stand askew. Here such notes get a tuplet element that draws nothing.

// ratio is a time-modification: so many actual notes in the time of so many normal ones.
type ratio struct{ actual, normal string }

// modified is what prepare keeps of a note's length.
type modified struct {
	ratio
	kind           string // the note type, "eighth"
	dots           int
	grace, tremolo bool // tremolo between two notes has a time-modification of its own sense
	starts, stops  int  // tuplet elements
	stretch        int  // counts backup and forward before it in the measure
	end            int64
}

// lengths of note types in units of which a whole note has 8192. Names: MusicXML 4.0,
// note-type-value.
var noteLengths = map[string]int{
	"breve": 16384, "whole": 8192, "half": 4096, "quarter": 2048, "eighth": 1024, "16th": 512,
	"32nd": 256, "64th": 128, "128th": 64, "256th": 32,
}

// lengths are the written length of a note, and that without its dots.
func (m modified) lengths() (dotted, plain int) {
	plain = noteLengths[m.kind]
	dotted = plain
	for add, i := plain/2, 0; i < m.dots && add > 0; add, i = add/2, i+1 {
		dotted += add
	}
	return dotted, plain
}

// plainRatio says that the note's time-modification is one that a tuplet can state.
func (m modified) plainRatio() bool {
	a, errA := strconv.Atoi(m.actual)
	n, errN := strconv.Atoi(m.normal)
	return errA == nil && errN == nil && a > 0 && n > 0 && a != n && a < 100 && n < 100
}

// tupletRun is a run of notes of one voice that lack a tuplet element.
type tupletRun struct {
	notes         []*notedNote
	sum, shortest int
}

func (r *tupletRun) takes(n *notedNote) bool {
	if len(r.notes) == 0 {
		return true
	}
	last := r.notes[len(r.notes)-1]
	return last.ratio == n.ratio && last.stretch == n.stretch && last.staff == n.staff
}

// full says that the run fills its ratio: a multiple of so many of its shortest notes.
func (r *tupletRun) full() bool {
	actual, _ := strconv.Atoi(r.notes[0].actual) // plainRatio has looked
	return r.shortest > 0 && r.sum%(actual*r.shortest) == 0
}

// tellTuplets gives the notes of a measure the tuplet elements they lack, voice by voice.
// How a run is divided into tuplets alters no time, since all have the same ratio; it is
// divided where it is full, so that beams may end there.
func (p *preparer) tellTuplets() {
	depth := map[string]int{} // of tuplet elements open in a voice
	runs := map[string]*tupletRun{}
	var order []string
	for _, n := range p.notes {
		run := runs[n.voice]
		if run == nil {
			run = &tupletRun{}
			runs[n.voice] = run
			order = append(order, n.voice)
		}
		covered := depth[n.voice] > 0 || n.starts+n.stops > 0
		depth[n.voice] = max(0, depth[n.voice]+n.starts-n.stops)
		switch {
		case n.chord || n.grace:
			continue // the first note of a chord speaks for all
		case covered || n.tremolo || !n.plainRatio():
			p.closeTuplet(run)
			continue
		case !run.takes(n):
			p.closeTuplet(run)
		}
		dotted, plain := n.lengths()
		if run.notes = append(run.notes, n); run.shortest == 0 || plain < run.shortest {
			run.shortest = plain
		}
		if run.sum += dotted; run.full() {
			p.closeTuplet(run)
		}
	}
	for _, voice := range order {
		p.closeTuplet(runs[voice])
	}
}

// closeTuplet writes a tuplet element around a run, and empties it.
func (p *preparer) closeTuplet(r *tupletRun) {
	if len(r.notes) == 0 {
		return
	}
	const start, stop = `<tuplet type="start" bracket="no" show-number="none"/>`, `<tuplet type="stop"/>`
	write := func(n *notedNote, elements string) {
		p.edits = append(p.edits, edit{extent{n.end, n.end}, "<notations>" + elements + "</notations>"})
	}
	if first, last := r.notes[0], r.notes[len(r.notes)-1]; first == last {
		write(first, start+stop)
	} else {
		write(first, start)
		write(last, stop)
	}
	*r = tupletRun{}
}
