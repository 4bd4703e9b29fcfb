package study

import (
	"fmt"
	"slices"
	"strings"

	"pochette/internal/bowing"
	"pochette/internal/decide"
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
	// Taste of the left hand is one of Tastes, "" for usual.
	Taste string
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

// Tastes of the left hand. The usual one mixes what is learned from soloists with what
// is set by hand, and stays in first position where nothing asks for more (package
// learn); the soloist's is what is learned alone.
var Tastes = []string{"usual", soloist}

const soloist = "soloist"

// choices names the options of a style that are words, with what each may be; the names
// are those of the command line and of the decisions file.
func (st *Style) choices() []choice {
	names, _ := Profiles()
	return []choice{
		{"profile", &st.Profile, names},
		{"taste", &st.Taste, Tastes},
		{"open-strings", &st.OpenStrings, OpenStringChoices},
		{"harmonics", &st.Harmonics, HarmonicChoices},
	}
}

type choice struct {
	name  string
	value *string
	among []string
}

func (c *choice) check() error {
	if *c.value != "" && !slices.Contains(c.among, *c.value) {
		return fmt.Errorf("%s %q: want %s", c.name, *c.value, list(c.among))
	}
	return nil
}

// With fills in what the style leaves open from the settings of a decisions file. The
// error has the file's line.
func (st Style) With(settings []decide.Setting) (Style, error) {
	for _, set := range settings {
		cs := st.choices()
		i := slices.IndexFunc(cs, func(c choice) bool { return c.name == set.Key })
		if i < 0 {
			panic("study: no setting of a style is named " + set.Key)
		}
		c := &cs[i]
		own := *c.value
		*c.value = set.Value
		if err := c.check(); err != nil {
			return st, fmt.Errorf("%s: %w", set.Where(), err)
		}
		if own != "" {
			*c.value = own
		}
	}
	return st, nil
}

func (st Style) check() error {
	for _, c := range st.choices() {
		if err := c.check(); err != nil {
			return fmt.Errorf("--%w", err)
		}
	}
	return nil
}

// suits says whether the style is there for an instrument: what is learned is learned
// from violinists.
func (st Style) suits(k instrument.Kind) error {
	if st.Taste == soloist && k != instrument.ViolinKind {
		return fmt.Errorf("taste soloist: it is fitted on fingerings of violinists, and there are none for the %v; want taste usual", k)
	}
	return nil
}

// says tells what of the style is not the usual, in words: "" where all is.
func (st Style) says() string {
	var out []string
	if st.Profile != "" {
		out = append(out, "the "+st.Profile+" profile")
	}
	if st.Taste == soloist {
		out = append(out, "the left hand as soloists take it (fitted on their fingerings: it leaves first position sooner)")
	}
	if st.OpenStrings != "" && st.OpenStrings != "as-needed" {
		out = append(out, st.OpenStrings+" open strings")
	}
	switch st.Harmonics {
	case "as-needed":
		out = append(out, "natural harmonics where one spares a shift")
	case "more":
		out = append(out, "natural harmonics sought")
	}
	if st.Strict {
		out = append(out, "the bow as written")
	}
	if st.Fewest {
		out = append(out, "the fewest changes of the bow")
	}
	if len(out) == 0 {
		return ""
	}
	return "Planned for " + strings.Join(out, ", ") + "."
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

// handWeights are the costs of the hand for a taste, also in open strings; nil for
// the usual ones.
func (st Style) handWeights(k instrument.Kind) *fingering.Weights {
	asNeeded := st.OpenStrings == "" || st.OpenStrings == "as-needed"
	if st.Taste != soloist && asNeeded {
		return nil
	}
	w := fingering.DefaultWeights()
	if st.Taste == soloist {
		w = fingering.LearnedWeights()
	}
	if asNeeded {
		return w
	}
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
