package pace

import (
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"

	"pochette/internal/score"
	"pochette/internal/timeline"
)

// drawPart draws a part of a few bars with repeats and facts at random.
func drawPart(t *rapid.T) Input {
	meters := []score.Meter{meterOf(4, 4), meterOf(3, 4), meterOf(6, 8), meterOf(2, 4), meterOf(3, 8)}
	m := meters[rapid.IntRange(0, len(meters)-1).Draw(t, "meter")]
	values := []score.Tick{q, q / 2, q / 4, q * 3 / 4, q * 3 / 2, q / 3, q / 8, q * 2}
	var bars [][]item
	for range rapid.IntRange(1, 6).Draw(t, "bars") {
		var bar []item
		for left := m.Len; left > 0; {
			d := min(left, values[rapid.IntRange(0, len(values)-1).Draw(t, "value")])
			if d*4 == 3*q && left >= q { // a whole dotted figure
				bar = append(bar, item{d, 60}, item{q / 4, 62})
				left -= q
				continue
			}
			key := rapid.IntRange(55, 80).Draw(t, "key")
			if rapid.IntRange(0, 9).Draw(t, "rest") == 0 {
				key = 0
			}
			bar = append(bar, item{d, key})
			left -= d
		}
		bars = append(bars, bar)
	}
	p := partOf(m, bars...)
	for i := range p.Measures {
		if rapid.IntRange(0, 4).Draw(t, "repeat") == 0 {
			p.Measures[i].RepeatTimes = 2
		}
		if rapid.IntRange(0, 6).Draw(t, "forward") == 0 {
			p.Measures[i].RepeatStart = true
		}
	}
	for i := 0; i+1 < len(p.Notes); i++ {
		if rapid.IntRange(0, 3).Draw(t, "slur") == 0 && !p.Notes[i].Rest && !p.Notes[i+1].Rest {
			slur(p, p.Notes[i].ID, p.Notes[i+1].ID)
			i++
		}
	}
	in := inputOf(p, float64(rapid.IntRange(30, 200).Draw(t, "tempo")))
	in.Facts = drawFacts(t, p)
	return in
}

func drawFacts(t *rapid.T, p *score.Part) Facts {
	var f Facts
	end := p.Measures[len(p.Measures)-1].Start + p.Measures[len(p.Measures)-1].Len
	for at := score.Tick(0); at < end; {
		to := min(end, at+score.Tick(rapid.IntRange(1, 4).Draw(t, "chord"))*q)
		f.Chords = append(f.Chords, Chord{From: at, To: to, Tension: float64(rapid.IntRange(0, 20).Draw(t, "tension"))})
		at = to
	}
	for m := 0; m < len(p.Measures); {
		to := min(len(p.Measures), m+rapid.IntRange(1, 4).Draw(t, "phrase"))
		stop := end
		if to < len(p.Measures) {
			stop = p.Measures[to].Start
		}
		f.Phrases = append(f.Phrases, Phrase{From: p.Measures[m].Start, To: stop, Arrival: p.Measures[to-1].Start, Sure: 1})
		m = to
	}
	f.Sections = []Section{{From: 0, To: end, Hard: true}}
	return f
}

func drawDecisions(t *rapid.T, p *score.Part) []Decision {
	var out []Decision
	for range rapid.IntRange(0, 4).Draw(t, "decisions") {
		m := rapid.IntRange(0, len(p.Measures)-1).Draw(t, "measure")
		d := Decision{First: m, Last: m, Text: "drawn"}
		switch rapid.IntRange(0, 6).Draw(t, "kind") {
		case 0:
			d.Key, d.Value, d.Last = Dotting, rapid.Float64Range(0.5, 0.9).Draw(t, "share"), -1
		case 1:
			d.Key, d.Value, d.Last = Inequality, rapid.Float64Range(1, 3).Draw(t, "ratio"), -1
		case 2:
			d.Key, d.Value = Power, rapid.Float64Range(0.5, 2).Draw(t, "power")
		case 3:
			d.Key, d.Value = Tempo, rapid.Float64Range(20, 300).Draw(t, "beats")
		case 4:
			d.Key, d.Value, d.Placed = Breath, rapid.Float64Range(0, 1).Draw(t, "seconds"), true
			d.At = p.Measures[m].Start + score.Tick(rapid.IntRange(0, int(p.Measures[m].Len-1)).Draw(t, "at"))
		case 5:
			d.Key, d.Value = Broadening, rapid.Float64Range(0.3, 1).Draw(t, "last tempo")
		case 6:
			d.Key, d.Value, d.Placed, d.At = Hold, 1, true, p.Measures[m].Start
		}
		out = append(out, d)
	}
	return out
}

