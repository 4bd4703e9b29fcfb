// Package dcml reads the tables of a corpus in the published DCML harmony
// standard (Neuwirth, Harasim, Moss and Rohrmeier 2018): notes, measures and
// expanded chord labels, as tab-separated values with a header line.
package dcml

import (
	"encoding/csv"
	"fmt"
	"io"
	"math/big"
	"strconv"
	"strings"

	"pochette/internal/harmony"
	"pochette/internal/pitch"
	"pochette/internal/score"
)

const maxRows = 1 << 20

// table is a TSV by column names.
type table struct {
	name string
	cols map[string]int
	rows [][]string
}

func readTable(name string, r io.Reader) (*table, error) {
	c := csv.NewReader(r)
	c.Comma, c.LazyQuotes, c.FieldsPerRecord = '\t', false, -1
	head, err := c.Read()
	if err != nil {
		return nil, fmt.Errorf("%s: no header line: %w", name, err)
	}
	t := &table{name: name, cols: map[string]int{}}
	for i, h := range head {
		t.cols[strings.TrimPrefix(h, "\ufeff")] = i
	}
	for {
		row, err := c.Read()
		if err == io.EOF {
			return t, nil
		}
		if err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		if len(t.rows) == maxRows {
			return nil, fmt.Errorf("%s: more than %d rows", name, maxRows)
		}
		t.rows = append(t.rows, row)
	}
}

// get is the field of a row, "" where there is no such column.
func (t *table) get(row int, col string) string {
	i, ok := t.cols[col]
	if !ok || i >= len(t.rows[row]) {
		return ""
	}
	return strings.TrimSpace(t.rows[row][i])
}

func (t *table) fail(row int, col, want string) error {
	return fmt.Errorf("%s, line %d, column %s: %q: want %s", t.name, row+2, col, t.get(row, col), want)
}

func (t *table) int(row int, col string) (int, error) {
	n, err := strconv.Atoi(t.get(row, col))
	if err != nil || n < -1<<20 || n > 1<<20 {
		return 0, t.fail(row, col, "a whole number")
	}
	return n, nil
}

// frac reads a number or a fraction such as 3/8.
func (t *table) frac(row int, col string) (*big.Rat, error) {
	s := t.get(row, col)
	if len(s) > 24 {
		return nil, t.fail(row, col, "a number or a fraction")
	}
	r, ok := new(big.Rat).SetString(s)
	if !ok || r.Num().BitLen() > 40 || r.Denom().BitLen() > 20 {
		return nil, t.fail(row, col, "a number or a fraction")
	}
	return r, nil
}

// Read makes a piece from its three tables; chords may be nil.
func Read(notes, measures, chords io.Reader) (*harmony.Labelled, error) {
	nt, err := readTable("notes", notes)
	if err != nil {
		return nil, err
	}
	mt, err := readTable("measures", measures)
	if err != nil {
		return nil, err
	}
	b := &builder{notes: nt, measures: mt, start: map[int]score.Tick{}, index: map[int]int{}}
	p := &harmony.Labelled{}
	if err := b.quarter(); err != nil {
		return nil, err
	}
	p.Quarter = b.q
	p.Part = &score.Part{ID: "P1", Name: "Part", Staves: 1}
	if err := b.bars(p.Part); err != nil {
		return nil, err
	}
	if err := b.fill(p.Part); err != nil {
		return nil, err
	}
	if chords == nil {
		return p, nil
	}
	ct, err := readTable("harmonies", chords)
	if err != nil {
		return nil, err
	}
	return p, b.labels(p, ct)
}

type builder struct {
	notes, measures *table
	q               score.Tick
	start           map[int]score.Tick // by mc
	index           map[int]int
	end             score.Tick
}

// quarter finds ticks to a quarter in which every onset and length is whole.
func (b *builder) quarter() error {
	l := big.NewInt(8)
	see := func(t *table, row int, col string) error {
		f, err := t.frac(row, col)
		if err != nil {
			return err
		}
		d := new(big.Rat).Mul(f, big.NewRat(4, 1)).Denom()
		g := new(big.Int).GCD(nil, nil, l, d)
		l.Mul(l, new(big.Int).Div(d, g))
		if l.BitLen() > 24 {
			return t.fail(row, col, "a length on a common grid")
		}
		return nil
	}
	for i := range b.notes.rows {
		if err := see(b.notes, i, "mc_onset"); err != nil {
			return err
		}
		if err := see(b.notes, i, "duration"); err != nil {
			return err
		}
	}
	for i := range b.measures.rows {
		if err := see(b.measures, i, "act_dur"); err != nil {
			return err
		}
	}
	b.q = score.Tick(l.Int64())
	return nil
}

// ticks of a fraction of a whole note.
func (b *builder) ticks(f *big.Rat) score.Tick {
	v := new(big.Rat).Mul(f, big.NewRat(4*int64(b.q), 1))
	return score.Tick(new(big.Int).Quo(v.Num(), v.Denom()).Int64())
}

