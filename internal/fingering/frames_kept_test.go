package fingering

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"pochette/internal/instrument"
	"pochette/internal/score"
)

// outOfFrame finds pairs of notes in a row on one string of a cello, taken by two
// fingers in the neck positions without a shift, that lie in neither frame: closed, a
// half step from finger to finger; extended, a whole tone from first to second and
// nothing else wider (C. Davidoff, Violoncell-Schule, 1888, part 1, art. XI; see
// instrument.Closed and Extended). A finger of a chord that is stretched out of the frame is
// told as such, and passed over here.
func outOfFrame(st *Study) (bad []string) {
	for i := 1; i < len(st.Grips); i++ {
		a, b := &st.Grips[i-1], &st.Grips[i]
		if b.Shift >= 0 || max(a.Hand.Place, b.Hand.Place) > 7 {
			continue
		}
		for _, s := range a.Stops {
			for _, u := range b.Stops {
				s, u := s, u
				if s.String != u.String || min(s.Finger, u.Finger) == 0 || max(s.Finger, u.Finger) > 4 || s.Finger == u.Finger || s.Extension+u.Extension > 0 {
					continue
				}
				if s.Finger > u.Finger {
					s, u = u, s
				}
				wide := u.Semitone - s.Semitone - int(u.Finger-s.Finger)
				if wide < 0 || wide > 1 || wide == 1 && s.Finger > 1 {
					bad = append(bad, fmt.Sprintf("event %d: finger %d at %d, %d at %d on %s", i, s.Finger, s.Semitone, u.Finger, u.Semitone, instrument.Numeral(s.String)))
				}
			}
		}
	}
	return bad
}

// Random lines and double stops of the cello stay in its frames.
func TestCelloKeepsItsFrames(t *testing.T) {
	const seed = 1888
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 1))
	in := instrument.Cello()
	pairs := 0
	for range 150 {
		var notes []string
		key := 38 + r.IntN(20)
		for range 24 {
			key = min(67, max(36, key+[]int{-4, -2, -2, -1, -1, 1, 1, 2, 2, 4}[r.IntN(10)]))
			n := midiName(key)
			if r.IntN(8) == 0 && key > 45 {
				n = midiName(key-[]int{3, 4, 8, 9}[r.IntN(4)]) + "+" + n
			}
			notes = append(notes, n)
		}
		sc, p := lineOf(score.Tick([]int{120, 240, 480}[r.IntN(3)]), notes)
		for i := 0; i+3 < len(p.Notes); i += 4 {
			if r.IntN(2) == 0 {
				p.Slurs = append(p.Slurs, score.Slur{Start: p.Notes[i].Head, End: p.Notes[i+3].Head})
			}
		}
		st := Analyze(sc, p, Options{Instrument: in})
		for i := 1; i < len(st.Grips); i++ {
			if a, b := st.Grips[i-1].Stops, st.Grips[i].Stops; len(a) == 1 && len(b) == 1 && a[0].String == b[0].String && st.Grips[i].Shift < 0 {
				pairs++
			}
		}
		if bad := outOfFrame(st); len(bad) > 0 {
			t.Errorf("%s: %s: %s", strings.Join(notes, " "), fingers(st), strings.Join(bad, "; "))
		}
	}
	t.Logf("%d pairs on one string without a shift", pairs)
	if pairs < 500 {
		t.Errorf("only %d pairs", pairs)
	}
}

func lineOf(dur score.Tick, notes []string) (*score.Score, *score.Part) {
	var chords [][]string
	for _, n := range notes {
		chords = append(chords, strings.Split(n, "+"))
	}
	return line(dur, chords...)
}

// Two whole tones from the first finger are 1 2 4 of the extended hand (Davidoff, as
// above).
func TestCelloTakesTwoWholeTonesExtended(t *testing.T) {
	for _, c := range []struct{ line, want string }{
		{"E3 F#3 G#3 F#3 E3 F#3 G#3 F#3 E3", "II1 II2 II4 II2 II1 II2 II4 II2 II1"},
		{"D2 E2 F#2 E2 D2 E2 F#2 E2 D2", "IV1 IV2 IV4 IV2 IV1 IV2 IV4 IV2 IV1"},
		{"B3 C#4 D#4 C#4 B3 C#4 D#4 C#4 B3", "I1 I2 I4 I2 I1 I2 I4 I2 I1"},
		{"Bb3 C4 D4 C4 Bb3", "I1 I2 I4 I2 I1"}, // the first finger moved back
	} {
		for _, dur := range []score.Tick{240, 480} {
			sc, p := notes(dur, c.line)
			if got := fingers(Analyze(sc, p, Options{Instrument: instrument.Cello()})); got != c.want {
				t.Errorf("%s, %d ticks: %s, want %s", c.line, dur, got, c.want)
			}
		}
	}
}

// Where printed fingers go from one frame to the other with no finger in place, the
// hand has moved, and the plan says so.
func TestCelloSaysThatTheHandMoves(t *testing.T) {
	in := instrument.Cello()
	sc, p := notes(480, "E3 F#3 G#3")
	d := map[score.NoteID]Decision{}
	for i, f := range []int8{1, 3, 4} {
		d[score.NoteID(i)] = Decision{String: 2, Finger: Use(f)}
	}
	st := Analyze(sc, p, Options{Instrument: in, Decided: d})
	if len(st.Shifts) != 1 || st.Shifts[0].Event != 2 || st.Shifts[0].MM <= 0 {
		t.Errorf("%s, shifts %+v", fingers(st), st.Shifts)
	}
	if bad := outOfFrame(st); len(bad) > 0 {
		t.Error(bad)
	}
}

