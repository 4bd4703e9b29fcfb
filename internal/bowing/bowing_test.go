package bowing

import (
	"flag"
	"fmt"
	"os"
	"slices"
	"strings"
	"testing"

	"pochette/internal/score"
)

// The twins run on a thousand cases unless told otherwise.
func TestMain(m *testing.M) {
	flag.Parse()
	if f := flag.Lookup("rapid.checks"); f != nil && f.Value.String() == f.DefValue {
		if err := f.Value.Set("1000"); err != nil {
			panic(err)
		}
	}
	os.Exit(m.Run())
}

// Strokes: what is taken in one bow.
func TestStrokes(t *testing.T) {
	for _, c := range []struct{ name, text, want string }{
		{"slurs and single notes", "(c4 d4) e4 (f8 g8) | c1 |]", "2 1 2 1"},
		{"a tie is no new stroke", "c2~ c4 d4 | c1~ | c1 |]", "1 1 1"},
		{"dots under a slur stay one stroke", "(c4! d4! e4! f4!) | c1 |]", "4 1"},
		{"a rest ends a stroke", "(c4 r4 d4) e4 | c1 |]", "1 1 1 1"},
		{"grace notes go with what they lead into", "c4 'd8 'e8 f4 (g4 a4) | c1 |]", "1 3 2 1"},
		{"unless slurred to the note before", "(c4 'd8) f4 g2 | c1 |]", "2 1 1 1"},
		{"grace notes inside a slur", "(c4 'd8 f4) g2 | c1 |]", "3 1 1"},
		{"grace notes that lead to nothing", "c2 g2 'd8 | r1 |]", "1 2"},
		{"plucked notes stand alone", "c4p (d4p e4p) f4 | c1 |]", "p p p 1 1"},
	} {
		sc, p := build(t, 4, 4, c.text)
		var got []string
		for _, s := range Analyze(sc, p, Options{}).Written {
			if s.Pizzicato {
				got = append(got, "p")
				continue
			}
			got = append(got, fmt.Sprint(len(s.Notes)))
		}
		if g := strings.Join(got, " "); g != c.want {
			t.Errorf("%s (%s): %s, want %s", c.name, c.text, g, c.want)
		}
	}
}

func TestPizzicatoWordsAndTremolo(t *testing.T) {
	sc, p := build(t, 4, 4, "c4 d4 e4 f4 | c4 d4 e4 f4 |]")
	p.Directions = []score.Direction{{At: quarter, Kind: "words", Text: "Pizz."}, {At: 4 * quarter, Kind: "words", Text: "arco"}}
	p.Notes[6].Marks = []score.Mark{{Kind: score.Tremolo, Text: "3"}}
	if got := letters(Analyze(sc, p, Options{}).Written); got != "D---UD-U" {
		t.Errorf("written %s, want D---UD-U: no direction between pizz. and arco nor in a tremolo, alternation goes on after", got)
	}
}

// The printed reading: alternation from the first stroke, marks reset, rests do
// not, pickups are counted back from the bar, endings follow what is played.
func TestAsWritten(t *testing.T) {
	for _, c := range []struct{ name, text, want string }{
		{"bar", "c4 d4 e4 f4 | c1 |]", "DUDUD"},
		{"single pickup", "c4 | d4 e4 f4 g4 | c1 |]", "UDUDUD"},
		{"pickup of two", "c8 c8 | d4 e4 f4 g4 | c1 |]", "DUDUDUD"},
		{"a mark resets", "c4 d4 e4/U f4 | c1 |]", "DUUDU"},
		{"a mark counts back to the opening", "c4 | d4/U e4 f4 g4 | c1 |]", "DUDUDU"},
		{"rests do not reset", "c4 r4 r4 d4 | e1 |]", "DUD"},
		{"the second ending follows the common bar", "|: c2 d2 | [1 e1 :| [2 f2 g2 |]", "DUDDU"},
	} {
		sc, p := build(t, 4, 4, c.text)
		if got := letters(Analyze(sc, p, Options{}).Written); got != c.want {
			t.Errorf("%s (%s): %s, want %s", c.name, c.text, got, c.want)
		}
	}
}