// With no amounts the plan is the metronome's, repeats played out. The twin walks
// through the play order by itself.
func TestZeroIsMetronome(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := drawPart(t)
		plan := New(in, Options{})
		order, _ := timeline.PlayOrder(in.Part)
		now := 0.0
		var onsets, ends []float64
		for _, v := range order {
			m := &in.Part.Measures[v.Measure]
			for i := range in.Part.Notes {
				if n := &in.Part.Notes[i]; n.Measure == v.Measure && !n.Rest {
					onsets = append(onsets, now+in.Base.Seconds(m.Start, n.Onset))
					ends = append(ends, now+in.Base.Seconds(m.Start, n.End()))
				}
			}
			now += in.Base.Seconds(m.Start, m.Start+m.Len)
		}
		if len(plan.Notes) != len(onsets) {
			t.Fatalf("%d notes, want %d", len(plan.Notes), len(onsets))
		}
		for i, n := range plan.Notes {
			if !near(n.Onset, onsets[i], 1e-9) || !near(n.Release, ends[i], 1e-9) {
				t.Fatalf("note %d: %v to %v, want %v to %v", i, n.Onset, n.Release, onsets[i], ends[i])
			}
		}
		if !near(plan.Seconds, now, 1e-9) {
			t.Fatalf("%v s in all, want %v", plan.Seconds, now)
		}
	})
}

// Whatever is proposed and decided: onsets rise, notes last, bars follow each other
// without a gap, and each bar is as long as what sounds and rests in it.
func TestPlanHoldsTogether(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := drawPart(t)
		a := Proposed()
		a.GiveTake = rapid.Float64Range(0, 3).Draw(t, "give and take")
		a.BreathTaken = rapid.Bool().Draw(t, "taken")
		plan := New(in, Options{Amounts: a, Decisions: drawDecisions(t, in.Part)})
		at := 0.0
		for v, bar := range plan.Bars {
			if bar.Start != at {
				t.Fatalf("bar %d begins at %v, the one before ends at %v", v, bar.Start, at)
			}
			if v+1 < len(plan.Bars) {
				at = plan.Bars[v+1].Start
			} else {
				at = plan.Seconds
			}
			if !near(bar.Start+bar.Seconds, at, 1e-9) || bar.Seconds <= 0 {
				t.Fatalf("bar %d lasts %v from %v, the next begins at %v", v, bar.Seconds, bar.Start, at)
			}
		}
		last := math.Inf(-1)
		for i, n := range plan.Notes {
			bar := plan.Bars[n.Bar]
			if n.InChord == 0 && n.Onset <= last {
				t.Fatalf("note %d begins at %v after %v", i, n.Onset, last)
			}
			if n.Release <= n.Onset || n.Onset < bar.Start-1e-9 || n.Onset >= bar.Start+bar.Seconds+1e-9 {
				t.Fatalf("note %d from %v to %v in a bar from %v, %v s", i, n.Onset, n.Release, bar.Start, bar.Seconds)
			}
			last = n.Onset
		}
	})
}

// Pairs and give and take move no bar line: with and without them the bars are the
// same to the last bit.
func TestBarLinesStay(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := drawPart(t)
		a := Steady()
		a.GiveTake = rapid.Float64Range(0.5, 3).Draw(t, "give and take")
		bent := New(in, Options{Amounts: a, Decisions: []Decision{{Key: Dotting, Value: 0.8, Last: -1}, {Key: Inequality, Value: 1.7, Last: -1}}})
		a.GiveTake, a.Pairs = 0, 0
		even := New(in, Options{Amounts: a})
		for v := range bent.Bars {
			if bent.Bars[v].Start != even.Bars[v].Start || bent.Bars[v].Seconds != even.Bars[v].Seconds {
				t.Fatalf("bar %d: %v and %v s, even %v and %v s", v, bent.Bars[v].Start, bent.Bars[v].Seconds, even.Bars[v].Start, even.Bars[v].Seconds)
			}
		}
		if s := bent.Steadiness; s.Worst > 1e-9 || s.Late > 1e-9 || s.Steady != len(bent.Bars) {
			t.Fatalf("steadiness %+v of %d bars", s, len(bent.Bars))
		}
	})
}

