package harmony

import (
	"fmt"
	"math"

	"pochette/internal/score"
	"pochette/internal/timeline"
)

// Level is how much theory a sentence tells.
type Level int8

// Student hears what to listen for; Player the usual names; Scholar numerals and
// figures, and how sure the reading is.
const (
	Student Level = iota
	Player
	Scholar
)

func (l Level) pick(student, player, scholar string) string {
	return [...]string{student, player, scholar}[l]
}

// Findings tells the study in sentences, in order of kind and place.
func (s *Study) Findings(l Level) []score.Finding {
	if len(s.Chords) == 0 {
		return nil
	}
	out := []score.Finding{s.homeFinding(l)}
	out = append(out, s.keyFindings(l)...)
	out = append(out, s.cadenceFindings(l)...)
	out = append(out, s.chordFindings(l)...)
	out = append(out, s.sequenceFindings(l)...)
	out = append(out, s.pairFindings(l)...)
	out = append(out, s.pedalFindings(l)...)
	out = append(out, s.curveFindings(l)...)
	return out
}

// loc is the place of a tick in a measure it may lie in.
func (s *Study) loc(at score.Tick) score.Loc {
	ms := s.part.Measures
	lo, hi := 0, len(ms)
	for lo < hi {
		m := (lo + hi) / 2
		if ms[m].Start > at {
			hi = m
		} else {
			lo = m + 1
		}
	}
	return timeline.At(s.part, max(0, lo-1), at, score.NoNote)
}

func (s *Study) finding(kind string, from, to score.Tick, weight float64, text, why string) score.Finding {
	f := score.Finding{Kind: kind, Part: s.part.ID, At: s.loc(from), Text: text, Why: why, Weight: weight}
	f.To = f.At
	if to > from {
		f.To = s.loc(to)
	}
	return f
}

func (s *Study) homeFinding(l Level) score.Finding {
	text := fmt.Sprintf("The movement is in %s.", s.Home)
	why := ""
	if l == Scholar {
		why = fmt.Sprintf("Profile of the notes, last and first bass, signature; %s comes second and stays %.2f behind.", s.Runner, s.HomeGap)
	}
	return s.finding("home-key", s.Chords[0].From, s.Chords[0].From, 1, text, why)
}

func (s *Study) keyFindings(l Level) []score.Finding {
	var out []score.Finding
	for i, k := range s.Keys {
		if i == 0 || s.Keys[i-1].Home != k.Home && s.Keys[i-1].To == k.From {
			continue
		}
		rel := k.Key.RomanIn(k.Home)
		text := l.pick(fmt.Sprintf("The music goes into %s.", k.Key),
			fmt.Sprintf("Here begins %s, %s of the home key.", k.Key, degreeWord(k)),
			fmt.Sprintf("Local key %s (%s of %s).", k.Key, rel, k.Home))
		if k.Key == k.Home {
			text = fmt.Sprintf("The music is back in %s, the home key.", k.Key)
		}
		why := "The key changes without a chord that both keys have."
		if k.Pivot >= 0 {
			c := s.Chords[k.Pivot]
			why = l.pick(fmt.Sprintf("The %s belongs to both keys.", c.Chord.Name()),
				fmt.Sprintf("The %s is the pivot: it belongs to %s and to %s.", c.Chord.Name(), s.Keys[i-1].Key, k.Key),
				fmt.Sprintf("Pivot: %s, %s in %s and %s in %s.", c.Chord.Name(), k.PivotFrom, s.Keys[i-1].Key, k.PivotTo, k.Key))
		}
		out = append(out, s.finding("local-key", k.From, k.To-1, float64(k.To-k.From)/float64(s.q), text, why))
	}
	return out
}

// degreeWord tells how a key lies to the home key, in words.
func degreeWord(k KeySpan) string {
	d := k.Key.Tonic - k.Home.Tonic
	switch {
	case d == 0:
		return "the parallel " + map[bool]string{true: "minor", false: "major"}[k.Key.Minor]
	case k.Key.Fifths() == k.Home.Fifths():
		return "the relative " + map[bool]string{true: "minor", false: "major"}[k.Key.Minor]
	}
	names := map[Tone]string{1: "the dominant", -1: "the subdominant", 2: "the supertonic", 4: "the mediant", 3: "the submediant", 5: "the leading note", -2: "the subtonic", -3: "the mediant", -4: "the submediant", -5: "the Neapolitan"}
	n, ok := names[d]
	if !ok {
		n = "degree " + degreeIn(d, k.Home.Minor)
	}
	return n + map[bool]string{true: " minor", false: " major"}[k.Key.Minor]
}

