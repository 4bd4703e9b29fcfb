package technique

import (
	"strings"
	"testing"

	"pochette/internal/fingering"
	"pochette/internal/instrument"
	"pochette/internal/score"
)

func hints(in Input) []Hint { return Prepare(in, hard(in)) }

func of(hs []Hint, k HintKind) []Hint {
	var out []Hint
	for _, h := range hs {
		if h.Kind == k {
			out = append(out, h)
		}
	}
	return out
}

// checkHints asks of every hint what its sentence says.
func checkHints(t *testing.T, in Input, hs []Hint) {
	t.Helper()
	for _, h := range hs {
		if h.Text == "" || !strings.HasSuffix(h.Text, ".") || h.Event > h.For {
			t.Fatalf("%+v", h)
		}
		switch h.Kind {
		case StayDown:
			semi := in.Instrument.Semitone(h.String, h.Pitch)
			for i := h.Event; i <= h.For; i++ {
				for _, s := range in.Grips[i].Stops {
					if s.Finger == h.Finger && (s.String != h.String || s.Semitone != semi) || s.String == h.String && s.Semitone < semi {
						t.Fatalf("%s: event %d needs %+v", h.Text, i, s)
					}
				}
				if in.Grips[i].Hand != in.Grips[h.Event].Hand {
					t.Fatalf("%s: the hand moves at event %d", h.Text, i)
				}
			}
			if !stands(&in.Grips[h.For], h.String, h.Finger, semi) {
				t.Fatalf("%s: not needed again", h.Text)
			}
		case SetEarly:
			for _, s := range in.Grips[h.Event].Stops {
				if s.Finger == h.Finger || s.String == h.String && s.Semitone < in.Instrument.Semitone(h.String, h.Pitch) {
					t.Fatalf("%s: in the way of %+v", h.Text, s)
				}
			}
		}
	}
}

func TestStayDown(t *testing.T) {
	v := instrument.Violin()
	for _, c := range []struct{ line, want string }{
		{"B4/2-1 D5/2-3 B4/2-1", "The first finger stays on B4 (string II): it takes the same place again two notes on."},
		{"B4/2-1 C#4/4-3 D4/3-0 B4/2-1", "The first finger stays on B4 (string II): it takes the same place again three notes on."},
		{"B4/2-1 A4/2-0 B4/2-1", ""},      // the open string must sound
		{"C5/2-2 B4/2-1 C5/2-2", ""},      // it would stop the lower note
		{"B4/2-1 E4/3-1 B4/2-1", ""},      // the finger goes elsewhere
		{"B4/2-1 F#5/2-3@5 B4/2-1@2", ""}, // the hand leaves
		{"B4/2-1 r B4/2-1", ""},           // a rest frees the hand
	} {
		got := of(hints(held(t, v, true, c.line)), StayDown)
		if c.want == "" && len(got) > 0 || c.want != "" && (len(got) != 1 || got[0].Text != c.want) {
			t.Errorf("%s: %+v, want %q", c.line, got, c.want)
		}
	}
}

func TestSetEarly(t *testing.T) {
	v := instrument.Violin()
	quick := func(line string) Input {
		in := held(t, v, true, line)
		in.Pace = paceAt(in.Part, 120)
		return in
	}
	got := of(hints(quick("D5/2-3 C5/2-2")), SetEarly)
	if len(got) != 1 || got[0].Text != "The second finger is set on C5 behind the third finger while D5 still sounds." {
		t.Errorf("%+v", got)
	}
	got = of(hints(quick("B4/2-1 F#4/3-2")), SetEarly)
	if len(got) != 1 || got[0].Text != "The second finger is set on F♯4 on string III while B4 still sounds." {
		t.Errorf("%+v", got)
	}
	for _, line := range []string{"C5/2-2 D5/2-3", "B4/2-1 E4/3-1", "D5/2-3 B4/2-1@5"} {
		if got := of(hints(quick(line)), SetEarly); len(got) > 0 {
			t.Errorf("%s: %+v", line, got)
		}
	}
	if got := of(hints(held(t, v, false, "D5/2-3 C5/2-2")), SetEarly); len(got) > 0 {
		t.Errorf("with a second to spare: %+v", got)
	}
}

// The guide notes of the usual exercises (common practice, no source): from the
// first finger in first position to the third in third the first slides a third
// up; back it goes the same way; from the third finger to the first a position
// higher the first goes before.
func TestGuideNotes(t *testing.T) {
	v := instrument.Violin()
	for _, c := range []struct{ line, want string }{
		{"B4/2-1 F#5/2-3@5", "Guide note D5: the first finger slides there on string II, then the third finger falls on F♯5."},
		{"F#5/2-3@5 B4/2-1@2", "Guide note D♯5: the third finger slides there on string II, then the first finger falls on B4."},
		{"D5/2-3 E5/2-1@7", "Guide note B4: set the first finger there in the old place and slide it to E5."},
		{"B4/2-1 B5/1-3@5", "Guide note D5: the first finger slides there on string II, then the third finger takes B5 on string I."},
		{"A4/2-0 F#5/2-3@5", ""},   // an open string gives time enough
		{"B4/2-1 D5/2-1@5", ""},    // the finger is its own guide
		{"B4/2-1 r F#5/2-3@5", ""}, // a rest hides it
	} {
		got := of(hints(held(t, v, true, c.line)), GuideNote)
		if c.want == "" && len(got) > 0 || c.want != "" && (len(got) != 1 || got[0].Text != c.want) {
			t.Errorf("%s: %+v, want %q", c.line, got, c.want)
		}
	}
}

func TestShiftEarlier(t *testing.T) {
	v := instrument.Violin()
	in := held(t, v, true, "B4/2-1 C5/2-2 D5/2-3 E5/2-4) F#5/2-3@5)")
	got := of(hints(in), ShiftEarlier)
	want := "The shift could go before beat 2, at the change of bow: D5 with the first finger, E5 with the second finger lie in the new place too."
	if len(got) != 1 || !strings.HasPrefix(got[0].Text, want) {
		t.Errorf("%+v", got)
	}
	if in.Shifts[0].Cover != fingering.UnderSlur {
		t.Fatalf("%+v", in.Shifts)
	}
	for _, line := range []string{
		"B4/2-1 C5/2-2 D5/2-3 E5/2-4 F#5/2-3@5", // hidden already
		"B4/2-1 C5/2-2) D5/2-3) F#5/2-3@5)",     // C is not in the new place
	} {
		if got := of(hints(held(t, v, true, line)), ShiftEarlier); len(got) > 0 {
			t.Errorf("%s: %+v", line, got)
		}
	}
	in.Fixed = map[score.NoteID]bool{in.Events[3].Struck[0]: true}
	if got := of(hints(in), ShiftEarlier); len(got) > 0 {
		t.Errorf("against a decided finger: %+v", got)
	}
}