// dottedBar is two dotted figures in 2/4 and an even bar.
func dottedBars() *score.Part {
	return partOf(meterOf(2, 4), []item{{q * 3 / 4, 67}, {q / 4, 69}, {q * 3 / 4, 71}, {q / 4, 72}}, []item{{q / 2, 74}, {q / 2, 72}, {q, 71}})
}

func TestDotting(t *testing.T) {
	p := dottedBars()
	in := inputOf(p, 60)
	for _, share := range []float64{2. / 3, 0.75, 0.875} {
		plan := New(in, Options{Decisions: []Decision{{Key: Dotting, Value: share, Last: -1}}})
		on := eventOnsets(plan)
		if !near(on[1]-on[0], share, 1e-9) || !near(on[2]-on[0], 1, 1e-9) || !near(on[3]-on[2], share, 1e-9) {
			t.Errorf("share %v: onsets %v", share, on)
		}
		if len(plan.Figures) != 2 || plan.Figures[0].Name(q) != "dotted eighth" {
			t.Errorf("figures %+v", plan.Figures)
		}
	}
	// one figure alone, by its place
	plan := New(in, Options{Decisions: []Decision{{Key: Dotting, Value: 0.9, Placed: true, At: q, First: 0, Last: 0}}})
	on := eventOnsets(plan)
	if !near(on[1]-on[0], 0.75, 1e-9) || !near(on[3]-on[2], 0.9, 1e-9) {
		t.Errorf("one figure: %v", on)
	}
	// another figure's name changes nothing, and is told
	plan = New(in, Options{Decisions: []Decision{{Key: Dotting, Value: 0.9, Long: q * 3 / 2, Last: -1, Text: "dotting quarter=0.9"}}})
	if on := eventOnsets(plan); !near(on[1]-on[0], 0.75, 1e-9) || len(plan.Findings) != 1 || plan.Findings[0].Kind != "pace-decision-idle" {
		t.Errorf("another figure: %v, findings %v", on, plan.Findings)
	}
}

// In compound time a dotted eighth at the beginning of the beat is a figure of two
// eighths, however the bar lies.
func TestDottingInCompoundTime(t *testing.T) {
	fig := []item{{q * 3 / 4, 67}, {q / 4, 69}, {q / 2, 71}}
	p := partOf(meterOf(6, 8), append(fig, fig...))
	plan := New(inputOf(p, 60), Options{Decisions: []Decision{{Key: Dotting, Value: 0.8, Last: -1}}})
	if on := eventOnsets(plan); len(plan.Figures) != 2 || !near(on[1], 0.8, 1e-9) || !near(on[4]-on[3], 0.8, 1e-9) || !near(on[3], 1.5, 1e-9) {
		t.Errorf("figures %d, onsets %v", len(plan.Figures), on)
	}
}

func TestInequality(t *testing.T) {
	p := partOf(meterOf(2, 4), []item{{q / 2, 60}, {q / 2, 62}, {q / 2, 64}, {q / 2, 72}})
	plan := New(inputOf(p, 60), Options{Decisions: []Decision{{Key: Inequality, Value: 1.5, Last: -1}}})
	// by step: 3 : 2 of the beat; the leap stays even
	if on := eventOnsets(plan); plan.Unequal != 1 || !near(on[1], 0.6, 1e-9) || !near(on[2], 1, 1e-9) || !near(on[3], 1.5, 1e-9) {
		t.Errorf("%d pairs, onsets %v", plan.Unequal, on)
	}
}

