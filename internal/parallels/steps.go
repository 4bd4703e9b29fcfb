package parallels

import (
	"slices"
	"strings"

	"pochette/internal/pitch"
	"pochette/internal/score"
	"pochette/internal/timeline"
)

// step is one moment of the part at which something is struck, with all that is
// written there.
type step struct {
	note       score.NoteID // the highest struck, which is compared
	onset, dur score.Tick   // dur until the next step or rest
	dia, key   int          // of the highest: staff place and MIDI key
	relative   int          // alteration against the signature
	measure    int
	phase      score.Tick // place inside the beat
	under      string     // the other struck notes, as staff steps below the highest
	articulate string
	ornament   string
	bow        string
	finger     string
	dynamic    string
}

// slur is a slur as steps.
type slur struct{ from, to int }

type reader struct {
	sc    *score.Score
	p     *score.Part
	steps []step
	slurs []slur // by from
	// lengthNames keeps what has been named
	lengthNames map[score.Tick]string
}

func read(sc *score.Score, p *score.Part) *reader {
	r := &reader{sc: sc, p: p, lengthNames: map[score.Tick]string{}}
	events := timeline.Events(p)
	of := timeline.EventOf(p, events)
	stepOf := make([]int, len(events))
	dynamics := dynamicsAt(p)
	var graces []score.NoteID
	offset := make([]score.Tick, len(p.Measures))
	for i := range offset {
		offset[i] = timeline.Offset(p, i)
	}
	for i := range events {
		e := &events[i]
		stepOf[i] = len(r.steps)
		switch {
		case e.Grace:
			graces = append(graces, e.Struck...)
			continue
		case e.Rest || len(e.Struck) == 0:
			continue
		}
		s := r.step(e, offset[e.Measure])
		s.ornament = joined(s.ornament, graceName(p, graces, s.dia))
		s.dynamic = joined(s.dynamic, dynamics[s.onset])
		graces = graces[:0]
		r.steps = append(r.steps, s)
	}
	for _, s := range p.Slurs {
		if s.Start == score.NoNote || s.End == score.NoNote || of[s.Start] < 0 || of[s.End] < 0 {
			continue
		}
		a, b := stepOf[of[s.Start]], stepOf[of[s.End]]
		if a > b {
			a, b = b, a
		}
		if b > a && b < len(r.steps) {
			r.slurs = append(r.slurs, slur{a, b})
		}
	}
	slices.SortFunc(r.slurs, func(x, y slur) int {
		if x.from != y.from {
			return x.from - y.from
		}
		return x.to - y.to
	})
	r.slurs = slices.Compact(r.slurs)
	return r
}

func (r *reader) step(e *timeline.Event, offset score.Tick) step {
	p := r.p
	top := e.Struck[len(e.Struck)-1]
	n := &p.Notes[top]
	m := &p.Measures[e.Measure]
	s := step{note: top, onset: e.Onset, dur: e.Dur, dia: n.Written.Diatonic(), key: n.Written.MIDI(), measure: e.Measure}
	s.relative = int(n.Written.Alter) - pitch.KeyAlter(fifthsAt(m, e.Onset), n.Written.Step)
	if beat := timeline.Beat(m.Meter); beat > 0 {
		s.phase = (offset + e.Onset - m.Start) % beat
	}
	var under []string
	for _, id := range e.Struck[:len(e.Struck)-1] {
		under = append(under, Interval(s.dia-p.Notes[id].Written.Diatonic()))
	}
	s.under = strings.Join(under, " and ")
	for _, id := range e.Struck {
		for _, k := range p.Notes[id].Marks {
			s.mark(k)
		}
	}
	return s
}

// fifthsAt is the signature at a moment of a measure.
func fifthsAt(m *score.Measure, at score.Tick) int {
	f := m.Key.Fifths
	for _, k := range m.Keys {
		if k.At <= at {
			f = k.Fifths
		}
	}
	return f
}

var articulations = []score.MarkKind{score.Staccato, score.Staccatissimo, score.Spiccato, score.Tenuto, score.DetachedLegato, score.Accent, score.StrongAccent,
	score.BreathMark, score.Caesura, score.Fermata, "stress", "unstress", "soft-accent", "scoop", "plop", "doit", "falloff"}

