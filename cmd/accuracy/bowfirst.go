package main

import (
	"fmt"
	"io"
	"path/filepath"
	"slices"

	"pochette/internal/bowing"
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
		"Slurs are taken from equal codes in a row; the files give no meter (the longest bar is taken), no rests, no dynamics and no signs. "+
		"Always down is the baseline. *First given*: the direction of the first stroke is told, which only fixes the phase.\n\n"+
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
	fp, err := readFingering(path)
	if err != nil {
		return firstTally{}, err
	}
	rows, err := fingRows(path)
	if err != nil {
		return firstTally{}, err
	}
	slices.SortStableFunc(rows, func(a, b fingRow) int {
		switch {
		case a.bar != b.bar:
			return a.bar - b.bar
		case a.start < b.start:
			return -1
		case a.start > b.start:
			return 1
		}
		return 0
	})
	p := fp.sc.Parts[0]
	t := firstTally{name: fp.name}
	if len(rows) != len(p.Notes) {
		return t, fmt.Errorf("%s: %d rows, %d notes", path, len(rows), len(p.Notes))
	}
	bindRuns(p, rows)
	t.count(fp.sc, p, rows)
	return t, nil
}

// shortGap is the silence, in ticks, that still counts as articulation: the files
// write short notes short. An eighth or more is a rest and ends the stroke.
const shortGap = fingQuarter / 2

// bindRuns makes each run of equal codes one stroke: short gaps are closed, a
// slur binds what no rest parts.
func bindRuns(p *score.Part, rows []fingRow) {
	p.Slurs = nil
	from := 0
	for i := range p.Notes {
		n := &p.Notes[i]
		next := i + 1
		for next < len(p.Notes) && p.Notes[next].Onset == n.Onset {
			next++
		}
		last := next == len(p.Notes)
		if !last && p.Notes[next].Onset-n.End() < shortGap {
			n.Dur = p.Notes[next].Onset - n.Onset
		}
		if last || rows[next].bowing != rows[i].bowing || given(rows[i].bowing) == bowing.None || p.Notes[next].Onset > n.End() {
			if p.Notes[i].Onset > p.Notes[from].Onset && given(rows[i].bowing) != bowing.None {
				p.Slurs = append(p.Slurs, score.Slur{Number: 1, Start: score.NoteID(from), End: score.NoteID(i)})
			}
			from = next
		}
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