func TestBreath(t *testing.T) {
	p := dottedBars()
	in := inputOf(p, 60)
	d := Decision{Key: Breath, Value: 0.15, Placed: true, At: 2 * q, First: 1, Last: 1}
	plan := New(in, Options{Decisions: []Decision{d}})
	if !near(plan.Bars[1].Start, 2.15, 1e-9) || !near(plan.Notes[3].Release, 2, 1e-9) || plan.Bars[0].Pause != 0.15 {
		t.Errorf("added: second bar at %v, the note before ends at %v", plan.Bars[1].Start, plan.Notes[3].Release)
	}
	d.Taken = true
	plan = New(in, Options{Decisions: []Decision{d}})
	if !near(plan.Bars[1].Start, 2, 1e-9) || !near(plan.Notes[3].Release, 2-0.125, 1e-9) { // at most half of the note
		t.Errorf("taken: second bar at %v, the note before ends at %v", plan.Bars[1].Start, plan.Notes[3].Release)
	}
	// inside the bar, and a hold: the note sounds on
	plan = New(in, Options{Decisions: []Decision{{Key: Hold, Value: 0.5, Placed: true, At: 0, First: 0, Last: 0}}})
	if !near(plan.Notes[0].Release, 1.25, 1e-9) || !near(plan.Notes[1].Onset, 1.25, 1e-9) {
		t.Errorf("hold: ends at %v, the next begins at %v", plan.Notes[0].Release, plan.Notes[1].Onset)
	}
}

func TestBroadening(t *testing.T) {
	bar := []item{{q, 67}, {q, 69}, {q, 71}, {q, 72}}
	p := partOf(meterOf(4, 4), bar, bar, bar, []item{{4 * q, 67}})
	in := inputOf(p, 60)
	in.Facts.Phrases = []Phrase{{From: 0, To: 16 * q, Arrival: 12 * q, Sure: 1}}
	plan := New(in, Options{Amounts: Amounts{Broadening: 1}})
	if len(plan.Broadenings) != 1 || plan.Broadenings[0].From != 8*q {
		t.Fatalf("broadenings %+v", plan.Broadenings)
	}
	// one bar of four seconds on the curve, then the last note at the last tempo
	want := 8 + 4*RitardTime(1, endRatio, ritardCurve) + 4/endRatio
	if !near(plan.Seconds, want, 1e-9) {
		t.Errorf("%v s, want %v", plan.Seconds, want)
	}
	if !near(plan.Bars[3].Tempo, 60*endRatio, 1e-9) || !plan.Bars[2].Broadens || plan.Bars[1].Broadens {
		t.Errorf("bars %+v", plan.Bars)
	}
	if plan := New(in, Options{Amounts: Amounts{Broadening: 1}, Decisions: []Decision{{Key: Broadening, Value: 1, Last: -1}}}); plan.Seconds != 16 {
		t.Errorf("without: %v s", plan.Seconds)
	}
}

func TestTempoDecisions(t *testing.T) {
	p := partOf(meterOf(6, 8), []item{{3 * q, 67}}, []item{{3 * q, 69}}, []item{{3 * q, 71}})
	in := inputOf(p, 90) // 60 dotted quarters a minute
	plan := New(in, Options{Decisions: []Decision{{Key: Tempo, Value: 40, Last: -1}, {Key: Tempo, Value: 120, First: 1, Last: 1}}})
	for v, want := range []float64{3, 1, 3} {
		if !near(plan.Bars[v].Seconds, want, 1e-9) {
			t.Errorf("bar %d lasts %v s, want %v", v+1, plan.Bars[v].Seconds, want)
		}
	}
}

// Where play jumps, a note that is tied over the bar line is struck anew.
func TestTieIntoRepeat(t *testing.T) {
	p := partOf(meterOf(2, 4), []item{{2 * q, 67}}, []item{{q, 67}, {q, 69}})
	p.Notes[0].TieTo, p.Notes[1].TieFrom = 1, 0
	p.Measures[1].RepeatStart, p.Measures[1].RepeatTimes = true, 2
	plan := New(inputOf(p, 60), Options{})
	var got string
	for _, n := range plan.Notes {
		got += fmt.Sprintf("%d:%.0f-%.0f ", n.Key, n.Onset, n.Release)
	}
	if want := "67:0-3 69:3-4 67:4-5 69:5-6 "; got != want {
		t.Errorf("%s, want %s", got, want)
	}
}

