package main

import (
	"encoding/json"
	"fmt"
	"math/big"
	"os"
	"slices"

	"pochette/internal/bowing"
	"pochette/internal/pitch"
	"pochette/internal/score"
)

// bowExample is one example of the treatise; lengths and places in whole notes.
// Its own README describes the fields.
type bowExample struct {
	ID      string      `json:"id"`
	Meter   [2]int      `json:"meter"`
	Partial *string     `json:"partial"`
	Rests   [][2]string `json:"rests"`
	Strokes []struct {
		Pos   string      `json:"pos"`
		Notes [][2]string `json:"notes"`
		Bow   *string     `json:"bow"`
	} `json:"strokes"`
}

func readTreatise(path string) ([]bowExample, error) {
	b, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	var ex []bowExample
	if err := json.Unmarshal(b, &ex); err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	for i := range ex {
		if err := ex[i].check(); err != nil {
			return nil, fmt.Errorf("%s, example %s: %w", path, ex[i].ID, err)
		}
	}
	return ex, nil
}

// check makes sure that every number can be read, so that part need not.
func (e *bowExample) check() error {
	texts := []string{}
	if e.Partial != nil {
		texts = append(texts, *e.Partial)
	}
	for _, r := range e.Rests {
		texts = append(texts, r[:]...)
	}
	for _, s := range e.Strokes {
		texts = append(texts, s.Pos)
		for _, n := range s.Notes {
			texts = append(texts, n[1])
		}
	}
	for _, t := range texts {
		if _, ok := new(big.Rat).SetString(t); !ok {
			return fmt.Errorf("%q is no fraction", t)
		}
	}
	if e.Meter[0] <= 0 || e.Meter[1] <= 0 {
		return fmt.Errorf("meter %v", e.Meter)
	}
	return nil
}

// exampleQuarter holds triplets and 128th notes.
const exampleQuarter = 96 * 4

func exampleTicks(s string) score.Tick {
	r, _ := new(big.Rat).SetString(s)
	r.Mul(r, big.NewRat(4*exampleQuarter, 1))
	if !r.IsInt() {
		panic("accuracy: a length of " + s + " whole notes is finer than the grid")
	}
	return score.Tick(r.Num().Int64())
}

// part makes a part of the example: octave 4 throughout, no bow signs; these
// come back as marks. Notes that cross a bar line stand in the bar they begin in.
func (e *bowExample) part() (*score.Score, *score.Part, []bowMark) {
	sc := &score.Score{Quarter: exampleQuarter}
	p := &score.Part{ID: "P1", Name: "Violin", Staves: 1}
	var marks []bowMark
	var end score.Tick
	for _, s := range e.Strokes {
		at := exampleTicks(s.Pos)
		first := score.NoteID(len(p.Notes))
		for _, n := range s.Notes {
			d := exampleTicks(n[1])
			p.Notes = append(p.Notes, exampleNote(score.NoteID(len(p.Notes)), n[0], at, d))
			at += d
		}
		if last := score.NoteID(len(p.Notes) - 1); last > first {
			p.Slurs = append(p.Slurs, score.Slur{Number: 1, Start: first, End: last})
		}
		if s.Bow != nil {
			marks = append(marks, bowMark{first, map[string]bowing.Direction{"D": bowing.Down, "U": bowing.Up}[*s.Bow]})
		}
		end = max(end, at)
	}
	for _, r := range e.Rests {
		end = max(end, exampleTicks(r[0])+exampleTicks(r[1]))
	}
	e.addMeasures(p, end)
	sc.Parts = []*score.Part{p}
	return sc, p, marks
}

func exampleNote(id score.NoteID, name string, at, dur score.Tick) score.Note {
	step := slices.Index([]string{"c", "d", "e", "f", "g", "a", "b"}, name[:1])
	return score.Note{ID: id, Onset: at, Dur: dur, Voice: "1", Staff: 1, Head: id, TieFrom: score.NoNote, TieTo: score.NoNote,
		Written: pitch.Pitch{Step: pitch.Step(step), Octave: 4}, Sounding: pitch.Pitch{Step: pitch.Step(step), Octave: 4}}
}

func (e *bowExample) addMeasures(p *score.Part, end score.Tick) {
	full := score.Tick(4*exampleQuarter) * score.Tick(e.Meter[0]) / score.Tick(e.Meter[1])
	m := score.Meter{Num: e.Meter[0], Den: e.Meter[1], Beats: fmt.Sprint(e.Meter[0]), Unit: fmt.Sprint(e.Meter[1]), Len: full, Groups: []score.Tick{full}}
	number := 1
	var at score.Tick
	if e.Partial != nil {
		at = exampleTicks(*e.Partial)
		p.Measures = append(p.Measures, score.Measure{Number: "0", Implicit: true, Len: at, Meter: m})
	}
	for ; at < end; at += full {
		p.Measures = append(p.Measures, score.Measure{Number: fmt.Sprint(number), Start: at, Len: full, Meter: m})
		number++
	}
	for i := range p.Measures {
		p.Measures[i].Index = i
	}
	p.Measures[len(p.Measures)-1].RightBar = "regular" // an excerpt: the music goes on
	k := 0
	for i := range p.Notes {
		for k+1 < len(p.Measures) && p.Measures[k+1].Start <= p.Notes[i].Onset {
			k++
		}
		p.Notes[i].Measure = k
	}
}
