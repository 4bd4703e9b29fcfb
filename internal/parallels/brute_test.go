package parallels

import (
	"fmt"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"pochette/internal/pitch"
	"pochette/internal/score"
)

// drawReader makes a small part of few lengths and few staff places, so that much
// comes back, with rests between.
func drawReader(t *rapid.T) *reader {
	p := &score.Part{ID: "P1", Staves: 1}
	m := score.Meter{Num: 2, Den: 4, Len: 8, Groups: []score.Tick{8}}
	type one struct{ rest, length, place int }
	draw := func(n int) []one {
		var out []one
		for range n {
			out = append(out, one{rapid.SampledFrom([]int{0, 0, 0, 0, 2}).Draw(t, "rest"), rapid.SampledFrom([]int{2, 2, 2, 4}).Draw(t, "length"), rapid.IntRange(0, 2).Draw(t, "place")})
		}
		return out
	}
	theme := draw(rapid.IntRange(4, 9).Draw(t, "theme"))
	var all []one
	for range rapid.IntRange(2, 4).Draw(t, "parts") {
		if rapid.Bool().Draw(t, "again") {
			all = append(all, theme...)
		} else {
			all = append(all, draw(rapid.IntRange(2, 6).Draw(t, "between"))...)
		}
	}
	at := score.Tick(0)
	for i, x := range all {
		at += score.Tick(x.rest)
		d := score.Tick(x.length)
		for int(at/8) >= len(p.Measures) {
			k := len(p.Measures)
			p.Measures = append(p.Measures, score.Measure{Index: k, Number: itoa(k + 1), Start: score.Tick(8 * k), Len: 8, Meter: m})
		}
		dia := 35 + x.place
		q := pitch.Pitch{Step: pitch.Step(dia % 7), Octave: int8(dia / 7)}
		id := score.NoteID(i)
		p.Notes = append(p.Notes, score.Note{ID: id, Measure: int(at / 8), Onset: at, Dur: d, Voice: "1", Staff: 1, Head: id, TieFrom: score.NoNote, TieTo: score.NoNote, Written: q, Sounding: q})
		at += d
	}
	return read(&score.Score{Quarter: 4, Parts: []*score.Part{p}}, p)
}

// bruteColumns lays the part over itself moved by shift: all moments at which either
// of the two has something, in order, from the definition.
func bruteColumns(r *reader, shift score.Tick) []column {
	at := map[score.Tick]column{}
	var moments []score.Tick
	for i := range r.steps {
		for _, side := range []bool{true, false} {
			t := r.steps[i].onset
			if side {
				t += shift
			}
			c, ok := at[t]
			if !ok {
				c = column{-1, -1}
				moments = append(moments, t)
			}
			if side {
				c.a = i
			} else {
				c.b = i
			}
			at[t] = c
		}
	}
	slices.Sort(moments)
	var out []column
	for _, t := range moments {
		out = append(out, at[t])
	}
	return out
}

// bruteExtend takes, of all stretches about the column (a, b), the one that scores
// most on each side, every shorter one of which on the way stays within the drop.
func bruteExtend(r *reader, a, b int) []column {
	shift, steps := r.steps[b].onset-r.steps[a].onset, r.steps[b].dia-r.steps[a].dia
	all := bruteColumns(r, shift)
	// the search stops where either place has no more steps: cut what lies beyond
	all = slices.DeleteFunc(all, func(c column) bool {
		last, first := len(r.steps)-1, 0
		switch {
		case c.b < 0:
			t := r.steps[c.a].onset + shift
			return t > r.steps[last].onset || t < r.steps[first].onset
		case c.a < 0:
			t := r.steps[c.b].onset
			return t > r.steps[last].onset+shift || t < r.steps[first].onset+shift
		}
		return false
	})
	mid := slices.Index(all, column{a, b})
	half := func(cols []column) int {
		best, arg := 0.0, 0
		for n := 1; n <= len(cols); n++ {
			sum, top, within := 0.0, 0.0, true
			for _, c := range cols[:n] {
				within = within && sum > top-dropOff
				sum += r.score(c, steps)
				top = max(top, sum)
			}
			if within && sum > best {
				best, arg = sum, n
			}
		}
		return arg
	}
	back := slices.Clone(all[:mid])
	slices.Reverse(back)
	lo, hi := half(back), half(all[mid:])
	return all[mid-lo : mid+hi]
}

// The extension of a seed is that of the definition.
func TestExtendAgainstBrute(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := drawReader(t)
		s := &search{r: r, lo: 0, hi: len(r.steps)}
		a := rapid.IntRange(0, len(r.steps)-2).Draw(t, "a")
		b := rapid.IntRange(a+1, len(r.steps)-1).Draw(t, "b")
		s.shift = r.steps[b].onset - r.steps[a].onset
		got, _ := s.extend(a, b)
		if want := bruteExtend(r, a, b); !slices.Equal(got, want) {
			t.Fatalf("extend %d %d: %v, brute %v", a, b, got, want)
		}
	})
}

// Every pair of places that agrees note for note over two bars or more, by comparing
// all with all, lies in a passage that the search finds; and every passage holds what
// it promises.
func TestPassagesAgainstBrute(t *testing.T) {
	found := 0
	rapid.Check(t, func(t *rapid.T) {
		r := drawReader(t)
		ps := r.passages(0, len(r.steps))
		in := map[column]bool{}
		for i := range ps {
			p := &ps[i]
			agree := 0
			for _, c := range p.cols {
				if c.both() {
					in[c] = true
				}
				if r.score(c, p.Shift.Diatonic) == scoreAlike {
					agree++
				}
			}
			a, b := ends(p.cols)
			if agree != p.Agree || len(p.cols) != p.Pairs || a[1] >= b[0] {
				t.Fatalf("passage %+v: %d agree", p, agree)
			}
		}
		for a := range r.steps {
			for b := a + 1; b < len(r.steps); b++ {
				n := 0
				for a+n < b && b+n < len(r.steps) && alike(r, a, b, n) {
					n++
				}
				if n < leastAlike || r.steps[b].onset-r.steps[a].onset < leastLength(r.p, 0) || r.steps[a].phase != r.steps[b].phase ||
					r.steps[a+n-1].onset+r.steps[a+n-1].dur-r.steps[a].onset < leastLength(r.p, 0) {
					continue
				}
				found++
				for k := range n {
					if !in[column{a + k, b + k}] {
						t.Fatalf("%s", fmt.Sprintf("steps %d and %d agree over %d, column %d is in no passage of %v", a, b, n, k, ps))
					}
				}
			}
		}
	})
	if found == 0 {
		t.Error("no pair of places agreed in any drawing")
	}
}

// alike says that steps a+n and b+n agree in length, and in time and interval with a
// and b.
func alike(r *reader, a, b, n int) bool {
	x, y := &r.steps[a+n], &r.steps[b+n]
	return x.dur == y.dur && x.onset-r.steps[a].onset == y.onset-r.steps[b].onset && x.dia-r.steps[a].dia == y.dia-r.steps[b].dia
}
