package study

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"math"
	"strings"
	"testing"

	"pochette/internal/demo"
	"pochette/internal/pace"
	"pochette/internal/score"
)

func jig(t testing.TB) *Study {
	t.Helper()
	s, err := Analyze(Request{Name: demo.Name, Data: demo.Jig})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestParsePace(t *testing.T) {
	s := jig(t)
	q := s.Score.Quarter
	bar := func(n int) score.Tick { return s.Part.Measures[n].Start }
	for text, want := range map[string]pace.Decision{
		"dotting=0.72":                {Key: pace.Dotting, Value: 0.72, Last: -1},
		"dotting=2:1":                 {Key: pace.Dotting, Value: 2. / 3, Last: -1},
		"dotting eighth=3:1":          {Key: pace.Dotting, Value: 0.75, Last: -1, Long: q * 3 / 4},
		"dotting dotted eighth=3:1":   {Key: pace.Dotting, Value: 0.75, Last: -1, Long: q * 3 / 4},
		"dotting m5.2=0.8":            {Key: pace.Dotting, Value: 0.8, Placed: true, First: 5, Last: 5, At: bar(5) + q},
		"bars 5-8 tempo=66":           {Key: pace.Tempo, Value: 66, First: 5, Last: 8},
		"tempo bars 5-8=66":           {Key: pace.Tempo, Value: 66, First: 5, Last: 8},
		"tempo=66 bar 5":              {Key: pace.Tempo, Value: 66, First: 5, Last: 5},
		"breath m12.3=0.15s":          {Key: pace.Breath, Value: 0.15, Placed: true, First: 13, Last: 13, At: bar(13) + 2*q},
		"  breath  m12.3=150ms taken": {Key: pace.Breath, Value: 0.15, Placed: true, Taken: true, First: 13, Last: 13, At: bar(13) + 2*q},
		"breath=2":                    {Key: pace.Breath, Value: 2, Last: -1},
		"inequality=auto":             {Key: pace.Inequality, Value: 0, Last: -1},
		"inequality=3:2":              {Key: pace.Inequality, Value: 1.5, Last: -1},
		"m22.1 level=-3dB":            {Key: pace.Level, Value: -3, Placed: true, First: 23, Last: 23, At: bar(23)},
		"broadening=1":                {Key: pace.Broadening, Value: 1, Last: -1},
	} {
		got, err := ParsePace(s.Part, q, text)
		got.Text = ""
		if err != nil || math.Abs(got.Value-want.Value) > 1e-12 {
			t.Errorf("%q: %+v, %v", text, got, err)
		}
		if got.Value = want.Value; got != want {
			t.Errorf("%q: %+v, want %+v", text, got, want)
		}
		if !IsPace(text) {
			t.Errorf("%q is not seen as one about time", text)
		}
	}
	for text, says := range map[string]string{
		"dotting":                "one word=value",
		"dotting=0.3":            "0.5 to 0.95",
		"dotting=a:b":            "share of the long note",
		"dotting=NaN":            "0.5 to 0.95",
		"tempo=0":                "10 to 400",
		"tempo=1e999":            "10 to 400",
		"bars 3-99 tempo=60":     `no measure "99"`,
		"bars 8-5 tempo=60":      "comes after",
		"breath m12.9=0.1s":      "no moment at beat 9",
		"breath m99.1=0.1s":      `no measure "99"`,
		"breath bars 3-5=0.1":    "for the whole, or for a place",
		"power=1.1":              "for bars",
		"level=3":                "for bars, as in bars 5-8, or for a place",
		"tempo m5.1=60":          "for the whole, or for bars",
		"warp=3":                 "no such thing to decide; there is accent, arch",
		"dotting purple=0.7":     `"purple" is no place`,
		"bars 1-2 bar 3 arch=1":  "two places",
		"a=b=c":                  "one word=value",
		strings.Repeat("x", 500): "longer than",
	} {
		if _, err := ParsePace(s.Part, q, text); err == nil || !strings.Contains(err.Error(), says) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%q: %v, want %q in it", text, err, says)
		}
	}
	for _, text := range []string{"m22.2 finger=3 string=II", "m24.1 bow=up", "finger=3"} {
		if IsPace(text) {
			t.Errorf("%q is seen as one about time", text)
		}
	}
}

