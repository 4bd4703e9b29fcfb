package study

import (
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"pochette/internal/demo"
	"pochette/internal/fingering"
	"pochette/internal/instrument"
	"pochette/internal/score"
	"pochette/internal/testdata"
	"pochette/internal/timeline"
)

var positionInWords = regexp.MustCompile(`\b(half|first|second|third|fourth|fifth|sixth|seventh|eighth|ninth|tenth|eleventh|twelfth|thirteenth|fourteenth) position`)

// handAgrees checks that sentence, shifts and the position column of every event
// say the same. It returns how many changes of position there are.
func handAgrees(t *testing.T, s *Study) (changes int) {
	t.Helper()
	moves := map[int]fingering.Shift{}
	for _, m := range s.Hand.Moves() {
		if _, twice := moves[m.Event]; twice {
			t.Errorf("%s, %s: two moves lead to one event", s.Source.Name, s.eventPlace(m.Event))
		}
		moves[m.Event] = m
	}
	order, _ := timeline.PlayOrder(s.Part)
	follows := func(a, b int) bool { // is measure b ever played right after a?
		for i := 1; i < len(order); i++ {
			if order[i-1].Measure == a && order[i].Measure == b {
				return true
			}
		}
		return a == b
	}
	last := -1
	for i := range s.Hand.Grips {
		g := &s.Hand.Grips[i]
		move, moved := moves[i]
		if len(g.Stops) == 0 {
			if moved {
				t.Errorf("%s, %s: a move to nothing", s.Source.Name, s.eventPlace(i))
			}
			continue
		}
		why := fingering.Why(s.Hand, i)
		bad := func(what string) {
			t.Errorf("%s, %s: %s; position %d, move %+v, %q", s.Source.Name, s.eventPlace(i), what, g.Position, move, why)
		}
		stays := strings.Contains(why, " stays in ") || strings.Contains(why, "the hand keeps ") || strings.Contains(why, "need not leave")
		for _, p := range positionInWords.FindAllString(why, -1) {
			if p != instrument.PositionName(g.Position) {
				bad("the sentence names another position")
			}
		}
		if last < 0 {
			if stays || moved {
				bad("the first note is said to be moved or stayed to")
			}
			last = i
			continue
		}
		from := s.Hand.Grips[last].Position
		switch {
		case moved && (move.From != last || move.FromPos != from || move.ToPos != g.Position):
			bad("the move is another than the positions tell")
		case moved && stays:
			bad("moved and said to stay")
		case moved && move.Kind != fingering.Shifted && from == g.Position:
			bad("a small move that leads nowhere")
		case from != g.Position && stays:
			bad("said to stay")
		case from != g.Position && !moved && follows(s.Hand.Events[last].Measure, s.Hand.Events[i].Measure):
			bad("a change of position that is in no list")
		}
		if from != g.Position {
			changes++
		}
		last = i
	}
	return changes
}

// In every real solo part, and in the demo, the hand is where the sentences say.
func TestHandSentencesAgree(t *testing.T) {
	files := testdata.Scores(t, "musicxml/solo/*", "bowing/*/*")
	if len(files) < 20 {
		t.Fatalf("only %d files", len(files))
	}
	changes, small := 0, 0
	check := func(name string, data []byte) {
		s, err := Analyze(Request{Name: name, Data: data})
		if err != nil {
			t.Errorf("%s: %v", name, err)
			return
		}
		changes += handAgrees(t, s)
		small += len(s.Hand.Adjusts)
	}
	check(demo.Name, demo.Jig)
	for _, f := range files {
		data, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		check(filepath.Base(f), data)
	}
	t.Logf("%d changes of position, %d of them no shift", changes, small)
	if changes < 100 || small == 0 {
		t.Error("too few changes of position to say anything")
	}
}

// The demo's chord in measure 21 has its trill on the top note, which the first
// finger stops; a trill on the open string below would be charged.
func TestDemoTrill(t *testing.T) {
	s, err := Analyze(Request{Name: demo.Name, Data: demo.Jig})
	if err != nil {
		t.Fatal(err)
	}
	for i := range s.Hand.Grips {
		for _, term := range s.Hand.Grips[i].Terms {
			if term.Name == "trill_open" {
				t.Errorf("%s: %v", s.eventPlace(i), term)
			}
		}
	}
	trills := 0
	for i := range s.Part.Notes {
		n := &s.Part.Notes[i]
		if !slices.ContainsFunc(n.Marks, func(m score.Mark) bool { return m.Kind == score.Trill }) {
			continue
		}
		trills++
		if n.Sounding.String() != "B4" {
			t.Errorf("a trill on %v", n.Sounding)
		}
	}
	if trills != 1 {
		t.Errorf("%d trills", trills)
	}
}

// The summary names where notes cannot be played, and counts small moves apart.
func TestHandSummary(t *testing.T) {
	s, err := Analyze(Request{Name: demo.Name, Data: demo.Jig, Instrument: "violin"})
	if err != nil {
		t.Fatal(err)
	}
	trouble := s.summaryTrouble()
	if !strings.Contains(trouble, "cannot be played as written: measure ") || strings.Contains(trouble, "named below") {
		t.Errorf("viola music on the violin: %q", trouble)
	}
	s, err = Analyze(Request{Name: demo.Name, Data: demo.Jig})
	if err != nil {
		t.Fatal(err)
	}
	if n := len(s.Hand.Adjusts); n > 0 != strings.Contains(s.summaryHand(), "leans into the next position") {
		t.Errorf("%d adjustments: %q", n, s.summaryHand())
	}
}

// Chords of the demo that lie in first position where they stand (common practice, no
// source): B on top of a G major chord under the first finger, E flat and C
// under first and second.
func TestDemoChords(t *testing.T) {
	s, err := Analyze(Request{Name: demo.Name, Data: demo.Jig})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		place, notes string
		fingers      []int8
	}{
		{"measure 19, beat 1", "G3+D4+B4", []int8{0, 0, 1}},
		{"measure 21, beat 2", "E♭4+C5", []int8{1, 2}},
	} {
		found := false
		for i := range s.Hand.Grips {
			if s.eventPlace(i) != c.place || s.struck(i) != c.notes {
				continue
			}
			found = true
			g := &s.Hand.Grips[i]
			for k, f := range c.fingers {
				if g.Stops[k].Finger != f {
					t.Errorf("%s: finger %d on %s, want %d", c.place, g.Stops[k].Finger, c.notes, f)
				}
			}
			if g.Position != 1 {
				t.Errorf("%s: position %d", c.place, g.Position)
			}
		}
		if !found {
			t.Errorf("%s: no %s", c.place, c.notes)
		}
	}
}
