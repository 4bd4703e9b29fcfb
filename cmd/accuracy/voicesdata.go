package main

import (
	"cmp"
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"pochette/internal/score"
	"pochette/internal/timeline"
)

// heard is a struck note of a part: what an interleaved line is made of.
type heard struct {
	onset float64 // quarters from the start of the movement
	note  *score.Note
}

// ensemble is a movement for several players: for each part its notes in order.
type ensemble struct {
	piece string // file
	name  string
	parts []string
	notes [][]heard
}

// readEnsembles reads the movements of the quartets in the shared data.
func readEnsembles(data string) ([]ensemble, error) {
	files, err := filepath.Glob(filepath.Join(data, "musicxml", "quartets", "*.mxl"))
	if err != nil {
		return nil, err
	}
	more, err := filepath.Glob(filepath.Join(data, "timing", "quartet*.mxl"))
	if err != nil {
		return nil, err
	}
	var out []ensemble
	for _, f := range append(files, more...) {
		sc, err := readScore(f)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", f, err)
		}
		out = append(out, movements(sc, shortName(f))...)
	}
	return out, nil
}

func shortName(path string) string {
	n := strings.TrimSuffix(filepath.Base(path), filepath.Ext(path))
	return n[:min(len(n), 14)]
}

func movements(sc *score.Score, piece string) []ensemble {
	if len(sc.Parts) == 0 {
		return nil
	}
	starts := append(timeline.Movements(sc.Parts[0]), len(sc.Parts[0].Measures))
	var out []ensemble
	for k := 0; k+1 < len(starts); k++ {
		e := ensemble{piece: piece, name: fmt.Sprintf("%s, movement %d", piece, k+1)}
		for _, p := range sc.Parts {
			e.parts = append(e.parts, p.Name)
			e.notes = append(e.notes, heardIn(sc, p, starts[k], starts[k+1]))
		}
		out = append(out, e)
	}
	return out
}

// heardIn gives the struck notes of the measures from..to, of each chord the highest.
func heardIn(sc *score.Score, p *score.Part, from, to int) []heard {
	var out []heard
	for _, e := range timeline.Events(p) {
		if e.Rest || e.Grace || e.Measure < from || e.Measure >= to {
			continue
		}
		n := &p.Notes[e.Struck[len(e.Struck)-1]]
		out = append(out, heard{float64(n.Onset) / float64(sc.Quarter), n})
	}
	return out
}

// lineQuarter is the grid of an interleaved line.
const lineQuarter = 480

// interleaved is a single line made of two parts; from tells of each of its notes
// from which.
type interleaved struct {
	sc   *score.Score
	p    *score.Part
	from []int
}

// byTurns takes one note of each part in turn, all as eighths, while both have some.
func byTurns(a, b []heard) interleaved {
	var x interleaved
	var notes []heard
	for i := 0; i < min(len(a), len(b)); i++ {
		notes = append(notes, heard{float64(i), a[i].note}, heard{float64(i) + 0.5, b[i].note})
		x.from = append(x.from, 0, 1)
	}
	x.line(notes)
	return x
}

// stretch is how many notes comingAndGoing goes on in one way.
const stretch = 24

// comingAndGoing is a line such as solo music has: for a stretch one part alone, then
// for a stretch both by turns, all as eighths.
func comingAndGoing(a, b []heard) interleaved {
	var x interleaved
	var notes []heard
	add := func(part int, from *[]heard) {
		notes = append(notes, heard{float64(len(notes)) / 2, (*from)[0].note})
		x.from = append(x.from, part)
		*from = (*from)[1:]
	}
	for len(a) > 0 && len(b) > 0 {
		both := len(notes)/stretch%2 == 1
		add(0, &a)
		if both {
			add(1, &b)
		}
	}
	x.line(notes)
	return x
}

// byOnset takes the notes as they come; of two at one moment the one of the lower
// part first, and the other in the middle of the time to the next note.
func byOnset(a, b []heard) interleaved {
	type one struct {
		heard
		part int
	}
	var all []one
	for _, n := range a {
		all = append(all, one{n, 0})
	}
	for _, n := range b {
		all = append(all, one{n, 1})
	}
	slices.SortStableFunc(all, func(x, y one) int { return cmp.Or(cmp.Compare(x.onset, y.onset), y.part-x.part) })
	var x interleaved
	var notes []heard
	for i, n := range all {
		if i > 0 && all[i-1].onset == n.onset {
			next := n.onset + 1
			if i+1 < len(all) {
				next = all[i+1].onset
			}
			n.onset = (n.onset + next) / 2
		}
		notes = append(notes, n.heard)
		x.from = append(x.from, n.part)
	}
	x.line(notes)
	return x
}

// alone is one part as it is.
func alone(a []heard) interleaved {
	x := interleaved{from: make([]int, len(a))}
	x.line(a)
	return x
}

// line writes the notes as one voice: each lasts until the next, but no longer than a
// quarter, in bars of four quarters.
func (x *interleaved) line(notes []heard) {
	x.sc = &score.Score{Quarter: lineQuarter}
	x.p = &score.Part{ID: "P1", Name: "line", Staves: 1}
	x.sc.Parts = []*score.Part{x.p}
	const bar = 4 * lineQuarter
	m := score.Meter{Num: 4, Den: 4, Len: bar, Groups: []score.Tick{bar}}
	start := 0.0
	if len(notes) > 0 {
		start = notes[0].onset
	}
	for i, n := range notes {
		id := score.NoteID(i)
		at := score.Tick((n.onset - start) * lineQuarter)
		d := score.Tick(lineQuarter)
		if i+1 < len(notes) {
			d = min(d, score.Tick((notes[i+1].onset-start)*lineQuarter)-at)
		}
		for len(x.p.Measures) <= int(at/bar) {
			k := len(x.p.Measures)
			x.p.Measures = append(x.p.Measures, score.Measure{Index: k, Number: fmt.Sprint(k + 1), Start: score.Tick(k) * bar, Len: bar, Meter: m})
		}
		x.p.Notes = append(x.p.Notes, score.Note{ID: id, Measure: int(at / bar), Onset: at, Dur: d, Voice: "1", Staff: 1, Head: id,
			TieFrom: score.NoNote, TieTo: score.NoNote, Written: n.note.Written, Sounding: n.note.Sounding})
	}
}
