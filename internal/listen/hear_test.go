package listen

import (
	"math"
	"math/rand/v2"
	"testing"

	"pochette/internal/audio"
	lt "pochette/internal/listentest"
	"pochette/internal/pitch"
	"pochette/internal/score"
)

func featuresOf(x []float32, rate int, low float64) *audio.Features {
	r, a := audio.NewResampler(rate, audio.Rate), audio.NewAnalyzer(low)
	a.Push(r.Push(nil, x))
	a.Push(r.Flush(nil))
	return a.Finish()
}

// hearPiece plays an invented piece and hears it.
func hearPiece(t *testing.T, kind string, bars int, o lt.Options, r Request) (*Hearing, lt.Truth) {
	t.Helper()
	sc, p := lt.Piece(kind, bars, 55, 3)
	sound, tr := lt.Play(sc, p, o)
	l, err := NewLine(sc, p)
	if err != nil {
		t.Fatal(err)
	}
	rate := o.Rate
	if rate == 0 {
		rate = 44100
	}
	h, err := Hear(featuresOf(sound, rate, 170), l, r)
	if err != nil {
		t.Fatal(err)
	}
	return h, tr
}

// Slips, restarts and repeats of made-up takes are placed; times and pitches are as the
// issue asks (cmd/accuracy listen has the figures over many takes).
func TestHearSlipsAndRestarts(t *testing.T) {
	h, tr := hearPiece(t, "running", 6, lt.Options{Seed: 1, Vibrato: 20, Wrong: 0.03, Missing: 0.03, Restarts: 1}, Request{})
	wrong, missing := 0, 0
	for _, s := range h.Slips() {
		if s.Missing {
			missing++
		} else {
			wrong++
		}
		if h.Say(s) == "" {
			t.Error("a slip without words")
		}
	}
	planted := 0
	for _, s := range tr.Sounded {
		if s.Wrong {
			planted++
		}
	}
	if planted == 0 || len(tr.Missed) == 0 || len(tr.Restarts) != 1 {
		t.Fatalf("nothing planted: %d %d %d", planted, len(tr.Missed), len(tr.Restarts))
	}
	if wrong != planted || missing != len(tr.Missed) {
		t.Errorf("%d wrong, %d missing; planted %d and %d", wrong, missing, planted, len(tr.Missed))
	}
	resumed := 0
	for _, n := range h.Notes {
		if n.Resumed {
			resumed++
			if math.Abs(n.Start-tr.Restarts[0].Resumed) > 0.1 || h.Line.Events[n.Event].Notes[0] != tr.Restarts[0].Note {
				t.Errorf("resumed at %.3f, truly %.3f", n.Start, tr.Restarts[0].Resumed)
			}
		}
	}
	if resumed != 1 {
		t.Errorf("%d restarts", resumed)
	}
	if got := h.Again(3); len(got) != 3 || got[0].Kind != "restart" {
		t.Errorf("worth hearing again: %+v", got)
	}
}

// Planted scratches and touched open strings: most are told and few others. The test
// asks less than what the takes give, since a touched string may be covered by the
// note's own partials.
func TestHearMishaps(t *testing.T) {
	open := []int{55, 62, 69, 76}
	h, tr := hearPiece(t, "song", 10, lt.Options{Seed: 6, Vibrato: 15, Scratch: 0.12, Touch: 0.15, Open: open, Rate: 32000}, Request{Open: open})
	at := func(note int) float64 { return h.Notes[note].Start }
	count := func(planted func(lt.Sounded) bool, said []float64) (hit, real int) {
		for _, s := range tr.Sounded {
			if !planted(s) {
				continue
			}
			real++
			for _, x := range said {
				if math.Abs(x-s.Onset) < 0.06 {
					hit++
					break
				}
			}
		}
		return hit, real
	}
	var scratches, touches []float64
	for _, s := range h.Scratches {
		scratches = append(scratches, at(s.Note))
	}
	for _, s := range h.Touches {
		touches = append(touches, at(s.Note))
	}
	hit, real := count(func(s lt.Sounded) bool { return s.Scratched }, scratches)
	t.Logf("scratches: %d planted, %d said, %d of them planted", real, len(scratches), hit)
	if real == 0 || hit*2 < real || len(scratches) > hit+2 {
		t.Errorf("scratches: %d planted, %d said, %d right", real, len(scratches), hit)
	}
	hit, real = count(func(s lt.Sounded) bool { return s.Touched != 0 }, touches)
	t.Logf("touched strings: %d planted, %d said, %d of them planted", real, len(touches), hit)
	if real == 0 || hit*3 < real || len(touches) > hit+1 {
		t.Errorf("touched: %d planted, %d said, %d right", real, len(touches), hit)
	}
}

