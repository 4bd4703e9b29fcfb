// Package learn fits the weights of the hand to fingered pieces: it reads the
// pieces, lays them out as the fingering search does, and follows the gradient of a
// conditional random field over the search's own lattice.
package learn

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"sort"
	"strconv"
	"strings"

	"pochette/internal/pitch"
	"pochette/internal/score"
)

// Truth is how a player took a note; OK is false where the row is damaged
// (see the traps in the data's README).
type Truth struct {
	String, Position, Finger int // String 1 = highest
	OK                       bool
	// FingerOnly: only the finger is known (a printed one); Fingers is its set.
	FingerOnly bool
	Fingers    string
}

// Piece is a fingered piece as a score and its truth by NoteID.
type Piece struct {
	Name  string
	Score *score.Score
	Truth []Truth
}

// Row is one note of a file, as it stands there: string 1 the lowest, bow codes as
// the data's README tells, Start and Dur in quarters (Start from the bar's beginning).
type Row struct {
	Key, Bar         int
	Start, Dur       float64
	str, pos, finger int
	Bowing, harmonic int
	hasBows          bool
}

var violinOpen = [...]int{55, 62, 69, 76} // MIDI, by the data's string less one

// Read reads one file of either set.
func Read(path string) (*Piece, error) {
	rows, err := ReadRows(path)
	if err != nil {
		return nil, err
	}
	name := strings.TrimSuffix(filepath.Base(path), ".csv")
	return build(name, rows), nil
}

// ReadRows reads the notes of a file of either set in the file's order.
func ReadRows(path string) ([]Row, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	all, err := csv.NewReader(f).ReadAll()
	if err != nil || len(all) == 0 {
		return nil, fmt.Errorf("%s: %v", path, err)
	}
	col := map[string]int{}
	for i, h := range all[0] {
		col[strings.TrimSpace(h)] = i
	}
	get := func(r []string, name string) (float64, bool) {
		i, ok := col[name]
		if !ok {
			return 0, false
		}
		v, err := strconv.ParseFloat(strings.TrimSpace(r[i]), 64)
		return v, err == nil
	}
	var out []Row
	bar, last := 0, 0.0
	for _, r := range all[1:] {
		var x Row
		v, ok := get(r, "pitch")
		if !ok {
			continue
		}
		x.Key = int(v)
		x.Start, _ = get(r, "start")
		x.Dur, _ = get(r, "duration")
		if v, ok = get(r, "bars"); ok {
			x.Bar = int(v)
		} else {
			if x.Start < last {
				bar++ // no column gives the bar; start restarts in each
			}
			x.Bar = bar
		}
		last = x.Start
		v, _ = get(r, "string")
		x.str = int(v)
		v, _ = get(r, "position")
		x.pos = int(v)
		v, _ = get(r, "finger")
		x.finger = int(v)
		v, x.hasBows = get(r, "bowing")
		x.Bowing = int(v)
		v, _ = get(r, "harmonic")
		x.harmonic = int(v)
		out = append(out, x)
	}
	return out, nil
}

// Quarter is how many ticks a quarter note has in the scores made here.
const Quarter = 960

const quarter = Quarter

// tempo in quarter notes a minute of the scores made here: the files have none,
// and a middle one is taken.
const tempo = 96

// rounding: the files cut thirds and sixths of a quarter to three digits or fewer;
// so small a gap is no rest.
const rounding = 24

