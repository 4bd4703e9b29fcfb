package timeline

import (
	"maps"
	"slices"
	"sort"
	"strings"

	"pochette/internal/score"
)

// Pace turns score time into seconds. It is as good as what the file says of
// tempo; Source tells what that was.
type Pace struct {
	quarter score.Tick
	from    []paceSpan
	Source  PaceSource
	// Held tells by which notes a pace that is not printed was kept down; the zero
	// value where it was not.
	Held Held
}

// Held is a pace kept down by short notes.
type Held struct {
	Usual float64    // quarter notes a minute that would have been taken
	Note  score.Tick // the length of the short notes
}

// PaceSource says where a pace was taken from.
type PaceSource int8

// Where a pace comes from: a metronome mark or <sound tempo>, a tempo word
// (rough), or nothing but the usual middle.
const (
	PaceAssumed PaceSource = iota
	PaceWord
	PacePrinted
)

type paceSpan struct {
	at      score.Tick
	quarter float64 // quarter notes a minute
}

// assumedBeats is the pace taken where the part names none, felt beats a minute:
// that at which the weights of the hand were learned (package learn), whose files
// have no tempo either.
const assumedBeats = 96

// tempoWords gives felt beats a minute: the middle of each word's range on a
// metronome's dial; from memory.
var tempoWords = []struct {
	word  string
	beats float64
}{
	{"prestissimo", 200}, {"presto", 176}, {"vivace", 150}, {"allegretto", 108}, {"allegro", 132},
	{"moderato", 100}, {"andantino", 84}, {"andante", 76}, {"larghetto", 62}, {"largo", 46},
	{"adagio", 58}, {"grave", 42}, {"lento", 52}, {"lively", 116}, {"fast", 138}, {"slow", 56},
}

// A mark is believed from slowest to quickest, in quarter notes a minute; what
// lies outside is a slip of the file.
const slowest, quickest = 5, 1000

// longestWord bounds the text that is looked through for a tempo word: what is
// longer is a sentence that may mean anything.
const longestWord = 80

// PaceOf reads the tempo marks of a part, or, where it has none, of the first
// part that has: in a score they stand over the top staff only.
func PaceOf(sc *score.Score, p *score.Part) Pace {
	if !slices.ContainsFunc(p.Directions, tempoMark) {
		for _, q := range sc.Parts {
			if slices.ContainsFunc(q.Directions, tempoMark) {
				p = q
				break
			}
		}
	}
	pace := Pace{quarter: max(1, sc.Quarter), from: []paceSpan{{0, 0}}}
	for _, d := range p.Directions {
		if figured(d) {
			pace.from = append(pace.from, paceSpan{d.At, d.Tempo})
			pace.Source = PacePrinted
		}
	}
	slices.SortStableFunc(pace.from, func(a, b paceSpan) int { return int(a.at - b.at) })
	if pace.Source == PaceAssumed {
		pace.from[0].quarter = wordPace(&pace, p)
		pace.hold(sc, p)
		return pace
	}
	pace.from[0].quarter = pace.from[1].quarter // before the first mark its pace holds
	return pace
}

// QuickestRun is how many common short notes of a part go into a second at most
// where the pace is a guess: twelve, sixteenths at 180 quarters a minute. Common
// practice, no source.
const QuickestRun = 12

// commonShare and commonNotes say which short notes are common and no ornament:
// notes so short or shorter are one in fifty of a part, and eight.
const (
	commonShare = 50
	commonNotes = 8
)

// hold keeps a guessed pace down so that the shortest common notes of every part
// can be played; all parts of a score go together.
func (p *Pace) hold(sc *score.Score, part *score.Part) {
	usual := p.from[0].quarter
	for _, q := range append(slices.Clip(sc.Parts), part) {
		d := shortest(q)
		if most := 60 * QuickestRun * float64(d) / float64(p.quarter); d > 0 && most < p.from[0].quarter {
			p.from[0].quarter, p.Held = most, Held{usual, d}
		}
	}
}

// shortest is the length of the shortest common notes of a part, 0 for none.
func shortest(p *score.Part) score.Tick {
	counts := map[score.Tick]int{}
	all := 0
	for i := range p.Notes {
		if n := &p.Notes[i]; !n.Grace && !n.Chord && n.Dur > 0 && n.TieFrom == score.NoNote && n.TieTo == score.NoNote {
			counts[n.Dur]++
			all++
		}
	}
	sum := 0
	for _, d := range slices.Sorted(maps.Keys(counts)) {
		if sum += counts[d]; sum >= commonNotes && sum*commonShare >= all {
			return d
		}
	}
	return 0
}

// tempoMark says that a direction tells a tempo, in figures or in a word.
func tempoMark(d score.Direction) bool {
	_, word := tempoWord(d)
	return word || figured(d)
}

func figured(d score.Direction) bool { return d.Tempo >= slowest && d.Tempo <= quickest }

func wordPace(pace *Pace, p *score.Part) float64 {
	beats := float64(assumedBeats)
	for _, d := range p.Directions {
		if w, ok := tempoWord(d); ok {
			beats, pace.Source = w, PaceWord
			break
		}
	}
	if len(p.Measures) == 0 {
		return beats
	}
	if beat := Beat(p.Measures[0].Meter); beat > 0 {
		return beats * float64(beat) / float64(pace.quarter)
	}
	return beats
}

func tempoWord(d score.Direction) (float64, bool) {
	if d.Kind != "words" || len(d.Text) > longestWord {
		return 0, false
	}
	text := strings.ToLower(d.Text)
	for _, w := range tempoWords {
		if strings.Contains(text, w.word) {
			return w.beats, true
		}
	}
	return 0, false
}

// Seconds from one tick to another.
func (p Pace) Seconds(from, to score.Tick) float64 {
	if to < from {
		return -p.Seconds(to, from)
	}
	i := max(0, sort.Search(len(p.from), func(i int) bool { return p.from[i].at > from })-1)
	sum := 0.0
	for ; from < to; i++ {
		stop := to
		if i+1 < len(p.from) && p.from[i+1].at < to {
			stop = max(from, p.from[i+1].at)
		}
		sum += float64(stop-from) / float64(p.quarter) * 60 / p.from[i].quarter
		from = stop
		if i+1 >= len(p.from) {
			break
		}
	}
	return sum
}

// Quarter is the pace at a tick in quarter notes a minute.
func (p Pace) Quarter(at score.Tick) float64 {
	i := max(0, sort.Search(len(p.from), func(i int) bool { return p.from[i].at > at })-1)
	return p.from[i].quarter
}
