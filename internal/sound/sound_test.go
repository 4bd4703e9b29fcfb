package sound

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"

	"pochette/internal/pace"
)

// line is a passage of notes one after the other; each lasts the same, the second of
// a pair is slurred where it says so.
func line(seconds float64, slurred bool, keys ...int) pace.Programme {
	var p pace.Passage
	for i, k := range keys {
		on := float64(i) * seconds
		bow := pace.Down
		if !slurred && i%2 == 1 {
			bow = pace.Up
		}
		off := on + seconds
		if !slurred {
			off -= 0.05
		}
		p.Notes = append(p.Notes, pace.Note{Key: k, Onset: on, Release: off, Level: -12, Begins: i == 0 || !slurred, Bow: bow, Chord: 1})
	}
	p.Seconds = float64(len(keys)) * seconds
	return pace.Programme{{Passage: p}}
}

// spectrum is the magnitude of a Hann-windowed stretch, with the Hz of a bin.
func spectrum(xs []float64) ([]float64, float64) {
	n := len(xs)
	w := make([]float64, n)
	for i := range w {
		w[i] = xs[i] * (0.5 - 0.5*math.Cos(2*math.Pi*float64(i)/float64(n)))
	}
	c := fourier.NewFFT(n).Coefficients(nil, w)
	mag := make([]float64, len(c))
	for i := range c {
		mag[i] = math.Hypot(real(c[i]), imag(c[i]))
	}
	return mag, Rate / float64(n)
}

// harmonicNear finds the frequency of the strongest bin near hz, between bins by the
// parabola through the logarithms (of a Hann window its error here is far below a cent).
func harmonicNear(mag []float64, bin, hz float64) float64 {
	at := int(math.Round(hz / bin))
	best := at
	for i := at - 5; i <= at+5; i++ {
		if mag[i] > mag[best] {
			best = i
		}
	}
	a, b, c := math.Log(mag[best-1]), math.Log(mag[best]), math.Log(mag[best+1])
	return (float64(best) + (a-c)/(2*(a-2*b+c))) * bin
}

// The frequencies of equal temperament as tables print them (ISO 16: A4 = 440 Hz; the
// others as in common textbook tables), against what sounds.
func TestPitch(t *testing.T) {
	table := map[int]float64{36: 65.406, 43: 97.999, 48: 130.813, 55: 195.998, 57: 220.000, 60: 261.626, 62: 293.665, 67: 391.995, 69: 440.000, 76: 659.255, 84: 1046.502, 93: 1760.000, 100: 2637.020}
	for key, want := range table {
		if got := Equal(440)(key, 0); math.Abs(1200*math.Log2(got/want)) > 0.02 {
			t.Errorf("key %d: %.3f Hz, the table has %.3f", key, got, want)
		}
		for _, a4 := range []float64{392, 415, 440, 466} {
			body := Violin
			if key < 50 {
				body = Cello
			}
			xs := Samples(line(1.6, false, key), Options{Body: body, Frequency: Equal(a4)})
			mag, bin := spectrum(xs[8000 : 8000+1<<15])
			hz := want * a4 / 440
			// the harmonic that is loudest among the first six tells the pitch best
			best := 1
			for n := 2; n <= 6; n++ {
				if mag[int(math.Round(hz*float64(n)/bin))] > mag[int(math.Round(hz*float64(best)/bin))] {
					best = n
				}
			}
			got := harmonicNear(mag, bin, hz*float64(best)) / float64(best)
			if cents := 1200 * math.Log2(got/hz); math.Abs(cents) > 2 {
				t.Errorf("key %d at A4 = %v: %.3f Hz, want %.3f (%.2f cents off)", key, a4, got, hz, cents)
			}
		}
	}
}

// energy over windows of 2 ms.
func energy(xs []float64) []float64 {
	const hop = Rate / 500
	var out []float64
	for i := 0; i+hop <= len(xs); i += hop {
		sum := 0.0
		for _, x := range xs[i : i+hop] {
			sum += x * x
		}
		out = append(out, math.Sqrt(sum/hop))
	}
	return out
}