func FuzzParsePace(f *testing.F) {
	s := jig(f)
	for _, text := range []string{"dotting=0.72", "bars 5-8 tempo=66", "breath m12.3=0.15s taken", "m@3.2 level=-3dB", "dotting eighth=2:1", "inequality=auto", "=", "a=b=c", "hold m0.4+1/2=1s"} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		d, err := ParsePace(s.Part, s.Score.Quarter, text)
		if err != nil {
			if strings.ContainsAny(err.Error(), "\n\r") && !strings.ContainsAny(text, "\n\r") {
				t.Errorf("more than a line: %q", err)
			}
			return
		}
		p, err := s.PlanPace(PaceOptions{Decide: []string{text}})
		if err != nil {
			t.Fatalf("%q is read and cannot be planned: %v", text, err)
		}
		last := -1.0
		for _, n := range p.Notes {
			if n.InChord == 0 && n.Onset <= last || !(n.Release > n.Onset) {
				t.Fatalf("%q (%+v): a note from %v to %v after %v", text, d, n.Onset, n.Release, last)
			}
			last = n.Onset
		}
	})
}

// With --steady no bar of the movement but those that hold is off the metronome, and
// the metronome's plan is as long as the beats say: 48 bars, two of them pickups.
func TestSteadyAndMetronome(t *testing.T) {
	s := jig(t)
	steady, err := s.PlanPace(PaceOptions{Steady: true})
	if err != nil {
		t.Fatal(err)
	}
	if x := steady.Steadiness; x.Worst > 1e-9 || x.Late > 1e-6 || x.Bent == 0 {
		t.Errorf("steady: %+v", x)
	}
	m, err := s.PlanPace(PaceOptions{Metronome: true})
	if err != nil {
		t.Fatal(err)
	}
	beats := 0.0
	for _, b := range m.Bars {
		x := &s.Part.Measures[b.Measure]
		beats += float64(x.Len) / float64(s.Score.Quarter)
		if b.Tempo != 0 && math.Abs(b.Tempo-96) > 1e-6 {
			t.Errorf("measure %s at %v", x.Number, b.Tempo)
		}
	}
	if math.Abs(m.Seconds-beats*60/96) > 1e-6 {
		t.Errorf("%v s for %v beats at 96", m.Seconds, beats)
	}
}

// Every note has the stroke of the proposal, in its direction.
func TestPaceStrokes(t *testing.T) {
	s := jig(t)
	for _, written := range []bool{false, true} {
		p, err := s.PlanPace(PaceOptions{AsWritten: written})
		if err != nil {
			t.Fatal(err)
		}
		strokes := s.Bow.Proposed
		if written {
			strokes = s.Bow.Written
		}
		for _, n := range p.Notes {
			if n.Stroke < 0 || n.Event < strokes[n.Stroke].First || n.Event > strokes[n.Stroke].Last || n.Bow != paceDirection(strokes[n.Stroke].Direction) {
				t.Fatalf("note %d: event %d in stroke %d, bow %v", n.Note, n.Event, n.Stroke, n.Bow)
			}
			if n.Begins != (strokes[n.Stroke].First == n.Event) && !n.Plucked && !n.Again {
				t.Fatalf("event %d attacked: %v", n.Event, n.Begins)
			}
		}
	}
}

// The data says the same as the plan: bars add up, notes lie in their bars.
func TestPaceJSON(t *testing.T) {
	s := jig(t)
	p, err := s.PlanPace(PaceOptions{Decide: []string{"dotting=0.7", "breath m12.3=0.2s"}})
	if err != nil {
		t.Fatal(err)
	}
	text, err := p.JSON(Bars{0, len(s.Part.Measures) - 1}, "test")
	if err != nil {
		t.Fatal(err)
	}
	var d paceJSON
	if err := json.Unmarshal(text, &d); err != nil {
		t.Fatal(err)
	}
	sum := 0.0
	for _, b := range d.Bars {
		if math.Abs(b.Start-sum) > 1e-4 {
			t.Fatalf("bar %s begins at %v, those before last %v", b.Number, b.Start, sum)
		}
		sum += b.Seconds
	}
	if len(d.Notes) != len(p.Notes) || math.Abs(sum-d.Seconds) > 1e-4 || len(d.Models) != len(pace.Models) {
		t.Errorf("%d notes, %v s of %v", len(d.Notes), sum, d.Seconds)
	}
	breaths := 0
	for _, b := range d.Breaths {
		if b.Decided {
			breaths++
		}
	}
	if breaths != 2 { // both times
		t.Errorf("%d decided breaths", breaths)
	}
	for _, f := range d.Figures {
		if f.Fraction != 0.7 || !f.Decided {
			t.Errorf("figure %+v", f)
		}
	}
}

