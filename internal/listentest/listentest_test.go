package listentest

import (
	"math"
	"testing"

	"pochette/internal/timeline"
)

// Each option does what it says, and nothing planted is lost: the sounding and missed
// notes are those of the order of play.
func TestTruthIsWhole(t *testing.T) {
	for _, kind := range Kinds {
		sc, p := Piece(kind, 8, 55, 3)
		n := 0
		visits, _ := timeline.PlayOrder(p)
		for _, e := range timeline.Events(p) {
			for _, v := range visits {
				if v.Measure == e.Measure && !e.Rest {
					n++
				}
			}
		}
		sound, tr := Play(sc, p, Options{Seed: 5, Missing: 0.05, Wrong: 0.05, Dotting: 0.7, Rubato: 0.05})
		if len(tr.Sounded)+len(tr.Missed) != n {
			t.Errorf("%s: %d sounded and %d missed of %d", kind, len(tr.Sounded), len(tr.Missed), n)
		}
		for i, s := range tr.Sounded {
			if s.Offset <= s.Onset || i > 0 && s.Onset <= tr.Sounded[i-1].Onset {
				t.Errorf("%s: note %d sounds from %v to %v", kind, i, s.Onset, s.Offset)
			}
		}
		if math.Abs(float64(len(sound))/44100-tr.Seconds) > 1e-9 {
			t.Errorf("%s: %d samples are not %v s", kind, len(sound), tr.Seconds)
		}
		top := 0.0
		for _, x := range sound {
			top = math.Max(top, math.Abs(float64(x)))
		}
		if top < 0.05 || top > 1 {
			t.Errorf("%s: top %v", kind, top)
		}
	}
}

func TestRestartsAndRepeats(t *testing.T) {
	sc, p := Piece("running", 8, 55, 3)
	_, tr := Play(sc, p, Options{Seed: 5, Restarts: 3})
	if len(tr.Restarts) != 3 {
		t.Fatalf("%d restarts", len(tr.Restarts))
	}
	for _, r := range tr.Restarts {
		if r.Resumed-r.Broke < 0.2 || r.Resumed-r.Broke > 1.1 {
			t.Errorf("pause of %v s", r.Resumed-r.Broke)
		}
	}
	_, whole := Play(sc, p, Options{Seed: 5})
	_, short := Play(sc, p, Options{Seed: 5, SkipRepeats: true})
	if 2*len(short.Sounded) != len(whole.Sounded) {
		t.Errorf("%d notes without repeats, %d with", len(short.Sounded), len(whole.Sounded))
	}
}