// Proposals for short bars of our own that show one rule each; the rules'
// sources stand in the table Rules.
func TestProposals(t *testing.T) {
	for _, c := range []struct {
		name     string
		num, den int
		text     string
		want     string
		kinds    string
	}{
		{"nothing to mend", 4, 4, "c4 d4 e4 f4 | c2 d2 | c1 |]", "DUDUDUD", ""},
		{"a lift after a quarter before running notes", 3, 4, "c4 d4 e4 | f8 e8 d8 c8 b8 a8 | g8 a8 b8 c8 d8 e8 | f2. |]", "DUDDUDUDUDUDUDUD", "retake"},
		{"bars of three equal notes alternate", 3, 8, "c8 d8 e8 | f8 e8 d8 | c8 d8 e8 | f8 e8 d8 |", "DUDUDUDUDUDU", ""},
		{"down again after a rest", 2, 4, "c4 r4 | d4 e4 | f4 r4 | g4 e4 | c2 |]", "DDUDDUD", "after-rest after-rest"},
		{"off the beat after short rests is up", 2, 4, "r8 c8 r8 d8 | r8 e8 r8 f8 | c2 |]", "UUUUD", "after-rest after-rest after-rest"},
		{"chords in a row are taken as they come", 4, 4, "c2 r2 | d4=4 e4=4 f2=4 |]", "DDUD", "after-rest"},
		{"chords that each open a bar are taken down, one after the other", 4, 4, "c2 r2 | d1=4 | e1=4 | f1=4 |]", "DDDD", "after-rest retake retake"},
		{"after a breath the lift is free", 4, 4, "c4 d4 e2* | f4 d4 e2 | c1 |]", "DUDDUDD", "retake retake"},
		{"a decided or printed mark holds", 4, 4, "c4/U d4 e4 f4/D | c1 |]", "", ""},
	} {
		sc, p := build(t, c.num, c.den, c.text)
		st := Analyze(sc, p, Options{})
		var kinds []string
		for _, ch := range st.Changes {
			kinds = append(kinds, ch.Kind.String())
		}
		if c.want == "" {
			if got := letters(st.Proposed); got[0] != 'U' || got[3] != 'D' {
				t.Errorf("%s: %s", c.name, got)
			}
			continue
		}
		if got, k := letters(st.Proposed), strings.Join(kinds, " "); got != c.want || k != c.kinds {
			t.Errorf("%s (%s):\n %s %q, want\n %s %q", c.name, c.text, got, k, c.want, c.kinds)
		}
	}
}

func TestDecidedOverPrinted(t *testing.T) {
	sc, p := build(t, 4, 4, "c4/D d4 e4 f4 | c1 |]")
	st := Analyze(sc, p, Options{Decided: map[score.NoteID]Direction{0: Up, 2: Up}})
	if got := letters(st.Proposed); got[0] != 'U' || got[2] != 'U' || !st.Proposed[0].Fixed {
		t.Errorf("%s: decided up-bows are not kept", got)
	}
}

func kindsOf(fs []score.Finding) []string {
	var out []string
	for _, f := range fs {
		out = append(out, f.Kind)
	}
	return out
}

// Marks that contradict each other are findings, and work goes on.
func TestContradictions(t *testing.T) {
	for _, c := range []struct{ text, kind string }{
		{"c4/D/U d4 e4 f4 | c1 |]", "two-bows-on-one-note"},
		{"(c4/D d4/U) e4 f4 | c1 |]", "bow-against-slur"},
		{"(c4 d4/U) e4 f4 | c1 |]", "bow-inside-slur"},
		{"c4/D d4/D e4 f4 | c1 |]", "marks-imply-change"},
		{"c4/D d4 e4/U f4 | c1 |]", "marks-imply-change"},
	} {
		sc, p := build(t, 4, 4, c.text)
		st := Analyze(sc, p, Options{})
		if !slices.Contains(kindsOf(st.Findings), c.kind) {
			t.Errorf("%s: findings %v, want %s among them", c.text, kindsOf(st.Findings), c.kind)
		}
		if len(st.Proposed) == 0 {
			t.Errorf("%s: no proposal", c.text)
		}
	}
	sc, p := build(t, 4, 4, "c2/D d4/D e4 | c1 |]")
	if fs := Analyze(sc, p, Options{}).Findings; len(fs) == 0 || fs[0].Suggestion != "Easiest here as a retake in measure 1, beat 3." {
		t.Errorf("two down-bows in a row: %+v", fs)
	}
	for _, text := range []string{"c4/D d4/U e4 f4/U | c1/D |]", "c4/D r4 e4/D f4 | c1 |]", "(c4/D d4) 'e8/U f4 g4 | c1 |]"} {
		sc, p := build(t, 4, 4, text)
		for _, k := range kindsOf(Analyze(sc, p, Options{}).Findings) {
			if strings.Contains(k, "bow-") || strings.Contains(k, "marks") {
				t.Errorf("%s: finding %s though nothing contradicts", text, k)
			}
		}
	}
}

