package harmony

import (
	"fmt"
	"strings"
)

// Quality is the kind of a chord.
type Quality int8

// The qualities that are looked for. The augmented sixths are counted from the
// raised fourth degree.
const (
	Major Quality = iota
	Minor
	Diminished
	Augmented
	DominantSeventh
	MinorSeventh
	MajorSeventh
	HalfDiminished
	DiminishedSeventh
	ItalianSixth
	FrenchSixth
	GermanSixth
	// The cadential six-four is written as a dominant whose sixth and fourth go to
	// fifth and third: its root is the fifth degree, its other notes are the tonic's.
	CadentialMajor
	CadentialMinor
	qualities
)

// qualityNames are those of the common textbooks.
var qualityNames = [qualities]string{"major triad", "minor triad", "diminished triad", "augmented triad",
	"dominant seventh", "minor seventh", "major seventh", "half-diminished seventh", "diminished seventh",
	"Italian sixth", "French sixth", "German sixth",
	"cadential six-four", "minor cadential six-four"}

func (q Quality) String() string { return qualityNames[q] }

// Seventh says that the chord has a seventh.
func (q Quality) Seventh() bool { return q >= DominantSeventh && q <= DiminishedSeventh }

// AugmentedSixth says that it is one of the augmented sixths.
func (q Quality) AugmentedSixth() bool { return q >= ItalianSixth && q <= GermanSixth }

// Cadential says that it is a cadential six-four.
func (q Quality) Cadential() bool { return q >= CadentialMajor }

// Plain is the quality of the chord that the numeral names: a cadential six-four
// counts as the major triad it becomes.
func (q Quality) Plain() Quality {
	if q.Cadential() {
		return Major
	}
	return q
}

// steps of the chord above its root on the line of fifths: root, third, fifth,
// seventh. For the augmented sixths: the raised fourth, the low sixth (their
// bass), the tonic, and what the kind adds.
var chordSteps = [qualities][]Tone{
	{0, 4, 1}, {0, -3, 1}, {0, -3, -6}, {0, 4, 8},
	{0, 4, 1, -2}, {0, -3, 1, -2}, {0, 4, 1, 5}, {0, -3, -6, -2}, {0, -3, -6, -9},
	{0, -10, -6}, {0, -10, -6, -4}, {0, -10, -6, -9},
	{0, -1, 3}, {0, -1, -4},
}

// Chord is a root with a quality.
type Chord struct {
	Root    Tone
	Quality Quality
}

// Tones are the notes of the chord from the root up.
func (c Chord) Tones() []Tone {
	out := make([]Tone, len(chordSteps[c.Quality]))
	for i, s := range chordSteps[c.Quality] {
		out[i] = c.Root + s
	}
	return out
}

// Name is the chord as textbooks call it: "D dominant seventh", "E♭ major triad".
// An augmented sixth is named by its bass, a cadential six-four as what it is made
// of: the tonic triad over the dominant.
func (c Chord) Name() string {
	switch {
	case c.Quality.AugmentedSixth():
		return fmt.Sprintf("%s over %s", c.Quality, c.Root-10)
	case c.Quality == CadentialMajor:
		return fmt.Sprintf("%s %s over %s", c.Root-1, Major, c.Root)
	case c.Quality == CadentialMinor:
		return fmt.Sprintf("%s %s over %s", c.Root-1, Minor, c.Root)
	}
	return c.Root.String() + " " + c.Quality.String()
}

// role of a tone in the chord: 0 root, 1 third, 2 fifth, 3 seventh, 4 none.
func (c Chord) role(t Tone) int {
	for i, s := range chordSteps[c.Quality] {
		if c.Root+s == t {
			return i
		}
	}
	return foreign
}

const foreign = 4

// bass is the note that a chord has below where nothing tells another: its root, of
// an augmented sixth the low sixth.
func (c Chord) bass() Tone {
	if c.Quality.AugmentedSixth() {
		return c.Root - 10
	}
	return c.Root
}

// Inversion counts from 0, the root in the bass.
type Inversion int8

// Figures are the figures under the bass: "", 6, 64; 7, 65, 43, 2.
func Figures(q Quality, inv Inversion) string {
	switch {
	case q.AugmentedSixth():
		return map[Quality]string{ItalianSixth: "6", FrenchSixth: "43", GermanSixth: "65"}[q]
	case q.Cadential():
		return "64"
	case q.Seventh():
		return [...]string{"7", "65", "43", "2"}[inv]
	}
	return [...]string{"", "6", "64"}[min(inv, 2)]
}

// function is what a chord does in a key.
type function struct {
	root    Tone // from the tonic
	quality Quality
	class   int8
	// target is the tonicized degree, counted from the tonic; applied tells that
	// there is one.
	applied     bool
	target      Tone
	targetMinor bool
}

// Classes of function, coarser than numerals: chords of one class follow and
// lead alike. Applied chords are classed by where they lead.
const (
	clTonic = iota
	clSupertonic
	clMediant
	clSubdominant
	clDominant
	clSubmediant
	clLeading
	clNeapolitan
	clSubtonic // v, VII
	clAugmentedSixth
	clBorrowed
	clToSupertonic
	clToMediant
	clToSubdominant
	clToDominant
	clToSubmediant
	clToSubtonic
	classes
)

