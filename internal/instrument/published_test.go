package instrument

import (
	"slices"
	"testing"

	"pochette/internal/pitch"
)

// Positions of the violin by the first finger on all strings, the fourth finger's
// reach in them, and the viola with them. Grove, A Dictionary of Music and
// Musicians, vol. 3, 1883, p. 20, "Positions" (P. David): in the first position the
// first finger has A, E, B, F "or their chromatic alterations" and the compass is A
// to B; in the second B, F, C, G, and the fourth finger C on the first string; the
// third goes from C to D. What the first finger takes in the first position, the
// fourth takes in the second on the next lower string. Vol. 4, 1889, p. 89, "Tenor
// Violin" (E. J. Payne): the viola's three upper strings are the violin's three
// lower ones and it is played as the violin is.
func TestPublishedPositions(t *testing.T) {
	first := [][]string{{"A3", "E4", "B4", "F5"}, {"B3", "F4", "C5", "G5"}, {"C4", "G4", "D5", "A5"}}
	for pos, names := range first {
		for k, name := range names {
			str := 4 - k
			checkFinger(t, Violin(), str, 1, name, pos+1)
			if str > 1 {
				checkFinger(t, Viola(), str-1, 1, name, pos+1)
			}
		}
	}
	for pos, name := range []string{"D3", "E3", "F3"} { // the viola's C string, a fifth below its G
		checkFinger(t, Viola(), 4, 1, name, pos+1)
	}
	for pos, name := range []string{"B5", "C6", "D6"} { // fourth finger, first string, by position
		checkFinger(t, Violin(), 1, 4, name, pos+1)
	}
	for k, name := range first[0][1:] { // first fingers of the first position, a string lower in the second
		checkFinger(t, Violin(), 4-k, 4, name, 2)
	}
}

// Positions of the cello by the first finger. C. Davidoff, Violoncell-Schule, 1888
// (English by M. Wilson, 2022), part 2, art. I, and part 3, art. I: the first finger
// has the major scale of the open string in the positions with whole numbers, first
// to seventh; next to the nut is half position; 1½, 3½, 4½ and 5½ are lowered
// second, fourth, fifth and sixth. A. Broadley, Chats to 'Cello Students, 1899, ch.
// VIII: A sharp and B flat are both in half position.
func TestDavidoffPositions(t *testing.T) {
	cello := Cello()
	for str, names := range [][]string{
		{"B3", "C#4", "D4", "E4", "F#4", "G#4", "A4"}, {"E3", "F#3", "G3", "A3", "B3", "C#4", "D4"},
		{"A2", "B2", "C3", "D3", "E3", "F#3", "G3"}, {"D2", "E2", "F2", "G2", "A2", "B2", "C3"},
	} {
		for i, name := range names {
			checkFinger(t, cello, str+1, 1, name, i+1)
		}
	}
	for name, want := range map[string]int{"A#3": 0, "Bb3": 0, "C4": 2, "Eb4": 4, "F4": 5, "G4": 6} {
		checkFinger(t, cello, 1, 1, name, want)
	}
	for place, want := range map[int8]int{1: 0, 2: 1, 5: 3, 7: 4} { // the other fingers of the closed hand
		for f := 2; f <= 4; f++ {
			if got := PositionOf(Hand{place, Closed}, f, 0, int(place)+f-1); got != want {
				t.Errorf("closed hand at %d, finger %d: position %d, want %d", place, f, got, want)
			}
		}
	}
	// a first finger moved back by a half step leaves the hand in first position (part 1, art. XI)
	for f, semi := range map[int]int{1: 1, 2: 3, 3: 4, 4: 5} {
		if got := PositionOf(Hand{1, Extended}, f, 1, semi); got != 1 {
			t.Errorf("extended back from first position, finger %d: position %d", f, got)
		}
	}
	if got := PositionOf(Hand{12, Upper}, 2, 0, 0); got != 7 {
		t.Errorf("upper hand at the octave: position %d", got)
	}
}

// Frames of the cello's hand. C. Davidoff, Violoncell-Schule, 1888, part 1, art. XI:
// closed, at most a half step between neighbouring fingers, a minor third from first
// to fourth; extended, a major third, by the first finger alone moving back a half
// step. Part 3, art. I: higher up no fourth finger, and never more than a major third
// from first to third, with a half or a whole step between neighbours.
func TestDavidoffFrames(t *testing.T) {
	places := func(sh Shape, place int8, finger int) (out []int) {
		for semi := 1; semi < 30; semi++ {
			if _, ok := Fits(Hand{place, sh}, finger, semi, false); ok {
				out = append(out, semi-int(place))
			}
		}
		return out
	}
	for f := 1; f <= 4; f++ {
		if got := places(Closed, 2, f); !slices.Equal(got, []int{f - 1}) {
			t.Errorf("closed, finger %d: %v", f, got)
		}
		want := f // the others stand a half step further from the first
		if f == 1 {
			want = 0
		}
		if got := places(Extended, 2, f); !slices.Equal(got, []int{want}) {
			t.Errorf("extended, finger %d: %v", f, got)
		}
	}
	for f, want := range map[int][]int{2: {1, 2}, 3: {2, 3, 4}, 4: nil} {
		if got := places(Upper, 9, f); !slices.Equal(got, want) {
			t.Errorf("upper, finger %d: %v, want %v", f, got, want)
		}
	}
}

// checkFinger: a hand takes the note with the finger in its frame in that position.
// The first finger tells the position, whatever the hand; the others may be reached
// from a neighbouring one as well.
func checkFinger(t *testing.T, in Instrument, str, finger int, name string, want int) {
	t.Helper()
	p, err := pitch.Parse(name)
	if err != nil {
		t.Fatal(err)
	}
	semi, steps := in.Semitone(str, p), p.Diatonic()-in.Open[str-1].Diatonic()
	found := false
	for _, sh := range in.Shapes() {
		if sh == Extended || sh == Capo {
			continue
		}
		from, to := Places(sh)
		for h := from; h <= to; h++ {
			hand := Hand{int8(h), sh}
			wide, ok := Fits(hand, finger, semi, false)
			if !ok || wide > 0 {
				continue
			}
			got := PositionOf(hand, finger, steps, semi)
			if found = found || got == want; got != want && finger == 1 {
				t.Errorf("%v, string %d, finger %d on %s, %v hand at %d: position %d, want %d", in.Kind, str, finger, name, sh, h, got, want)
			}
		}
	}
	if !found {
		t.Errorf("%v, string %d: no finger %d on %s in position %d", in.Kind, str, finger, name, want)
	}
}
