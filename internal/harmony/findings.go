package harmony

import (
	"fmt"
	"math"
	"strings"

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
		student := map[CadenceType]string{PerfectAuthentic: "The music closes here, like a full stop, in %s.", ImperfectAuthentic: "The music closes here in %s, not quite finally.",
			Half: "The music stops on a question in %s: it wants to go on.", Deceptive: "A close in %s is promised and avoided.", Plagal: "A gentle close in %s.", Evaded: "A close in %s is promised and put off."}[c.Type]
		text := l.pick(fmt.Sprintf(student, c.Key),
			capital(fmt.Sprintf("%s in %s%s.", c.Type, c.Key, marked(c.Strength))),
			capital(fmt.Sprintf("%s in %s%s: %s–%s.", c.Type, c.Key, marked(c.Strength), b.Label(), a.Label())))
		why := ""
		if l == Scholar {
			why = fmt.Sprintf("Strength %.2f of 1.", c.Strength)
		}
		out = append(out, s.finding("cadence", c.At, c.At, c.Strength, text, why))
	}
	return out
}

// marked tells how plainly the music makes a cadence.
func marked(strength float64) string {
	switch {
	case strength > 0.9:
		return ", strongly marked"
	case strength > 0.7:
		return ""
	}
	return ", lightly marked"
}

// Label is the numeral with its figures: V65, vii°7/V.
func (c *ChordSpan) Label() string { return figured(c.Roman, c.Figures, c.Chord.Quality) }

// figured puts figures behind a numeral, of an applied chord before its goal.
func figured(roman, figures string, q Quality) string {
	if own, goal, ok := strings.Cut(roman, "/"); ok && !q.AugmentedSixth() {
		return own + figures + "/" + goal
	}
	return roman + figures
}

func (s *Study) chordFindings(l Level) []score.Finding {
	var out []score.Finding
	for i := range s.Chords {
		c := &s.Chords[i]
		if c.Silent {
			continue
		}
		why := ""
		if l == Scholar {
			why = s.resolution(i)
		}
		if text := s.chordText(i, l); text != "" {
			out = append(out, s.finding("chord", c.From, c.To-1, c.Tension, text, why))
		}
		if c.Ambiguous && l != Student {
			out = append(out, s.ambiguity(c, l))
		}
	}
	return out
}

// chordText tells of a chord that is more than a plain one of its key, "" of others.
// What hangs on a reading that another comes close to is told to the scholar alone,
// who is told the other beside it.
func (s *Study) chordText(i int, l Level) string {
	c := &s.Chords[i]
	if c.Ambiguous && l != Scholar {
		return ""
	}
	name := c.Chord.Name()
	switch {
	case c.Chord.Quality.AugmentedSixth():
		return l.pick("A sharp, leaning chord that wants to open outward.", fmt.Sprintf("An augmented sixth chord, the %s.", name), fmt.Sprintf("%s in %s.", capital(name), c.Key))
	case c.fn.class == clNeapolitan:
		return l.pick("A dark chord on the lowered second note of the scale.", fmt.Sprintf("The Neapolitan chord, %s.", name), fmt.Sprintf("Neapolitan %s in %s.", c.Label(), c.Key))
	case c.Applied:
		return s.appliedText(i, l)
	case c.Chord.Quality == DiminishedSeventh:
		student := ""
		if s.leadsHome(i) {
			student = "A very tense chord: lead on into the next."
		}
		return l.pick(student, "", fmt.Sprintf("%s (%s) in %s.", c.Label(), name, c.Key))
	}
	return ""
}

