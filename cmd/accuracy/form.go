package main

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"pochette/internal/form"
	"pochette/internal/harmony"
	"pochette/internal/score"
	"pochette/internal/timeline"
)

func init() { register("form", measureForm) }

// f1 counts matches of places, one to one.
type f1 struct{ hit, told, marked int }

func (c *f1) add(o f1) { c.hit, c.told, c.marked = c.hit+o.hit, c.told+o.told, c.marked+o.marked }

func (c f1) share(of int) float64 { return 100 * float64(c.hit) / float64(max(1, of)) }

func (c f1) String() string {
	return fmt.Sprintf("%.1f %% | %.1f %% | %.1f %% | %d | %d", 2*100*float64(c.hit)/float64(max(1, c.told+c.marked)), c.share(c.told), c.share(c.marked), c.told, c.marked)
}

// matched pairs places in order, those for which same holds.
func matched(told, marked []score.Tick, same func(a, b score.Tick) bool) f1 {
	c := f1{told: len(told), marked: len(marked)}
	j := 0
	for _, a := range told {
		for k := j; k < len(marked); k++ {
			if same(a, marked[k]) {
				c.hit++
				j = k + 1
				break
			}
		}
	}
	return c
}

// barIndex counts bars by their downbeats.
func barIndex(p *score.Part, at score.Tick) int {
	n := 0
	for i := range p.Measures {
		if p.Measures[i].Start > at {
			break
		}
		if timeline.Offset(p, i) == 0 {
			n++
		}
	}
	return n
}

// formFolds: pieces are dealt out in turn, so that each fold has pieces of every suite.
const formFolds = 7

func formExamples(pieces []formPiece, fold int) []form.Example {
	var out []form.Example
	for i := range pieces {
		if i%formFolds != fold {
			out = append(out, form.Example{In: pieces[i].in, Arrivals: pieces[i].ends})
		}
	}
	return out
}

// formCadences gives each piece the cadences that harmony tells with weights
// learned without it, so that the weights of the form meet them as they will be in
// music that neither has seen (stacking, Wolpert 1992).
func formCadences(pieces []formPiece, data string) ([]formPiece, error) {
	all, err := readHarmony(data)
	if err != nil {
		return nil, err
	}
	weights, _, err := harmonyFolds(all, func(i int, _ *harmony.Labelled) string { return fmt.Sprint(i % harmonyFoldsByPiece) })
	if err != nil {
		return nil, err
	}
	byName := map[string]*harmony.Labelled{}
	for i := range all {
		byName[all[i].Name] = &all[i]
	}
	out := slices.Clone(pieces)
	for i := range out {
		l := byName[out[i].name]
		if l == nil {
			return nil, fmt.Errorf("%s has notes but no chords", out[i].name)
		}
		out[i].in.Cadences = nil
		for _, c := range harmony.AnalyzeWith(l.Part, l.Quarter, weights[l.Name]).Cadences {
			out[i].in.Cadences = append(out[i].in.Cadences, form.Cadence{At: c.At * formQuarter / l.Quarter, Kind: strings.TrimSuffix(c.Type.String(), " cadence"), Strength: c.Strength})
		}
	}
	return out, nil
}

// formRow is a row of the table: what it tells, how it is matched.
type formRow struct {
	name string
	sum  f1
}

