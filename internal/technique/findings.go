package technique

import (
	"fmt"
	"strings"

	"pochette/internal/instrument"
	"pochette/internal/score"
	"pochette/internal/timeline"
)

// skeletonLength is how many strings of a skeleton a sentence names.
const skeletonLength = 12

// BusyLoad is the load, in bits a second, from which a spot is worth a word:
// an adjacent crossing every third of a second. Common practice, no source.
const BusyLoad = 3.0

// Findings says what spots ask of the right arm: one finding for each busy spot,
// and one for each place where a slur goes over a string that has to stay silent.
func Findings(in Input, all []Crossing, spots []Spot) []score.Finding {
	var out []score.Finding
	for i := range spots {
		if spots[i].Load >= BusyLoad {
			out = append(out, spotFinding(in, &spots[i]))
		}
	}
	for i := range all {
		if c := &all[i]; c.Slurred && len(c.Skipped) > 0 {
			out = append(out, skipFinding(in, c))
		}
	}
	return out
}

func place(in Input, event int) score.Loc {
	e := &in.Events[event]
	note := score.NoNote
	if len(e.Struck) > 0 {
		note = e.Struck[0]
	}
	return timeline.At(in.Part, e.Measure, e.Onset, note)
}

func spotFinding(in Input, s *Spot) score.Finding {
	skips, slurred := 0, 0
	for _, c := range s.Crossings {
		if len(c.Skipped) > 0 {
			skips++
		}
		if c.Slurred {
			slurred++
		}
	}
	f := score.Finding{Kind: "crossing-spot", Grade: score.Remark, At: place(in, s.First), To: place(in, s.Last), Notes: s.Notes(in), Weight: s.Load}
	f.Text = fmt.Sprintf("%s in a row%s.", plural(len(s.Crossings), "string crossing"), details(len(s.Crossings), skips, slurred))
	if len(s.Crossings) == 1 {
		f.Text = oneCrossing(&s.Crossings[0])
	}
	hard := &s.Crossings[s.Hardest]
	f.Why = fmt.Sprintf("The hardest is %s, with %s for it.", hard.describe(in), seconds(hard))
	f.Suggestion = fmt.Sprintf("Isolate it on open strings: %s.", s.SkeletonText(skeletonLength))
	return f
}

// oneCrossing tells of a spot that is a single crossing: it is one for the string
// that the bow has to pass over.
func oneCrossing(c *Crossing) string {
	text := "A string crossing"
	if len(c.Skipped) > 0 {
		text += " over " + map[bool]string{true: "a string", false: "two strings"}[len(c.Skipped) == 1] + " between"
	}
	if c.Slurred {
		text += ", inside a slur"
	}
	return text + "."
}

func details(all, skips, slurred int) string {
	var parts []string
	switch {
	case slurred == all:
		parts = append(parts, "all inside slurs")
	case slurred > 0:
		parts = append(parts, fmt.Sprintf("%d inside a slur", slurred))
	}
	if skips > 0 {
		parts = append(parts, fmt.Sprintf("%d over a string between", skips))
	}
	if len(parts) == 0 {
		return ""
	}
	return " (" + strings.Join(parts, ", ") + ")"
}

func skipFinding(in Input, c *Crossing) score.Finding {
	names := make([]string, len(c.Skipped))
	for i, s := range c.Skipped {
		names[i] = stringName(&in.Instrument, s)
	}
	over := strings.Join(names, " and ")
	return score.Finding{
		Kind: "skipped-string", Grade: score.Caution, At: place(in, c.From), To: place(in, c.To), Weight: c.Load,
		Notes: append(append([]score.NoteID{}, in.Events[c.From].Struck...), in.Events[c.To].Struck...),
		Text:  fmt.Sprintf("Inside one stroke the bow goes %s over %s, which may sound.", c.describe(in), over),
		Why:   fmt.Sprintf("There are %s from note to note, and no change of bow to hide the passage.", seconds(c)),
	}
}

func (c *Crossing) describe(in Input) string {
	return fmt.Sprintf("from %s to %s (%s to %s)", StringsName(c.FromStrings), StringsName(c.ToStrings),
		noteNames(in, c.From), noteNames(in, c.To))
}

func noteNames(in Input, event int) string {
	var names []string
	for _, id := range in.Events[event].Struck {
		names = append(names, in.Part.Notes[id].Sounding.String())
	}
	return strings.Join(names, "+")
}

func stringName(in *instrument.Instrument, s int) string {
	return fmt.Sprintf("string %s (%s)", instrument.Numeral(s), in.Open[s-1].Name())
}

func seconds(c *Crossing) string {
	if c.Seconds < minSeconds {
		return "only a grace note's time"
	}
	return fmt.Sprintf("%.2f s", c.Seconds)
}

func plural(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}
