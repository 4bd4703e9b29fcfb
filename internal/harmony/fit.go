package harmony

import (
	"fmt"

	"pochette/internal/score"
)

// Labelled is a movement with what its annotators wrote.
type Labelled struct {
	Name, Group string // Group: what is never split over training and test
	Part        *score.Part
	Quarter     score.Tick
	Home        Key
	Labels      []Label
	// Cadences as labelled. Where there are none at all the annotators labelled
	// none, and nothing is learned of cadences from the movement.
	Cadences []LabelledCadence
	Phrases  []score.Tick // ends of phrases
}

// LabelledCadence is a cadence label; Type is one of PAC, IAC, HC, DC, EC, PC.
type LabelledCadence struct {
	At   score.Tick
	Type string
}

// Fit learns all weights: those of the search, then those of the cadences on the
// readings that the search makes with them.
func Fit(all []Labelled, set Settings) (*Weights, error) {
	w, err := LearnReading(all, set)
	if err != nil {
		return nil, err
	}
	w = w.WithKeyShare(set.KeyShare)
	var closes []labelledCloses
	for _, l := range all {
		c := labelledCloses{study: AnalyzeWith(l.Part, l.Quarter, w), phrases: l.Phrases}
		for _, x := range l.Cadences {
			c.at, c.half = append(c.at, x.At), append(c.half, x.Type == "HC")
		}
		closes = append(closes, c)
	}
	learnCadences(w, closes)
	return w, nil
}

// LearnReading learns the weights of the search alone, the evidence of keys still
// at its whole share.
func LearnReading(all []Labelled, set Settings) (*Weights, error) {
	var exs []*Example
	var names []string
	for _, l := range all {
		ex, ok := NewExample(l.Part, l.Quarter, l.Home, l.Labels)
		if !ok {
			return nil, fmt.Errorf("%s: its first label is missing or in a key beyond those that are looked for", l.Name)
		}
		exs, names = append(exs, ex), append(names, l.Name)
	}
	w := Learn(exs, set)
	w.Learned = names
	return w, nil
}
