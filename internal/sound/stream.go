package sound

import (
	"context"
	"fmt"
	"io"
	"math"

	"pochette/internal/pace"
	"pochette/internal/wave"
)

// peakLevel is where the highest peak goes, dB of full scale.
const peakLevel = -3

// block is how many samples are made at a time.
const block = 8192

// Longest is the longest sound that is made, seconds.
const Longest = 2 * 3600

// WAV renders the programme. The work is done twice, once to find the peak: so memory
// stays small however long the sound is.
func WAV(ctx context.Context, w io.Writer, p pace.Programme, o Options) error {
	if s := p.Starts(); s[len(p)] > Longest {
		return fmt.Errorf("%.0f minutes of sound; no more than %d are made at once: take fewer bars, loops or steps", s[len(p)]/60, Longest/60)
	}
	voices, total := voicesOf(p, o)
	peak := 0.0
	err := render(ctx, voices, total, func(xs []float64, at int64) error {
		for _, x := range xs {
			peak = max(peak, math.Abs(x))
		}
		o.step(at, 2*total)
		return nil
	})
	if err != nil {
		return err
	}
	gain := 1.0
	if peak > 0 {
		gain = math.Pow(10, peakLevel/20.0) / peak
	}
	file, err := wave.New(w, Rate, o.bits(), total)
	if err != nil {
		return err
	}
	err = render(ctx, voices, total, func(xs []float64, at int64) error {
		for i := range xs {
			xs[i] *= gain
		}
		o.step(total+at, 2*total)
		return file.Write(xs)
	})
	if err != nil {
		return err
	}
	return file.Close()
}

func (o Options) step(done, total int64) {
	if o.Step != nil {
		o.Step(done, total)
	}
}

func (o Options) bits() int {
	if o.Bits == 0 {
		return 16
	}
	return o.Bits
}

// render makes all samples in order, block by block. The voices are used up in
// copies, so that they can be rendered again.
func render(ctx context.Context, all []voice, total int64, take func(xs []float64, at int64) error) error {
	var active []voice
	buf := make([]float64, block)
	for at := int64(0); at < total; at += block {
		if err := ctx.Err(); err != nil {
			return err
		}
		xs := buf[:min(block, total-at)]
		clear(xs)
		for len(all) > 0 && all[0].start < at+int64(len(xs)) {
			active, all = append(active, all[0]), all[1:]
		}
		kept := active[:0]
		for i := range active {
			active[i].add(xs, at)
			if active[i].end > at+int64(len(xs)) {
				kept = append(kept, active[i])
			}
		}
		active = kept
		if err := take(xs, at); err != nil {
			return err
		}
	}
	return nil
}

// Samples renders a programme into memory, its highest peak at -3 dB. It is for short
// ones.
func Samples(p pace.Programme, o Options) []float64 {
	voices, total := voicesOf(p, o)
	out := make([]float64, 0, total)
	// without a context to end it and with a taker that never fails there is no error
	_ = render(context.Background(), voices, total, func(xs []float64, _ int64) error {
		out = append(out, xs...)
		return nil
	})
	peak := 0.0
	for _, x := range out {
		peak = max(peak, math.Abs(x))
	}
	if peak > 0 {
		gain := math.Pow(10, peakLevel/20.0) / peak
		for i := range out {
			out[i] *= gain
		}
	}
	return out
}
