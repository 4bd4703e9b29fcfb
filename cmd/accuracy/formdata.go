package main

import (
	"encoding/csv"
	"fmt"
	"math/big"
	"os"
	"path/filepath"
	"slices"
	"sort"
	"strconv"
	"strings"

	"pochette/internal/form"
	"pochette/internal/pitch"
	"pochette/internal/score"
	"pochette/internal/timeline"
)

// formPiece is a movement with the phrase marks of its annotators (DCMLab/bach_solo).
type formPiece struct {
	name   string
	in     form.Input
	ends   []score.Tick // onset of the label that ends a phrase
	begins []score.Tick
}

// tsvTable is a file of tab-separated values by column name.
type tsvTable struct {
	col  map[string]int
	rows [][]string
}

func readTSV(path string) (*tsvTable, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comma, r.LazyQuotes = '\t', true
	all, err := r.ReadAll()
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	if len(all) == 0 {
		return nil, fmt.Errorf("%s is empty", path)
	}
	t := &tsvTable{col: map[string]int{}, rows: all[1:]}
	for i, n := range all[0] {
		t.col[n] = i
	}
	return t, nil
}

func (t *tsvTable) get(row []string, name string) string {
	if i, ok := t.col[name]; ok && i < len(row) {
		return row[i]
	}
	return ""
}

// formQuarter holds triplets down to 64th notes.
const formQuarter = 96

// formTicks reads a fraction of a whole note (times 1) or of a quarter.
func formTicks(text string, unit int64) (score.Tick, error) {
	r, ok := new(big.Rat).SetString(text)
	if !ok {
		return 0, fmt.Errorf("%q is no fraction", text)
	}
	r.Mul(r, big.NewRat(unit, 1))
	if !r.IsInt() {
		return 0, fmt.Errorf("%q is finer than the grid", text)
	}
	return score.Tick(r.Num().Int64()), nil
}

func readFormPieces(data string) ([]formPiece, error) {
	dir := filepath.Join(data, "harmony")
	files, err := filepath.Glob(filepath.Join(dir, "notes", "*.notes.tsv"))
	if err != nil {
		return nil, err
	}
	if len(files) == 0 {
		return nil, fmt.Errorf("no notes in %s", dir)
	}
	slices.Sort(files)
	var out []formPiece
	for _, f := range files {
		name := strings.TrimSuffix(filepath.Base(f), ".notes.tsv")
		p, err := readFormPiece(dir, name)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		out = append(out, *p)
	}
	return out, nil
}

func readFormPiece(dir, name string) (*formPiece, error) {
	ms, err := readTSV(filepath.Join(dir, "measures", name+".measures.tsv"))
	if err != nil {
		return nil, err
	}
	ns, err := readTSV(filepath.Join(dir, "notes", name+".notes.tsv"))
	if err != nil {
		return nil, err
	}
	hs, err := readTSV(filepath.Join(dir, "harmonies", name+".harmonies.tsv"))
	if err != nil {
		return nil, err
	}
	sc := &score.Score{Title: strings.Join(strings.Split(name, "_")[2:], " "), Quarter: formQuarter}
	p := &score.Part{ID: "P1", Name: "Violoncello", Staves: 1}
	if err := formMeasures(p, ms); err != nil {
		return nil, err
	}
	if err := formNotes(p, ns); err != nil {
		return nil, err
	}
	sc.Parts = []*score.Part{p}
	fp := &formPiece{name: name, in: form.Input{Score: sc, Part: p, Events: timeline.Events(p)}}
	for _, row := range hs.rows {
		mark := hs.get(row, "phraseend")
		if mark == "" {
			continue
		}
		mc, at, err := formPlace(p, hs, row)
		if err != nil {
			return nil, err
		}
		at += p.Measures[mc].Start
		if strings.Contains(mark, "}") {
			fp.ends = append(fp.ends, at)
		}
		if strings.Contains(mark, "{") {
			fp.begins = append(fp.begins, at)
		}
	}
	return fp, nil
}

