package fingering

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"pochette/internal/instrument"
	"pochette/internal/score"
	"pochette/internal/sequence"
)

// notes makes a line of single notes from a string of names; "-" is a rest,
// "+" joins the notes of a chord.
func notes(dur score.Tick, text string) (*score.Score, *score.Part) {
	var chords [][]string
	for _, f := range strings.Fields(text) {
		if f == "-" {
			chords = append(chords, nil)
			continue
		}
		chords = append(chords, strings.Split(f, "+"))
	}
	return line(dur, chords...)
}

// fingers writes a plan as string numeral and finger: "III0 III1".
func fingers(st *Study) string {
	var out []string
	for _, g := range st.Grips {
		var one []string
		for _, s := range g.Stops {
			f := fmt.Sprint(s.Finger)
			if s.Finger == instrument.Thumb {
				f = "T"
			}
			one = append(one, instrument.Numeral(s.String)+f)
		}
		if len(one) > 0 {
			out = append(out, strings.Join(one, "+"))
		}
	}
	return strings.Join(out, " ")
}

func kinds(st *Study) []string {
	var out []string
	for _, f := range st.Findings {
		out = append(out, f.Kind)
	}
	return out
}

// The scales with which every method for the instrument begins, in first
// position with open strings (from memory; the finger of each letter in first
// position is the same in all of them).
func TestFirstPositionScales(t *testing.T) {
	for _, c := range []struct {
		kind instrument.Kind
		line string
		want string
	}{
		{instrument.ViolinKind, "G3 A3 B3 C4 D4 E4 F#4 G4 A4 B4 C5 D5 E5 F#5 G5",
			"IV0 IV1 IV2 IV3 III0 III1 III2 III3 II0 II1 II2 II3 I0 I1 I2"},
		{instrument.ViolaKind, "C3 D3 E3 F3 G3 A3 B3 C4 D4 E4 F4 G4 A4 B4 C5",
			"IV0 IV1 IV2 IV3 III0 III1 III2 III3 II0 II1 II2 II3 I0 I1 I2"},
		{instrument.CelloKind, "C2 D2 E2 F2 G2 A2 B2 C3 D3 E3 F3 G3 A3 B3 C4",
			"IV0 IV1 IV3 IV4 III0 III1 III3 III4 II0 II1 II2 II4 I0 I1 I2"},
	} {
		sc, p := notes(240, c.line)
		st := Analyze(sc, p, Options{Instrument: instrument.Of(c.kind)})
		if got := fingers(st); got != c.want {
			t.Errorf("%v: %s\n got %s\nwant %s", c.kind, c.line, got, c.want)
		}
		if len(st.Shifts) > 0 && c.kind != instrument.CelloKind {
			t.Errorf("%v: %d shifts in a first-position scale", c.kind, len(st.Shifts))
		}
	}
}

// Chords every violinist plays so (common practice, no source).
func TestChords(t *testing.T) {
	for chord, want := range map[string]string{
		"G3+D4+B4+G5":  "IV0+III0+II1+I2",
		"A3+E4+C#5+A5": "IV1+III1+II2+I3",
		"D4+A4+F#5":    "III0+II0+I1",
		"E4+B4":        "III1+II1", // a fifth by one finger
		"B4+B5":        "II1+I4",   // the octave frame
		"A3+C#5":       "IV1+III4", // a tenth, the widest that is asked for
	} {
		sc, p := notes(960, chord)
		st := Analyze(sc, p, Options{})
		if got := fingers(st); got != want {
			t.Errorf("%s: %s, want %s", chord, got, want)
		}
	}
}

func TestUnplayableChordsSayWhy(t *testing.T) {
	for _, c := range []struct{ line, why string }{
		{"G3+A3", "both lie only on the G string"},
		{"F3", "below the open G string (G3)"},
		{"G3+C4+D4+E4+F4", "5 notes are struck together on 4 strings"},
		{"A3+F5+D6", "stretch"},
		{"C9", "above the end of the fingerboard"},
	} {
		sc, p := notes(480, "A4 "+c.line+" B4")
		st := Analyze(sc, p, Options{})
		g := st.Grips[1]
		if !strings.Contains(g.Unplayable, c.why) || len(g.LeftOut) == 0 {
			t.Errorf("%s: %q, left out %v; want %q", c.line, g.Unplayable, g.LeftOut, c.why)
		}
		if !slices.Contains(kinds(st), "unplayable") {
			t.Errorf("%s: no finding", c.line)
		}
		if len(st.Grips[0].Stops) != 1 || len(st.Grips[2].Stops) != 1 {
			t.Errorf("%s: the search did not go on around it", c.line)
		}
	}
}