func TestHearRepeats(t *testing.T) {
	h, tr := hearPiece(t, "dance", 6, lt.Options{Seed: 1, SkipRepeats: true, A4: 415}, Request{})
	if len(h.Notes) != len(tr.Sounded) || len(h.Slips()) != 0 {
		t.Errorf("%d notes and %d slips; %d sounded", len(h.Notes), len(h.Slips()), len(tr.Sounded))
	}
	if math.Abs(1200*math.Log2(h.Alignment.A4/415)) > 3 {
		t.Errorf("A4 %.2f, truly 415", h.Alignment.A4)
	}
	if h.Alignment.Fit < 0.8 {
		t.Errorf("fit %.2f of the right piece", h.Alignment.Fit)
	}
}

// Another piece does not fit, nor does noise; silence is an error.
func TestHearWhatIsNot(t *testing.T) {
	sc, p := lt.Piece("dance", 4, 55, 3)
	l, _ := NewLine(sc, p)
	osc, op := lt.Piece("running", 4, 55, 77)
	sound, _ := lt.Play(osc, op, lt.Options{Seed: 4})
	h, err := Hear(featuresOf(sound, 44100, 170), l, Request{})
	if err != nil {
		t.Fatal(err)
	}
	if h.Alignment.Fit > LeastFit {
		t.Errorf("another piece fits %.2f", h.Alignment.Fit)
	}
	rng := rand.New(rand.NewPCG(1, 1))
	noise := make([]float32, 5*audio.Rate)
	for i := range noise {
		noise[i] = float32(0.1 * rng.NormFloat64())
	}
	if h, err = Hear(featuresOf(noise, audio.Rate, 170), l, Request{}); err != nil || h.Alignment.Pitched > 0.2 {
		t.Errorf("noise: %v, pitched %.2f", err, h.Alignment.Pitched)
	}
	if _, err = Hear(featuresOf(make([]float32, 5*audio.Rate), audio.Rate, 170), l, Request{}); err != ErrSilent {
		t.Errorf("silence: %v", err)
	}
}

// Cents of scales: Pythagorean and just major scales as in the tables of Helmholtz (On
// the Sensations of Tone, appendix by Ellis): 0, 204, 408, 498, 702, 906, 1110 and 0,
// 204, 386, 498, 702, 884, 1088; ISO 16 gives A4 = 440 Hz. From memory.
func TestReferenceTables(t *testing.T) {
	c := func(name string) pitch.Pitch {
		p, err := pitch.Parse(name)
		if err != nil {
			t.Fatal(err)
		}
		return p
	}
	above := func(tu Tuning, name, root string, ch *Chord) float64 {
		p, r := c(name), c(root)
		return 100*float64(p.MIDI()-r.MIDI()) + Reference(tu, p, ch) - Reference(tu, r, ch)
	}
	for i, n := range []string{"C4", "D4", "E4", "F4", "G4", "A4", "B4"} {
		if got, want := above(Pythagorean, n, "C4", nil), []float64{0, 203.91, 407.82, 498.045, 701.955, 905.865, 1109.775}[i]; math.Abs(got-want) > 0.001 {
			t.Errorf("Pythagorean %s: %.3f, want %.3f", n, got, want)
		}
	}
	chord := func(root string) *Chord { return &Chord{To: 1, Root: c(root)} }
	for _, x := range []struct {
		name, root string
		want       float64
	}{{"E4", "C4", 386.314}, {"G4", "C4", 701.955}, {"Eb4", "C4", 315.641}, {"D5", "G4", 701.955}, {"B4", "G4", 386.314}, {"F5", "G4", 996.090}, {"C#5", "A4", 386.314}, {"B4", "C4", 1088.269}} {
		if got := above(Just, x.name, x.root, chord(x.root)); math.Abs(got-x.want) > 0.001 {
			t.Errorf("just %s over %s: %.3f, want %.3f", x.name, x.root, got, x.want)
		}
	}
	// the open strings are pure fifths apart, and A is where it is
	for i, n := range []string{"A4", "E5", "D4", "G3", "C3"} {
		want := []float64{0, 1.955, -1.955, -3.910, -5.865}[i]
		for _, tu := range []Tuning{Pythagorean, Just} {
			if got := Reference(tu, c(n), nil); math.Abs(got-want) > 0.001 {
				t.Errorf("%v, open %s: %.3f, want %.3f", tu, n, got, want)
			}
		}
		if Reference(Equal, c(n), nil) != 0 {
			t.Errorf("equal tuning moves %s", n)
		}
	}
}