// A decided position that the finger cannot have is passed over, and what is told of the
// hand is where it lies.
func TestPassedOverPositionIsNotTold(t *testing.T) {
	sc, p := notes(480, "D5 E5 F#5 G5")
	first := 1
	st := Analyze(sc, p, Options{Decided: map[score.NoteID]Decision{0: {Finger: Use(1), Position: &first}}})
	if len(kinds(st)) == 0 || kinds(st)[0] != "fingering-impossible" {
		t.Fatalf("findings %v", kinds(st))
	}
	g := &st.Grips[0]
	if g.Hand.Place != 5 || g.Position != 3 || g.Stops[0].Position != 3 || !strings.Contains(Why(st, 0), "third position") {
		t.Errorf("hand %+v, position %d, stop %+v: %q", g.Hand, g.Position, g.Stops[0], Why(st, 0))
	}
	for _, sh := range st.Shifts {
		if sh.FromPos == sh.ToPos && sh.FromPlace != sh.ToPlace {
			t.Errorf("%+v", sh)
		}
	}
}

// The left hand plucks an open string, or else a stop with a finger free above it;
// where the fourth is decided its cost is told (common practice, no source).
func TestLeftHandPlucksWithAFreeFinger(t *testing.T) {
	for _, c := range []struct{ line, want string }{
		{"D5 E5 D5 A4 E5 A4 D4 G3", "0 0 0 0 0"}, // the last five
		{"D4 E4 F#4 B4 C#5", "1 2"},
		{"E5 D5 C#5 B4 D5 B4", "1 3 1"},
	} {
		for _, dur := range []score.Tick{240, 480, 1440} {
			sc, p := notes(dur, c.line)
			want := strings.Fields(c.want)
			from := len(p.Notes) - len(want)
			for i := from; i < len(p.Notes); i++ {
				p.Notes[i].Marks = append(p.Notes[i].Marks, score.Mark{Kind: score.LeftHandPlucked})
			}
			st := Analyze(sc, p, Options{})
			for i := from; i < len(p.Notes); i++ {
				s := st.Grips[i].Stops[0]
				if (want[i-from] == "0") != (s.Finger == 0) || s.Finger == 4 {
					t.Errorf("%s, %d ticks: %s", c.line, dur, fingers(st))
				}
			}
		}
	}
	sc, p := notes(480, "D4 B4 D4")
	p.Notes[1].Marks = append(p.Notes[1].Marks, score.Mark{Kind: score.LeftHandPlucked})
	st := Analyze(sc, p, Options{Decided: map[score.NoteID]Decision{1: {Finger: Use(4)}}})
	paid := 0.0
	for _, x := range st.Grips[1].Terms {
		if x.Name == "plucked_without_finger" {
			paid = x.Value
		}
	}
	if paid != DefaultWeights().of[0][pluckNone] {
		t.Errorf("fourth finger decided: %v paid, terms %v", paid, st.Grips[1].Terms)
	}
}

// In a chord open strings are taken where the bow can have them, also where they lie
// other than in the usual tuning (common practice, no source).
func TestChordsTakeOpenStrings(t *testing.T) {
	open, err := instrument.ParseTuning("A3,E4,A4,E5")
	if err != nil {
		t.Fatal(err)
	}
	crossed, err := instrument.Violin().Tuned(open)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		in         instrument.Instrument
		line, want string
	}{
		{crossed, "F#5 A3+E4 A4+E5 A4", "IV0+III0 II0+I0"},
		{instrument.Violin(), "B4 D4+A4 A4+E5 B4", "III0+II0 II0+I0"},
	} {
		sc, p := notes(960, c.line)
		if got := fingers(Analyze(sc, p, Options{Instrument: c.in})); !strings.Contains(got, c.want) {
			t.Errorf("%s: %s, want %s", c.line, got, c.want)
		}
	}
}

// A shift waits for the bow change, or for the beat, where that is a note or two away
// (issue 3: no glide under a slur or inside a beat group when it can hide; common
// practice, no source). The lines are ours.
func TestShiftsHideWhereTheyCan(t *testing.T) {
	sc, p := notes(120, "E5 F#5 G5 A5 B5 C#6 D6 E6 D6 C#6 B5 A5 G5 F#5 E5 D5")
	st := Analyze(sc, p, Options{})
	for _, sh := range st.Shifts {
		if sh.Event%4 != 0 {
			t.Errorf("%s: a shift at event %d, inside a beat", fingers(st), sh.Event)
		}
	}
	sc, p = notes(120, "G5 G5 A5 A5 C6 C6 C6 G5 G5 G5 A5 G5 E5 F5 D5 D5")
	p.Slurs = append(p.Slurs, score.Slur{Start: 6, End: 7})
	st = Analyze(sc, p, Options{})
	for _, sh := range st.Shifts {
		if sh.Cover == UnderSlur {
			t.Errorf("%s: a shift under the slur at event %d", fingers(st), sh.Event)
		}
	}
}

// The reason of a quick shift gives its speed and what covers it.
func TestQuickShiftGivesItsSpeed(t *testing.T) {
	sc, p := notes(30, "B4 E7 B4")
	low := Decision{Finger: Use(1), String: 2}
	st := Analyze(sc, p, Options{Decided: map[score.NoteID]Decision{0: low, 2: low}})
	n := 0
	for _, f := range st.Findings {
		if f.Kind == "quick-shift" {
			n++
			if !strings.Contains(f.Why, fmt.Sprintf("%.1f m/s", f.Weight)) || !wholeSentence.MatchString(f.Why) {
				t.Errorf("%q, weight %v", f.Why, f.Weight)
			}
		}
	}
	if n == 0 {
		t.Errorf("no quick shift: %s", fingers(st))
	}
}
