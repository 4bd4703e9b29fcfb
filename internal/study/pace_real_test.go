package study

import (
	"bytes"
	"context"
	"encoding/binary"
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"
	"gonum.org/v1/gonum/stat"

	"pochette/internal/testdata"
)

// takeStarts reads the estimated beginnings of the notes of a recorded movement
// (../shared/data/timing/audio, CC BY 3.0, on a grid of 32 ms).
func takeStarts(t *testing.T, dir string) []float64 {
	t.Helper()
	f, err := os.Open(filepath.Join(dir, "timing/audio/take_a.alignment.csv"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []float64
	for _, r := range rows[1:] {
		v, err := strconv.ParseFloat(r[0], 64)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, v)
	}
	return out
}

// The plan beside a recorded performance, repeats and all. A plan is a proposal, not a
// forecast of one player: what is asserted is that both play the same notes in the same
// order, and that the bar which the plan broadens most before the last is the one the
// player broadens most. How far the rest agrees is logged.
func TestPaceBesideTake(t *testing.T) {
	dir := testdata.Dir(t)
	data, err := os.ReadFile(filepath.Join(dir, "musicxml/solo/bwv1002_mov6.mxl"))
	if err != nil {
		t.Fatal(err)
	}
	s, err := Analyze(Request{Name: "take", Data: data})
	if err != nil {
		t.Fatal(err)
	}
	p, err := s.PlanPace(PaceOptions{})
	if err != nil {
		t.Fatal(err)
	}
	starts := takeStarts(t, dir)
	if len(starts) != len(p.Notes) {
		t.Fatalf("%d notes planned, %d played", len(p.Notes), len(starts))
	}
	first := make([]int, len(p.Bars)) // note of each bar
	for i := len(p.Notes) - 1; i >= 0; i-- {
		first[p.Notes[i].Bar] = i
	}
	slowest, planned := 0, 0
	var played, plan, inPlayed, inPlan []float64
	long := func(v int) float64 { return starts[first[v+1]] - starts[first[v]] }
	for v := range len(p.Bars) - 1 {
		if long(v) > long(slowest) {
			slowest = v
		}
		if p.Bars[v].Seconds > p.Bars[planned].Seconds {
			planned = v
		}
		if p.Bars[v].Broadens || p.Bars[v].Pause > 0 {
			continue
		}
		played, plan = append(played, math.Log(long(v))), append(plan, math.Log(p.Bars[v].Seconds))
		for i := first[v] + 1; p.Bars[v].Power != 1 && i < first[v+1]; i++ {
			even := float64(i-first[v]) / float64(first[v+1]-first[v])
			inPlayed = append(inPlayed, (starts[i]-starts[first[v]])/long(v)-even)
			inPlan = append(inPlan, (p.Notes[i].Onset-p.Bars[v].Start)/p.Bars[v].Seconds-even)
		}
	}
	if slowest != planned {
		t.Errorf("played bar %d is the broadest of the take, %d of the plan", slowest, planned)
	}
	t.Logf("steady bars: %d, correlation of their lengths %.2f, spread played %.3f, planned %.3f (of the logarithm)",
		len(plan), stat.Correlation(played, plan, nil), stat.StdDev(played, nil), stat.StdDev(plan, nil))
	t.Logf("notes inside bars with give and take: %d, correlation of their displacement %.2f, spread played %.4f, planned %.4f of the bar",
		len(inPlan), stat.Correlation(inPlayed, inPlan, nil), stat.StdDev(inPlayed, nil), stat.StdDev(inPlan, nil))
}

// wavSamples reads a WAV of 16 bits.
func wavSamples(b []byte) []float64 {
	b = b[44:]
	out := make([]float64, len(b)/2)
	for i := range out {
		out[i] = float64(int16(binary.LittleEndian.Uint16(b[2*i:]))) / 32768
	}
	return out
}

// What the file sounds like, through to the bytes: each long single note of the demo
// has the pitch that equal temperament gives it (ISO 16: A4 = 440 Hz), within 2 cents,
// and each stroke after a gap begins where it was planned.
func TestSoundOfDemo(t *testing.T) {
	s := jig(t)
	x, err := s.Sound(SoundOptions{Bars: "pickup-8"})
	if err != nil {
		t.Fatal(err)
	}
	var buf bytes.Buffer
	if err := x.WAV(context.Background(), &buf, nil); err != nil {
		t.Fatal(err)
	}
	xs := wavSamples(buf.Bytes())
	ns := x.Programme[0].Passage.Notes
	pitched, onsets := 0, 0
	for i, n := range ns {
		if n.Chord > 1 || i+1 >= len(ns) {
			continue
		}
		alone := i == 0 || ns[i-1].Release < n.Onset-0.01 && ns[i-1].Chord == 1
		if n.Begins && alone {
			onsets++
			if late := rise(xs, n.Onset); late < -0.004 || late > 0.03 {
				t.Errorf("note %d begins %.0f ms after %.3f s", i, 1000*late, n.Onset)
			}
		}
		if n.Release-n.Onset < 0.3 {
			continue
		}
		pitched++
		want := 440 * math.Exp2(float64(n.Key-69)/12)
		if cents := 1200 * math.Log2(pitchAt(xs, n.Onset+0.05, want)/want); math.Abs(cents) > 2 {
			t.Errorf("note %d: %.2f cents off", i, cents)
		}
	}
	if pitched < 10 || onsets < 10 {
		t.Errorf("only %d pitches and %d onsets were measured", pitched, onsets)
	}
	t.Logf("%d pitches, %d onsets", pitched, onsets)
}

// rise is where the loudness goes through half of what it reaches after an onset,
// counted from the onset.
func rise(xs []float64, at float64) float64 {
	const hop = 88 // 2 ms
	level := func(k int) float64 {
		sum := 0.0
		for _, x := range xs[k : k+2*hop] {
			sum += x * x
		}
		return sum
	}
	from := int(at * 44100)
	top := 0.0
	for k := from; k < from+5000; k += hop {
		top = max(top, level(k))
	}
	k := max(0, from-882) // the last note dies away up to here: begin at the softest
	for j := k; j < from+662; j += hop / 4 {
		if level(j) < level(k) {
			k = j
		}
	}
	for level(k) < top/4 {
		k += hop / 4
	}
	return float64(k)/44100 - at
}

// pitchAt is the frequency of the loudest of the first six harmonics, divided by its
// number, over 8192 samples.
func pitchAt(xs []float64, at, near float64) float64 {
	const n = 8192
	from := int(at * 44100)
	w := make([]float64, 4*n) // padded, for narrow bins
	for i := range n {
		w[i] = xs[from+i] * (0.5 - 0.5*math.Cos(2*math.Pi*float64(i)/n))
	}
	c := fourier.NewFFT(4*n).Coefficients(nil, w)
	mag := func(k int) float64 { return math.Hypot(real(c[k]), imag(c[k])) }
	bin := 44100.0 / (4 * n)
	best, number := 0, 1
	for h := 1; h <= 6; h++ {
		centre := int(near * float64(h) / bin)
		for k := centre - 8; k <= centre+8; k++ {
			if mag(k) > mag(best) {
				best, number = k, h
			}
		}
	}
	a, b, d := math.Log(mag(best-1)), math.Log(mag(best)), math.Log(mag(best+1))
	return (float64(best) + (a-d)/(2*(a-2*b+d))) * bin / float64(number)
}
