package main

import (
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"pochette/internal/bowing"
	"pochette/internal/musicxml"
	"pochette/internal/score"
)

func init() { register("bow", measureBow) }

// bowTally counts agreement at the printed bow marks of one piece or page.
type bowTally struct {
	name                                      string
	marks, agree                              int
	rested, restedAgree                       int // marks on the first note after a rest
	alternate, fromFirst, alternateOf, asDown int // baselines; alternateOf: marks with one before them
	misses                                    []string
}

func (t *bowTally) add(o bowTally) {
	t.marks += o.marks
	t.agree += o.agree
	t.rested += o.rested
	t.restedAgree += o.restedAgree
	t.alternate += o.alternate
	t.alternateOf += o.alternateOf
	t.fromFirst += o.fromFirst
	t.asDown += o.asDown
	t.misses = append(t.misses, o.misses...)
}

// bowPiece is one part with its printed bow signs taken off.
type bowPiece struct {
	name  string // example or file
	row   string // of the table
	sc    *score.Score
	p     *score.Part
	marks []bowMark
}

// measureBow hides each printed mark and all that follow it, keeps the earlier
// ones, and asks whether the proposal has the direction of the mark.
func measureBow(w io.Writer, data string) error {
	dir := filepath.Join(data, "bowing")
	fmt.Fprintf(w, "## Bow directions at printed marks\n\nAt each printed mark, with the earlier marks kept and this one and all later ones hidden: does the proposal agree?\n"+
		"Beside it plain alternation, over rests too: from the last mark before and from the first mark of the piece (they say nothing of the first mark itself), and from a down-bow on the first stroke.\n"+
		"The weights were set while looking at the treatise and the études. The parts of the third table gave one rule, soft-entry, and the reading of phrase-start in slow music (17 of 26 without them); nothing else was set by them.\n\n")
	for _, set := range []struct{ name, title string }{
		{"treatise", "Treatise of 1756, ch. IV (L. Mozart; edition ism-dme/lm-vs)"},
		{"etudes", "Études (H. Sitt, op. 32 book 1; MutopiaProject)"},
		{"solos", "Solo and orchestral parts (MutopiaProject)"}} {
		pieces, err := bowPieces(dir, set.name)
		if err != nil {
			return err
		}
		rows, all := tallyBow(pieces, nil)
		bowTable(w, set.title, rows, all)
		low, high := shakenBow(pieces, 20)
		fmt.Fprintf(w, "With every weight changed at random by up to a fifth either way, 20 times: %d to %d of %d agree.\n\n", low, high, all.marks)
	}
	pieces, err := bowPieces(dir, "treatise")
	if err != nil {
		return err
	}
	if err := measureFixes(w, pieces); err != nil {
		return err
	}
	if err := measureBowRules(w, dir); err != nil {
		return err
	}
	return measureFirstNotes(w, data)
}

func bowPieces(dir, set string) ([]bowPiece, error) {
	if set == "treatise" {
		return treatisePieces(filepath.Join(dir, "treatise_1756_ch4.json"))
	}
	files, err := filepath.Glob(filepath.Join(dir, set, "*.musicxml"))
	if err != nil {
		return nil, err
	}
	if len(files) == 0 {
		return nil, fmt.Errorf("no MusicXML files in %s", filepath.Join(dir, set))
	}
	slices.Sort(files)
	var out []bowPiece
	for _, f := range files {
		sc, err := readScore(f)
		if err != nil {
			return nil, err
		}
		name := strings.TrimSuffix(filepath.Base(f), ".musicxml")
		for _, p := range sc.Parts {
			if marks := stripMarks(p); len(marks) > 0 {
				out = append(out, bowPiece{name, name, sc, p, marks})
			}
		}
	}
	return out, nil
}

func treatisePieces(path string) ([]bowPiece, error) {
	examples, err := readTreatise(path)
	if err != nil {
		return nil, err
	}
	var out []bowPiece
	for _, e := range examples {
		sc, p, marks := e.part()
		page := "p. " + strings.TrimLeft(strings.TrimPrefix(strings.Split(e.ID, "_")[0], "p"), "0")
		out = append(out, bowPiece{e.ID, page, sc, p, marks})
	}
	return out, nil
}

func tallyBow(pieces []bowPiece, w *bowing.Weights) (rows []bowTally, all bowTally) {
	for _, b := range pieces {
		t := hideEach(b.sc, b.p, b.marks, b.name, w)
		if n := len(rows); n == 0 || rows[n-1].name != b.row {
			rows = append(rows, bowTally{name: b.row})
		}
		rows[len(rows)-1].add(t)
		all.add(t)
	}
	return rows, all
}

// shakenBow tells how much the figure hangs on the exact weights.
func shakenBow(pieces []bowPiece, times int) (low, high int) {
	r := rand.New(rand.NewPCG(1756, 4))
	low = math.MaxInt
	for range times {
		w := bowing.DefaultWeights()
		for i := range w {
			w[i] *= 0.8 + 0.4*r.Float64()
		}
		_, all := tallyBow(pieces, w)
		low, high = min(low, all.agree), max(high, all.agree)
	}
	return low, high
}