// A chord of 40 notes must neither stop nor delay the work.
func TestHugeChord(t *testing.T) {
	var names []string
	for k := 55; k < 95; k++ {
		names = append(names, midiName(k))
	}
	sc, p := line(480, []string{"A4"}, names, []string{"B4"})
	st := Analyze(sc, p, Options{})
	if g := st.Grips[1]; len(g.Stops) == 0 || len(g.Stops)+len(g.LeftOut) != 40 {
		t.Errorf("%d stops, %d left out", len(g.Stops), len(g.LeftOut))
	}
}

// The printed finger is obeyed, a decided one overrides it, and one that the
// geometry forbids is a finding.
func TestMarksAreConstraints(t *testing.T) {
	sc, p := notes(480, "B4 C5 D5 E5")
	p.Notes[1].Marks = []score.Mark{{Kind: score.Fingering, Text: "1"}}
	st := Analyze(sc, p, Options{})
	if got := st.Grips[1].Stops[0]; got.Finger != 1 {
		t.Errorf("printed 1, given %d", got.Finger)
	}
	two := 3
	st = Analyze(sc, p, Options{Decided: map[score.NoteID]Decision{1: {Finger: Use(3), String: 3, Position: &two}}})
	if got := st.Grips[1].Stops[0]; got.Finger != 3 || got.String != 3 {
		// C5 lies 10 semitones up the D string: third finger, hand at 6 or 7
		if !slices.Contains(kinds(st), "fingering-impossible") {
			t.Errorf("decided III3, given %+v without a finding", got)
		}
	}
	st = Analyze(sc, p, Options{Decided: map[score.NoteID]Decision{1: {String: 3}}})
	if got := st.Grips[1].Stops[0]; got.Finger != 1 || got.String != 3 {
		t.Errorf("decided string III over printed finger 1: %+v", got)
	}
	for _, m := range []score.Mark{{Kind: score.Fingering, Text: "0"}, {Kind: score.OpenString}, {Kind: score.String, Text: "1"}} {
		sc, p := notes(480, "B4 C5 D5")
		p.Notes[1].Marks = []score.Mark{m}
		st := Analyze(sc, p, Options{})
		if len(st.Grips[1].Stops) != 1 || !slices.Contains(kinds(st), "fingering-impossible") {
			t.Errorf("%v %q on C5: %v %v", m.Kind, m.Text, fingers(st), kinds(st))
		}
	}
	sc, p = notes(480, "B4")
	p.Notes[0].Marks = []score.Mark{{Kind: score.String, Text: "2"}, {Kind: score.String, Text: "3"}, {Kind: score.String, Text: "9"}, {Kind: score.Fingering, Text: "x"}}
	if got := kinds(Analyze(sc, p, Options{})); !slices.Contains(got, "string-contradicted") || !slices.Contains(got, "string-unread") || !slices.Contains(got, "fingering-unread") {
		t.Errorf("findings %v", got)
	}
}

func TestPositionWordsAreObeyed(t *testing.T) {
	sc, p := notes(480, "B4 C5 D5 E5 F5")
	p.Directions = []score.Direction{{Kind: "words", Text: "III. Pos.", At: 960}}
	st := Analyze(sc, p, Options{})
	if g := st.Grips[2]; g.Position != 3 {
		t.Errorf("position %d at the words, fingers %s", g.Position, fingers(st))
	}
}

// Treatise of 1756, ch. VIII (as worded in RESEARCH.md): shift down under an
// open string, unnoticed; and don't shift again when the line turns back.
func TestShiftUnderAnOpenString(t *testing.T) {
	sc, p := notes(240, "A5 B5 C6 D6 C6 B5 A5 E5 D5 C5 B4 D5 C5 B4 G4 F4 D4")
	st := Analyze(sc, p, Options{})
	for _, sh := range st.Shifts {
		if sh.MM < 0 && sh.Cover != OpenString {
			t.Errorf("shift down to event %d %v: %s", sh.Event, sh.Cover, fingers(st))
		}
	}
	up := 0
	for i := 0; i < 7; i++ {
		if st.Grips[i].Shift >= 0 {
			up++
		}
	}
	if up > 0 {
		t.Errorf("%d shifts where the line only turns: %s", up, fingers(st))
	}
}

// A held note keeps its string and finger while it can, and is let go with a
// finding where it cannot.
func TestHeldNotes(t *testing.T) {
	sc, p := notes(480, "F4 C5 D5 C5")
	p.Notes[0].Dur, p.Notes[0].Voice = 4*480, "2"
	st := Analyze(sc, p, Options{})
	for i := 1; i < 4; i++ {
		g := st.Grips[i]
		if len(g.Stops) != 2 || !g.Stops[1].Held || g.Stops[1].String != st.Grips[0].Stops[0].String || g.Stops[1].Finger != st.Grips[0].Stops[0].Finger {
			t.Errorf("event %d: %+v", i, g.Stops)
		}
	}
	sc, p = notes(480, "B3 A3 G3")
	p.Notes[0].Dur, p.Notes[0].Voice = 3*480, "2"
	st = Analyze(sc, p, Options{})
	if !slices.Contains(kinds(st), "let-go") || len(st.Grips[1].LetGo) != 1 {
		t.Errorf("B3 held over A3 on one string: %v", kinds(st))
	}
}

