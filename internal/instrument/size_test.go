package instrument

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func must(t *testing.T, k Kind, s Setup) Instrument {
	t.Helper()
	in, err := Set(k, s)
	if err != nil {
		t.Fatal(err)
	}
	return in
}

// String lengths: violin 328, viola about 370–375 for a body of 16 inches, cello
// 690 mm (RESEARCH.md, Fingering); the smaller ones from memory.
func TestSizes(t *testing.T) {
	for _, c := range []struct {
		k    Kind
		s    Setup
		want float64
	}{
		{ViolinKind, Setup{}, 328}, {ViolinKind, Setup{Size: "3/4"}, 307}, {ViolinKind, Setup{Size: "1/2"}, 288},
		{ViolaKind, Setup{}, 372}, {ViolaKind, Setup{Size: "16in"}, 372}, {ViolaKind, Setup{Size: "17in"}, 395}, {ViolaKind, Setup{Size: "39cm"}, 357},
		{ViolaKind, Setup{Size: "15in", Length: 385}, 385},
		{CelloKind, Setup{}, 690}, {CelloKind, Setup{Size: "3/4"}, 620}, {CelloKind, Setup{Length: 700}, 700},
	} {
		if in := must(t, c.k, c.s); math.Abs(in.Length-c.want) > 1 {
			t.Errorf("%v %+v: %.1f mm, want %.0f", c.k, c.s, in.Length, c.want)
		}
	}
	for k := ViolinKind; k <= CelloKind; k++ {
		last := math.Inf(1)
		for _, n := range sizeOrder {
			if l, ok := fractions[k][n]; ok {
				if l >= last {
					t.Errorf("%v %s is %g mm long, no smaller than the size before", k, n, l)
				}
				last = l
			}
		}
	}
}

func TestUsualSetupIsTheUsualInstrument(t *testing.T) {
	for k := ViolinKind; k <= CelloKind; k++ {
		a, b := Of(k), must(t, k, Setup{})
		if a.Length != b.Length || a.Top != b.Top || a.BridgeRadius != b.BridgeRadius || a.StringSpacing != b.StringSpacing || a.MaxStretch() != b.MaxStretch() {
			t.Errorf("%v: %+v and %+v", k, a, b)
		}
	}
}

func TestBadSetups(t *testing.T) {
	for _, c := range []struct {
		k    Kind
		s    Setup
		want string
	}{
		{ViolinKind, Setup{Size: "2/3"}, "comes as 4/4, 7/8, 3/4"},
		{ViolinKind, Setup{Size: "16in"}, "comes as"},
		{ViolaKind, Setup{Size: "16.5"}, "16.5in"},
		{ViolaKind, Setup{Size: "99in"}, "string length"},
		{CelloKind, Setup{Length: 69}, "string length 69 mm"},
		{ViolinKind, Setup{Length: math.NaN()}, "string length"},
		{ViolinKind, Setup{Hand: "huge"}, "small, average, large"},
		{ViolinKind, Setup{Hand: "12"}, "40 to 300"},
		{CelloKind, Setup{Hand: "90"}, "half position"},
		{ViolinKind, Setup{Tuning: "G3,D4,A4"}, "four, or five"},
		{ViolinKind, Setup{Tuning: "E5,A4,D4,G3"}, "low to high"},
	} {
		_, err := Set(c.k, c.s)
		if err == nil || !strings.Contains(err.Error(), c.want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%v %+v: %v, want %q", c.k, c.s, err, c.want)
		}
	}
}

// A hand is measured in millimetres, and semitones are widest at the nut: a
// small hand on a large viola has no raised fourth finger (a sixth semitone from
// the first) in first position, but higher up; an average hand on the usual
// viola has it everywhere.
func TestReachBindsAtTheNut(t *testing.T) {
	small, usual := must(t, ViolaKind, Setup{Length: 385, Hand: "small"}), Viola()
	for place := 1; place <= 12; place++ {
		h := Hand{int8(place), Square}
		if _, ok := usual.Fits(h, 4, place+6, false); !ok {
			t.Errorf("average hand: no raised fourth finger at %d", place)
		}
		_, ok := small.Fits(h, 4, place+6, false)
		if want := place > 2; ok != want {
			t.Errorf("small hand at %d: raised fourth finger %v, want %v (%.0f of %.0f mm)", place, ok, want, small.Span(place, place+6), small.MaxReach())
		}
		if _, ok := small.Fits(h, 4, place+5, false); !ok {
			t.Errorf("small hand: no fourth at %d", place)
		}
		if _, ok := small.Fits(h, 1, place-1, false); !ok {
			t.Errorf("small hand: the first finger cannot be drawn back at %d", place)
		}
	}
	cello := must(t, CelloKind, Setup{Hand: "small"})
	if _, ok := cello.Fits(Hand{1, Extended}, 2, 3, false); ok {
		t.Error("a small hand opens to a major third in half position on the cello")
	}
	if _, ok := cello.Fits(Hand{3, Extended}, 4, 7, false); !ok {
		t.Error("a small hand has no major third in second position on the cello")
	}
}

