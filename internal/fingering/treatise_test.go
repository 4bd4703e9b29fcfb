package fingering

import (
	"fmt"
	"strings"
	"testing"

	"pochette/internal/score"
)

// The violin treatise of 1756, chapter VIII §20, prints one passage with four
// fingerings, nos. 1-4 (pages 156 and 157); notes and fingers after the print, as
// read from the digital edition ism-dme/lm-vs, examples 1756_156_2, 156_3, 156_4
// and 157_1. No. 4 is the best, and no. 2 better than no. 1 (as worded in
// RESEARCH.md). Where the print has no finger the one before decides the position;
// strings follow from it: string numeral and finger.
const printedPassage = "F#5 G5 A5 B5 C#6 D6 E5 F#5 G5 A5 B5 C#6 D5 E5 F#5 G5 A5 B5 C#5 D5 E5 F#5 G5 A5"

var printedFingerings = [...]string{
	1: "I1 I2 I1 I2 I3 I4  I0 I1 I2 I1 I2 I3  II3 I0 I1 I2 I3 I4  II2 II3 I0 I1 I2 I3",
	2: "II3 II4 I1 I2 I3 I4  II2 II3 II4 I1 I2 I3  II1 II2 II3 II4 I1 I2  II2 II3 I0 I1 I2 I3",
	3: "II3 II4 I1 I2 I3 I4  II2 II3 II4 I1 I2 I3  II1 II2 II3 II4 I1 I2  III4 II1 II2 II3 II4 I1",
	4: "II3 II4 I1 I2 I3 I4  II2 II3 II4 I1 I2 I3  II1 I0 I1 I2 I3 I4  II2 II3 I0 I1 I2 I3",
}

// costAs is what the passage costs with all strings and fingers given.
func costAs(t *testing.T, line, given string, dur score.Tick, o Options) float64 {
	t.Helper()
	return planAs(t, line, given, dur, o).Plan.Cost
}

func planAs(t *testing.T, line, given string, dur score.Tick, o Options) *Study {
	t.Helper()
	sc, p := notes(dur, line)
	o.Decided = map[score.NoteID]Decision{}
	for i, g := range strings.Fields(given) {
		var f int8
		numeral := strings.TrimRight(g, "01234")
		if _, err := fmt.Sscan(g[len(numeral):], &f); err != nil {
			t.Fatal(err)
		}
		str := map[string]int{"I": 1, "II": 2, "III": 3, "IV": 4}[numeral]
		o.Decided[score.NoteID(i)] = Decision{String: str, Finger: Use(f)}
	}
	st := Analyze(sc, p, o)
	if got := fingers(st); got != strings.Join(strings.Fields(given), " ") {
		t.Fatalf("decided %s, got %s", given, got)
	}
	return st
}

// slowColour sums what a plan pays for open strings, and for the string and position of
// notes in slow surroundings.
func slowColour(st *Study) (sum float64) {
	for _, x := range st.Plan.Terms {
		if x.Name == "open" || x.Name == "open_long" || x.Name == "open_slow" || strings.HasPrefix(x.Name, "finger 0 ") || strings.HasPrefix(x.Name, "pace 0 ") ||
			strings.HasPrefix(x.Name, "place ") && strings.HasSuffix(x.Name, " slow") {
			sum += x.Value
		}
	}
	return sum
}

// All four at four speeds. As quarters (0.6 s each) no. 2 comes out cheaper than no. 4
// with the default: no. 4 has one open string more and four notes more on the highest
// string, which the players learned from shun for slow notes. Without that colour the
// treatise's order holds there too. Whether the treatise means quick notes alone, our
// notes of it do not say.
func TestFourPrintedFingerings(t *testing.T) {
	for _, pr := range []Profile{Plain, Early} {
		for _, dur := range []score.Tick{80, 120, 240, 480} { // sixteenths as printed, and faster and slower
			var c, bare [5]float64
			for k := 1; k <= 4; k++ {
				st := planAs(t, printedPassage, printedFingerings[k], dur, Options{Profile: pr})
				c[k], bare[k] = st.Plan.Cost, st.Plan.Cost-slowColour(st)
			}
			t.Logf("%q, %d ticks a note: nos. 1-4 cost %.2f", pr, dur, c[1:])
			if bare[4] >= bare[2] {
				t.Errorf("%q, %d ticks a note: without the colour of slow notes no. 4 costs %.2f, no. 2 %.2f", pr, dur, bare[4], bare[2])
			}
			if !(c[4] < c[1] && c[4] < c[3] && c[2] < c[1] && (c[4] < c[2] || dur > 240 && pr == Plain)) {
				t.Errorf("%q, %d ticks a note: nos. 1-4 cost %.2f; no. 4 should be cheapest and no. 2 cheaper than no. 1", pr, dur, c[1:])
			}
		}
	}
}

// Treatise of 1756, ch. VIII (as worded in RESEARCH.md): D sharp, A sharp and E
// sharp before the next note go to the fourth finger on the lower string, where
// the first would have to slide. The lines are ours, and others than those that the
// weights were fitted with.
func TestFourthFingerWhereTheFirstWouldSlide(t *testing.T) {
	for _, c := range []struct{ line, fourth, slide string }{
		{"C#4 D#4 E4", "IV3 IV4 III1", "IV3 III1 III1"},
		{"C#4 B3 C#4 D#4 E4 G4", "IV3 IV2 IV3 IV4 III1 III3", "IV3 IV2 IV3 III1 III1 III3"},
		{"G#4 A#4 B4", "III3 III4 II1", "III3 II1 II1"},
		{"D#5 E#5 F#5 A5", "II3 II4 I1 I3", "II3 I1 I1 I3"},
	} {
		for _, dur := range []score.Tick{120, 240} {
			if f, s := costAs(t, c.line, c.fourth, dur, Options{}), costAs(t, c.line, c.slide, dur, Options{}); f >= s {
				t.Errorf("%s, %d ticks: fourth finger %.2f, slide %.2f", c.line, dur, f, s)
			}
		}
	}
}

// Treatise of 1756, ch. VIII (as worded in RESEARCH.md): the hand stays in its
// position while it is needed, and does not shift again where the third and fourth
// fingers reach the top and the line turns back.
func TestStayWhereTheLineTurns(t *testing.T) {
	for _, c := range []string{
		"A5 B5 C6 D6 C6 B5 A5 B5 C6 D6 B5",
		"D5 E5 F5 G5 A5 B5 C6 D6 C6 B5 A5 G5 F5 E5 D5",
	} {
		sc, p := notes(120, c)
		if st := Analyze(sc, p, Options{}); len(st.Shifts) > 0 {
			t.Errorf("%s: %d shifts, %s", c, len(st.Shifts), fingers(st))
		}
	}
}
