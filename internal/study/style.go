package study

import (
	"fmt"
	"slices"
	"strings"

	"pochette/internal/bowing"
	"pochette/internal/fingering"
	"pochette/internal/instrument"
	"pochette/internal/score"
)

// Style is the taste of a plan. The zero value is common practice.
type Style struct {
	// Profile is one of Profiles, "" for common practice.
	Profile string
	// OpenStrings is one of OpenStringChoices, "" for as-needed.
	OpenStrings string
	// Harmonics is one of HarmonicChoices, "" for none.
	Harmonics string
	// Strict keeps the bow as written: no retake, link or changed slur is proposed
	// beyond what marks force.
	Strict bool
	// Fewest rights the bow with the fewest changes, whatever the cost, and leaves what
	// rights itself before long.
	Fewest bool
}

// Profiles lists the styles by name, with a sentence each.
func Profiles() (names, says []string) {
	for _, p := range bowing.Profiles {
		names, says = append(names, p.Name), append(says, p.Says)
	}
	return names, says
}

// OpenStringChoices: sought, left to the plan, shunned.
var OpenStringChoices = []string{"more", "as-needed", "fewer"}

// HarmonicChoices, beyond those that are printed: none, where one spares a shift,
// sought; in the order of fingering.Harmonics.
var HarmonicChoices = []string{"none", "as-needed", "more"}

func (st Style) check() error {
	if _, ok := bowing.ProfileNamed(st.Profile); !ok {
		names, _ := Profiles()
		return fmt.Errorf("--profile %q: want %s", st.Profile, list(names))
	}
	if st.OpenStrings != "" && !slices.Contains(OpenStringChoices, st.OpenStrings) {
		return fmt.Errorf("--open-strings %q: want %s", st.OpenStrings, list(OpenStringChoices))
	}
	if st.Harmonics != "" && !slices.Contains(HarmonicChoices, st.Harmonics) {
		return fmt.Errorf("--harmonics %q: want %s", st.Harmonics, list(HarmonicChoices))
	}
	return nil
}

// list says words as alternatives: "a, b or c".
func list(words []string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	return strings.Join(words[:len(words)-1], ", ") + " or " + words[len(words)-1]
}

// HandProfile is the style of the hand that goes with a profile: its own of that
// name, or the nearest.
func (st Style) HandProfile() fingering.Profile {
	if p := fingering.Profile(st.Profile); p.Known() {
		return p
	}
	if st.Profile == "romantic" {
		return fingering.Later
	}
	return fingering.Plain
}

// What a taste in open strings puts on the costs of the hand, in its units: to
// shun one is worth a string change and more, to seek one costs nothing and a
// finger on its pitch does. Common practice, no source; the sizes are ours.
const (
	openShunned  = 1.5
	stoppedHeeds = 0.8
)

// handWeights are the costs of the hand for a taste in open strings; nil for the
// usual ones.
func (st Style) handWeights(k instrument.Kind) *fingering.Weights {
	if st.OpenStrings == "" || st.OpenStrings == "as-needed" {
		return nil
	}
	w := fingering.DefaultWeights()
	v := w.Vector(k)
	for i, name := range fingering.TermNames() {
		of := name == "open" || strings.HasPrefix(name, "open_")
		switch {
		case st.OpenStrings == "fewer" && name == "open":
			v[i] += openShunned
		case st.OpenStrings == "more" && of:
			v[i] = 0
		case st.OpenStrings == "more" && (name == "fourth" || name == "stopped_for_open"):
			v[i] += stoppedHeeds
		}
	}
	return w.WithVector(k, v)
}

func (s *Study) bowOptions(r Request) bowing.Options {
	o := bowing.Options{MayChangeSlurs: r.MayChangeSlurs, Pace: &s.Pace, Profile: r.Style.Profile, Strict: r.Style.Strict, Fewest: r.Style.Fewest}
	for id, d := range s.Decided {
		if dir := directionOf(d.Bow); dir != bowing.None {
			if o.Decided == nil {
				o.Decided = map[score.NoteID]bowing.Direction{}
			}
			o.Decided[id] = dir
		}
	}
	return o
}

func (s *Study) handOptions(r Request) fingering.Options {
	o := fingering.Options{Instrument: s.Instrument, Pace: &s.Pace, Profile: r.Style.HandProfile(), Weights: r.Style.handWeights(s.Instrument.Kind),
		Harmonics: fingering.Harmonics(max(0, slices.Index(HarmonicChoices, r.Style.Harmonics)))}
	for id, d := range s.Decided {
		if d.Finger == nil && d.String == 0 && d.Position == nil {
			continue
		}
		if o.Decided == nil {
			o.Decided = map[score.NoteID]fingering.Decision{}
		}
		o.Decided[id] = fingering.Decision{Finger: d.Finger, String: d.String, Position: d.Position}
	}
	return o
}
