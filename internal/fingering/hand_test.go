package fingering

import (
	"regexp"
	"strings"
	"testing"

	"pochette/internal/instrument"
	"pochette/internal/score"
)

// The smallest case of a sentence that said "stays" where the hand had moved:
// whatever the plan, the sentence may say so only where the position is the same.
func TestStaysOnlyWhereItStays(t *testing.T) {
	for k := instrument.ViolinKind; k <= instrument.CelloKind; k++ {
		for _, c := range []string{"D4 E4 F4 G4 A4 G4 F4 E4 D4", "A4 Bb4 B4 C5 D5 E#5 F#5", "D4 F4 Ab4 C5 F5", "G3+D4+B4 A#4 Bb4 D5 B4"} {
			sc, p := notes(480, c)
			st := Analyze(sc, p, Options{Instrument: instrument.Of(k)})
			last, known := 0, false
			for i := range st.Grips {
				g := &st.Grips[i]
				if len(g.Stops) == 0 {
					continue
				}
				why := Why(st, i)
				if strings.Contains(why, "stays") && (!known || last != g.Position) {
					t.Errorf("%v, %s, event %d: %q after position %d", k, c, i, why, last)
				}
				if !known && strings.Contains(why, "keeps") {
					t.Errorf("%v, %s: the first note: %q", k, c, why)
				}
				if known && last != g.Position && g.Shift < 0 && st.AdjustAt(i) == nil {
					t.Errorf("%v, %s, event %d: from position %d to %d without a move", k, c, i, last, g.Position)
				}
				last, known = g.Position, true
			}
		}
	}
}

// A hand that leans into half position is told as such, and the way is in the list.
func TestAdjustments(t *testing.T) {
	sc, p := notes(480, "B4 A#4 B4")
	hand := func(pos int, f int8) Decision { return Decision{Finger: Use(f), String: 2, Position: &pos} }
	st := Analyze(sc, p, Options{Decided: map[score.NoteID]Decision{0: hand(1, 1), 1: hand(0, 1), 2: hand(0, 2)}})
	if len(st.Adjusts) != 1 || len(st.Shifts) != 0 {
		t.Fatalf("adjusts %+v, shifts %+v", st.Adjusts, st.Shifts)
	}
	a := st.Adjusts[0]
	if a.Kind != Adjusted || a.FromPos != 1 || a.ToPos != 0 || a.MM >= 0 || a.Kind.String() != "adjust" {
		t.Errorf("%+v", a)
	}
	if w := Why(st, a.Event); !strings.HasPrefix(w, "The hand leans down a half step into half position") {
		t.Errorf("%q", w)
	}
	if m := st.Moves(); len(m) != 1 || m[0] != a {
		t.Errorf("%+v", m)
	}
}

// A trill belongs to its note: on the stopped top note of a chord it is not charged
// to the open strings below.
func TestTrillByNote(t *testing.T) {
	for trilled, want := range map[score.NoteID]bool{0: true, 2: false} {
		sc, p := notes(960, "G3+D4+B4")
		p.Notes[trilled].Marks = []score.Mark{{Kind: score.Trill}}
		st := Analyze(sc, p, Options{})
		paid := 0.0
		for _, x := range st.Grips[0].Terms {
			if x.Name == "trill_open" {
				paid = x.Value
			}
		}
		open := st.Grips[0].Stops[trilled].Finger == 0
		if (paid > 0) != (want && open) || paid > 0 && paid != DefaultWeights().of[0][trillOpen] {
			t.Errorf("trill on note %d, open %v: %v paid", trilled, open, paid)
		}
	}
}