func (s *Study) cadenceFindings(l Level) []score.Finding {
	var out []score.Finding
	for _, c := range s.Cadences {
		b, a := &s.Chords[c.Chord-1], &s.Chords[c.Chord]
		strong := "weak "
		if c.Strength > 0.9 {
			strong = "strong "
		} else if c.Strength > 0.7 {
			strong = ""
		}
		student := map[CadenceType]string{PerfectAuthentic: "The music closes here, like a full stop, in %s.", ImperfectAuthentic: "The music closes here in %s, not quite finally.",
			Half: "The music stops on a question in %s: it wants to go on.", Deceptive: "A close in %s is promised and avoided.", Plagal: "A gentle close in %s.", Evaded: "A close in %s is promised and put off."}[c.Type]
		text := l.pick(fmt.Sprintf(student, c.Key),
			capital(fmt.Sprintf("%s%s in %s.", strong, c.Type, c.Key)),
			capital(fmt.Sprintf("%s%s in %s: %s–%s.", strong, c.Type, c.Key, b.Label(), a.Label())))
		why := fmt.Sprintf("%s, then %s.", b.Chord.Name(), a.Chord.Name())
		if l == Scholar {
			why += fmt.Sprintf(" Strength %.2f of 1.", c.Strength)
		}
		out = append(out, s.finding("cadence", c.At, c.At, c.Strength, text, why))
	}
	return out
}

// Label is the numeral with its figures: V65, vii°7/V.
func (c *ChordSpan) Label() string {
	if c.Chord.Quality.AugmentedSixth() {
		return c.Roman + c.Figures
	}
	for i, r := range c.Roman {
		if r == '/' {
			return c.Roman[:i] + c.Figures + c.Roman[i:]
		}
	}
	return c.Roman + c.Figures
}

func (s *Study) chordFindings(l Level) []score.Finding {
	var out []score.Finding
	for i := range s.Chords {
		c := &s.Chords[i]
		var text string
		switch {
		case c.Chord.Quality.AugmentedSixth():
			text = l.pick("A sharp, leaning chord that wants to open outward.", fmt.Sprintf("An augmented sixth chord, the %s.", c.Chord.Name()), fmt.Sprintf("%s in %s.", capital(c.Chord.Name()), c.Key))
		case c.fn.class == clNeapolitan:
			text = l.pick("A dark chord on the lowered second note of the scale.", fmt.Sprintf("The Neapolitan chord, %s.", c.Chord.Name()), fmt.Sprintf("Neapolitan %s in %s.", c.Label(), c.Key))
		case c.Applied:
			goal := c.Key.Tonic + c.Target
			text = l.pick(fmt.Sprintf("This chord leads to %s.", goal), fmt.Sprintf("%s: it leads to %s, degree %s.", c.Chord.Name(), goal, degreeIn(c.Target, c.Key.Minor)), fmt.Sprintf("%s (%s) in %s.", c.Label(), c.Chord.Name(), c.Key))
		case c.Chord.Quality == DiminishedSeventh:
			text = l.pick("A very tense chord.", fmt.Sprintf("%s.", c.Chord.Name()), fmt.Sprintf("%s (%s) in %s.", c.Label(), c.Chord.Name(), c.Key))
		}
		if text != "" {
			out = append(out, s.finding("chord", c.From, c.To-1, c.Tension, text, s.resolution(i)))
		}
		if c.Ambiguous && l == Scholar && c.Gap >= 0 {
			out = append(out, s.finding("ambiguous-chord", c.From, c.To-1, closeGap-c.Gap,
				fmt.Sprintf("Read as %s in %s; %s in %s (%s) comes close.", c.Label(), c.Key, c.Second.Roman, c.Second.Key, c.Second.Chord.Name()),
				fmt.Sprintf("The second reading stays %.2f behind in the score of the search; under %.0f is close.", c.Gap, closeGap)))
		}
	}
	return out
}

// resolution tells whether a leading chord goes where it leads.
func (s *Study) resolution(i int) string {
	if i+1 >= len(s.Chords) || s.Chords[i+1].Movement != s.Chords[i].Movement {
		return ""
	}
	if n := &s.Chords[i+1]; resolves(&s.Chords[i], n) {
		return fmt.Sprintf("It resolves to the %s.", n.Chord.Name())
	} else {
		return fmt.Sprintf("It is followed by the %s.", n.Chord.Name())
	}
}

