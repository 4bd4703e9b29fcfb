package joint

import "pochette/internal/instrument"

// Rule names one term that couples bow and hand, or that minds the place on the
// bow: what it says, where it comes from, and its default weight in the units of
// bowing.Rules (one unit is what a player hardly minds).
type Rule struct {
	Name    string
	Says    string
	Source  string
	Default float64
}

// The rules, as indices into Weights and Rules.
const (
	// CrossInStroke and CrossAtTurn: the bow's arm rises while it draws up and
	// sinks while it draws down. To go to a higher string it sinks, to a lower
	// one it rises; so a crossing to a higher string belongs into or at the end
	// of a down-bow, one to a lower string into or at the end of an up-bow.
	CrossInStroke = iota
	CrossAtTurn
	BowSpeed
	BowRunsOut
	BowMoves
	RetakeAtFrog
	ChordAtFrog
	numRules
)

// Weights gives each rule its weight, from 0 up.
type Weights [numRules]float64

// Rules is the table of the joint terms. All are small beside the rules of the
// down-bow: they choose between what bow and hand alone hold for equal.
var Rules = [numRules]Rule{
	CrossInStroke: {"crossing-against-stroke", "inside a stroke the bow goes to higher strings on a down-bow, to lower ones on an up-bow, as it breaks chords from the bass (for each string passed)", "common practice, no source; the geometry of the arm on violin and viola", 0.15},
	CrossAtTurn:   {"crossing-against-turn", "of two neighbouring strings by turns the lower goes down-bow, the upper up-bow, so that the arm goes on as the stroke left it (for each string passed; violin and viola)", "a teaching note of 2007 on the two rotations of the bow, violinist.com/blog/alofu/200711/7754; not taken over to the cello, whose strings lie the other way round the arm", 0.2},
	BowSpeed:      {"bow-speed", "a stroke is faster or slower than its loudness asks (times the squared natural logarithm of the ratio)", "after bowing.UseOf; the form is ours", 0.15},
	BowRunsOut:    {"bow-too-short", "less bow is left than the slowest that still speaks needs (times the missing share)", "RESEARCH.md, Bow physics (lowest speed, from memory); the form is ours", 3},
	BowMoves:      {"bow-moves", "at a change the bow is set elsewhere than where it was (times the share of the bow)", "common practice, no source", 1.5},
	RetakeAtFrog:  {"retake-at-frog", "a retaken down-bow is set near the frog (times the distance from it as a share of the bow)", "common practice, no source", 0.4},
	ChordAtFrog:   {"chord-at-frog", "a chord of three or four notes is broken near the frog (times the distance from it as a share of the bow)", "common practice, no source", 0.8},
}

// DefaultWeights is the weights of the table for an instrument.
func DefaultWeights(k instrument.Kind) *Weights {
	var w Weights
	for i, r := range Rules {
		w[i] = r.Default
	}
	if k == instrument.CelloKind {
		w[CrossAtTurn] = 0
	}
	return &w
}