// A span of bars the wrong way round: from the first wrong one, naming what
// wants the down-bow, and whether it rights itself.
func TestWrongWayRound(t *testing.T) {
	sc, p := build(t, 3, 4, "c4 d4 e4 | f8 e8 d8 c8 b8 a8 | g8 a8 b8 c8 d8 e8 | f4=3 r4 r4 |]")
	st := Analyze(sc, p, Options{})
	var got *score.Finding
	for i := range st.Findings {
		if st.Findings[i].Kind == "wrong-way-round" {
			got = &st.Findings[i]
		}
	}
	if got == nil {
		t.Fatal("no finding: as written bars 2 to 4 begin up")
	}
	if got.At.Measure != 1 || got.To.Measure != 3 || !strings.Contains(got.Why, "chord") || !strings.Contains(got.Text, "measures 2 to 4 begin up-bow") ||
		!strings.Contains(got.Text, "does not right itself") || !strings.Contains(got.Suggestion, "etake") {
		t.Errorf("%s–%s: %q %q %q", got.At, got.To, got.Text, got.Why, got.Suggestion)
	}
	sc, p = build(t, 3, 8, "c8 d8 e8 | f8 e8 d8 | c8 d8 e8 | f8 e8 d8 | c4. |]")
	st = Analyze(sc, p, Options{})
	if len(st.Findings) == 0 || st.Findings[0].Grade != score.Remark || !strings.Contains(st.Findings[0].Text, "rights itself") || !strings.Contains(st.Findings[0].Suggestion, "left") {
		t.Errorf("bars of three: %+v, want a remark that it rights itself and may be left", st.Findings)
	}
}

// Both times through, the same marks: an odd number of strokes in a repeated
// section makes a lift at the repeat sign or a change inside it, and says so.
func TestRepeatsBind(t *testing.T) {
	sc, p := build(t, 2, 4, "|: c4 d4 | e8 f8 g4 | a4 r4 :| c2 |]")
	st := Analyze(sc, p, Options{})
	if slices.Contains(kindsOf(st.Findings), "repeat-turns-bow") {
		t.Errorf("a rest before the sign gives time, yet: %v", st.Findings)
	}
	sc, p = build(t, 3, 4, "|: c4 d4 e4 :| c2. |]")
	st = Analyze(sc, p, Options{})
	if !slices.Contains(kindsOf(st.Findings), "repeat-turns-bow") {
		t.Errorf("three strokes and back: %v", kindsOf(st.Findings))
	}
}

// A piece with more open jumps than the search holds is still solved, and says
// that some returns were left out.
func TestTooManyJumps(t *testing.T) {
	const jumps = 14
	sc, p := build(t, 2, 4, strings.Repeat("c4 d4 | ", 2*jumps+1)+"e2 |]")
	for k := range jumps {
		label := fmt.Sprint(k)
		p.Measures[k].Jump.Segno = label
		p.Measures[jumps+k].Jump.DalSegno = label
	}
	st := Analyze(sc, p, Options{})
	if !slices.Contains(kindsOf(st.Findings), "repeats-too-tangled") {
		t.Errorf("%d nested returns: findings %v", jumps, kindsOf(st.Findings))
	}
	if got := letters(st.Proposed); got != strings.Repeat("DU", 2*jumps+1)+"D" {
		t.Errorf("proposed %s", got)
	}
}

// Only what a reader needs is printed, and nothing twice.
func TestNeededMarks(t *testing.T) {
	for _, c := range []struct{ name, text, want string }{
		{"plain alternation needs none", "c4 d4 e4 f4 | c2 d2 | c1 |]", ""},
		{"a pickup", "c4 | d4 e4 f4 g4 | c1 |]", "0U"},
		{"printed already", "c4/U | d4 e4 f4 g4 | c1 |]", ""},
		{"a bar after a rest begins down unasked", "c4 d4 e4 r4 | c4 d4 e4 f4 | c1 |]", ""},
		{"successive chords", "c2 r2 | d1=4 | e1=4 |]", "6D"},
	} {
		sc, p := build(t, 4, 4, c.text)
		var got []string
		for _, mk := range Analyze(sc, p, Options{}).Plan.Marks {
			got = append(got, fmt.Sprintf("%d%s", mk.Note, map[score.MarkKind]string{score.UpBow: "U", score.DownBow: "D"}[mk.Mark.Kind]))
		}
		if g := strings.Join(got, " "); g != c.want {
			t.Errorf("%s (%s): %q, want %q", c.name, c.text, g, c.want)
		}
	}
}