// handLine is a line of bars of four quarters with events at given places.
func handLine(at ...float64) *Line {
	sc := &score.Score{Quarter: 8}
	p := &score.Part{}
	l := &Line{Score: sc, Part: p}
	m := score.Meter{Num: 4, Den: 4, Len: 32}
	for i := 0; float64(4*i) <= at[len(at)-1]; i++ {
		p.Measures = append(p.Measures, score.Measure{Index: i, Number: string(rune('1' + i)), Start: score.Tick(32 * i), Len: 32, Meter: m})
		l.Visits = append(l.Visits, Visit{Measure: i, Round: 1, At: float64(4 * i), Len: 4})
	}
	for i, a := range at {
		d := 1.0
		if i+1 < len(at) {
			d = at[i+1] - a
		}
		p.Notes = append(p.Notes, score.Note{ID: score.NoteID(i), Measure: int(a / 4), Onset: score.Tick(8 * a)})
		l.Events = append(l.Events, Event{Visit: int(a / 4), Measure: int(a / 4), Notes: []score.NoteID{score.NoteID(i)}, Keys: []int{69}, At: a, Dur: d, First: i == 0 || int(a/4) != int(at[i-1]/4)})
	}
	return l
}

func played(times ...float64) []Note {
	var out []Note
	for i, t := range times {
		n := Note{Played: Played{Event: i, Start: t, End: t + 0.1}, Level: -20}
		out = append(out, n)
	}
	return out
}

// Reckoned by hand: 4 quarters in 2 s are 120 a minute; a bar whose first beat is tied
// over is drawn between its neighbours; the note at beat 2 comes 0.1 s late.
func TestBarsByHand(t *testing.T) {
	l := handLine(0, 1, 2, 3, 5, 6, 8, 9)
	n := played(1, 1.6, 2, 2.5, 3.5, 4, 5, 5.5) // beat 1 of bar 2 is missing: between 2.5 (at 3) and 3.5 (at 5)
	bars, placed := Bars(l, n, nil)
	if len(bars) != 3 {
		t.Fatalf("%d bars", len(bars))
	}
	if b := bars[0]; b.Start != 1 || math.Abs(b.End-3) > 1e-9 || math.Abs(b.Quarter-120) > 1e-9 || !b.Whole {
		t.Errorf("bar 1: %+v", b)
	}
	if b := bars[1]; math.Abs(b.Start-3) > 1e-9 || b.End != 5 || math.Abs(b.Quarter-120) > 1e-9 || !b.Whole {
		t.Errorf("bar 2: %+v", b)
	}
	if bars[2].Whole {
		t.Error("the last bar has no end")
	}
	if p := placed[1]; math.Abs(p.Late-0.1) > 1e-9 || math.Abs(p.Planned-0.25) > 1e-9 {
		t.Errorf("beat 2: %+v", p)
	}
	// planned values: the same bar planned at 100 a minute with beat 2 at 0.3 of it
	plan := &Plan{At: []float64{0, 0.72, 1.2, 1.8, 3, 3.6, 4.8, 5.4}, Bar: []float64{2.4, 2.4, 2.4}, Start: []float64{0, 2.4, 4.8}}
	bars, placed = Bars(l, n, plan)
	if math.Abs(bars[0].Planned-100) > 1e-9 || math.Abs(placed[1].Planned-0.3) > 1e-9 || math.Abs(placed[1].Late) > 1e-9 {
		t.Errorf("against the plan: %+v, %+v", bars[0], placed[1])
	}
	n[3].Resumed = true
	if bars, _ = Bars(l, n, nil); bars[0].Whole {
		t.Error("a bar with a break in it counts as whole")
	}
}

// A dotted eighth and sixteenth of 0.7 and 0.3 s: the share is 0.7.
func TestPairsByHand(t *testing.T) {
	l := handLine(0, 0.75, 1, 1.75, 2, 3)
	n := played(0, 0.7, 1, 1.8, 2, 3)
	pairs := Pairs(l, n, nil)
	if len(pairs) != 2 || math.Abs(pairs[0].Fraction-0.7) > 1e-9 || math.Abs(pairs[1].Fraction-0.8) > 1e-9 || pairs[0].Figure != "dotted eighth and sixteenth" {
		t.Fatalf("%+v", pairs)
	}
	f := Figures(pairs)
	if len(f) != 1 || f[0].Count != 2 || math.Abs(f[0].Mean-0.75) > 1e-9 || math.Abs(f[0].Spread-math.Sqrt(0.005)) > 1e-9 || f[0].Lowest != pairs[0].Fraction {
		t.Errorf("%+v", f)
	}
	n[2].Missing = 1
	if len(Pairs(l, n, nil)) != 1 {
		t.Error("a pair with a note left out is measured")
	}
	// double-dotted: 7:1
	l = handLine(0, 0.875, 1, 2)
	if p := Pairs(l, played(0, 0.9, 1, 2), nil); len(p) != 1 || p[0].Written != 0.875 || p[0].Figure != "double-dotted eighth and thirty-second" {
		t.Errorf("%+v", p)
	}
}

