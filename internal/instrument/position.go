package instrument

import (
	"fmt"
	"math"
	"strings"
)

// natural first-finger place of each position in semitones, 0 = half position:
// a second, third, fourth … above the open string. Where the interval has two
// sizes the mean stands.
var firstFinger = [8]float64{1, 2, 3.5, 5, 7, 8.5, 10.5, 12}

// PlainPlace is where the first finger lies in a position (0 = half position),
// in semitones above the open string; seconds, thirds, sixths and sevenths have
// two sizes and give the mean. Positions go by the steps of the scale: the
// published tables named in published_test.go.
func PlainPlace(position int) float64 {
	if position <= 0 {
		return firstFinger[0]
	}
	return firstFinger[(position-1)%7+1] + 12*float64((position-1)/7)
}

// PositionOf names the position of a hand as players count it: the finger's
// staff step above the open string less the steps below it in the hand, so that
// B flat and B on the A string with the first finger are both first position,
// and A sharp is half position. steps is the staff distance from the open string
// to the note as written, semitone the finger's place. Where the finger is
// stretched out of the hand, or the spelling would put the hand one and a half
// semitones or more from its place, the position nearest to the place is taken,
// the lower of a tie.
//
// On the cello the hand next to the nut is in half position however its notes are
// spelled, A sharp or B flat (A. Broadley, Chats to 'Cello Students, 1899, ch. VIII),
// and a first finger moved back from first position leaves the hand there (C.
// Davidoff, Violoncell-Schule, 1888, part 1, art. XI).
func PositionOf(h Hand, finger, steps, semitone int) int {
	switch {
	case h.Place == 1 && h.Shape == Closed:
		return 0
	case h.Place == 1 && h.Shape == Extended:
		return 1
	}
	place := float64(h.Place)
	want := steps - (finger - 1)
	if h.Shape != Square && finger != 1 {
		want = -1 // a semitone a finger, or the thumb: only the first finger's letter counts
	}
	if wide, ok := Fits(h, finger, semitone, true); ok && wide > 0 && semitone > int(h.Place) {
		want = -1
	}
	best, bestGap := 0, math.Inf(1)
	for p := 0; p <= 22; p++ {
		gap := math.Abs(PlainPlace(p) - place)
		if p == want && gap < 1.5 {
			return p
		}
		if p == 0 {
			gap += 0.25 // half position only when the spelling says so, or at the nut
		}
		if gap < bestGap {
			best, bestGap = p, gap
		}
	}
	return best
}

var ordinals = [...]string{"half", "first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth", "eleventh", "twelfth", "thirteenth", "fourteenth"}

// PositionName says it in words: "third position".
func PositionName(p int) string {
	if p < 0 || p >= len(ordinals) {
		return fmt.Sprintf("position %d", p)
	}
	return ordinals[p] + " position"
}

// ParsePosition finds a position in printed words: "III. pos", "3rd position",
// "half position", "1a pos.". ok is false where there is none.
func ParsePosition(words string) (position int, ok bool) {
	w := strings.ToLower(strings.TrimSpace(words))
	at := -1
	for _, k := range []string{"pos", "lage"} {
		if i := strings.Index(w, k); i >= 0 && (at < 0 || i < at) {
			at = i
		}
	}
	if at < 0 {
		return 0, false
	}
	head := strings.Trim(w[:at], " .-\t\n")
	if i := strings.LastIndexAny(head, " \t\n"); i >= 0 {
		head = head[i+1:]
	}
	for i, o := range ordinals {
		if head == o {
			return i, true
		}
	}
	if strings.HasPrefix(head, "halb") || head == "½" || head == "1/2" || strings.HasPrefix(head, "demi") || strings.HasPrefix(head, "mezza") {
		return 0, true
	}
	if n, ok := leadingNumber(head); ok && n >= 1 && n <= 14 {
		return n, true
	}
	for i, r := range []string{"i", "ii", "iii", "iv", "v", "vi", "vii", "viii", "ix", "x", "xi", "xii"} {
		if strings.TrimRight(head, "aeªº.") == r {
			return i + 1, true
		}
	}
	return 0, false
}

func leadingNumber(s string) (n int, ok bool) {
	for _, r := range s {
		if r < '0' || r > '9' || n > 99 {
			break
		}
		n, ok = 10*n+int(r-'0'), true
	}
	return n, ok
}