func (s *Study) sequenceFindings(l Level) []score.Finding {
	var out []score.Finding
	for _, q := range s.Seqs {
		way := "up"
		n := q.Step
		if n < 0 {
			way, n = "down", -n
		}
		text := l.pick(fmt.Sprintf("The same figure comes %d times, each time further %s.", q.Count, way),
			fmt.Sprintf("A sequence: the model comes %d times, each time a %s %s.", q.Count, intervalName(n), way),
			fmt.Sprintf("Sequence %s by %s, %d statements of %.4g quarters.", way, intervalName(n), q.Count, float64(q.Length)/float64(s.q)))
		out = append(out, s.finding("sequence", q.From, q.To-1, float64(q.Count), text, "Rhythm and steps of the staff repeat note for note."))
	}
	return out
}

func intervalName(steps int) string {
	names := [...]string{"unison", "second", "third", "fourth", "fifth", "sixth", "seventh", "octave", "ninth", "tenth", "eleventh", "twelfth"}
	if steps < len(names) {
		return names[steps]
	}
	return fmt.Sprintf("%d steps", steps)
}

func (s *Study) pairFindings(l Level) []score.Finding {
	var out []score.Finding
	byNote := map[score.NoteID]*NonChord{}
	for i := range s.NonChord {
		byNote[s.NonChord[i].Note] = &s.NonChord[i]
	}
	for _, p := range s.Pairs {
		x := byNote[p.Strong]
		if x == nil {
			continue
		}
		a, b := &s.part.Notes[p.Strong], &s.part.Notes[p.Weak]
		c := &s.Chords[x.Chord]
		text := l.pick(fmt.Sprintf("Lean on the %s and let the %s be light.", a.Sounding.Name(), b.Sounding.Name()),
			fmt.Sprintf("%s on %s, released on %s.", article(accented(x.Kind)), a.Sounding.Name(), b.Sounding.Name()),
			fmt.Sprintf("%s on %s over %s, resolved to %s.", article(accented(x.Kind)), a.Sounding.Name(), c.Label(), b.Sounding.Name()))
		f := score.Finding{Kind: "strong-weak", Part: s.part.ID, At: timeline.AtNote(s.part, p.Strong), To: timeline.AtNote(s.part, p.Weak), Notes: []score.NoteID{p.Strong, p.Weak},
			Text: text, Why: fmt.Sprintf("%s is no note of the %s.", a.Sounding.Name(), c.Chord.Name()), Weight: float64(a.Dur) / float64(s.q)}
		out = append(out, f)
	}
	return out
}

func accented(k NonChordKind) string {
	if k == PassingNote || k == NeighbourNote {
		return "accented " + k.String()
	}
	return k.String()
}

func article(s string) string {
	switch s[0] {
	case 'a', 'e', 'i', 'o':
		return "An " + s
	}
	return "A " + s
}

func (s *Study) pedalFindings(l Level) []score.Finding {
	var out []score.Finding
	for _, p := range s.Pedals {
		text := l.pick(fmt.Sprintf("The low %s stays while the chords above it change.", p.Tone),
			fmt.Sprintf("A pedal on %s.", p.Tone), fmt.Sprintf("Pedal on %s, degree %s.", p.Tone, p.Degree))
		out = append(out, s.finding("pedal", p.From, p.To-1, float64(p.To-p.From)/float64(s.q), text, "Chords pass over it that it does not belong to."))
	}
	return out
}

// curveFindings tells the peak of tension and the pace of the chords.
func (s *Study) curveFindings(l Level) []score.Finding {
	top := 0
	for i := range s.Chords {
		if s.Chords[i].Tension > s.Chords[top].Tension {
			top = i
		}
	}
	c := &s.Chords[top]
	out := []score.Finding{s.finding("tension-peak", c.From, c.To-1, c.Tension,
		l.pick("The harmony is at its most tense here.", fmt.Sprintf("The harmony is furthest from home here: %s.", c.Chord.Name()),
			fmt.Sprintf("Tension is highest: %.1f at %s in %s.", c.Tension, c.Label(), c.Key)),
		"Measured as "+TensionModel+".")}
	mean := s.MeanLength()
	text := fmt.Sprintf("The chords change every %.2g quarters on average.", math.Round(10*mean)/10)
	return append(out, s.finding("harmonic-rhythm", s.Chords[0].From, s.Chords[0].From, mean, text, ""))
}

func capital(s string) string {
	if s == "" || s[0] < 'a' || s[0] > 'z' {
		return s
	}
	return string(s[0]-'a'+'A') + s[1:]
}