// Onset lists: what is taken away or put in is found; times bend as in play.
func TestAlignOnsets(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	var at []float64
	for x := 0.0; x < 120; x += []float64{0.25, 0.25, 0.5, 0.5, 1}[rng.IntN(5)] {
		at = append(at, x)
	}
	l := handLine(at...)
	var times []float64
	want := make([]int, len(at))
	wrong, now := 0, 0.0
	for i := range at {
		if i > 0 {
			now += (at[i] - at[i-1]) * 0.4 * math.Exp(0.15*math.Sin(float64(i)/9)+0.04*rng.NormFloat64())
		}
		if i > 3 && i < len(at)-4 && i%37 == 20 {
			want[i] = -1
			continue
		}
		if i > 3 && i < len(at)-4 && i%41 == 30 {
			times = append(times, now-0.04)
		}
		want[i] = len(times)
		times = append(times, now)
	}
	for i, j := range AlignOnsets(l, times) {
		if j != want[i] && (j < 0 || want[i] < 0 || math.Abs(times[j]-times[want[i]]) > 0.05) {
			wrong++
		}
	}
	if wrong > 2 {
		t.Errorf("%d of %d events on another onset", wrong, len(at))
	}
	for i, j := range AlignOnsets(l, []float64{0}) {
		if j > 0 || j == 0 && i > onsetGap {
			t.Errorf("one onset: event %d has %d", i, j)
		}
	}
}

// The matching is exact: against every matching of small random cases.
func TestMatchOnsetsIsExact(t *testing.T) {
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	rng := rand.New(rand.NewPCG(seed, 3))
	for range 300 {
		var at, times, pace []float64
		x, y := 0.0, 0.0
		for range 1 + rng.IntN(5) {
			at = append(at, x)
			pace = append(pace, 0.3+0.3*rng.Float64())
			x += 0.25 * float64(1+rng.IntN(4))
		}
		for range 1 + rng.IntN(5) {
			times = append(times, y)
			y += 0.05 + 0.5*rng.Float64()
		}
		l := handLine(at...)
		for i := range l.Events {
			l.Events[i].Grace = rng.IntN(5) == 0
		}
		got := matchCost(l, times, pace, matchOnsets(l, times, pace))
		best := everyMatch(l, times, pace)
		if math.Abs(got-best) > 1e-9 && !(math.IsInf(best, 1) && math.IsInf(got, 1)) {
			t.Fatalf("cost %v, the least of all %v", got, best)
		}
	}
}

// matchCost of a matching by the definition; +Inf where it breaks a limit.
func matchCost(l *Line, times, pace []float64, match []int) float64 {
	sum, lastI, lastJ := 0.0, -1, -1
	for i, j := range match {
		if j < 0 {
			continue
		}
		if lastI < 0 {
			if i > onsetGap || j > onsetGap {
				return math.Inf(1)
			}
			sum += skipCost(l, 0, i) + onsetExtra*float64(j)
		} else {
			if j <= lastJ || i-lastI > onsetGap+1 || j-lastJ > onsetGap+1 {
				return math.Inf(1)
			}
			sum += skipCost(l, lastI+1, i) + onsetExtra*float64(j-lastJ-1) + stepCost(times[j]-times[lastJ], l.Events[i].At-l.Events[lastI].At, pace[i])
		}
		lastI, lastJ = i, j
	}
	n, m := len(match), len(times)
	if lastI < max(0, n-1-onsetGap) || lastJ < max(0, m-1-onsetGap) {
		return math.Inf(1)
	}
	return sum + skipCost(l, lastI+1, n) + onsetExtra*float64(m-1-lastJ)
}

func everyMatch(l *Line, times, pace []float64) float64 {
	match := make([]int, len(l.Events))
	best := math.Inf(1)
	var walk func(i, from int)
	walk = func(i, from int) {
		if i == len(match) {
			best = min(best, matchCost(l, times, pace, match))
			return
		}
		match[i] = -1
		walk(i+1, from)
		for j := from; j < len(times); j++ {
			match[i] = j
			walk(i+1, j+1)
		}
		match[i] = -1
	}
	walk(0, 0)
	return best
}

func BenchmarkHear(b *testing.B) {
	sc, p := lt.Piece("running", 12, 55, 3)
	sound, _ := lt.Play(sc, p, lt.Options{Seed: 2, Vibrato: 20})
	l, err := NewLine(sc, p)
	if err != nil {
		b.Fatal(err)
	}
	f := featuresOf(sound, 44100, 170)
	for b.Loop() {
		if _, err := Hear(f, l, Request{Open: []int{55, 62, 69, 76}}); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.N)*f.Seconds()/b.Elapsed().Seconds(), "sound-s/s")
}
