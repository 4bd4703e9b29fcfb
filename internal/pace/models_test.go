package pace

import (
	"math"
	"testing"
)

func near(a, b, tolerance float64) bool { return math.Abs(a-b) <= tolerance }

func TestPowerMap(t *testing.T) {
	for _, i := range []float64{0.5, 0.8, 1, 1.25, 2} {
		if PowerMap(0, 2, i) != 0 || PowerMap(2, 2, i) != 2 {
			t.Errorf("power %v: the ends move", i)
		}
		last := 0.0
		for k := 1; k <= 100; k++ {
			x := PowerMap(float64(k)/50, 2, i)
			if x <= last {
				t.Errorf("power %v: not rising at %d", i, k)
			}
			last = x
		}
	}
	// the formula at one place: 2 (1/2)^2
	if got := PowerMap(1, 2, 2); !near(got, 0.5, 1e-15) {
		t.Errorf("PowerMap(1, 2, 2) = %v", got)
	}
}

// The closed form against a sum of small steps, and q = 2 against the motion that
// brakes evenly: its mean speed is that halfway between the first and the last
// (Friberg and Sundberg 1999: a runner's stop).
func TestRitard(t *testing.T) {
	for _, w := range []float64{0.3, 0.5, 0.65, 0.88, 1} {
		for _, q := range []float64{2, 3, 4} {
			if !near(RitardTempo(0, w, q), 1, 1e-12) || !near(RitardTempo(1, w, q), w, 1e-12) {
				t.Errorf("w %v q %v: tempo from %v to %v", w, q, RitardTempo(0, w, q), RitardTempo(1, w, q))
			}
			const steps = 20000
			sum := 0.0
			for k := range steps {
				sum += 1 / RitardTempo((float64(k)+0.5)/steps, w, q) / steps
			}
			if got := RitardTime(1, w, q); !near(got, sum, 1e-6) {
				t.Errorf("w %v q %v: time %v, by steps %v", w, q, got, sum)
			}
		}
		if got := RitardTime(1, w, 2); !near(got, 2/(1+w), 1e-12) {
			t.Errorf("even braking to %v takes %v, want %v", w, got, 2/(1+w))
		}
	}
}

func TestArchHasMeanOne(t *testing.T) {
	const steps = 10000
	sum := 0.0
	for k := range steps {
		sum += ArchTempo((float64(k)+0.5)/steps, 1) / steps
	}
	if !near(sum, 1, 1e-7) {
		t.Errorf("mean %v", sum)
	}
	if ArchTempo(0.5, 1) <= ArchTempo(0, 1) || ArchTempo(0.3, 0) != 1 {
		t.Error("the middle is not quicker, or no amount bends")
	}
}

// 40 log10(v/127) dB (General MIDI 2, from memory): half the velocity is 12 dB less.
func TestVelocity(t *testing.T) {
	if VelocityOf(0) != 127 || VelocityOf(40*math.Log10(64./127)) != 64 || VelocityOf(-200) != 1 || VelocityOf(10) != 127 {
		t.Errorf("%d %d %d %d", VelocityOf(0), VelocityOf(40*math.Log10(64./127)), VelocityOf(-200), VelocityOf(10))
	}
}

// 1.6 to 1.9 to 1, falling with the tempo (Moelants 2011).
func TestInequalityLaw(t *testing.T) {
	last := 2.0
	for tempo := 20.0; tempo < 300; tempo += 5 {
		r := InequalityFor(tempo)
		if r < 1.6-1e-9 || r > 1.9+1e-9 || r > last+1e-9 {
			t.Errorf("at %v: %v after %v", tempo, r, last)
		}
		last = r
	}
}
