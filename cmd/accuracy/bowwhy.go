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
// mark decided, its cost and its terms beside those of the proposal.
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
	return text
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

// missReasons says in a player's words why the print differs, by piece and
// measure; what has no reason here is told by its cost alone.
var missReasons = map[string]string{
	"p073_5 1":                     "The print starts this beat down and lifts before the next; the proposal starts up, has the next strong beat right without a lift and changes nothing. P. 74 no. 1 has the same notes without a lift.",
	"p073_5 2":                     "The print lifts before every beat of the bar; with the later signs hidden, alternation brings the bar to come down without this lift.",
	"sitt-op32-1-01 66":            "The sign confirms plain alternation, which all seventeen marks of this étude follow after the first, so the print ends up-bow; the proposal lifts once here, for the bar and the last note to come down.",
	"grieg-op46-2-violoncellii 44": "The bar repeats the one before, pp and dying away, after half a bar of rest; the print enters in the light half of the bow though the note opens the bar. Soft-entry speaks for that, but at this length the bar start still outweighs it.",
}