var classNames = [classes]string{"tonic", "supertonic", "mediant", "subdominant", "dominant", "submediant", "leading-note", "neapolitan", "subtonic", "augmented-sixth", "borrowed",
	"to-supertonic", "to-mediant", "to-subdominant", "to-dominant", "to-submediant", "to-subtonic"}

// functions holds the vocabulary of both modes: index 0 major, 1 minor. It is
// what the common textbooks teach for tonal music; nothing is counted from data.
var functions = [2][]function{majorFunctions(), minorFunctions()}

func plain(class int8, root Tone, qs ...Quality) []function {
	var out []function
	for _, q := range qs {
		out = append(out, function{root: root, quality: q, class: class})
	}
	return out
}

// toward lists the dominants and leading-note chords of a degree. bare: the plain
// triad V of it is no chord of the scale already.
func toward(class int8, target Tone, minor, bare bool) []function {
	fs := []function{{root: target + 1, quality: DominantSeventh}, {root: target + 5, quality: Diminished}, {root: target + 5, quality: DiminishedSeventh}}
	if bare {
		fs = append(fs, function{root: target + 1, quality: Major})
	}
	if !minor {
		fs = append(fs, function{root: target + 5, quality: HalfDiminished})
	}
	for i := range fs {
		fs[i].class, fs[i].applied, fs[i].target, fs[i].targetMinor = class, true, target, minor
	}
	return fs
}

func majorFunctions() []function {
	var fs []function
	add := func(more []function) { fs = append(fs, more...) }
	add(plain(clTonic, 0, Major, MajorSeventh))
	add(plain(clSupertonic, 2, Minor, MinorSeventh))
	add(plain(clMediant, 4, Minor, MinorSeventh))
	add(plain(clSubdominant, -1, Major, MajorSeventh))
	add(plain(clDominant, 1, Major, DominantSeventh, CadentialMajor))
	add(plain(clSubmediant, 3, Minor, MinorSeventh))
	add(plain(clLeading, 5, Diminished, HalfDiminished, DiminishedSeventh))
	add(plain(clBorrowed, 0, Minor))
	add(plain(clBorrowed, -1, Minor))
	add(plain(clBorrowed, 2, Diminished, HalfDiminished))
	add(plain(clBorrowed, -4, Major))
	add(plain(clNeapolitan, -5, Major))
	add(plain(clAugmentedSixth, 6, ItalianSixth, FrenchSixth, GermanSixth))
	add(toward(clToSupertonic, 2, true, true))
	add(toward(clToMediant, 4, true, true))
	add(toward(clToSubdominant, -1, false, false))
	add(toward(clToDominant, 1, false, true))
	add(toward(clToSubmediant, 3, true, true))
	return fs
}

func minorFunctions() []function {
	var fs []function
	add := func(more []function) { fs = append(fs, more...) }
	add(plain(clTonic, 0, Minor, MinorSeventh))
	add(plain(clSupertonic, 2, Diminished, HalfDiminished))
	add(plain(clMediant, -3, Major, MajorSeventh, Augmented))
	add(plain(clSubdominant, -1, Minor, MinorSeventh, Major))
	add(plain(clDominant, 1, Major, DominantSeventh, CadentialMinor))
	add(plain(clSubtonic, 1, Minor, MinorSeventh))
	add(plain(clSubmediant, -4, Major, MajorSeventh))
	add(plain(clSubtonic, -2, Major))
	add(plain(clLeading, 5, Diminished, DiminishedSeventh))
	add(plain(clBorrowed, 0, Major))
	add(plain(clBorrowed, 2, Minor))
	add(plain(clNeapolitan, -5, Major))
	add(plain(clAugmentedSixth, 6, ItalianSixth, FrenchSixth, GermanSixth))
	add(toward(clToMediant, -3, false, true))
	add(toward(clToSubdominant, -1, true, true))
	add(toward(clToDominant, 1, false, true))
	add(toward(clToSubmediant, -4, false, false))
	add(toward(clToSubtonic, -2, false, false))
	return fs
}

func mode(minor bool) int {
	if minor {
		return 1
	}
	return 0
}

// roman writes the numeral without figures: V, vii°, viiø/V, ♭II, Ger.
func (f function) roman(minor bool) string {
	switch f.quality {
	case ItalianSixth:
		return "It"
	case FrenchSixth:
		return "Fr"
	case GermanSixth:
		return "Ger"
	case CadentialMajor: // the tonic's notes, whatever the dominant's root does below
		return "I"
	case CadentialMinor:
		return "i"
	}
	if f.applied {
		over := degreeIn(f.target, minor)
		if f.targetMinor {
			over = strings.ToLower(over)
		}
		own := function{root: f.root - f.target, quality: f.quality}
		return own.roman(f.targetMinor) + "/" + over
	}
	var s string
	if f.class == clNeapolitan {
		return "N"
	}
	s = degreeIn(f.root, minor)
	if minor && f.root == 5 {
		s = "VII" // the leading-note chord is written without its sharp
	}
	switch f.quality {
	case Minor, MinorSeventh:
		s = strings.ToLower(s)
	case Diminished, DiminishedSeventh:
		s = strings.ToLower(s) + "°"
	case HalfDiminished:
		s = strings.ToLower(s) + "ø"
	case Augmented:
		s += "+"
	case MajorSeventh:
		s += "M"
	}
	return s
}