// Where the hand stands in first position, a double stop with a low first finger lies
// under first and second finger there, on every method's first pages of double stops
// (common practice, no source): no shift, and no half position. The single notes are
// given, the grip is left to the search.
func TestLowFirstFingerInAGrip(t *testing.T) {
	first := 1
	for _, c := range []struct {
		kind instrument.Kind
		line string
		want string
	}{
		{instrument.ViolaKind, "G3 A3 C4 Eb4+C5 D4", "III0 III1 III3 II1+I2 II0"},
		{instrument.ViolaKind, "Eb4 C4 Eb4+C5 D4 B4 C5", "II1 III3 II1+I2 II0 I1 I2"},
		{instrument.ViolinKind, "D4 E4 G4 Bb4+G5 A4 B4", "III0 III1 III3 II1+I2 II0 II1"},
	} {
		for _, dur := range []score.Tick{120, 240, 480} {
			sc, p := notes(dur, c.line)
			given := map[score.NoteID]Decision{}
			id := score.NoteID(0)
			for _, w := range strings.Fields(c.want) {
				if parts := strings.Split(w, "+"); len(parts) > 1 {
					id += score.NoteID(len(parts))
					continue
				}
				given[id] = Decision{Finger: Use(int8(w[len(w)-1] - '0')), Position: &first}
				id++
			}
			st := Analyze(sc, p, Options{Instrument: instrument.Of(c.kind), Decided: given})
			if got := fingers(st); got != c.want {
				t.Errorf("%v, %s, %d ticks: %s, want %s", c.kind, c.line, dur, got, c.want)
			}
			for i := range st.Grips {
				for _, x := range st.Grips[i].Terms {
					if x.Name == "half_position" {
						t.Errorf("%v, %s, event %d: half position is charged", c.kind, c.line, i)
					}
				}
				if g := &st.Grips[i]; len(g.Stops) > 0 && g.Position != 1 {
					t.Errorf("%v, %s, event %d: position %d", c.kind, c.line, i, g.Position)
				}
			}
		}
	}
}

// The first finger takes B in a G major chord: everybody does (common practice, no
// source). The upper strings of a broken chord give it time to get there.
func TestFirstFingerInABrokenChord(t *testing.T) {
	sc, p := notes(160, "A3 F#4 A3 G3+D4+B4 D5 Eb5 F5")
	st := Analyze(sc, p, Options{Instrument: instrument.Viola()})
	if s := st.Grips[3].Stops; s[2].Finger != 1 || st.Grips[3].Position != 1 {
		t.Errorf("%s", fingers(st))
	}
}

// A scale in triplets crosses to the open string and does not shift for it.
func TestTripletScaleCrosses(t *testing.T) {
	sc, p := notes(160, "D4 E4 F4 G4 A4 B4")
	st := Analyze(sc, p, Options{Instrument: instrument.Viola()})
	if got := fingers(st); got != "II0 II1 II2 II3 I0 I1" {
		t.Errorf("%s", got)
	}
}

// What is lost of a held note costs by its share.
func TestLetGoByShare(t *testing.T) {
	for quarters, want := range map[int]float64{2: 0.5, 4: 0.75} {
		sc, p := notes(480, "B3 A3 G3 G3")
		p.Notes[0].Dur, p.Notes[0].Voice = score.Tick(quarters*480), "2"
		st := Analyze(sc, p, Options{})
		paid := 0.0
		for _, x := range st.Grips[1].Terms {
			if x.Name == "let_go" {
				paid = x.Value
			}
		}
		if w := want * DefaultWeights().of[0][letGo]; paid < w-1e-9 || paid > w+1e-9 {
			t.Errorf("%d quarters: %v paid, want %v", quarters, paid, w)
		}
	}
}

// The millimetres of a low first finger are none to be felt; those of a stretched
// fourth finger are told once.
func TestLowFirstFingerSaysSo(t *testing.T) {
	sc, p := notes(240, "C5 Bb4 C5 Bb4 C5 D5")
	st := Analyze(sc, p, Options{})
	low := 0
	for i := range st.Events {
		w := Why(st, i)
		if strings.Contains(w, "mm") {
			t.Errorf("event %d: %q", i, w)
		}
		if strings.Contains(w, "low first finger takes B♭") {
			low++
		}
	}
	if low == 0 {
		t.Errorf("no low first finger: %s", fingers(st))
	}
	sc, p = notes(240, "A4 Bb4 A4 Bb4 A4 Bb4 G4")
	d := map[score.NoteID]Decision{}
	for i := range 6 {
		d[score.NoteID(i)] = Decision{String: 3, Finger: Use(4)}
	}
	pos := 1
	d[6] = Decision{String: 3, Finger: Use(3), Position: &pos}
	for i := range 6 {
		x := d[score.NoteID(i)]
		x.Position = &pos
		d[score.NoteID(i)] = x
	}
	st = Analyze(sc, p, Options{Decided: d})
	told := 0
	for i := range st.Events {
		if strings.Contains(Why(st, i), "mm") {
			told++
		}
	}
	if told != 1 {
		t.Errorf("the stretch is told %d times: %s", told, fingers(st))
	}
}

