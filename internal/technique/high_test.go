package technique

import (
	"fmt"
	"strings"
	"testing"

	"pochette/internal/instrument"
)

// A hand that stays in fifth position for two bars is told, with rests and open strings
// in it; one that comes down between, or is gone sooner, is not.
func TestStaysHigh(t *testing.T) {
	up := "F5/2-1@9 G5/2-2 A5/2-3 B5/2-4"
	for _, c := range []struct {
		line string
		want string // events of the passages, and bars
	}{
		{up + " " + up, "0-7 2"},
		{"A4/2-0 " + up + " " + up + " B4/2-1@2", "1-8 2"},
		{up + " r A4/2-0 A5/2-3 G5/2-2", "0-7 2"},
		{up + " " + up[:strings.Index(up, " B5")], ""},
		{up + " B4/2-1@2 " + up, ""},
		{up + " " + up + " B4/2-1@2 " + up + " " + up + " " + up, "0-7 2 9-20 3"},
		{strings.Repeat("B4/2-1@2 C5/2-2 D5/2-3 E5/2-4 ", 3), ""},
	} {
		var got []string
		in := held(t, instrument.Violin(), false, c.line)
		for _, r := range High(in) {
			got = append(got, fmt.Sprintf("%d-%d %g", r.First, r.Last, r.Bars))
		}
		if s := strings.Join(got, " "); s != c.want {
			t.Errorf("%s: %q, want %q", c.line, s, c.want)
		}
		if fs := HighFindings(in); len(fs) != len(got) {
			t.Errorf("%s: %d findings of %d passages", c.line, len(fs), len(got))
		}
	}
}

// What is said of a passage is measured: the width of a whole tone, and the harmonic
// at half the string where a finger of the hand lies there. On a violin of 328 mm a whole
// tone from the nut's semitone 9 is 21 mm wide and from semitone 2 32 mm (geometry:
// RESEARCH.md, distance from the nut).
func TestStaysHighIsMeasured(t *testing.T) {
	in := held(t, instrument.Violin(), false, strings.Repeat("F#5/2-1@9 G5/2-2 A5/2-3 B5/2-4 ", 2))
	f := HighFindings(in)[0]
	v := in.Instrument
	wide := fmt.Sprintf("%.0f mm wide there, and %.0f mm in first", v.Distance(11)-v.Distance(9), v.Distance(4)-v.Distance(2))
	for _, part := range []struct{ text, want string }{
		{f.Text, "fifth position or above for 2 bars, on string II."}, {f.Why, wide}, {f.Suggestion, "A5 on string II, which lies under the third finger"},
	} {
		if !strings.Contains(part.text, part.want) {
			t.Errorf("%q, want %q", part.text, part.want)
		}
	}
	if wide != "21 mm wide there, and 32 mm in first" {
		t.Error(wide)
	}
}

// The cellist's thumb on the string counts wherever it lies, and is a landmark at the
// octave.
func TestThumbStays(t *testing.T) {
	for _, c := range []struct{ line, want, mark string }{
		{strings.Repeat("A4/1-5@14 B4/1-1 C5/1-2 D5/1-3 ", 2), "The thumb stays on the string for 2 bars", "A4 on string I, which lies under the thumb"},
		{strings.Repeat("D4/1-5@7 E4/1-1 F4/1-2 G4/1-3 ", 2), "The thumb stays on the string for 2 bars", ""},
	} {
		in := held(t, instrument.Cello(), false, c.line)
		for i := range in.Grips {
			in.Grips[i].Hand.Shape = instrument.Capo
		}
		fs := HighFindings(in)
		if len(fs) != 1 || !strings.HasPrefix(fs[0].Text, c.want) || !strings.Contains(fs[0].Suggestion, c.mark) {
			t.Errorf("%s: %+v", c.line, fs)
		}
	}
}