var ornaments = []score.MarkKind{score.Trill, score.Tremolo, score.Arpeggiate, score.NonArpeggiate, score.GlissandoStart, score.SlideStart, "turn", "delayed-turn", "inverted-turn",
	"delayed-inverted-turn", "vertical-turn", "mordent", "inverted-mordent", "schleifer", "shake", "haydn", "other-ornament"}

var fingers = []score.MarkKind{score.Fingering, score.String, score.OpenString, score.ThumbPosition, score.Harmonic, score.Stopped, score.SnapPizzicato, score.NotePizzicato, score.LeftHandPlucked}

// mark enters a mark under its aspect. Only what is printed counts.
func (s *step) mark(k score.Mark) {
	if k.Origin != score.Printed {
		return
	}
	name := strings.TrimSuffix(strings.ReplaceAll(string(k.Kind), "-", " "), " mark")
	switch {
	case slices.Contains(articulations, k.Kind):
		s.articulate = joined(s.articulate, name)
	case slices.Contains(ornaments, k.Kind):
		s.ornament = joined(s.ornament, name)
	case k.Kind == score.UpBow || k.Kind == score.DownBow:
		s.bow = joined(s.bow, string(k.Kind))
	case slices.Contains(fingers, k.Kind):
		s.finger = joined(s.finger, strings.TrimSpace(name+" "+k.Text))
	case k.Kind == score.NoteDynamics:
		s.dynamic = joined(s.dynamic, k.Text)
	}
}

// joined adds a name to a set of names, which stays sorted and has each once.
func joined(set, name string) string {
	if name == "" {
		return set
	}
	if set == "" {
		return name
	}
	all := strings.Split(set, ", ")
	for _, n := range strings.Split(name, ", ") {
		if !slices.Contains(all, n) {
			all = append(all, n)
		}
	}
	slices.Sort(all)
	return strings.Join(all, ", ")
}

// graceName says what grace notes lead to a note: how many, and from where.
func graceName(p *score.Part, graces []score.NoteID, dia int) string {
	if len(graces) == 0 {
		return ""
	}
	var from []string
	for _, id := range graces {
		from = append(from, placed(p.Notes[id].Written.Diatonic()-dia))
	}
	if len(graces) == 1 {
		return "grace note from " + from[0]
	}
	return "grace notes from " + strings.Join(from, " and ")
}

func placed(d int) string {
	switch {
	case d == 0:
		return "the same note"
	case d > 0:
		return "the " + Interval(d) + " above"
	}
	return "the " + Interval(-d) + " below"
}

// intervals name staff steps: 1 is a second.
var intervals = []string{"unison", "second", "third", "fourth", "fifth", "sixth", "seventh", "octave",
	"ninth", "tenth", "eleventh", "twelfth", "thirteenth", "fourteenth", "fifteenth"}

// Interval names an interval by its staff steps, 0 or more: "tenth"; what is wider than
// a fifteenth as "two octaves and a third".
func Interval(steps int) string {
	if steps < len(intervals) {
		return intervals[steps]
	}
	octaves := itoa(steps / 7)
	if k := steps / 7; k < len(numerals) {
		octaves = numerals[k]
	}
	if steps%7 == 0 {
		return octaves + " octaves"
	}
	return octaves + " octaves and a " + intervals[steps%7]
}

var numerals = []string{"no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten"}

// dynamicsAt gives the dynamics and wedges that stand at each moment.
func dynamicsAt(p *score.Part) map[score.Tick]string {
	out := map[score.Tick]string{}
	for i := range p.Directions {
		d := &p.Directions[i]
		switch {
		case d.Kind == "dynamics" && !strings.ContainsAny(d.Text, "abcdefghijklmnopqrstuvwxyz"): // a bracket of its own
		case d.Kind == "dynamics", d.Kind == "wedge" && d.Text != "stop" && d.Text != "continue":
			out[d.At] = joined(out[d.At], d.Text)
		}
	}
	return out
}

// movements gives the step ranges, end exclusive, of the movements.
func (r *reader) movements() [][2]int {
	var out [][2]int
	starts := append(timeline.Movements(r.p), len(r.p.Measures))
	at := 0
	for k := 0; k+1 < len(starts); k++ {
		lo := at
		for at < len(r.steps) && r.steps[at].measure < starts[k+1] {
			at++
		}
		out = append(out, [2]int{lo, at})
	}
	return out
}