func TestHarmonics(t *testing.T) {
	sc, p := notes(960, "A5 E5+A5 A4")
	p.Notes[0].Marks = []score.Mark{{Kind: score.Harmonic, Text: "natural"}}
	p.Notes[2].Marks = []score.Mark{{Kind: score.Harmonic, Text: "artificial"}}
	st := Analyze(sc, p, Options{})
	if s := st.Grips[0].Stops[0]; s.Touch != Natural || s.String == 2 && s.Semitone != 12 {
		t.Errorf("natural harmonic A5: %+v", s)
	}
	g := st.Grips[1]
	if len(g.Stops) != 2 || g.Stops[0].Touch != Artificial || g.Stops[0].Finger != 1 || g.Stops[1].Finger != 4 || g.Stops[0].String != g.Stops[1].String {
		t.Errorf("artificial harmonic: %+v", g.Stops)
	}
	// a 0 over a note that is a string's harmonic
	sc, p = notes(960, "A5")
	p.Notes[0].Marks = []score.Mark{{Kind: score.Fingering, Text: "0"}}
	if st := Analyze(sc, p, Options{}); st.Grips[0].Stops[0].Touch != Natural || len(st.Findings) > 0 {
		t.Errorf("0 over A5: %+v %v", st.Grips[0].Stops, st.Findings)
	}
}

func TestScordatura(t *testing.T) {
	open, err := instrument.ParseTuning("A3,E4,A4,E5")
	if err != nil {
		t.Fatal(err)
	}
	in, err := instrument.Violin().Tuned(open)
	if err != nil {
		t.Fatal(err)
	}
	sc, p := notes(480, "A3+E4 A3+E4+A4 G3")
	st := Analyze(sc, p, Options{Instrument: in})
	if got := fingers(st); got != "IV0+III0 IV0+III0+II0" || st.Grips[2].Unplayable == "" {
		t.Errorf("%s, %q", got, st.Grips[2].Unplayable)
	}
}

// Marks are printed where needed, never everywhere: a first-position scale
// needs none but those at the open strings, a line that shifts needs the shift.
func TestNeeded(t *testing.T) {
	sc, p := notes(240, "G3 A3 B3 C4 E4 F#4 G4 B4 C5 D5 F#5 G5")
	st := Analyze(sc, p, Options{})
	if got := Needed(st); len(got) > 1 {
		t.Errorf("%d marks on a first-position line: %v", len(got), got)
	}
	sc, p = notes(240, "B4 C5 D5 E5 F5 G5 A5 B5 C6 D6 E6 D6 C6 B5")
	st = Analyze(sc, p, Options{})
	need := Needed(st)
	for _, sh := range st.Shifts {
		id := st.Events[sh.Event].Struck[0]
		if st.Grips[sh.Event].Stops[0].Finger > 0 && !slices.ContainsFunc(need, func(m score.NoteMark) bool { return m.Note == id && m.Mark.Kind == score.Fingering }) {
			t.Errorf("no finger at the shift to event %d", sh.Event)
		}
	}
	if len(need) >= len(p.Notes) {
		t.Errorf("%d marks on %d notes", len(need), len(p.Notes))
	}
	if len(st.Plan.Marks) != 2*len(p.Notes) {
		t.Errorf("the plan has %d marks for %d notes", len(st.Plan.Marks), len(p.Notes))
	}
}

func TestThumbPosition(t *testing.T) {
	sc, p := notes(480, "A4 B4 C5 D5 E5 D5 C5 B4 A4")
	st := Analyze(sc, p, Options{Instrument: instrument.Cello()})
	for i, g := range st.Grips[:9] {
		if len(g.Stops) == 0 || g.Unplayable != "" {
			t.Errorf("event %d: %+v", i, g)
		}
	}
	p.Notes[0].Marks = []score.Mark{{Kind: score.ThumbPosition}}
	st = Analyze(sc, p, Options{Instrument: instrument.Cello()})
	if s := st.Grips[0].Stops[0]; s.Finger != instrument.Thumb {
		t.Errorf("printed thumb: %+v", s)
	}
}

