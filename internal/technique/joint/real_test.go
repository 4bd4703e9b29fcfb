package joint

import (
	"bytes"
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"

	"pochette/internal/bowing"
	"pochette/internal/fingering"
	"pochette/internal/instrument"
	"pochette/internal/musicxml"
	"pochette/internal/score"
	"pochette/internal/sequence"
	"pochette/internal/testdata"
)

// Real and deliberately odd files (the MusicXML test suite, solo movements,
// quartets, études; see the data's README): every part that has notes gets a
// plan, its terms add up to its cost, the studies made of it fit, and it costs no
// more than bow alone and then hand alone, told the strokes.
func TestRealScores(t *testing.T) {
	folders := []string{"musicxml/solo", "musicxml/suite", "bowing/etudes", "bowing/solos", "musicxml/quartets"}
	if testing.Short() {
		folders = folders[:1]
	}
	parts, inexact, better := 0, 0, 0
	for _, folder := range folders {
		for _, path := range testdata.Scores(t, folder+"/*") {
			data, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			sc, _, err := musicxml.Read(bytes.NewReader(data), filepath.Base(path))
			if err != nil {
				continue // the reader's own tests look at these
			}
			for _, p := range sc.Parts {
				in, _, ok := instrument.Guess(p)
				if !ok && folder == "musicxml/quartets" {
					continue
				}
				parts++
				exact, gain := realPart(t, filepath.Base(path), sc, p, in)
				if !exact {
					inexact++
				}
				if gain > 1e-3 {
					better++
				}
			}
		}
	}
	t.Logf("%d parts, %d cut short, %d better than bow first and then hand", parts, inexact, better)
	if parts == 0 {
		t.Error("no part was studied")
	}
}

func realPart(t *testing.T, name string, sc *score.Score, p *score.Part, in instrument.Instrument) (exact bool, gain float64) {
	t.Helper()
	begin := time.Now()
	s := NewSolver(sc, p, Options{Hand: fingering.Options{Instrument: in}})
	took := time.Since(begin)
	plan := s.Plan()
	if plan == nil {
		t.Errorf("%s: no plan", name)
		return true, 0
	}
	sum := 0.0
	for _, it := range plan.Items() {
		sum += it.Value
	}
	if math.Abs(sum-plan.Cost) > 1e-4+1e-5*float64(len(plan.Bows)) {
		t.Errorf("%s: terms add up to %v, the plan costs %v", name, sum, plan.Cost)
	}
	bow, hand := plan.BowStudy(), plan.HandStudy()
	if len(bow.Events) != len(hand.Events) {
		t.Errorf("%s: the studies do not fit", name)
	}
	seq := sequential(s, sc, p)
	if plan.Cost > seq+1e-4+1e-5*float64(len(plan.Bows)) {
		t.Errorf("%s: joint %v, bow first and then hand %v", name, plan.Cost, seq)
	}
	if took > 300*time.Millisecond {
		t.Logf("%s %s: %d events, %d ties, %v, cost %.1f, one after the other %.1f, exact %v", name, p.ID, len(s.layers), len(s.ties), took.Round(time.Millisecond), plan.Cost, seq, plan.Exact)
	}
	return plan.Exact, seq - plan.Cost
}

// sequential is the joint cost of the bow's own best plan and the hand's best to
// it.
func sequential(s *Solver, sc *score.Score, p *score.Part) float64 {
	st := bowing.Analyze(sc, p, bowing.Options{})
	only := map[int]*restriction{}
	for b := range s.Bow.Bows() {
		first, _ := s.Bow.Span(b)
		for _, stroke := range st.Proposed {
			if stroke.First == first {
				s.narrow(only, s.layerOf[first], func(k int) bool { return s.Bow.Entry(b, k) == stroke.Direction && !s.Bow.Split(b, k) }, nil)
			}
		}
	}
	return sequence.SolveJoined[*tables](&chain{pr: s.Problem, only: only}, s.ties, DefaultBranches).Cost
}
