package dcml

import (
	"fmt"
	"strings"

	"pochette/internal/harmony"
)

// qualities by the standard's chord types; those the vocabulary has no word for
// go to the nearest.
var qualities = map[string]harmony.Quality{
	"M": harmony.Major, "m": harmony.Minor, "o": harmony.Diminished, "+": harmony.Augmented,
	"Mm7": harmony.DominantSeventh, "mm7": harmony.MinorSeventh, "MM7": harmony.MajorSeventh,
	"%7": harmony.HalfDiminished, "o7": harmony.DiminishedSeventh,
	"mM7": harmony.Minor, "+7": harmony.Augmented, "+M7": harmony.Augmented,
	"It": harmony.ItalianSixth, "Fr": harmony.FrenchSixth, "Ger": harmony.GermanSixth,
}

func (b *builder) labels(p *harmony.Labelled, t *table) error {
	for i := range t.rows {
		_, at, err := b.place(t, i)
		if err != nil {
			return err
		}
		home, err := keyName(t.get(i, "globalkey"))
		if err != nil {
			return t.fail(i, "globalkey", "a key such as G or bb")
		}
		p.Home = home
		if strings.Contains(t.get(i, "phraseend"), "}") {
			p.Phrases = append(p.Phrases, at)
		}
		if c := t.get(i, "cadence"); c != "" {
			p.Cadences = append(p.Cadences, harmony.LabelledCadence{At: at, Type: c})
		}
		if t.get(i, "root") == "" || t.get(i, "chord_type") == "" {
			continue
		}
		l, err := label(t, i, home)
		if err != nil {
			return err
		}
		l.From = at
		if n := len(p.Labels); n > 0 {
			p.Labels[n-1].To = at
			if p.Labels[n-1].From == at {
				p.Labels = p.Labels[:n-1]
			}
		}
		p.Labels = append(p.Labels, l)
	}
	if n := len(p.Labels); n > 0 {
		p.Labels[n-1].To = b.end
	}
	for i := range p.Labels {
		if p.Labels[i].To <= p.Labels[i].From {
			return fmt.Errorf("%s: chord labels do not stand in order at tick %d", t.name, p.Labels[i].From)
		}
	}
	return nil
}

func label(t *table, i int, home harmony.Key) (harmony.Label, error) {
	var l harmony.Label
	d, minor, err := roman(t.get(i, "localkey"), home.Minor)
	if err != nil {
		return l, t.fail(i, "localkey", "a numeral")
	}
	l.Key = harmony.Key{Tonic: home.Tonic + d, Minor: minor}
	q, ok := qualities[t.get(i, "chord_type")]
	if !ok {
		return l, t.fail(i, "chord_type", "a chord type of the standard")
	}
	root, err := t.int(i, "root")
	if err != nil {
		return l, err
	}
	bass, err := t.int(i, "bass_note")
	if err != nil {
		bass = root
	}
	if root < -20 || root > 20 || bass < -20 || bass > 20 {
		return l, t.fail(i, "root", "a place on the line of fifths")
	}
	l.Chord = harmony.Chord{Root: l.Key.Tonic + harmony.Tone(root), Quality: q}
	if rel := t.get(i, "relativeroot"); rel != "" {
		l.Applied = true
		l.Target, l.TargetMinor, err = chain(rel, l.Key.Minor)
		if err != nil {
			return l, t.fail(i, "relativeroot", "numerals")
		}
	}
	if q.AugmentedSixth() {
		l.Chord.Root = l.Key.Tonic + l.Target + 6
	}
	if root == 1 && q == harmony.Major && !l.Applied && strings.Contains(t.get(i, "changes"), "64") {
		l.Chord.Quality = harmony.CadentialMajor
		if l.Key.Minor {
			l.Chord.Quality = harmony.CadentialMinor
		}
	}
	l.Bass = l.Key.Tonic + harmony.Tone(bass)
	l.Figures = t.get(i, "figbass")
	if p := t.get(i, "pedal"); p != "" {
		l.Pedal = p
	}
	return l, nil
}

// chain reads "V/vi": the V of vi, from the right.
func chain(s string, minor bool) (harmony.Tone, bool, error) {
	parts := strings.Split(s, "/")
	var at harmony.Tone
	for i := len(parts) - 1; i >= 0; i-- {
		d, m, err := roman(parts[i], minor)
		if err != nil {
			return 0, false, err
		}
		at, minor = at+d, m
	}
	return at, minor, nil
}

var naturalMajor = map[string]harmony.Tone{"I": 0, "II": 2, "III": 4, "IV": -1, "V": 1, "VI": 3, "VII": 5}
var naturalMinor = map[string]harmony.Tone{"I": 0, "II": 2, "III": -3, "IV": -1, "V": 1, "VI": -4, "VII": -2}

// roman reads a degree such as bVI or #vii in a mode: its distance from the
// tonic, and whether it is minor.
func roman(s string, minor bool) (harmony.Tone, bool, error) {
	var acc harmony.Tone
	num := s
	for num != "" && (num[0] == '#' || num[0] == 'b') {
		if num[0] == '#' {
			acc += 7
		} else {
			acc -= 7
		}
		num = num[1:]
	}
	tab := naturalMajor
	if minor {
		tab = naturalMinor
	}
	d, ok := tab[strings.ToUpper(num)]
	if !ok || acc > 14 || acc < -14 {
		return 0, false, fmt.Errorf("numeral %q", s)
	}
	return d + acc, num == strings.ToLower(num), nil
}

var letters = map[string]harmony.Tone{"C": 0, "D": 2, "E": 4, "F": -1, "G": 1, "A": 3, "B": 5}

func keyName(s string) (harmony.Key, error) {
	if s == "" || len(s) > 3 {
		return harmony.Key{}, fmt.Errorf("key %q", s)
	}
	t, ok := letters[strings.ToUpper(s[:1])]
	if !ok {
		return harmony.Key{}, fmt.Errorf("key %q", s)
	}
	for _, c := range s[1:] {
		switch c {
		case '#':
			t += 7
		case 'b':
			t -= 7
		default:
			return harmony.Key{}, fmt.Errorf("key %q", s)
		}
	}
	return harmony.Key{Tonic: t, Minor: s[0] >= 'a'}, nil
}