// Detached notes begin where they were planned: the energy, low between two strokes,
// rises through half of its height within 25 ms after the onset and not before it.
func TestOnsets(t *testing.T) {
	p := line(0.3, false, 67, 69, 71, 72, 74, 76)
	e := energy(Samples(p, Options{}))
	for i, n := range p[0].Passage.Notes {
		at := int(n.Onset * 500)
		top := 0.0
		for _, x := range e[at+30 : at+100] {
			top = max(top, x)
		}
		k := max(0, at-10)
		for e[k] < top/2 {
			k++
		}
		if late := float64(k)/500 - n.Onset; late < -0.002 || late > 0.025 {
			t.Errorf("note %d: rises %.0f ms after its onset", i, 1000*late)
		}
	}
}

// A slur has no gap and no noise of an attack; a change of bow has both.
func TestSlurAndStroke(t *testing.T) {
	const at = 0.4
	least := func(slurred bool) (gap, noise float64) {
		xs := Samples(line(at, slurred, 67, 69), Options{})
		e := energy(xs)
		mean := 0.0
		for _, x := range e[80:150] {
			mean += x / 70
		}
		gap = math.Inf(1)
		for _, x := range e[int(at*500)-20 : int(at*500)+20] {
			gap = min(gap, x/mean)
		}
		for i := int(at*Rate) + 100; i < int(at*Rate)+1500; i++ { // a fourth difference leaves mostly noise
			noise += math.Abs(xs[i] - 4*xs[i-1] + 6*xs[i-2] - 4*xs[i-3] + xs[i-4])
		}
		return gap, noise
	}
	sg, sn := least(true)
	bg, bn := least(false)
	if sg < 0.5 || bg > 0.1 || bn < 1.5*sn {
		t.Errorf("slurred: gap %.2f, noise %.2f; two strokes: gap %.2f, noise %.2f", sg, sn, bg, bn)
	}
}

// A down-bow falls, an up-bow rises.
func TestDirections(t *testing.T) {
	e := energy(Samples(line(1, false, 67, 67), Options{}))
	mean := func(from, to float64) float64 {
		sum, n := 0.0, 0
		for _, x := range e[int(from*500):int(to*500)] {
			sum, n = sum+x, n+1
		}
		return sum / float64(n)
	}
	if mean(0.1, 0.3) <= mean(0.7, 0.9) || mean(1.1, 1.3) >= mean(1.7, 1.9) {
		t.Errorf("down %.3f to %.3f, up %.3f to %.3f", mean(0.1, 0.3), mean(0.7, 0.9), mean(1.1, 1.3), mean(1.7, 1.9))
	}
}

// No click anywhere: at the borders of notes the samples jump no farther than inside
// them, and the sound begins and ends at nothing. The peak is at -3 dB.
func TestNoClicksAndPeak(t *testing.T) {
	for _, slurred := range []bool{true, false} {
		p := line(0.25, slurred, 55, 62, 69, 76, 62, 55)
		p[0].Passage.Notes[3].Level = 0
		xs := Samples(p, Options{})
		peak, inside, border := 0.0, 0.0, 0.0
		for i := 1; i < len(xs); i++ {
			peak = max(peak, math.Abs(xs[i]))
			d := math.Abs(xs[i] - xs[i-1])
			at := math.Mod(float64(i)/Rate, 0.25)
			if at > 0.08 && at < 0.17 {
				inside = max(inside, d)
			} else {
				border = max(border, d)
			}
		}
		if math.Abs(20*math.Log10(peak)+3) > 0.01 {
			t.Errorf("peak at %.2f dB", 20*math.Log10(peak))
		}
		if border > 1.6*inside || math.Abs(xs[0]) > 1e-3 || xs[len(xs)-1] != 0 {
			t.Errorf("slurred %v: jumps of %.3f at borders, %.3f inside; begins with %.4f", slurred, border, inside, xs[0])
		}
	}
}

// The planned levels are what sounds, within a decibel.
func TestLevels(t *testing.T) {
	p := line(0.5, false, 67, 67, 67)
	for i, l := range []float64{-20, -12, -6} {
		p[0].Passage.Notes[i].Level = l
	}
	e := energy(Samples(p, Options{}))
	at := func(s float64) float64 {
		sum := 0.0
		for _, x := range e[int(s*500) : int(s*500)+50] {
			sum += x * x
		}
		return 10 * math.Log10(sum/50)
	}
	if d := at(0.7) - at(0.2); math.Abs(d-8) > 1.6 { // an up-bow and a down-bow, 0.5 dB each way
		t.Errorf("8 dB planned, %.2f heard", d)
	}
	if d := at(1.2) - at(0.2); math.Abs(d-14) > 0.7 {
		t.Errorf("14 dB planned, %.2f heard", d)
	}
}