func TestSoundProgramme(t *testing.T) {
	s := jig(t)
	x, err := s.Sound(SoundOptions{Bars: "1-2", Slow: []float64{0.5, 1}, Loop: 2, CountIn: 1, Click: "follow", Compare: "dotting=2:1,3:1", Gap: 0.5})
	if err != nil {
		t.Fatal(err)
	}
	if len(x.Programme) != 8 || len(x.Order) != 8 || x.Programme[7].Gap != 0 {
		t.Fatalf("%d turns: %v", len(x.Programme), x.Order)
	}
	a, b := &x.Programme[0], &x.Programme[2]
	if math.Abs(a.Passage.Seconds-2*b.Passage.Seconds) > 1e-9 || a.Passage.Notes[0].Key != b.Passage.Notes[0].Key || math.Abs(a.Lead-5) > 1e-6 { // four beats at 48
		t.Errorf("slow %v s, in time %v s, count-in %v s", a.Passage.Seconds, b.Passage.Seconds, a.Lead)
	}
	if !strings.Contains(x.Order[0], "first: dotting 2:1, at 50 %") || !strings.Contains(x.Order[1], "second: dotting 3:1") {
		t.Errorf("order %v", x.Order)
	}
	apart := 0.0
	for i, n := range x.Programme[0].Passage.Notes {
		apart = max(apart, math.Abs(n.Onset-x.Programme[1].Passage.Notes[i].Onset))
	}
	// a dotted eighth at 48 a minute: (3/4 - 2/3) of 1.25 s, before the bar's own bend
	if apart < 0.09 || apart > 0.13 {
		t.Errorf("the ways lie %v s apart", apart)
	}
	var buf bytes.Buffer
	if err := x.WAV(context.Background(), &buf, nil); err != nil {
		t.Fatal(err)
	}
	if want := 44 + 2*44100*x.Seconds(); float64(buf.Len()) < want || float64(buf.Len()) > want+50000 {
		t.Errorf("%d bytes for %v s", buf.Len(), x.Seconds())
	}
	buf.Reset()
	if err := x.MIDI(&buf); err != nil || !bytes.HasPrefix(buf.Bytes(), []byte("MThd")) {
		t.Errorf("MIDI: %v", err)
	}
}

// Printed and proposed slurs are heard: some notes are attacked in one and slurred in
// the other, or taken in the other direction.
func TestCompareSlurs(t *testing.T) {
	s, err := Analyze(Request{Name: demo.Name, Data: demo.Jig, MayChangeSlurs: true})
	if err != nil {
		t.Fatal(err)
	}
	x, err := s.Sound(SoundOptions{Compare: "slurs=printed,proposed"})
	if err != nil {
		t.Fatal(err)
	}
	if len(x.Programme) != 2 || len(x.Notes) != 1 || !strings.Contains(x.Notes[0], "direction") {
		t.Errorf("%v", x.Notes)
	}
	same, err := s.Sound(SoundOptions{Compare: "pace=steady,steady"})
	if err != nil || !strings.Contains(same.Notes[0], "the same") {
		t.Errorf("%v %v", same.Notes, err)
	}
}

func TestSoundOptionErrors(t *testing.T) {
	s := jig(t)
	for says, o := range map[string]SoundOptions{
		"--slow":                 {Slow: []float64{0}},
		"--slow NaN":             {Slow: []float64{math.NaN()}},
		"--loop":                 {Loop: 1000},
		"--count-in":             {CountIn: 99},
		"--a4 500":               {A4: 500},
		"--vibrato":              {Vibrato: -1},
		"--gap":                  {Gap: 1e9},
		"--bits":                 {Bits: 8},
		"--click":                {Click: "loud"},
		"one thing in two ways":  {Compare: "dotting=2:1"},
		"slurs are printed":      {Compare: "slurs=a,b"},
		"a pace is":              {Compare: "pace=a,b"},
		"want slurs, pace":       {Compare: "colour=red,blue"},
		`no measure "99"`:        {Bars: "99"},
		`decision "dotting=0.1"`: {Pace: PaceOptions{Decide: []string{"dotting=0.1"}}},
	} {
		_, err := s.Sound(o)
		if _, ok := errors.AsType[OptionError](err); !ok || !strings.Contains(err.Error(), says) {
			t.Errorf("%+v: %v, want %q in an option error", o, err, says)
		}
	}
}

func TestPaceLines(t *testing.T) {
	got, err := PaceLines("mine.txt", []byte("# how I play it\n\ndotting=2:1   # fitted\r\n bars 5-8 tempo=66\n"))
	if err != nil || strings.Join(got, "|") != "dotting=2:1|bars 5-8 tempo=66" {
		t.Errorf("%q, %v", got, err)
	}
	for text, says := range map[string]string{"arch=0\nm2.1 finger=3": "mine.txt line 2: no decision about time", "\xff\xfe": "line 1", strings.Repeat("arch=0\n", 3000): "more than 2000"} {
		if _, err := PaceLines("mine.txt", []byte(text)); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%.20q: %v, want %q", text, err, says)
		}
	}
}
