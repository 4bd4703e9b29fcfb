package technique

import (
	"fmt"
	"slices"
	"strings"

	"pochette/internal/score"
	"pochette/internal/timeline"
)

// Change names what the right hand has to do between two notes.
type Change string

// The changes: the mute set on the bridge or taken off, the bow put away for
// plucking or taken up again.
const (
	MuteOn  Change = "mute-on"
	MuteOff Change = "mute-off"
	Pluck   Change = "to-pizzicato"
	Arco    Change = "to-arco"
)

// Changeover is a change and the time there is for it, in the order of play.
type Changeover struct {
	Kind    Change
	From    int     // the last event before it; -1 where nothing is played before
	To      int     // the first event after it
	Seconds float64 // of silence; of a plucked note its length too, which sounds without the hand
	Jump    bool    // over a repeat or a da capo: no word stands there
}

// Seconds that a change takes. The mute: a rest of some two bars of common time,
// moderato, to put it on, much less to take it off (H. Berlioz, Grand traité
// d'instrumentation, 1844, on the violin's mutes); two bars at 100 quarters a minute
// are 4.8 s, and a third of that is our reading of "much less". Plucking: common
// practice, no source.
var changeTime = map[Change]float64{MuteOn: 4.8, MuteOff: 1.6, Pluck: 0.25, Arco: 0.35}

// Need is the time in seconds that the change takes without haste.
func (c *Changeover) Need() float64 { return changeTime[c.Kind] }

// hands is what the right hand has about it at an event.
type hands struct{ muted, plucks bool }

// Words that put the mute on and off, as printed in scores (Italian, French,
// German, English); those of taking it off are looked for first.
var (
	muteOffWords = []string{"senza sord", "via sord", "via le sord", "sord. off", "levare il sord", "sans sourd", "ôtez", "otez", "ohne dämpf", "ohne daempf", "dämpfer ab", "dämpfer weg", "without mute", "mute off", "mutes off", "unmuted"}
	muteOnWords  = []string{"con sord", "sordin", "sord.", "sourdine", "mit dämpf", "mit daempf", "dämpfer auf", "gedämpft", "with mute", "mute on", "mutes on", "muted"}
)

// longestOrder bounds the words that are read as an order to the hand.
const longestOrder = 60

func (h hands) after(d score.Direction) hands {
	if d.Kind == "pizzicato" {
		h.plucks = d.Text == "yes"
	}
	if d.Kind != "words" || len(d.Text) > longestOrder {
		return h
	}
	text := strings.ToLower(d.Text)
	has := func(words []string) bool {
		return slices.ContainsFunc(words, func(w string) bool { return strings.Contains(text, w) })
	}
	switch {
	case has(muteOffWords):
		h.muted = false
	case has(muteOnWords):
		h.muted = true
	}
	switch {
	case strings.Contains(text, "arco"):
		h.plucks = false
	case strings.Contains(text, "pizz"):
		h.plucks = true
	}
	return h
}

// handsAt tells for each event what the hand has about it. What the left hand
// plucks leaves the right one as it was.
func handsAt(p *score.Part, events []timeline.Event) []hands {
	out := make([]hands, len(events))
	d := 0
	var h hands
	for i := range events {
		e := &events[i]
		for ; d < len(p.Directions) && p.Directions[d].At <= e.Onset; d++ {
			h = h.after(p.Directions[d])
		}
		out[i] = h
		for _, id := range e.Struck {
			n := &p.Notes[id]
			out[i].plucks = out[i].plucks || n.Has(score.NotePizzicato) || n.Has(score.SnapPizzicato)
		}
	}
	return out
}

