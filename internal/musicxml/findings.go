package musicxml

import (
	"fmt"
	"math/big"
	"sort"
	"strconv"

	"pochette/internal/score"
)

// maxSame is how many findings of one kind are given for one part; the rest
// are counted in one more.
const maxSame = 40

// finding is a score.Finding before measures have their last place.
type finding struct {
	kind       string
	grade      score.Grade
	off        int          // in the source, -1 = nowhere
	measure    int          // index + 1, 0 = none
	at         score.Tick   // in the measure
	final      score.NoteID // + 1, 0 = none
	text, hint string
}

func (d *decoder) note(f finding) { d.notes = append(d.notes, f) }

func (ps *partState) note(f finding) { ps.notes = append(ps.notes, f) }

// noteHere makes a finding about the place the part is read at.
func (ps *partState) noteHere(kind string, g score.Grade, off int, format string, args ...any) {
	ps.note(finding{kind: kind, grade: g, off: off, measure: len(ps.part.Measures) + 1, at: ps.pos, text: fmt.Sprintf(format, args...)})
}

// findings gives all findings, those of the file first, then part by part in
// the order of the music.
func (d *decoder) findings() []score.Finding {
	out := d.render(nil, d.notes)
	for _, ps := range d.listed {
		sort.SliceStable(ps.notes, func(i, j int) bool { return ps.notes[i].measure < ps.notes[j].measure })
		out = append(out, d.render(ps, ps.notes)...)
	}
	return out
}

func (d *decoder) render(ps *partState, list []finding) []score.Finding {
	var out []score.Finding
	count := map[string]int{}
	for _, f := range list {
		if count[f.kind]++; count[f.kind] <= maxSame {
			out = append(out, d.place(ps, f))
		}
	}
	seen := map[string]bool{}
	for _, f := range list {
		if n := count[f.kind] - maxSame; n > 0 && !seen[f.kind] {
			seen[f.kind] = true
			g := score.Finding{Kind: f.kind, Grade: f.grade, At: score.Nowhere, To: score.Nowhere, Text: fmt.Sprintf("%d more of the kind %q", n, f.kind)}
			if ps != nil {
				g.Part = ps.part.ID
			}
			out = append(out, g)
		}
	}
	return out
}

func (d *decoder) place(ps *partState, f finding) score.Finding {
	at := score.Nowhere
	g := score.Finding{Kind: f.kind, Grade: f.grade, Text: f.text, Suggestion: f.hint}
	if f.off >= 0 {
		at.Line, at.Column = d.lineOf(f.off)
	}
	if ps != nil {
		g.Part = ps.part.ID
		if f.measure > 0 && f.measure <= len(ps.part.Measures) {
			m := &ps.part.Measures[f.measure-1]
			at.Measure, at.Number, at.Beat = m.Index, m.Number, d.beat(m, f.at)
		}
		if f.final > 0 {
			at.Note = f.final - 1
			g.Notes = []score.NoteID{at.Note}
		}
	}
	g.At, g.To = at, at
	return g
}

// beat counts from 1 in the meter's printed unit, quarters where there is none.
func (d *decoder) beat(m *score.Measure, at score.Tick) string {
	unit := int64(4)
	if m.Meter.Den > 0 {
		unit = int64(m.Meter.Den)
	}
	r := big.NewRat(int64(at)*unit, 4*d.q)
	whole := new(big.Int).Quo(r.Num(), r.Denom())
	frac := new(big.Rat).Sub(r, new(big.Rat).SetInt(whole))
	s := strconv.FormatInt(whole.Int64()+1, 10)
	if frac.Sign() != 0 {
		s += "+" + frac.RatString()
	}
	return s
}