func build(name string, rows []Row) *Piece {
	sort.SliceStable(rows, func(a, b int) bool {
		if rows[a].Bar != rows[b].Bar {
			return rows[a].Bar < rows[b].Bar
		}
		return rows[a].Start < rows[b].Start
	})
	tick := func(q float64) score.Tick { return score.Tick(math.Round(q * quarter)) }
	ends := map[int]float64{}
	for _, r := range rows {
		ends[r.Bar] = max(ends[r.Bar], r.Start+r.Dur)
	}
	barLen := usualEnd(ends)
	fifths := guessFifths(rows)
	local := localFifths(rows, fifths)
	p := &score.Part{ID: "P1", Name: "Violin", Directions: []score.Direction{{Kind: "metronome", Tempo: tempo}}}
	sc := &score.Score{Quarter: quarter, Parts: []*score.Part{p}}
	fp := &Piece{Name: name, Score: sc}
	num := int(barLen)
	at := map[int]int{}
	var begin score.Tick
	for ri, r := range rows {
		mi, ok := at[r.Bar]
		if !ok {
			mi = len(p.Measures)
			at[r.Bar] = mi
			l := tick(max(barLen, min(8, math.Ceil(ends[r.Bar]-0.01))))
			p.Measures = append(p.Measures, score.Measure{Index: mi, Number: strconv.Itoa(r.Bar), Start: begin, Len: l,
				Meter: score.Meter{Beats: strconv.Itoa(num), Unit: "4", Num: num, Den: 4, Len: l, Groups: []score.Tick{l}}})
			begin += l
		}
		id := score.NoteID(len(p.Notes))
		n := score.Note{ID: id, Head: id, Measure: mi, Onset: p.Measures[mi].Start + tick(r.Start), Dur: tick(math.Max(r.Dur, 0.01)), Voice: "1", Staff: 1,
			TieFrom: score.NoNote, TieTo: score.NoNote}
		n.Written = pitch.FromMIDI(r.Key, local[ri])
		n.Sounding = n.Written
		if last := len(p.Notes) - 1; last >= 0 && p.Notes[last].Onset == n.Onset {
			n.Chord, n.Head = true, p.Notes[last].Head
		}
		t := Truth{String: 5 - r.str, Position: r.pos, Finger: r.finger}
		if r.str >= 1 && r.str <= 4 {
			semi := r.Key - violinOpen[r.str-1]
			t.OK = semi >= 0 && (r.finger != 0 || semi == 0)
		}
		if r.harmonic > 0 {
			n.Marks = append(n.Marks, score.Mark{Kind: score.Harmonic, Text: "natural"})
		}
		p.Notes = append(p.Notes, n)
		fp.Truth = append(fp.Truth, t)
	}
	// durations end at the next onset at the latest: a single line
	for i := range p.Notes {
		for j := i + 1; j < len(p.Notes); j++ {
			if p.Notes[j].Onset > p.Notes[i].Onset {
				gap := p.Notes[j].Onset - p.Notes[i].Onset
				if d := p.Notes[i].Dur; d > gap || gap-d <= rounding {
					p.Notes[i].Dur = gap
				}
				break
			}
		}
	}
	fp.slur(rows)
	return fp
}

// slur binds runs of equal bow codes; the file does not say whether such a run
// is a slur, a link or a retake.
func (fp *Piece) slur(rows []Row) {
	p := fp.Score.Parts[0]
	from := 0
	for i := 1; i <= len(rows); i++ {
		if i < len(rows) && rows[i].hasBows && rows[i].Bowing == rows[from].Bowing && rows[i].Bowing <= 2 && rows[i].Bowing >= 1 {
			continue
		}
		if i-1 > from && p.Notes[i-1].Onset > p.Notes[from].Onset {
			p.Slurs = append(p.Slurs, score.Slur{Number: 1, Start: score.NoteID(from), End: score.NoteID(i - 1)})
		}
		from = i
	}
}

// guessFifths is the signature with the fewest notes outside its scale, the
// plainest of equals: the files give keys by number only.
func guessFifths(rows []Row) int {
	best, bestOut := 0, math.MaxInt
	for _, f := range []int{0, 1, -1, 2, -2, 3, -3, 4, -4, 5, -5, 6, -6} {
		if out := outside(rows, f); out < bestOut {
			best, bestOut = f, out
		}
	}
	return best
}

// spellingWindow is how many notes on either side spell a note.
const spellingWindow = 20

// localFifths guesses the signature around each note; of equals the one nearest
// to that of the piece.
func localFifths(rows []Row, piece int) []int {
	out := make([]int, len(rows))
	for i := range rows {
		around := rows[max(0, i-spellingWindow):min(len(rows), i+spellingWindow+1)]
		best, bestOut := piece, outside(around, piece)
		for d := 1; d <= 6; d++ {
			for _, f := range []int{piece - d, piece + d} {
				if f < -6 || f > 6 {
					continue
				}
				if n := outside(around, f); n < bestOut {
					best, bestOut = f, n
				}
			}
		}
		out[i] = best
	}
	return out
}

func outside(rows []Row, fifths int) int {
	in := map[int]bool{}
	for s := pitch.C; s <= pitch.B; s++ {
		in[pitch.Pitch{Step: s, Alter: int8(pitch.KeyAlter(fifths, s)), Octave: 4}.Class()] = true
	}
	out := 0
	for _, r := range rows {
		if !in[r.Key%12] {
			out++
		}
	}
	return out
}

// usualEnd is where most bars end, in quarters: the files tell no meter, and a
// note tied over the bar line makes its bar end late.
func usualEnd(ends map[int]float64) float64 {
	count := map[float64]int{}
	best := 4.0
	for _, e := range ends {
		count[math.Ceil(e-0.01)]++
	}
	most := 0
	for e := 1.0; e <= 8; e++ {
		if count[e] > most {
			best, most = e, count[e]
		}
	}
	return best
}