// Changeovers lists the changes in the order of play, each pair of events once.
func Changeovers(in Input) []Changeover {
	at := handsAt(in.Part, in.Events)
	byMeasure := make([][]int, len(in.Part.Measures))
	for i := range in.Events {
		m := in.Events[i].Measure
		byMeasure[m] = append(byMeasure[m], i)
	}
	var out []Changeover
	seen := map[[2]int]bool{}
	order, _ := timeline.PlayOrder(in.Part)
	last, silence := -1, 0.0
	now := hands{}
	for _, v := range order {
		for _, i := range byMeasure[v.Measure] {
			e := &in.Events[i]
			if e.Rest {
				silence += in.Pace.Seconds(e.Onset, e.Onset+e.Dur)
				continue
			}
			if key := [2]int{last, i}; !seen[key] {
				seen[key] = true
				out = append(out, changes(in, now, at[i], last, i, silence)...)
			}
			last, silence, now = i, 0, at[i]
		}
	}
	return out
}

// changes between two events; what stands at the beginning is had in hand already,
// only the mute is told, since it has to be fetched.
func changes(in Input, a, b hands, from, to int, silence float64) []Changeover {
	var out []Changeover
	c := Changeover{From: from, To: to, Seconds: silence}
	if from >= 0 {
		e := &in.Events[from]
		c.Jump = in.Events[to].Onset < e.Onset+e.Dur
		if a.plucks {
			c.Seconds += in.Pace.Seconds(e.Onset, e.Onset+e.Dur)
		}
	}
	if a.muted != b.muted {
		c.Kind = MuteOff
		if b.muted {
			c.Kind = MuteOn
		}
		out = append(out, c)
	}
	if a.plucks != b.plucks && from >= 0 {
		c.Kind = Arco
		if b.plucks {
			c.Kind = Pluck
		}
		out = append(out, c)
	}
	return out
}

// ChangeFindings tells where the mute goes on and off and how much time there is
// for it, and where the bow is wanted, or in the way, too soon.
func ChangeFindings(in Input, all []Changeover) []score.Finding {
	var out []score.Finding
	for i := range all {
		c := &all[i]
		mute := c.Kind == MuteOn || c.Kind == MuteOff
		short := c.From >= 0 && c.Seconds < c.Need()
		if !mute && !short {
			continue
		}
		f := score.Finding{Kind: string(c.Kind), Grade: score.Remark, At: place(in, c.To), To: place(in, c.To), Notes: in.Events[c.To].Struck,
			Text: c.text(in), Why: c.why()}
		if short {
			f.Grade, f.Weight, f.Suggestion = score.Caution, c.Need()-c.Seconds, c.help()
		}
		out = append(out, f)
	}
	return out
}

func (c *Changeover) text(in Input) string {
	what := map[Change]string{MuteOn: "The mute is on from here", MuteOff: "The mute is off from here", Pluck: "Plucked from here", Arco: "Bowed again from here"}[c.Kind]
	if c.From < 0 {
		return what + ", the first note: set it before you begin."
	}
	back := ""
	if c.Jump {
		back = " when the music goes back"
	}
	e := &in.Events[c.From]
	since := timeline.At(in.Part, e.Measure, e.Onset, score.NoNote)
	if c.Seconds < 0.05 {
		return fmt.Sprintf("%s%s, with no time between: %v sounds up to it.", what, back, since)
	}
	return fmt.Sprintf("%s%s, with %.1f s for the hand after %v.", what, back, c.Seconds, since)
}

func (c *Changeover) why() string {
	if c.Kind == MuteOn || c.Kind == MuteOff {
		return fmt.Sprintf("Berlioz (1844) asks for a rest of two bars of moderate common time, some %.1f s, to put a mute on, and much less, here taken as %.1f s, to take it off.", changeTime[MuteOn], changeTime[MuteOff])
	}
	return fmt.Sprintf("The hand needs some %.2f s to turn the bow aside for plucking and %.2f s to take it up again.", changeTime[Pluck], changeTime[Arco])
}

func (c *Changeover) help() string {
	switch c.Kind {
	case MuteOn:
		return "Have a mute wait on the strings behind the bridge, where one finger slides it on."
	case MuteOff:
		return "Have a mute that slides off the bridge and stays on the strings."
	case Pluck:
		return "End the last bowed note early and up-bow, with the hand near the strings, or pluck the first note with the left hand."
	}
	return "Keep the bow in the hand while plucking, and pluck with the first finger."
}