// What an average hand had before hands had sizes, it keeps: Fits of the
// instrument is Fits of the frame.
func TestAverageHandIsNotBound(t *testing.T) {
	for k := ViolinKind; k <= CelloKind; k++ {
		in := Of(k)
		for _, sh := range in.Shapes() {
			from, to := Places(sh)
			for p := from; p <= to; p++ {
				for f := 1; f <= Thumb; f++ {
					for semi := max(1, p-3); semi <= p+8; semi++ {
						for _, chord := range []bool{false, true} {
							w1, ok1 := Fits(Hand{int8(p), sh}, f, semi, chord)
							w2, ok2 := in.Fits(Hand{int8(p), sh}, f, semi, chord)
							if ok1 != ok2 || ok1 && w1 != w2 {
								t.Errorf("%v %v at %d, finger %d on %d (chord %v): %d %v and %d %v", k, sh, p, f, semi, chord, w1, ok1, w2, ok2)
							}
						}
					}
				}
			}
		}
	}
}

func TestReachProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k := Kind(rapid.IntRange(0, 2).Draw(t, "kind"))
		lim := lengthLimits[k]
		s := Setup{Length: rapid.Float64Range(lim[0], lim[1]).Draw(t, "length"), Hand: rapid.SampledFrom([]string{"small", "average", "large", "110mm"}).Draw(t, "hand")}
		in, err := Set(k, s)
		if err != nil {
			return // too small a hand for so long a string: refused as a whole
		}
		sh := rapid.SampledFrom(in.Shapes()).Draw(t, "shape")
		from, to := Places(sh)
		h := Hand{int8(rapid.IntRange(from, to).Draw(t, "place")), sh}
		f, semi, chord := rapid.IntRange(1, Thumb).Draw(t, "finger"), rapid.IntRange(1, 38).Draw(t, "semitone"), rapid.Bool().Draw(t, "chord")
		wide, ok := in.Fits(h, f, semi, chord)
		if ok && wide > 0 && semi > int(h.Place) && in.Span(int(h.Place), semi) > in.MaxStretch() {
			t.Fatalf("%v %+v: finger %d on %d lies %.0f mm from the first, beyond %.0f", k, s, f, semi, in.Span(int(h.Place), semi), in.MaxStretch())
		}
	})
}

// Five strings: a violin with a low C, a cello with a high E; the strings lie
// closer together and their planes with them.
func TestFiveStrings(t *testing.T) {
	v := must(t, ViolinKind, Setup{Tuning: "C3,G3,D4,A4,E5"})
	if v.Strings() != 5 || v.Open[4].String() != "C3" {
		t.Fatalf("%v", v.Open)
	}
	four := Violin()
	if a, b := v.StringAngle(1)-v.StringAngle(2), four.StringAngle(1)-four.StringAngle(2); a >= b || a < b/2 {
		t.Errorf("strings lie %.1f degrees apart, %.1f on four", a, b)
	}
	if math.Abs(v.StringAngle(3)) > 1e-9 {
		t.Errorf("the middle string lies at %.2f degrees", v.StringAngle(3))
	}
	c := must(t, CelloKind, Setup{Tuning: "C2,G2,D3,A3,E4"})
	if lo, hi := c.Range(); lo != 36 || hi <= 64+12 {
		t.Errorf("range %d to %d", lo, hi)
	}
	back, err := v.Tuned(four.Open)
	if err != nil || math.Abs(back.StringSpacing-four.StringSpacing) > 1e-9 {
		t.Errorf("back on four strings: %v %v", back.StringSpacing, err)
	}
	if Numeral(5) != "V" {
		t.Errorf("fifth string is %s", Numeral(5))
	}
}