// formPlace is the index of a row's measure and its place in it.
func formPlace(p *score.Part, t *tsvTable, row []string) (int, score.Tick, error) {
	mc, err := strconv.Atoi(t.get(row, "mc"))
	if err != nil || mc < 1 || mc > len(p.Measures) {
		return 0, 0, fmt.Errorf("measure count %q", t.get(row, "mc"))
	}
	at, err := formTicks(t.get(row, "mc_onset"), 4*formQuarter)
	return mc - 1, at, err
}

func formMeasures(p *score.Part, t *tsvTable) error {
	var at score.Tick
	for i, row := range t.rows {
		length, err := formTicks(t.get(row, "act_dur"), 4*formQuarter)
		if err != nil {
			return err
		}
		beats, unit, _ := strings.Cut(t.get(row, "timesig"), "/")
		num, err1 := strconv.Atoi(beats)
		den, err2 := strconv.Atoi(unit)
		fifths, err3 := strconv.Atoi(t.get(row, "keysig"))
		if err1 != nil || err2 != nil || err3 != nil || den < 1 {
			return fmt.Errorf("row %d: meter %q, signature %q", i+2, t.get(row, "timesig"), t.get(row, "keysig"))
		}
		full := score.Tick(4*formQuarter*num) / score.Tick(den)
		m := score.Measure{Index: i, Number: t.get(row, "mn"), Start: at, Len: length, Implicit: t.get(row, "dont_count") != "",
			Meter: score.Meter{Beats: beats, Unit: unit, Num: num, Den: den, Len: full, Groups: []score.Tick{full}}, Key: score.Key{Fifths: fifths}}
		rep := t.get(row, "repeats")
		m.RepeatStart = strings.Contains(rep, "start")
		if strings.Contains(rep, "end") {
			m.RepeatTimes = 2
		}
		if strings.Contains(t.get(row, "barline"), "double") {
			m.RightBar = "light-light"
		}
		if strings.Contains(t.get(row, "barline"), "end-start-repeat") { // drawn, where the repeats column has nothing
			m.RepeatTimes = 2
		}
		if i > 0 && p.Measures[i-1].RepeatTimes > 1 {
			m.RepeatStart = true
		}
		p.Measures = append(p.Measures, m)
		at += length
	}
	return nil
}

func formNotes(p *score.Part, t *tsvTable) error {
	for i, row := range t.rows {
		mc, at, err := formPlace(p, t, row)
		if err != nil {
			return fmt.Errorf("note %d: %w", i+2, err)
		}
		dur, err := formTicks(t.get(row, "duration"), 4*formQuarter)
		if err != nil {
			return fmt.Errorf("note %d: %w", i+2, err)
		}
		ph, err := pitch.Parse(t.get(row, "name"))
		if err != nil {
			return fmt.Errorf("note %d: %w", i+2, err)
		}
		n := score.Note{Measure: mc, Onset: p.Measures[mc].Start + at, Dur: dur, Voice: t.get(row, "voice"), Staff: 1,
			Written: ph, Sounding: ph, Grace: t.get(row, "gracenote") != "", TieFrom: score.NoNote, TieTo: score.NoNote}
		if n.Grace {
			n.Dur = 0
		}
		if tied := t.get(row, "tied"); tied == "0" || tied == "-1" {
			n.TieFrom = 0 // settled below
		}
		p.Notes = append(p.Notes, n)
	}
	sort.SliceStable(p.Notes, func(a, b int) bool { return p.Notes[a].Onset < p.Notes[b].Onset })
	for i := range p.Notes {
		n := &p.Notes[i]
		n.ID, n.Head = score.NoteID(i), score.NoteID(i)
		if n.TieFrom == score.NoNote {
			continue
		}
		n.TieFrom = score.NoNote
		for k := i - 1; k >= 0; k-- {
			if b := &p.Notes[k]; b.End() == n.Onset && b.Sounding == n.Sounding && b.TieTo == score.NoNote {
				n.TieFrom, b.TieTo = b.ID, n.ID
				break
			}
		}
	}
	return nil
}
