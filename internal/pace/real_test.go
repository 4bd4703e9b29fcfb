package pace_test

import (
	"os"
	"path/filepath"
	"testing"

	"pochette/internal/musicxml"
	"pochette/internal/pace"
	"pochette/internal/testdata"
	"pochette/internal/timeline"
)

// Real scores of every kind: the plan holds together, the metronome's is as long as
// the play order says, and the steady one keeps every bar.
func TestRealScores(t *testing.T) {
	files := testdata.Scores(t, "musicxml/*/*")
	seen, large, unread := 0, 0, 0
	for _, f := range files {
		if st, err := os.Stat(f); err != nil || st.Size() > 1<<20 {
			large++
			continue
		}
		data, err := os.ReadFile(f)
		if err != nil {
			t.Fatal(err)
		}
		src, err := musicxml.Open(data, f)
		if err != nil {
			unread++ // the reader's own tests tell of those
			continue
		}
		sc, _, err := musicxml.Decode(src)
		if err != nil || len(sc.Parts) == 0 {
			unread++
			continue
		}
		seen++
		p := sc.Parts[0]
		in := pace.Input{Part: p, Quarter: sc.Quarter, Events: timeline.Events(p), Base: timeline.PaceOf(sc, p)}
		zero := pace.New(in, pace.Options{})
		order, _ := timeline.PlayOrder(p)
		sum := 0.0
		for _, v := range order {
			m := &p.Measures[v.Measure]
			sum += in.Base.Seconds(m.Start, m.Start+m.Len)
		}
		if d := zero.Seconds - sum; d > 1e-6 || d < -1e-6 {
			t.Errorf("%s: %v s, the play order has %v", filepath.Base(f), zero.Seconds, sum)
		}
		steady := pace.New(in, pace.Options{Amounts: pace.Steady()})
		if s := steady.Steadiness; s.Worst > 1e-9 || s.Late > 1e-9 {
			t.Errorf("%s: steadiness %+v", filepath.Base(f), s)
		}
		full := pace.New(in, pace.Options{Amounts: pace.Proposed()})
		last := -1.0
		for i, n := range full.Notes {
			if n.InChord == 0 && n.Onset <= last || n.Release <= n.Onset {
				t.Errorf("%s: note %d at %v to %v after %v", filepath.Base(f), i, n.Onset, n.Release, last)
				break
			}
			last = n.Onset
		}
	}
	if seen < 10 {
		t.Fatalf("only %d scores read", seen)
	}
	t.Logf("%d scores; %d over 1 MB left out, %d not readable", seen, large, unread)
}