func TestGraceNotes(t *testing.T) {
	p := partOf(meterOf(2, 4), []item{{q, 67}, {q, 69}})
	grace := p.Notes[1]
	grace.Grace, grace.Slash, grace.Dur, grace.Value.Type = true, true, 0, "eighth"
	p.Notes = []score.Note{p.Notes[0], grace, p.Notes[1]}
	for i := range p.Notes {
		p.Notes[i].ID, p.Notes[i].Head = score.NoteID(i), score.NoteID(i)
	}
	plan := New(inputOf(p, 60), Options{})
	if on := eventOnsets(plan); !near(on[1], 1-longestGrace, 1e-9) || !near(on[2], 1, 1e-9) || !near(plan.Notes[0].Release, on[1], 1e-9) {
		t.Errorf("slashed: %v", on)
	}
	p.Notes[1].Slash = false
	plan = New(inputOf(p, 60), Options{})
	if on := eventOnsets(plan); !near(on[1], 1, 1e-9) || !near(on[2], 1.5, 1e-9) {
		t.Errorf("on the beat: %v", on)
	}
}

func TestPrintedDynamics(t *testing.T) {
	bar := []item{{q, 67}, {q, 69}, {q, 71}, {q, 72}}
	p := partOf(meterOf(4, 4), bar, bar)
	p.Directions = []score.Direction{{Kind: "dynamics", Text: "p", At: 0}, {Kind: "wedge", Text: "crescendo", At: 0, Number: 1},
		{Kind: "wedge", Text: "stop", At: 4 * q, Number: 1}, {Kind: "dynamics", Text: "f", At: 4 * q}}
	plan := New(inputOf(p, 60), Options{Amounts: Amounts{Dynamics: 1}})
	for i, want := range []float64{-20, -17, -14, -11, -8, -8, -8, -8} {
		if !near(plan.Notes[i].Level, want, 1e-9) {
			t.Errorf("note %d: %v dB, want %v", i, plan.Notes[i].Level, want)
		}
	}
}

// Time is taken where the tension is.
func TestGiveAndTakeGoesToTension(t *testing.T) {
	bar := []item{{q, 67}, {q, 69}, {q, 71}, {q, 72}}
	p := partOf(meterOf(4, 4), bar)
	in := inputOf(p, 60)
	in.Facts.Chords = []Chord{{From: 0, To: 2 * q, Tension: 0}, {From: 2 * q, To: 4 * q, Tension: 10}}
	late := New(in, Options{Amounts: Amounts{GiveTake: 1}})
	in.Facts.Chords[0].Tension, in.Facts.Chords[1].Tension = 10, 0
	early := New(in, Options{Amounts: Amounts{GiveTake: 1}})
	if a, b := late.Notes[2].Onset, early.Notes[2].Onset; a >= 2 || b <= 2 || late.Seconds != 4 || early.Seconds != 4 {
		t.Errorf("third beat at %v where the second half is tense, %v where the first is", a, b)
	}
	if len(late.Bars[0].Reasons) != 1 {
		t.Errorf("reasons %v", late.Bars[0].Reasons)
	}
}

// Under a second ending the broadening begins in the bar before the first one: what is
// played counts, not what stands between.
func TestBroadeningOverEndings(t *testing.T) {
	bar := []item{{q, 67}, {q, 69}, {q, 71}, {q, 72}}
	p := partOf(meterOf(4, 4), bar, bar, bar, []item{{4 * q, 67}})
	p.Measures[2].Endings, p.Measures[2].EndingStart, p.Measures[2].EndingStop, p.Measures[2].RepeatTimes = []int{1}, true, true, 2
	p.Measures[3].Endings, p.Measures[3].EndingStart, p.Measures[3].EndingStop = []int{2}, true, true
	plan := New(inputOf(p, 60), Options{Amounts: Amounts{Broadening: 1}})
	if len(plan.Bars) != 6 || len(plan.Broadenings) != 1 || plan.Broadenings[0].FirstBar != 4 || plan.Bars[4].Measure != 1 {
		t.Fatalf("%d bars, broadenings %+v", len(plan.Bars), plan.Broadenings)
	}
	if plan.Bars[1].Broadens || !plan.Bars[4].Broadens || !near(plan.Bars[1].Seconds, 4, 1e-9) {
		t.Error("the first time through broadens")
	}
}

