package timeline

import (
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
		return pace
	}
	pace.from[0].quarter = pace.from[1].quarter // before the first mark its pace holds
	return pace
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