// appliedText tells where an applied chord leads and whether it goes there. A chord
// leads by the leading note of its goal: where that does not sound nothing is claimed.
func (s *Study) appliedText(i int, l Level) string {
	c := &s.Chords[i]
	goal := c.Key.Tonic + c.Target
	leading := goal + 5
	heard := s.heard(c, leading)
	if l == Scholar {
		text := fmt.Sprintf("%s (%s) in %s.", c.Label(), c.Chord.Name(), c.Key)
		if !heard {
			text += fmt.Sprintf(" The leading note %s does not sound.", leading)
		}
		return text
	}
	if !heard {
		return ""
	}
	goes := "."
	if s.leadsHome(i) {
		goes = ", and resolves there."
	} else if n := s.follower(i); n != nil {
		goes = fmt.Sprintf("; the %s follows.", n.Chord.Name())
	}
	return l.pick(fmt.Sprintf("This chord leads to %s%s", goal, goes),
		fmt.Sprintf("%s: it leads to %s, degree %s%s", c.Chord.Name(), goal, degreeIn(c.Target, c.Key.Minor), goes), "")
}

// heard says that a tone sounds in a chord.
func (s *Study) heard(c *ChordSpan, t Tone) bool {
	for i := s.firstNote(c.From) - 1; i >= 0 && s.part.Notes[i].Measure >= c.Measure-1; i-- {
		if n := &s.part.Notes[i]; sounds(n) && n.End() > c.From && ToneOf(n.Sounding) == t {
			return true
		}
	}
	for i := s.firstNote(c.From); i < len(s.part.Notes) && s.part.Notes[i].Onset < c.To; i++ {
		if n := &s.part.Notes[i]; sounds(n) && ToneOf(n.Sounding) == t {
			return true
		}
	}
	return false
}

// ambiguity tells the second-best reading of a chord where it is close.
func (s *Study) ambiguity(c *ChordSpan, l Level) score.Finding {
	text := fmt.Sprintf("May also be heard as the %s, %s in %s.", c.Second.Chord.Name(), c.Second.Label(), c.Second.Key)
	why := ""
	if l == Scholar {
		text = fmt.Sprintf("Read as %s in %s; %s in %s (%s) comes close.", c.Label(), c.Key, c.Second.Label(), c.Second.Key, c.Second.Chord.Name())
		why = fmt.Sprintf("The second reading stays %.2f behind in the score of the search; under %.0f is close.", c.Gap, closeGap)
		if c.Gap <= 0 {
			why = "The second reading scores no less in the search by itself."
		}
	}
	return s.finding("ambiguous-chord", c.From, c.To-1, closeGap-c.Gap, text, why)
}

// follower is the chord after chord i in its movement, nil where there is none or
// the part is silent.
func (s *Study) follower(i int) *ChordSpan {
	if i+1 >= len(s.Chords) || s.Chords[i+1].Movement != s.Chords[i].Movement || s.Chords[i+1].Silent {
		return nil
	}
	return &s.Chords[i+1]
}

// leadsHome says that a leading chord goes where it leads.
func (s *Study) leadsHome(i int) bool {
	n := s.follower(i)
	return n != nil && resolves(&s.Chords[i], n)
}

// resolution tells whether a leading chord goes where it leads.
func (s *Study) resolution(i int) string {
	n := s.follower(i)
	switch {
	case n == nil:
		return ""
	case resolves(&s.Chords[i], n):
		return fmt.Sprintf("It resolves to the %s.", n.Chord.Name())
	}
	return fmt.Sprintf("It is followed by the %s.", n.Chord.Name())
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
			Text: text, Weight: float64(a.Dur) / float64(s.q)}
		if x.At > a.Onset {
			f.At = s.loc(x.At) // a held note clashes where the new chord enters
		}
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

// curveFindings tells the peak of tension, where its chord is read for sure, and the
// pace of the chords.
func (s *Study) curveFindings(l Level) []score.Finding {
	var top *ChordSpan
	for i := range s.Chords {
		if c := &s.Chords[i]; !c.Silent && (top == nil || c.Tension > top.Tension) {
			top = c
		}
	}
	var out []score.Finding
	if top == nil {
		return nil
	}
	if !top.Ambiguous {
		out = append(out, s.finding("tension-peak", top.From, top.To-1, top.Tension,
			l.pick("The harmony is at its most tense here.", fmt.Sprintf("The harmony is furthest from home here: %s.", top.Chord.Name()),
				fmt.Sprintf("Tension is highest: %.1f at %s in %s.", top.Tension, top.Label(), top.Key)),
			"Measured as "+TensionModel+"."))
	}
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
