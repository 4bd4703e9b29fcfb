package listentest

import (
	"fmt"
	"math/rand/v2"

	"pochette/internal/pitch"
	"pochette/internal/score"
)

// quarter is the ticks of a quarter in invented pieces.
const quarter = 24

// Kinds are the pieces that Piece invents.
var Kinds = []string{"dance", "running", "song", "dotted", "chords"}

// Piece invents a movement of some bars for an instrument with lowest open string
// low (MIDI): a walk over the scale of a random key in the rhythms of its kind. The
// pieces of a kind and seed are always the same.
func Piece(kind string, bars, low int, seed uint64) (*score.Score, *score.Part) {
	rng := rand.New(rand.NewPCG(seed, 0x51))
	b := &builder{rng: rng, low: low, fifths: rng.IntN(7) - 3, at: 7 + rng.IntN(7)}
	num, den := 4, 4
	if kind == "dance" {
		num, den = 6, 8
	}
	b.sc = &score.Score{Title: "Invented " + kind, Quarter: quarter}
	b.p = &score.Part{ID: "P1", Name: "Solo", Staves: 1}
	b.sc.Parts = []*score.Part{b.p}
	for i := range bars {
		b.measure(kind, i, bars, num, den)
	}
	return b.sc, b.p
}

type builder struct {
	rng         *rand.Rand
	sc          *score.Score
	p           *score.Part
	low, fifths int
	at          int // degree of the scale above the lowest string
	pos         score.Tick
}

// rhythms of one bar: lengths in ticks (negative: a rest), with + a slur to the next.
type figure struct {
	len  score.Tick
	slur bool
}

func (b *builder) measure(kind string, i, bars, num, den int) {
	l := score.Tick(num) * quarter * 4 / score.Tick(den)
	m := score.Measure{Index: i, Number: fmt.Sprint(i + 1), Start: b.pos, Len: l,
		Meter: score.Meter{Beats: fmt.Sprint(num), Unit: fmt.Sprint(den), Num: num, Den: den, Len: l, Groups: []score.Tick{l}},
		Key:   score.Key{Fifths: b.fifths}}
	half := bars / 2
	if kind != "song" { // two strains, each played twice
		m.RepeatStart = i == 0 || i == half
		if i == half-1 || i == bars-1 {
			m.RepeatTimes, m.RightBar = 2, "light-heavy"
		}
	}
	b.p.Measures = append(b.p.Measures, m)
	start := score.NoteID(-1)
	for _, f := range b.figures(kind, i == bars-1 || i == half-1, l) {
		id := b.note(i, f.len, kind == "chords" && f.len >= quarter && b.rng.IntN(2) == 0, start >= 0)
		switch {
		case f.slur && start < 0:
			start = id
		case !f.slur && start >= 0:
			b.p.Slurs = append(b.p.Slurs, score.Slur{Start: start, End: id})
			start = -1
		}
		if f.len < 0 {
			f.len = -f.len
		}
		b.pos += f.len
	}
}

func (b *builder) figures(kind string, last bool, l score.Tick) []figure {
	const q, e, s = quarter, quarter / 2, quarter / 4
	pick := func(all ...[]figure) []figure { return all[b.rng.IntN(len(all))] }
	var out []figure
	if last {
		return []figure{{l - q, false}, {-q, false}}
	}
	for at := score.Tick(0); at < l; {
		var f []figure
		switch kind {
		case "dance":
			f = pick([]figure{{e + s, true}, {s, false}, {e, false}}, []figure{{q, false}, {e, false}}, []figure{{e, true}, {e, true}, {e, false}}, []figure{{e + s, false}, {s, false}, {e, false}})
		case "running":
			f = pick([]figure{{s, false}, {s, false}, {s, false}, {s, false}}, []figure{{s, true}, {s, false}, {s, false}, {s, false}}, []figure{{s, true}, {s, true}, {s, true}, {s, false}}, []figure{{e, false}, {s, true}, {s, false}})
		case "song":
			f = pick([]figure{{2 * q, false}}, []figure{{q, true}, {q, false}}, []figure{{q + e, true}, {e, false}}, []figure{{q, false}, {e, true}, {e, false}}, []figure{{-e, false}, {e, false}, {q, false}})
			if at+2*q > l {
				f = []figure{{q, false}}
			}
		case "dotted":
			f = pick([]figure{{e + s, false}, {s, false}}, []figure{{e + s, true}, {s, false}}, []figure{{e + s, false}, {s, false}}, []figure{{q, false}})
		default:
			f = pick([]figure{{q, false}}, []figure{{e, false}, {e, false}}, []figure{{q, false}}, []figure{{e, true}, {e, false}})
		}
		for _, x := range f {
			at += max(x.len, -x.len)
		}
		out = append(out, f...)
	}
	return out
}

// note adds a note, or a rest of the length -l, and gives its ID; double adds a
// third or sixth above.
func (b *builder) note(measure int, l score.Tick, double, bound bool) score.NoteID {
	n := score.Note{ID: score.NoteID(len(b.p.Notes)), Measure: measure, Onset: b.pos, Dur: max(l, -l), Voice: "1", Staff: 1, TieFrom: score.NoNote, TieTo: score.NoNote}
	n.Head = n.ID
	if l < 0 {
		n.Rest = true
		b.p.Notes = append(b.p.Notes, n)
		return n.ID
	}
	step := []int{-2, -1, -1, 1, 1, 2, 3, -3, 0}[b.rng.IntN(9)]
	if step == 0 && bound { // under a slur no note is struck again
		step = -1
	}
	if b.at+step < 0 || b.at+step > 18 {
		step = -step
	}
	b.at += step
	n.Written = b.degree(b.at)
	n.Sounding = n.Written
	b.p.Notes = append(b.p.Notes, n)
	if double {
		m := n
		m.ID = score.NoteID(len(b.p.Notes))
		m.Chord = true
		m.Written = b.degree(b.at + []int{2, 5}[b.rng.IntN(2)])
		m.Sounding = m.Written
		b.p.Notes = append(b.p.Notes, m)
	}
	return n.ID
}

// degree of the scale counted from the first note of the key at or above the lowest
// string.
func (b *builder) degree(d int) pitch.Pitch {
	for key := b.low; ; key++ {
		p := pitch.FromMIDI(key, b.fifths)
		if pitch.KeyAlter(b.fifths, p.Step) != int(p.Alter) {
			continue
		}
		if d == 0 {
			return p
		}
		d--
	}
}
