package main

import (
	"cmp"
	"fmt"
	"io"
	"math"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"pochette/internal/bowing"
	"pochette/internal/pitch"
	"pochette/internal/score"
)

// firstTally counts the first notes of bars of one piece.
type firstTally struct {
	name                               string
	bars, down, free, given, alternate int
	heads, headsGiven, headsDown       int // of these, notes that begin a stroke
}

// measureFirstNotes asks, at the first note of each bar of the fingered pieces
// whose strokes are given (ytvf), whether the proposal has the direction played.
// Slurs are taken from equal codes in a row, since the file does not tell a slur
// from a link or a lift; so a lift is never ours to propose there.
func measureFirstNotes(w io.Writer, data string) error {
	files, err := filepath.Glob(filepath.Join(data, "fingering", "ytvf", "*.csv"))
	if err != nil {
		return err
	}
	if len(files) == 0 {
		return fmt.Errorf("no files in %s", filepath.Join(data, "fingering", "ytvf"))
	}
	slices.Sort(files)
	var rows []firstTally
	all := firstTally{name: "**all**"}
	for _, f := range files {
		t, err := firstNotes(f)
		if err != nil {
			return err
		}
		rows = append(rows, t)
		all.add(t)
	}
	fmt.Fprintf(w, "### First notes of bars where the strokes are given (ytvf)\n\n"+
		"Slurs are taken from equal codes in a row; the files give no meter (four bars or more of one length make one here), no rests, no dynamics and no signs. "+
		"A run of equal codes that hides a lift counts as one stroke, so part of the answer is in the question. Always down is the baseline. *First given*: the direction of the first stroke is told, which only fixes the phase.\n\n"+
		"| | bars | always down | proposal | proposal, first given | alternation, first given | a stroke begins with the bar | of these: always down | proposal, first given |\n|---|---:|---:|---:|---:|---:|---:|---:|---:|\n")
	for _, t := range append(rows, all) {
		fmt.Fprintf(w, "| %s | %d | %d (%.0f %%) | %d (%.0f %%) | %d (%.0f %%) | %d (%.0f %%) | %d | %d (%.0f %%) | %d (%.0f %%) |\n", t.name, t.bars, t.down, percent(t.down, t.bars), t.free, percent(t.free, t.bars),
			t.given, percent(t.given, t.bars), t.alternate, percent(t.alternate, t.bars), t.heads, t.headsDown, percent(t.headsDown, t.heads), t.headsGiven, percent(t.headsGiven, t.heads))
	}
	fmt.Fprintln(w)
	return nil
}

func (t *firstTally) add(o firstTally) {
	t.bars += o.bars
	t.down += o.down
	t.free += o.free
	t.given += o.given
	t.alternate += o.alternate
	t.heads += o.heads
	t.headsGiven += o.headsGiven
	t.headsDown += o.headsDown
}

func firstNotes(path string) (firstTally, error) {
	rows, err := fingRows(path)
	if err != nil {
		return firstTally{}, err
	}
	slices.SortStableFunc(rows, func(a, b fingRow) int {
		return cmp.Or(cmp.Compare(a.bar, b.bar), cmp.Compare(a.start, b.start))
	})
	sc, p := barredPart(rows)
	bindRuns(p, rows)
	t := firstTally{name: strings.TrimSuffix(filepath.Base(path), ".csv")}
	t.count(sc, p, rows)
	return t, nil
}

// barEnds gives for each bar that has notes, in order, where its last note ends,
// to the eighth.
func barEnds(rows []fingRow) []score.Tick {
	var ends []score.Tick
	for i, r := range rows {
		if i == 0 || rows[i-1].bar != r.bar {
			ends = append(ends, 0)
		}
		const eighth = fingQuarter / 2
		e := score.Tick(math.Round((r.start+r.dur)*2)) * eighth
		ends[len(ends)-1] = max(ends[len(ends)-1], e, eighth)
	}
	return ends
}

// sameMeter is how many bars of one length in a row make a meter.
const sameMeter = 4

// barMeters guesses the meter of each bar: that of the last sameMeter bars or
// more of one length; before them that of the first such.
func barMeters(ends []score.Tick) []score.Tick {
	out := make([]score.Tick, len(ends))
	var now score.Tick
	for i := 0; i < len(ends); {
		k := i
		for k < len(ends) && ends[k] == ends[i] {
			k++
		}
		if k-i >= sameMeter || now == 0 && k == len(ends) {
			now = ends[i]
		}
		for ; i < k; i++ {
			out[i] = now
		}
	}
	for i := len(out) - 2; i >= 0; i-- {
		if out[i] == 0 {
			out[i] = out[i+1]
		}
	}
	return out
}

func meterOf(length score.Tick) score.Meter {
	m := score.Meter{Num: int(length / fingQuarter), Den: 4, Len: length, Groups: []score.Tick{length}}
	if length%fingQuarter != 0 {
		m.Num, m.Den = int(length/(fingQuarter/2)), 8
	}
	m.Beats, m.Unit = strconv.Itoa(m.Num), strconv.Itoa(m.Den)
	return m
}