func readScore(path string) (*score.Score, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	sc, _, err := musicxml.Read(f, filepath.Base(path))
	return sc, err
}

// bowMark is a printed direction on a note.
type bowMark struct {
	note score.NoteID
	dir  bowing.Direction
}

// stripMarks takes the bow signs off a part and gives them in order of time.
func stripMarks(p *score.Part) []bowMark {
	var out []bowMark
	for i := range p.Notes {
		n := &p.Notes[i]
		n.Marks = slices.DeleteFunc(n.Marks, func(m score.Mark) bool {
			switch m.Kind {
			case score.UpBow:
				out = append(out, bowMark{n.ID, bowing.Up})
			case score.DownBow:
				out = append(out, bowMark{n.ID, bowing.Down})
			default:
				return false
			}
			return true
		})
	}
	return out
}

// hideEach studies a part without signs once for each mark, the earlier ones
// given as decided.
func hideEach(sc *score.Score, p *score.Part, marks []bowMark, name string, w *bowing.Weights) bowTally {
	t := bowTally{name: name}
	decided := map[score.NoteID]bowing.Direction{}
	for k, mk := range marks {
		st := bowing.Analyze(sc, p, bowing.Options{Decided: decided, Weights: w})
		s := strokeWith(st.Proposed, mk.note)
		if s < 0 {
			t.misses = append(t.misses, fmt.Sprintf("%s: the mark on note %d takes no bow", name, mk.note))
			continue
		}
		t.marks++
		rest := s > 0 && st.Proposed[s].Onset > st.Proposed[s-1].End()
		hit := st.Proposed[s].Direction == mk.dir
		if hit {
			t.agree++
		} else {
			t.misses = append(t.misses, missText(name, p, st, s, mk, missWhy(sc, p, st, mk, decided, w)))
		}
		if rest {
			t.rested++
			if hit {
				t.restedAgree++
			}
		}
		t.baselines(st.Proposed, s, mk, marks[:k])
		decided[mk.note] = mk.dir
	}
	return t
}

func missText(name string, p *score.Part, st *bowing.Study, s int, mk bowMark, why string) string {
	number := p.Measures[st.Proposed[s].Measure].Number
	text := fmt.Sprintf("%s, measure %s, stroke %d: printed %s, proposed %s; %s", name, number, s+1, mk.dir, st.Proposed[s].Direction, why)
	return text
}

// baselines counts plain alternation over rests: from the mark before, from the
// first mark, and from a down-bow on the first stroke.
func (t *bowTally) baselines(strokes []bowing.Stroke, s int, mk bowMark, before []bowMark) {
	d := bowing.Down
	if s%2 == 1 {
		d = bowing.Up
	}
	if d == mk.dir {
		t.asDown++
	}
	if len(before) == 0 {
		return
	}
	t.alternateOf++
	if alternated(strokes, before[len(before)-1], s) == mk.dir {
		t.alternate++
	}
	if alternated(strokes, before[0], s) == mk.dir {
		t.fromFirst++
	}
}

// alternated is the direction of stroke s by plain alternation from a mark.
func alternated(strokes []bowing.Stroke, from bowMark, s int) bowing.Direction {
	if (s-strokeWith(strokes, from.note))%2 != 0 {
		return from.dir.Opposite()
	}
	return from.dir
}

func strokeWith(strokes []bowing.Stroke, id score.NoteID) int {
	for i := range strokes {
		if !strokes[i].Pizzicato && slices.Contains(strokes[i].Notes, id) {
			return i
		}
	}
	return -1
}

func bowTable(w io.Writer, title string, rows []bowTally, all bowTally) {
	fmt.Fprintf(w, "### %s\n\n| | marks | agree | after a rest | alternation from the mark before | from the first mark | from a down-bow |\n|---|---:|---:|---:|---:|---:|---:|\n", title)
	all.name = "**all**"
	for _, t := range append(rows, all) {
		fmt.Fprintf(w, "| %s | %d | %d (%.1f %%) | %d of %d | %d of %d | %d of %d | %d of %d |\n", t.name, t.marks, t.agree, percent(t.agree, t.marks),
			t.restedAgree, t.rested, t.alternate, t.alternateOf, t.fromFirst, t.alternateOf, t.asDown, t.marks)
	}
	fmt.Fprintf(w, "\nDisagreements:\n\n")
	for _, m := range all.misses {
		fmt.Fprintf(w, "- %s\n", m)
	}
	if len(all.misses) == 0 {
		fmt.Fprintln(w, "- none")
	}
	fmt.Fprintln(w)
}

func percent(a, b int) float64 {
	if b == 0 {
		return 0
	}
	return 100 * float64(a) / float64(b)
}