// A section that a sign ends broadens a little, in its last playing alone.
func TestSectionEndOnlyTheLastTime(t *testing.T) {
	bar := []item{{q, 67}, {q, 69}, {q, 71}, {q, 72}}
	p := partOf(meterOf(4, 4), bar, bar, bar, bar)
	p.Measures[1].RepeatTimes = 2
	in := inputOf(p, 60)
	in.Facts.Sections = []Section{{From: 0, To: 8 * q, Hard: true}, {From: 8 * q, To: 16 * q, Hard: true}}
	plan := New(in, Options{Amounts: Amounts{Broadening: 1}})
	if len(plan.Broadenings) != 2 || plan.Broadenings[0].LastBar != 3 || plan.Broadenings[1].LastBar != 5 {
		t.Fatalf("%+v", plan.Broadenings)
	}
	if plan.Bars[1].Broadens || !plan.Bars[3].Broadens || !near(plan.Bars[1].Seconds, 4, 1e-9) {
		t.Error("the first time through broadens")
	}
	in.Facts.Sections[0].Hard = false
	if plan := New(in, Options{Amounts: Amounts{Broadening: 1}}); len(plan.Broadenings) != 1 {
		t.Errorf("a section without a sign: %+v", plan.Broadenings)
	}
}

// A breath is proposed between two phrases, and not into a slur, after a rest, or
// where the next phrase begins with the arrival.
func TestPhraseBreaths(t *testing.T) {
	planned := func(change func(p *score.Part, f *Facts)) *Plan {
		p := partOf(meterOf(2, 4), []item{{q, 67}, {q, 69}}, []item{{q, 71}, {q, 72}}, []item{{q, 71}, {q, 72}})
		f := Facts{Phrases: []Phrase{{From: 0, To: 4 * q, Arrival: 2 * q, Sure: 1}, {From: 4 * q, To: 6 * q, Arrival: 4 * q, Sure: 1}},
			Cadences: []Cadence{{At: 2 * q, Kind: "half", Strength: 0.5}}}
		change(p, &f)
		in := inputOf(p, 60)
		in.Facts = f
		return New(in, Options{Amounts: Amounts{Breath: 1}})
	}
	plain := planned(func(*score.Part, *Facts) {})
	if len(plain.Breaths) != 1 || !near(plain.Breaths[0].Seconds, breathFor(0.5, 1, 1), 1e-12) || plain.Breaths[0].Bar != 1 || !near(plain.Bars[2].Start, 4+plain.Breaths[0].Seconds, 1e-9) {
		t.Errorf("%+v", plain.Breaths)
	}
	for name, change := range map[string]func(*score.Part, *Facts){
		"slur":    func(p *score.Part, _ *Facts) { slur(p, 3, 4) },
		"rest":    func(p *score.Part, _ *Facts) { p.Notes[3].Rest = true },
		"overlap": func(_ *score.Part, f *Facts) { f.Phrases[0].Overlaps = true },
	} {
		if got := planned(change); len(got.Breaths) != 0 {
			t.Errorf("%s: %+v", name, got.Breaths)
		}
	}
}

// Of the mean level of a bar the accents by meter and harmony: the downbeat is the
// loudest of equal notes, a tenser chord adds to it, and the amount scales both.
func TestAccents(t *testing.T) {
	bar := []item{{q, 67}, {q, 69}, {q, 71}, {q, 72}}
	in := inputOf(partOf(meterOf(4, 4), bar, bar), 60)
	in.Facts.Chords = []Chord{{From: 0, To: 4 * q, Tension: 0}, {From: 4 * q, To: 8 * q, Tension: 6}}
	plan := New(in, Options{Amounts: Amounts{Accent: 1}})
	l := func(i int) float64 { return plan.Notes[i].Level }
	if !(l(0) > l(2) && l(2) > l(1) && l(1) == l(3) && l(4) > l(0)) {
		t.Errorf("levels %v %v %v %v, then %v", l(0), l(1), l(2), l(3), l(4))
	}
	sum := unmarkedLevel
	for _, x := range plan.Notes[4].Terms {
		sum += x.Value
	}
	if !near(sum, l(4), 1e-12) {
		t.Errorf("terms add up to %v, level %v", sum, l(4))
	}
	half := New(in, Options{Amounts: Amounts{Accent: 0.5}})
	if !near(half.Notes[4].Level-unmarkedLevel, (l(4)-unmarkedLevel)/2, 1e-12) {
		t.Error("the amount does not scale the accents")
	}
}