// Slurs change only when allowed, and then as slurs of the plan.
func TestSplitSlur(t *testing.T) {
	text := "(c8 d8 e8 f8 g8 a8 b8 c8) | (c8 d8 e8 f8) g4=4/D r4 | c1=4/D |]"
	sc, p := build(t, 4, 4, "c1/D | "+text)
	st := Analyze(sc, p, Options{})
	if len(st.Plan.SlurChanges) != 0 {
		t.Fatalf("slurs changed without leave: %+v", st.Plan.SlurChanges)
	}
	w := DefaultWeights()
	w[SplitSlur] = 0.5
	st = Analyze(sc, p, Options{MayChangeSlurs: true, Weights: w})
	if len(st.Plan.SlurChanges) == 0 {
		t.Fatal("an almost free split is not taken")
	}
	c := st.Plan.SlurChanges[0]
	if len(c.Remove) != 1 || len(c.Add) != 2 {
		t.Fatalf("%+v, want one slur replaced by two", c)
	}
	old := p.Slurs[c.Remove[0]]
	if c.Add[0].Start != old.Start || c.Add[1].End != old.End || c.Add[0].End+1 != c.Add[1].Start {
		t.Errorf("%+v does not divide %+v", c.Add, old)
	}
}

// A style without the rule of the down-bow leaves bars that begin up alone.
func TestFreeWeights(t *testing.T) {
	sc, p := build(t, 3, 4, "c4 d4 e4 | f8 e8 d8 c8 b8 a8 | g8 a8 b8 c8 d8 e8 | f2. |]")
	st := Analyze(sc, p, Options{Weights: FreeWeights()})
	for _, c := range st.Changes {
		if c.Kind != AfterRest && !strings.Contains(c.Text, "last note") {
			t.Errorf("change %+v", c)
		}
	}
}

// Empty and silent parts give an empty study.
func TestNothingToBow(t *testing.T) {
	for _, text := range []string{"r1 | r1 |]", "c1p | d1p |]"} {
		sc, p := build(t, 4, 4, text)
		if st := Analyze(sc, p, Options{}); len(st.Changes) != 0 || len(st.Plan.Marks) != 0 {
			t.Errorf("%s: %+v", text, st)
		}
	}
	if st := Analyze(&score.Score{Quarter: 1}, &score.Part{}, Options{}); len(st.Written) != 0 {
		t.Error("strokes out of nothing")
	}
}

// Every rule is named, sourced and has a weight of its own.
func TestRulesTable(t *testing.T) {
	seen := map[string]bool{}
	for i, r := range Rules {
		if r.Name == "" || r.Says == "" || r.Source == "" || seen[r.Name] {
			t.Errorf("rule %d: %+v", i, r)
		}
		seen[r.Name] = true
	}
}

// movement is a movement of n strokes or a little more: two repeated halves of
// running figures with slurs, rests, chords and a few marks.
func movement(t testing.TB, n int) (*score.Score, *score.Part) {
	bars := []string{"c8 d8 e8 f8 (g8 a8) b4", "(c4. d8) e4 f4", "c4 r4 d8 e8 f8 g8", "c16 d16 e16 f16 g8 a8 (b8 c8 d8) e8", "c4=3 d4 (e8 f8 g8) a8", "c2 d4 e4"}
	var b strings.Builder
	b.WriteString("c8 | |: ")
	for i := 0; i*6 < n; i++ {
		b.WriteString(bars[i%len(bars)])
		if i*6 < n/2 && (i+1)*6 >= n/2 {
			b.WriteString(" :| |: ")
		} else {
			b.WriteString(" | ")
		}
	}
	b.WriteString("c1 :|")
	return build(t, 4, 4, b.String())
}

func BenchmarkAnalyze(b *testing.B) {
	for _, n := range []int{250, 500, 1000, 2000, 4000, 16000} {
		sc, p := movement(b, n)
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				Analyze(sc, p, Options{})
			}
		})
	}
}
