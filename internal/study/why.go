package study

import (
	"fmt"
	"math"
	"slices"

	"pochette/internal/bowing"
	"pochette/internal/score"
	"pochette/internal/technique/joint"
)

// leastTold is the size from which a term of a stroke is worth a word.
const leastTold = 0.05

// kinds of terms of a stroke, in the order in which they are told.
const (
	ofDirection = iota
	ofCrossing
	ofFollowing
	ofBow
	ofNext
	termKinds
)

// kindSays begins the sentence about each kind.
var kindSays = [termKinds]string{
	ofDirection: "Against this direction speaks:",
	ofCrossing:  "The bow crosses against the arm, which sinks with a down-bow to the higher strings and rises with an up-bow to the lower:",
	ofFollowing: "Following the stroke before so costs:",
	ofBow:       "Its length and its place on the bow cost:",
	ofNext:      "For what comes after it costs:",
}

// kindOf sorts a term of a stroke by what it is about.
func kindOf(term string) int {
	names := func(rules ...int) bool {
		return slices.ContainsFunc(rules, func(r int) bool { return bowing.Rules[r].Name == term })
	}
	of := func(rules ...int) bool {
		return slices.ContainsFunc(rules, func(r int) bool { return joint.Rules[r].Name == term })
	}
	switch {
	case of(joint.CrossInStroke, joint.CrossAtTurn):
		return ofCrossing
	case of(joint.BowSpeed, joint.BowRunsOut, joint.BowMoves, joint.RetakeAtFrog, joint.ChordAtFrog), names(bowing.BowRunsOut):
		return ofBow
	case names(bowing.GoesOn):
		return ofNext
	case names(bowing.RestartAfterRest, bowing.RestHaste, bowing.RetakeLift, bowing.RetakeHaste, bowing.RetakeLifted, bowing.RetakeChords, bowing.RetakeUp,
		bowing.RetakeLegato, bowing.RetakeToWeak, bowing.RetakeEvenBar, bowing.LinkPair, bowing.LinkDotted, bowing.LinkHaste, bowing.LinkSyncopated, bowing.TooQuick,
		bowing.SplitSlur, bowing.JoinNotes):
		return ofFollowing
	}
	return ofDirection
}

// strokeReasons tells what a stroke costs, by the kind of its terms.
func strokeReasons(st *bowing.Stroke) []string {
	var by [termKinds][]score.Term
	for _, t := range st.Why {
		if math.Abs(t.Value) >= leastTold {
			k := kindOf(t.Name)
			by[k] = append(by[k], t)
		}
	}
	var out []string
	for k, ts := range by {
		if len(ts) > 0 {
			out = append(out, kindSays[k]+" "+termText(ts))
		}
	}
	return out
}

// bowTotals sums the terms of the bow over the movement.
func (s *Study) bowTotals() string {
	ts := slices.Concat(s.Bow.Plan.Terms, s.Joint.Together())
	return fmt.Sprintf("The bow of the whole movement costs %.1f. %s", sumOf(ts), termText(told(ts)))
}

// handTotals sums the terms of the hand over the movement.
func (s *Study) handTotals() string {
	return fmt.Sprintf("The hand of the whole movement costs %.1f. %s", s.Hand.Plan.Cost, termText(told(s.Hand.Plan.Terms)))
}

func sumOf(ts []score.Term) (sum float64) {
	for _, t := range ts {
		sum += t.Value
	}
	return sum
}

// told are the terms that are worth a word, as they come.
func told(ts []score.Term) []score.Term {
	var out []score.Term
	for _, t := range ts {
		if math.Abs(t.Value) >= leastTold {
			out = append(out, t)
		}
	}
	return out
}

// besideLines tells, where something is decided, what each decision costs elsewhere, and
// the other ways to play the part.
func (s *Study) besideLines() []string {
	if len(s.Decided) == 0 {
		return nil
	}
	var out []string
	for i := range s.Compared().Weighed {
		w := &s.Compared().Weighed[i]
		out = append(out, s.weighedText(w))
	}
	for i := range s.Compared().Others {
		a := &s.Compared().Others[i]
		out = append(out, "Otherwise: "+a.Text+" "+extraText(a.Extra))
	}
	return out
}

// BesideSummary says in a line each what the decisions cost and how many other ways
// there are.
func (s *Study) BesideSummary() []string {
	var out []string
	for i := range s.Compared().Weighed {
		out = append(out, s.weighedText(&s.Compared().Weighed[i]))
	}
	if n := len(s.Compared().Others); n > 0 {
		a := &s.Compared().Others[0]
		out = append(out, fmt.Sprintf("%s told in the report; the cheapest: %s %s", count(n, "other way to play it is", "other ways to play it are"), a.Text, extraText(a.Extra)))
	}
	return out
}