// The stream and the samples in memory are the same sound; it can be stopped.
func TestWAVStream(t *testing.T) {
	p := line(0.3, false, 60, 64)
	p[0].Count, p[0].Lead = []pace.Click{{At: 0, Strong: true}, {At: 0.5}}, 1
	p[0].Clicks = []pace.Click{{At: 0, Strong: true}}
	var buf bytes.Buffer
	if err := WAV(context.Background(), &buf, p, Options{Bits: 24}); err != nil {
		t.Fatal(err)
	}
	xs := Samples(p, Options{})
	b := buf.Bytes()[44:]
	if len(b) != 3*len(xs)+len(xs)%2 {
		t.Fatalf("%d bytes for %d samples", len(b), len(xs))
	}
	for i, x := range xs {
		v := int32(b[3*i])<<8 | int32(b[3*i+1])<<16 | int32(b[3*i+2])<<24
		if d := math.Abs(float64(v)/(1<<31) - x); d > 1e-6 {
			t.Fatalf("sample %d differs by %v", i, d)
		}
	}
	ctx, stop := context.WithCancel(context.Background())
	stop()
	if err := WAV(ctx, &buf, p, Options{}); !errors.Is(err, context.Canceled) {
		t.Errorf("stopped: %v", err)
	}
	p[0].Gap = 3 * 3600
	if err := WAV(context.Background(), &buf, p, Options{}); err == nil {
		t.Error("three hours were made")
	}
}

func TestVibrato(t *testing.T) {
	spread := func(o Options) float64 {
		xs := Samples(line(2, false, 69), o)
		low, high := math.Inf(1), 0.0
		for at := 30000; at < 60000; at += 1000 {
			mag, bin := spectrum(xs[at : at+2048])
			hz := harmonicNear(mag, bin, 880) / 2
			low, high = min(low, hz), max(high, hz)
		}
		return 1200 * math.Log2(high/low)
	}
	// 20 cents to each side, a little averaged over the window of 46 ms
	if off, on := spread(Options{}), spread(Options{Vibrato: 20}); off > 2 || on < 25 || on > 42 {
		t.Errorf("%.1f cents without, %.1f with", off, on)
	}
}

// NIOSH 98-126, table of exposures: 85 dBA 8 h, 88 4 h, 94 1 h, 100 15 min, 103 7.5
// min. WHO and ITU-T H.870: 80 dBA 40 h a week, 83 20 h, 89 5 h, 101 about 20 min.
func TestExposure(t *testing.T) {
	for level, minutes := range map[float64]float64{85: 480, 88: 240, 94: 60, 100: 15, 103: 7.5} {
		if got := DailyMinutes(level); math.Abs(got-minutes) > 1e-9 {
			t.Errorf("%v dBA: %v minutes a day, want %v", level, got, minutes)
		}
	}
	for level, hours := range map[float64]float64{80: 40, 83: 20, 89: 5, 101: 0.3125} {
		if got := WeeklyHours(level); math.Abs(got-hours) > 1e-9 {
			t.Errorf("%v dBA: %v hours a week, want %v", level, got, hours)
		}
	}
}

func BenchmarkTwoMinutes(b *testing.B) {
	var keys []int
	for i := range 600 {
		keys = append(keys, 55+(i*7)%30)
	}
	p := line(0.2, false, keys...)
	for b.Loop() {
		var n counter
		if err := WAV(context.Background(), &n, p, Options{Vibrato: 15}); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(p[0].Passage.Seconds, "s_of_sound")
}

type counter int

func (c *counter) Write(b []byte) (int, error) {
	*c += counter(len(b))
	return len(b), nil
}

// Breaking a chord: lower strings first, no more than two at a time for long.
func TestChords(t *testing.T) {
	for _, size := range []int{3, 4} {
		var text string
		for k := range size {
			on, off := breakChord(&pace.Note{Onset: 1, Release: 2, Chord: size, InChord: k})
			text += fmt.Sprintf("%.2f-%.2f ", on, off)
		}
		want := map[int]string{3: "1.00-1.14 1.00-2.00 1.07-2.00 ", 4: "1.00-1.14 1.00-1.14 1.07-2.00 1.07-2.00 "}[size]
		if text != want {
			t.Errorf("%d notes: %s, want %s", size, text, want)
		}
	}
}