func (b *builder) bars(p *score.Part) error {
	t := b.measures
	for i := range t.rows {
		mc, err := t.int(i, "mc")
		if err != nil {
			return err
		}
		fifths, err := t.int(i, "keysig")
		if err != nil {
			return err
		}
		dur, err := t.frac(i, "act_dur")
		if err != nil {
			return err
		}
		var num, den int
		if n, _ := fmt.Sscanf(t.get(i, "timesig"), "%d/%d", &num, &den); n != 2 || num < 1 || den < 1 || num > 64 || den > 64 {
			return t.fail(i, "timesig", "a meter such as 3/4")
		}
		m := score.Measure{Index: i, Number: t.get(i, "mn"), Start: b.end, Len: b.ticks(dur), Key: score.Key{At: b.end, Fifths: fifths}}
		m.Implicit = t.get(i, "dont_count") == "1"
		full := b.ticks(big.NewRat(int64(num), int64(den)))
		m.Meter = score.Meter{Beats: strconv.Itoa(num), Unit: strconv.Itoa(den), Num: num, Den: den, Len: full, Groups: []score.Tick{full}}
		switch r := t.get(i, "repeats"); {
		case r == "start":
			m.RepeatStart = true
		case r == "end":
			m.RepeatTimes = 2
		case r == "startend":
			m.RepeatStart, m.RepeatTimes = true, 2
		}
		if i == len(t.rows)-1 {
			m.RightBar = "light-heavy"
		}
		if m.Len <= 0 {
			return t.fail(i, "act_dur", "a length above 0")
		}
		b.start[mc], b.index[mc] = m.Start, i
		b.end += m.Len
		p.Measures = append(p.Measures, m)
	}
	if len(p.Measures) == 0 {
		return fmt.Errorf("%s: no measures", t.name)
	}
	return nil
}

func (b *builder) place(t *table, row int) (measure int, at score.Tick, err error) {
	mc, err := t.int(row, "mc")
	if err != nil {
		return 0, 0, err
	}
	start, ok := b.start[mc]
	if !ok {
		return 0, 0, t.fail(row, "mc", "a measure of the measures table")
	}
	on, err := t.frac(row, "mc_onset")
	if err != nil {
		return 0, 0, err
	}
	return b.index[mc], start + b.ticks(on), nil
}

var graceMarks = "gracenote"

func (b *builder) fill(p *score.Part) error {
	t := b.notes
	type open struct {
		voice string
		key   int
	}
	ties := map[open]score.NoteID{}
	for i := range t.rows {
		m, at, err := b.place(t, i)
		if err != nil {
			return err
		}
		dur, err := t.frac(i, "duration")
		if err != nil {
			return err
		}
		tpc, err := t.int(i, "tpc")
		if err != nil {
			return err
		}
		key, err := t.int(i, "midi")
		if err != nil {
			return err
		}
		pi, ok := spell(tpc, key)
		if !ok {
			return t.fail(i, "tpc", "a spelling of the key number")
		}
		id := score.NoteID(len(p.Notes))
		n := score.Note{ID: id, Measure: m, Onset: at, Dur: b.ticks(dur), Voice: t.get(i, "voice"), Staff: 1, Head: id,
			Written: pi, Sounding: pi, TieFrom: score.NoNote, TieTo: score.NoNote, Value: score.Value{Actual: 1, Normal: 1}}
		n.Grace = t.get(i, graceMarks) != "" || n.Dur == 0
		tied := t.get(i, "tied")
		k := open{n.Voice, key}
		if prev, ok := ties[k]; ok && (tied == "0" || tied == "-1") && p.Notes[prev].End() == at {
			n.TieFrom, p.Notes[prev].TieTo = prev, id
		}
		delete(ties, k)
		if tied == "1" || tied == "0" {
			ties[k] = id
		}
		p.Notes = append(p.Notes, n)
	}
	return nil
}

// spell finds the pitch of a place on the line of fifths and a key number.
func spell(tpc, key int) (pitch.Pitch, bool) {
	if tpc < -15 || tpc > 19 || key < 0 || key > 127 {
		return pitch.Pitch{}, false
	}
	for s := pitch.C; s <= pitch.B; s++ {
		for oct := int8(-1); oct <= 10; oct++ {
			for alter := int8(-3); alter <= 3; alter++ {
				p := pitch.Pitch{Step: s, Alter: alter, Octave: oct}
				if int(harmony.ToneOf(p)) == tpc && p.MIDI() == key {
					return p, true
				}
			}
		}
	}
	return pitch.Pitch{}, false
}

// Corpus reads movements by name. open gives the table of a movement: kind is
// notes, measures or harmonies. The group of a movement is its name up to the
// first underscore: the work it belongs to.
func Corpus(names []string, open func(kind, name string) (io.ReadCloser, error)) ([]harmony.Labelled, error) {
	var out []harmony.Labelled
	for _, name := range names {
		var tabs [3]io.ReadCloser
		for i, kind := range [...]string{"notes", "measures", "harmonies"} {
			r, err := open(kind, name)
			if err != nil {
				return nil, err
			}
			defer r.Close()
			tabs[i] = r
		}
		l, err := Read(tabs[0], tabs[1], tabs[2])
		if err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		l.Name = name
		l.Group, _, _ = strings.Cut(name, "_")
		out = append(out, *l)
	}
	return out, nil
}