func TestWeightsTable(t *testing.T) {
	w := DefaultWeights()
	again, err := ParseWeights(w.String())
	if err != nil || *again != *w {
		t.Fatalf("the written table reads back differently: %v", err)
	}
	for _, s := range []string{"", "nonsense 1 2 3 0 0", "shift_slur 1 2", "shift_slur 1 2 -3 0 0", strings.Replace(w.String(), "hop", "#hop", 1), w.String() + "hop 1 1 1 0 0\n", w.String() + "table nothing violin\n", w.String() + "table move\n", w.String() + "table move viola\n0-0 1\n"} {
		if _, err := ParseWeights(s); err == nil {
			t.Errorf("no error for %.40q", s)
		}
	}
}

func FuzzParseWeights(f *testing.F) {
	f.Add(embedded)
	f.Fuzz(func(t *testing.T, s string) {
		if w, err := ParseWeights(s); err == nil {
			if again, err := ParseWeights(w.String()); err != nil || again == nil {
				t.Errorf("%v", err)
			}
		}
	})
}

// Profiles move the plan the way they say: the early one never sits higher.
func TestProfiles(t *testing.T) {
	sc, p := notes(480, "A4 B4 C5 D5 E5 F5 G5 A5 G5 F5 E5 D5 C5 B4 A4")
	sum := func(pr Profile) (positions int) {
		for _, g := range Analyze(sc, p, Options{Profile: pr}).Grips {
			positions += g.Position
		}
		return positions
	}
	if e, l := sum(Early), sum(Later); e > l {
		t.Errorf("early positions sum to %d, later to %d", e, l)
	}
	if Profile("baroque-ish").Known() || !Early.Known() {
		t.Error("Known is wrong")
	}
}

// Two voices that strike one pitch share a stop where two strings cannot serve
// (G4, G4 and B flat 4: only one of the Gs has a string beside the others).
func TestUnisonOfTwoVoices(t *testing.T) {
	sc, p := notes(480, "G4+Bb4")
	twin := p.Notes[0]
	twin.ID, twin.Head, twin.Voice = 2, 2, "2"
	p.Notes = append(p.Notes, twin)
	st := Analyze(sc, p, Options{})
	if g := st.Grips[0]; len(g.Stops) != 3 || g.Unplayable != "" || len(g.LeftOut) > 0 {
		t.Errorf("%+v", g)
	}
}

// A shift hides where the bow changes, as the bowing study says it does.
func TestStrokesMoveTheCover(t *testing.T) {
	sc, p := notes(480, "B4 C5 D5 E5 D6 E6 F6 G6")
	p.Slurs = []score.Slur{{Start: 0, End: 7}}
	cover := func(strokes []int) (out []Cover) {
		for _, s := range Analyze(sc, p, Options{Strokes: strokes}).Shifts {
			out = append(out, s.Cover)
		}
		return out
	}
	if got := cover(nil); len(got) == 0 || slices.Contains(got, BowChange) {
		t.Errorf("one slur: %v", got)
	}
	if got := cover([]int{0, 0, 0, 0, 1, 1, 1, 1}); !slices.Contains(got, BowChange) {
		t.Errorf("two strokes: %v", got)
	}
}

// The lattice serves the general k-best search; without repeats its first path
// costs what Solve says.
func TestKBest(t *testing.T) {
	sc, p := notes(240, "A4 C5 E5 A5 C6 E6 C6 A5")
	pr := NewProblem(sc, p, Options{})
	best := pr.Solve()
	many := sequence.KBest(pr, 5)
	if len(many) != 5 || math.Abs(many[0].Cost-best.Cost) > 1e-9 || many[4].Cost < many[0].Cost {
		t.Errorf("best %v, five best %v", best.Cost, many)
	}
}

// The way back to the repeat is scored: the end of the section lies where its
// beginning can be reached.
func TestRepeatIsScored(t *testing.T) {
	sc, p := notes(240, "D6 C6 B5 A5 D6 C6 B5 A5 B4 C5 D5 B4 C5 D5 B4 C5")
	plain := NewProblem(sc, p, Options{}).Solve()
	p.Measures[0].RepeatStart, p.Measures[len(p.Measures)-1].RepeatTimes = true, 2
	pr := NewProblem(sc, p, Options{})
	twice := pr.Solve()
	if len(pr.joins) != 1 || !twice.Exact || twice.Cost < plain.Cost-1e-9 {
		t.Errorf("%d joins, cost %v, without the repeat %v", len(pr.joins), twice.Cost, plain.Cost)
	}
}

func TestEmpty(t *testing.T) {
	sc := &score.Score{Quarter: 480}
	p := &score.Part{}
	if st := Analyze(sc, p, Options{}); len(st.Grips) != 0 || !st.Exact || st.Plan.Cost != 0 {
		t.Errorf("%+v", st)
	}
	sc, p = line(480, nil, nil)
	if st := Analyze(sc, p, Options{}); len(st.Grips) != len(st.Events) || len(Needed(st)) != 0 {
		t.Errorf("rests only: %+v", st.Grips)
	}
}
