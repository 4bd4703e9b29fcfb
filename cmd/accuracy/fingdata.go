package main

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

// fingTruth is how a player took a note; ok is false where the row is damaged
// (see the traps in the data's README).
type fingTruth struct {
	str, pos, finger int // str 1 = highest
	ok               bool
}

// fingPiece is a fingered piece as a score and its truth by NoteID.
type fingPiece struct {
	name  string
	sc    *score.Score
	truth []fingTruth
}

type fingRow struct {
	key, bar       int
	start, dur     float64
	str, pos, fing int
	bowing, harm   int
	hasBows        bool
}

var violinOpen = [...]int{55, 62, 69, 76} // MIDI, by the data's string less one

// readFingering reads one file of either set.
func readFingering(path string) (*fingPiece, error) {
	rows, err := fingRows(path)
	if err != nil {
		return nil, err
	}
	name := strings.TrimSuffix(filepath.Base(path), ".csv")
	return buildFingPiece(name, rows), nil
}

func fingRows(path string) ([]fingRow, error) {
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
	var out []fingRow
	bar, last := 0, 0.0
	for _, r := range all[1:] {
		var x fingRow
		v, ok := get(r, "pitch")
		if !ok {
			continue
		}
		x.key = int(v)
		x.start, _ = get(r, "start")
		x.dur, _ = get(r, "duration")
		if v, ok = get(r, "bars"); ok {
			x.bar = int(v)
		} else {
			if x.start < last {
				bar++ // no column gives the bar; start restarts in each
			}
			x.bar = bar
		}
		last = x.start
		v, _ = get(r, "string")
		x.str = int(v)
		v, _ = get(r, "position")
		x.pos = int(v)
		v, _ = get(r, "finger")
		x.fing = int(v)
		v, x.hasBows = get(r, "bowing")
		x.bowing = int(v)
		v, _ = get(r, "harmonic")
		x.harm = int(v)
		out = append(out, x)
	}
	return out, nil
}

const fingQuarter = 960

func buildFingPiece(name string, rows []fingRow) *fingPiece {
	sort.SliceStable(rows, func(a, b int) bool {
		if rows[a].bar != rows[b].bar {
			return rows[a].bar < rows[b].bar
		}
		return rows[a].start < rows[b].start
	})
	tick := func(q float64) score.Tick { return score.Tick(math.Round(q * fingQuarter)) }
	barLen := 0.0
	for _, r := range rows {
		barLen = max(barLen, r.start+r.dur)
	}
	barLen = math.Min(math.Ceil(barLen), 8)
	fifths := guessFifths(rows)
	p := &score.Part{ID: "P1", Name: "Violin"}
	sc := &score.Score{Quarter: fingQuarter, Parts: []*score.Part{p}}
	fp := &fingPiece{name: name, sc: sc}
	num := int(barLen)
	at := map[int]int{}
	for _, r := range rows {
		mi, ok := at[r.bar]
		if !ok {
			mi = len(p.Measures)
			at[r.bar] = mi
			l := tick(barLen)
			p.Measures = append(p.Measures, score.Measure{Index: mi, Number: strconv.Itoa(r.bar), Start: score.Tick(mi) * l, Len: l,
				Meter: score.Meter{Beats: strconv.Itoa(num), Unit: "4", Num: num, Den: 4, Len: l, Groups: []score.Tick{l}}})
		}
		id := score.NoteID(len(p.Notes))
		n := score.Note{ID: id, Head: id, Measure: mi, Onset: p.Measures[mi].Start + tick(r.start), Dur: tick(math.Max(r.dur, 0.01)), Voice: "1", Staff: 1,
			TieFrom: score.NoNote, TieTo: score.NoNote}
		n.Written = pitch.FromMIDI(r.key, fifths)
		n.Sounding = n.Written
		if last := len(p.Notes) - 1; last >= 0 && p.Notes[last].Onset == n.Onset {
			n.Chord, n.Head = true, p.Notes[last].Head
		}
		t := fingTruth{str: 5 - r.str, pos: r.pos, finger: r.fing}
		if r.str >= 1 && r.str <= 4 {
			semi := r.key - violinOpen[r.str-1]
			t.ok = semi >= 0 && (r.fing != 0 || semi == 0)
		}
		if r.harm > 0 {
			n.Marks = append(n.Marks, score.Mark{Kind: score.Harmonic, Text: "natural"})
		}
		p.Notes = append(p.Notes, n)
		fp.truth = append(fp.truth, t)
	}
	// durations end at the next onset at the latest: a single line
	for i := range p.Notes {
		for j := i + 1; j < len(p.Notes); j++ {
			if p.Notes[j].Onset > p.Notes[i].Onset {
				p.Notes[i].Dur = min(p.Notes[i].Dur, p.Notes[j].Onset-p.Notes[i].Onset)
				break
			}
		}
	}
	fp.slur(rows)
	return fp
}

// slur binds runs of equal bow codes; the file does not say whether such a run
// is a slur, a link or a retake.
func (fp *fingPiece) slur(rows []fingRow) {
	p := fp.sc.Parts[0]
	from := 0
	for i := 1; i <= len(rows); i++ {
		if i < len(rows) && rows[i].hasBows && rows[i].bowing == rows[from].bowing && rows[i].bowing <= 2 && rows[i].bowing >= 1 {
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
func guessFifths(rows []fingRow) int {
	best, bestOut := 0, math.MaxInt
	for _, f := range []int{0, 1, -1, 2, -2, 3, -3, 4, -4, 5, -5, 6, -6} {
		in := map[int]bool{}
		for s := pitch.C; s <= pitch.B; s++ {
			in[pitch.Pitch{Step: s, Alter: int8(pitch.KeyAlter(f, s)), Octave: 4}.Class()] = true
		}
		out := 0
		for _, r := range rows {
			if !in[r.key%12] {
				out++
			}
		}
		if out < bestOut {
			best, bestOut = f, out
		}
	}
	return best
}