func measureForm(w io.Writer, data string) error {
	pieces, err := readFormPieces(data)
	if err != nil {
		return err
	}
	told, err := formCadences(pieces, data)
	if err != nil {
		return err
	}
	var plain, weights [formFolds]*form.Weights
	for f := range weights {
		plain[f], weights[f] = form.Fit(formExamples(pieces, f)), form.Fit(formExamples(told, f))
	}
	rows := []formRow{{name: "**phrase end, right bar**"}, {name: "phrase end, right beat"}, {name: "phrase beginning, right note"},
		{name: "phrase end, right bar, no harmony told"},
		{name: "a downbeat every 4 bars, right bar"}, {name: "a downbeat every 8 bars, right bar"}, {name: "the strongest long notes, rests and leaps (LBDM), as many as marked, right bar"},
		{name: "the longest notes and rests, as many as marked, right bar"}}
	fmt.Fprintf(w, "## Form: phrase ends\n\nAgainst the phrase marks of DCMLab/bach_solo (%d movements; the end of a phrase is the onset of the chord that it arrives at). "+
		"Weights fitted without the movement that is read, in %d groups of movements, on cadences that harmony tells with weights learned without it too. The last four rows are what simple methods reach.\n\n", len(pieces), formFolds)
	var byPiece []formRow
	for i := range pieces {
		pc := &pieces[i]
		res := formResults(pc, &told[i], plain[i%formFolds], weights[i%formFolds])
		for k := range rows {
			rows[k].sum.add(res[k])
		}
		byPiece = append(byPiece, formRow{pc.name, res[0]})
	}
	fmt.Fprint(w, "| | F1 | precision | recall | told | marked |\n|---|---|---|---|---|---|\n")
	for _, r := range rows {
		fmt.Fprintf(w, "| %s | %v |\n", r.name, r.sum)
	}
	fmt.Fprint(w, "\nBy movement, right bar:\n\n| | F1 | precision | recall | told | marked |\n|---|---|---|---|---|---|\n")
	for _, r := range byPiece {
		fmt.Fprintf(w, "| %s | %v |\n", r.name, r.sum)
	}
	all := form.Fit(formExamples(told, -1))
	far := formDistance(all, form.Fitted(true))
	fmt.Fprintf(w, "\nWeights fitted to all movements differ from those in the program by at most %.2f (%.2f without harmony).\n\n",
		far, formDistance(form.Fit(formExamples(pieces, -1)), form.Fitted(false)))
	if far > staleWeights {
		fmt.Fprintf(w, "The cadences have changed since; withHarmony of internal/form/weights.go should be\n\n```go\n%s```\n\n", all.Go())
	}
	return nil
}

// staleWeights is how far the weights may lie from a fresh fit.
const staleWeights = 0.05

// formDistance is the greatest difference of two weights.
func formDistance(a, b *form.Weights) float64 {
	worst := math.Abs(a.Bias - b.Bias)
	for i := range a.Arrival {
		worst = math.Max(worst, math.Abs(a.Arrival[i]-b.Arrival[i]))
	}
	for i := range a.Length {
		worst = math.Max(worst, math.Abs(a.Length[i]-b.Length[i]))
	}
	return worst
}

// formResults reads one piece and matches what it tells, in the order of the rows.
func formResults(pc, told *formPiece, plain, weights *form.Weights) []f1 {
	p := pc.in.Part
	bar := func(a, b score.Tick) bool { return barIndex(p, a) == barIndex(p, b) }
	beat := func(a, b score.Tick) bool { return a == b }
	var ends, begins []score.Tick
	for _, x := range form.Phrases(told.in, weights) {
		ends, begins = append(ends, x.Arrival), append(begins, x.From)
	}
	var alone []score.Tick
	for _, x := range form.Phrases(pc.in, plain) {
		alone = append(alone, x.Arrival)
	}
	n := len(pc.ends)
	return []f1{matched(ends, pc.ends, bar), matched(ends, pc.ends, beat), matched(begins, pc.begins, beat), matched(alone, pc.ends, bar),
		matched(everyBars(p, 4), pc.ends, bar), matched(everyBars(p, 8), pc.ends, bar),
		matched(form.Gaps(pc.in, n), pc.ends, bar), matched(form.LongestNotes(pc.in, n), pc.ends, bar)}
}

// everyBars is a downbeat each so many bars.
func everyBars(p *score.Part, n int) []score.Tick {
	var out []score.Tick
	count := 0
	for i := range p.Measures {
		if timeline.Offset(p, i) == 0 {
			if count++; count%n == 0 {
				out = append(out, p.Measures[i].Start)
			}
		}
	}
	return out
}
