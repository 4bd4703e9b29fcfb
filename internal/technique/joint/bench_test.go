package joint

import (
	"fmt"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"testing"

	"pochette/internal/pitch"
	"pochette/internal/score"
)

// movement writes n notes at random: steps and leaps, slurs, rests, some double
// and triple stops, in 4/4 with quarters to sixteenths.
func movement(r *rand.Rand, n int, repeats bool) (*score.Score, *score.Part) {
	p := &score.Part{ID: "P1", Name: "Violin"}
	sc := &score.Score{Quarter: 480, Parts: []*score.Part{p}}
	at, key, slur := score.Tick(0), 67, score.NoNote
	lens := []score.Tick{120, 120, 120, 120, 240, 240, 480}
	var run score.Tick
	for len(p.Notes) < n {
		if at%480 == 0 {
			run = lens[r.IntN(len(lens))]
		}
		if r.IntN(40) == 0 {
			at += run
			continue
		}
		key = min(max(key+r.IntN(9)-4, 55), 91)
		head := score.NoteID(len(p.Notes))
		keys := []int{key}
		if r.IntN(25) == 0 && key < 76 {
			keys = append(keys, key+8)
		}
		for k, q := range keys {
			w := pitch.FromMIDI(q, 0)
			p.Notes = append(p.Notes, score.Note{ID: score.NoteID(len(p.Notes)), Head: head, Chord: k > 0, Onset: at, Dur: run, Voice: "1", Staff: 1,
				Written: w, Sounding: w, TieFrom: score.NoNote, TieTo: score.NoNote})
		}
		switch {
		case slur == score.NoNote && r.IntN(4) == 0:
			slur = head
		case slur != score.NoNote && r.IntN(3) == 0:
			p.Slurs = append(p.Slurs, score.Slur{Number: 1, Start: slur, End: head})
			slur = score.NoNote
		}
		at += run
	}
	const bar = 4 * 480
	for t := score.Tick(0); t < at; t += bar {
		i := len(p.Measures)
		p.Measures = append(p.Measures, score.Measure{Index: i, Number: fmt.Sprint(i + 1), Start: t, Len: bar,
			Meter: score.Meter{Beats: "4", Unit: "4", Num: 4, Den: 4, Len: bar, Groups: []score.Tick{bar}}})
		if repeats && i%16 == 15 {
			p.Measures[i].RepeatTimes = 2
			p.Measures[i-15].RepeatStart = true
		}
	}
	p.Measures[len(p.Measures)-1].RightBar = "light-heavy"
	for i := range p.Notes {
		p.Notes[i].Measure = int(p.Notes[i].Onset / bar)
	}
	return sc, p
}

func benchJoint(b *testing.B, n int, repeats bool) {
	sc, p := movement(rand.New(rand.NewPCG(1, 2)), n, repeats)
	b.ResetTimer()
	b.ReportAllocs()
	for range b.N {
		s := NewSolver(sc, p, Options{})
		if s.Plan() == nil {
			b.Fatal("no plan")
		}
	}
	b.StopTimer()
	if mb, ok := peakMB(); ok {
		b.ReportMetric(mb, "peak-MB")
	}
}

// peakMB is the most memory that the process has held, in MB, where the system tells
// it (Linux, VmHWM in /proc/self/status): of all benchmarks run so far.
func peakMB() (float64, bool) {
	status, err := os.ReadFile("/proc/self/status")
	if err != nil {
		return 0, false
	}
	for _, line := range strings.Split(string(status), "\n") {
		if f := strings.Fields(line); len(f) == 3 && f[0] == "VmHWM:" {
			kb, err := strconv.ParseFloat(f[1], 64)
			return kb * 1024 / 1e6, err == nil
		}
	}
	return 0, false
}

func BenchmarkJoint1000(b *testing.B)        { benchJoint(b, 1000, false) }
func BenchmarkJoint1000Repeats(b *testing.B) { benchJoint(b, 1000, true) }
func BenchmarkJoint3000(b *testing.B)        { benchJoint(b, 3000, false) }
func BenchmarkJoint10000(b *testing.B)       { benchJoint(b, 10000, false) }
func BenchmarkJoint30000(b *testing.B)       { benchJoint(b, 30000, false) }
func BenchmarkJoint100000(b *testing.B)      { benchJoint(b, 100000, false) }