var wholeSentence = regexp.MustCompile(`^\P{Ll}.*\.$`)

// Why a held note is let go is found out, case by case.
func TestWhyLetGo(t *testing.T) {
	for _, c := range []struct {
		line string
		d    map[score.NoteID]Decision
		want string
	}{
		{"B3 A3", nil, "The G string is needed for A3."},
		{"E4 F5", map[score.NoteID]Decision{0: {String: 3, Finger: Use(1)}, 1: {String: 1, Finger: Use(1)}}, "The first finger is needed for F5 on the E string."},
		{"A3 A5", map[score.NoteID]Decision{0: {String: 4, Finger: Use(1)}, 1: {String: 1, Finger: Use(3)}}, "The bow cannot hold the G string together with the E string."},
	} {
		sc, p := notes(480, c.line)
		p.Notes[0].Dur, p.Notes[0].Voice = 2*480, "2"
		st := Analyze(sc, p, Options{Decided: c.d})
		found := false
		for _, f := range st.Findings {
			if f.Kind != "let-go" {
				continue
			}
			found = true
			if f.Why != c.want || !wholeSentence.MatchString(f.Text) || !strings.Contains(f.Text, "50 %") {
				t.Errorf("%s: %q %q, want %q", c.line, f.Text, f.Why, c.want)
			}
		}
		if !found {
			t.Errorf("%s: nothing let go: %s", c.line, fingers(st))
		}
	}
}

// What cannot be played has its own reason, what is kept, and advice that fits.
func TestUnplayableIsToldByCase(t *testing.T) {
	for _, c := range []struct{ line, text, why, advice string }{
		{"C2", "C2 lies below the open G string (G3), the lowest.", "The plan leaves C2 out.", "Play it 2 octaves higher or give it to another part."},
		{"F3", "F3 lies below the open G string (G3), the lowest.", "The plan leaves F3 out.", "Play it an octave higher, give it to another part or tune the G string down to it (--tuning)."},
		{"C9", "C9 lies above the end of the fingerboard.", "The plan leaves C9 out.", "Play it 2 octaves lower or give it to another part."},
		{"G3+A3", "G3 and A3 both lie only on the G string.", "1 of 2 notes is left out: ", "Strike A3 after G3, or tune the strings so that they part (--tuning)."},
		{"G3+D4+E4+B4+E5", "5 notes are struck together on 4 strings.", "1 of 5 notes is left out: E4; G3, D4, B4 and E5 are kept.", "Strike E4 apart from the others, or leave out other notes than these."},
	} {
		sc, p := notes(480, "A4 "+c.line+" B4")
		st := Analyze(sc, p, Options{})
		n := 0
		for _, f := range st.Findings {
			if f.Kind != "unplayable" {
				continue
			}
			n++
			if f.Text != c.text || !strings.HasPrefix(f.Why, c.why) || f.Suggestion != c.advice {
				t.Errorf("%s: %q, %q, %q", c.line, f.Text, f.Why, f.Suggestion)
			}
			for _, s := range []string{f.Text, f.Why, f.Suggestion} {
				if !wholeSentence.MatchString(s) {
					t.Errorf("%s: %q is no sentence", c.line, s)
				}
			}
		}
		if n != 1 {
			t.Errorf("%s: %d findings", c.line, n)
		}
	}
	// as many notes as can be played are kept
	sc, p := notes(480, "G3+C4+D4+E4+F4+G4+C5+E5")
	if st := Analyze(sc, p, Options{}); len(st.Grips[0].Stops) != 4 || len(st.Grips[0].LeftOut) != 4 {
		t.Errorf("%s, left out %v", fingers(st), st.Grips[0].LeftOut)
	}
}

// Where a finger stops the pitch of an open string the sentence names the fact.
func TestWhyNotOpen(t *testing.T) {
	sc, p := notes(1920, "A4")
	if w := Why(Analyze(sc, p, Options{}), 0); !strings.Contains(w, "instead of the open string: the note lasts 2.5 s") {
		t.Errorf("a long note: %q", w)
	}
	sc, p = notes(480, "D4 E4 F4 G4 A4 G4 F4 E4 D4")
	st := Analyze(sc, p, Options{Instrument: instrument.Viola()})
	if w := Why(st, 4); !strings.Contains(w, "the notes before and after lie on the D string") {
		t.Errorf("among notes of one string: %q", w)
	}
}