// barredPart lays the rows out in bars; one that holds more than its meter is as
// long as it needs.
func barredPart(rows []fingRow) (*score.Score, *score.Part) {
	tick := func(q float64) score.Tick { return score.Tick(math.Round(q * fingQuarter)) }
	ends := barEnds(rows)
	meters := barMeters(ends)
	p := &score.Part{ID: "P1", Name: "Violin", Staves: 1}
	var at score.Tick
	for i, r := range rows {
		if n := len(p.Measures); i == 0 || rows[i-1].bar != r.bar {
			length := max(meters[n], ends[n])
			p.Measures = append(p.Measures, score.Measure{Index: n, Number: strconv.Itoa(r.bar), Start: at, Len: length, Meter: meterOf(meters[n])})
			at += length
		}
		ms := &p.Measures[len(p.Measures)-1]
		id := score.NoteID(i)
		n := score.Note{ID: id, Head: id, Measure: ms.Index, Onset: ms.Start + tick(r.start), Dur: tick(max(r.dur, 0.01)), Voice: "1", Staff: 1, TieFrom: score.NoNote, TieTo: score.NoNote}
		n.Written = pitch.Pitch{Step: pitch.A, Octave: 4} // the bow rules ask how many notes, not which
		n.Sounding = n.Written
		if i > 0 && p.Notes[i-1].Onset == n.Onset {
			n.Chord, n.Head = true, p.Notes[i-1].Head
		}
		p.Notes = append(p.Notes, n)
	}
	return &score.Score{Quarter: fingQuarter, Parts: []*score.Part{p}}, p
}

// shortGap is the silence, in ticks, that still counts as articulation: the files
// write short notes short. An eighth or more is a rest and ends the stroke.
const shortGap = fingQuarter / 2

// bindRuns makes each run of equal codes one stroke: short gaps are closed, a
// slur binds what no rest parts.
func bindRuns(p *score.Part, rows []fingRow) {
	p.Slurs = nil
	from := 0
	for i, next := 0, 0; i < len(p.Notes); i = next {
		for next < len(p.Notes) && p.Notes[next].Onset == p.Notes[i].Onset {
			next++
		}
		goesOn := next < len(p.Notes) && rows[next].bowing == rows[i].bowing && given(rows[i].bowing) != bowing.None
		for k := i; k < next && next < len(p.Notes); k++ {
			if n := &p.Notes[k]; p.Notes[next].Onset-n.End() < shortGap {
				n.Dur = p.Notes[next].Onset - n.Onset
			}
			goesOn = goesOn && p.Notes[next].Onset <= p.Notes[k].End()
		}
		if goesOn {
			continue
		}
		if i > from {
			p.Slurs = append(p.Slurs, score.Slur{Number: 1, Start: score.NoteID(from), End: score.NoteID(i)})
		}
		from = next
	}
}

// given is a bow code as a direction; None for plucked and bad codes.
func given(code int) bowing.Direction {
	switch code {
	case 1:
		return bowing.Down
	case 2:
		return bowing.Up
	}
	return bowing.None
}

func (t *firstTally) count(sc *score.Score, p *score.Part, rows []fingRow) {
	first := map[score.NoteID]bowing.Direction{}
	for i, r := range rows {
		if r.bowing >= 3 {
			p.Notes[i].Marks = append(p.Notes[i].Marks, score.Mark{Kind: score.NotePizzicato})
		} else if d := given(r.bowing); d != bowing.None && len(first) == 0 {
			first[score.NoteID(i)] = d
		}
	}
	free := strokeOfNote(bowing.Analyze(sc, p, bowing.Options{}).Proposed, len(rows))
	st := bowing.Analyze(sc, p, bowing.Options{Decided: first})
	told, plain := strokeOfNote(st.Proposed, len(rows)), strokeOfNote(st.Written, len(rows))
	for i, r := range rows {
		d := given(r.bowing)
		if r.start != 0 || d == bowing.None || i > 0 && rows[i-1].bar == r.bar && rows[i-1].start == 0 || told[i] == nil {
			continue
		}
		hit := func(ok bool) int {
			if ok {
				return 1
			}
			return 0
		}
		t.bars++
		t.down += hit(d == bowing.Down)
		t.free += hit(free[i].Direction == d)
		t.given += hit(told[i].Direction == d)
		t.alternate += hit(plain[i].Direction == d)
		if told[i].Notes[0] == score.NoteID(i) {
			t.heads++
			t.headsDown += hit(d == bowing.Down)
			t.headsGiven += hit(told[i].Direction == d)
		}
	}
}

// strokeOfNote finds the bowed stroke of each note, nil where there is none.
func strokeOfNote(strokes []bowing.Stroke, notes int) []*bowing.Stroke {
	out := make([]*bowing.Stroke, notes)
	for i := range strokes {
		for _, id := range strokes[i].Notes {
			if !strokes[i].Pizzicato {
				out[id] = &strokes[i]
			}
		}
	}
	return out
}
