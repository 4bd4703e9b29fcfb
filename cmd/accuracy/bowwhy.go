package main

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"pochette/internal/bowing"
	"pochette/internal/score"
)

// missWhy tells what the printed direction would cost: the same study with the
// mark decided, its cost and its terms beside those of the proposal, and what both
// do.
func missWhy(sc *score.Score, p *score.Part, st *bowing.Study, mk bowMark, decided map[score.NoteID]bowing.Direction, w *bowing.Weights) string {
	with := map[score.NoteID]bowing.Direction{mk.note: mk.dir}
	for k, v := range decided {
		with[k] = v
	}
	as := bowing.Analyze(sc, p, bowing.Options{Decided: with, Weights: w})
	text := fmt.Sprintf("by the rules the print costs %.1f more", as.Plan.Cost-st.Plan.Cost)
	dear, cheap := termDiffs(st.Plan.Terms, as.Plan.Terms)
	if len(dear) > 0 {
		text += ": " + strings.Join(dear, ", ")
	}
	if len(cheap) > 0 {
		text += "; it saves " + strings.Join(cheap, ", ")
	}
	return text + ". " + missDoes(p, st, as, mk)
}

// termDiffs lists the terms in which b is dearer and cheaper than a, the
// largest first.
func termDiffs(a, b []score.Term) (dear, cheap []string) {
	diff := map[string]float64{}
	for _, t := range b {
		diff[t.Name] += t.Value
	}
	for _, t := range a {
		diff[t.Name] -= t.Value
	}
	var names []string
	for n, v := range diff {
		if math.Abs(v) >= 0.05 {
			names = append(names, n)
		}
	}
	slices.SortFunc(names, func(x, y string) int {
		if d := math.Abs(diff[y]) - math.Abs(diff[x]); d != 0 {
			return int(math.Copysign(1, d))
		}
		return strings.Compare(x, y)
	})
	for _, n := range names {
		if t := fmt.Sprintf("%s %.1f", n, math.Abs(diff[n])); diff[n] > 0 {
			dear = append(dear, t)
		} else {
			cheap = append(cheap, t)
		}
	}
	return dear, cheap
}

// missDoes tells what the proposal does up to the mark and what the print would do
// instead: the changes that one has and the other has not, and the places nearby
// at which the two come out in other directions.
func missDoes(p *score.Part, st, as *bowing.Study, mk bowMark) string {
	var parts []string
	name := func(s *bowing.Study, i int) string {
		return fmt.Sprintf("measure %s, stroke %d", p.Measures[s.Proposed[i].Measure].Number, i+1)
	}
	lists := func(a, b *bowing.Study) []string {
		var out []string
		for i := range a.Proposed {
			if c := a.Proposed[i].Change; changed(c) && (i >= len(b.Proposed) || b.Proposed[i].Change != c) {
				out = append(out, fmt.Sprintf("%s at %s", changeWord[c], name(a, i)))
			}
		}
		return out
	}
	say := func(who string, what []string) {
		if n := len(what); n > missTold {
			what = append(what[:missTold], fmt.Sprintf("%d more", n-missTold))
		}
		if len(what) == 0 {
			what = []string{"no change that the print has not"}
			if who == "the print" {
				what = []string{"no change that the proposal has not"}
			}
		}
		parts = append(parts, who+" has "+strings.Join(what, ", "))
	}
	say("the proposal", lists(st, as))
	say("the print", lists(as, st))
	s := strokeWith(st.Proposed, mk.note)
	up := func(a *bowing.Study) (n int) {
		for i := range a.Proposed {
			if slices.ContainsFunc(a.Proposed[i].Why, func(t score.Term) bool { return t.Name == bowing.Rules[bowing.BarStart].Name }) {
				n++
			}
		}
		return n
	}
	parts = append(parts, fmt.Sprintf("bars that begin up-bow: %d as proposed, %d as printed", up(st), up(as)))
	if why := st.Proposed[s].Why; len(why) > 0 {
		var ts []string
		for _, t := range why {
			ts = append(ts, fmt.Sprintf("%s %.1f", t.Name, t.Value))
		}
		parts = append(parts, "against the proposed stroke itself speak "+strings.Join(ts, ", "))
	}
	text := strings.Join(parts, "; ") + "."
	return strings.ToUpper(text[:1]) + text[1:]
}

// missTold is how many changes an explanation names.
const missTold = 3

func changed(c bowing.Change) bool { return changeWord[c] != "" }

var changeWord = map[bowing.Change]string{bowing.Retake: "a retake", bowing.Link: "a linked stroke", bowing.AfterRest: "a fresh start after the rest", bowing.Split: "a split slur", bowing.Join: "an added slur"}
