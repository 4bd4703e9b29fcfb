package fingering

import (
	"flag"
	"fmt"
	"math"
	"os"
	"testing"

	"pgregory.net/rapid"

	"pochette/internal/instrument"
	"pochette/internal/pitch"
	"pochette/internal/score"
	"pochette/internal/sequence"
)

// TestMain asks for thousands of random cases instead of rapid's hundred,
// unless the command line names a number.
func TestMain(m *testing.M) {
	if f := flag.Lookup("rapid.checks"); f != nil {
		if err := f.Value.Set("2000"); err != nil {
			panic(err)
		}
	}
	flag.Parse()
	os.Exit(m.Run())
}

// line builds a one-voice part in 4/4, a chord for each inner slice of pitches
// (empty: a rest), every one of dur ticks (480 a quarter).
func line(dur score.Tick, chords ...[]string) (*score.Score, *score.Part) {
	p := &score.Part{ID: "P1", Name: "Violin"}
	sc := &score.Score{Quarter: 480, Parts: []*score.Part{p}}
	for i, c := range chords {
		appendChord(p, score.Tick(i)*dur, dur, c)
	}
	bars(p, score.Tick(len(chords))*dur)
	return sc, p
}

func appendChord(p *score.Part, at, dur score.Tick, names []string) {
	head := score.NoteID(len(p.Notes))
	if len(names) == 0 {
		p.Notes = append(p.Notes, score.Note{ID: head, Head: head, Rest: true, Onset: at, Dur: dur, Voice: "1", TieFrom: score.NoNote, TieTo: score.NoNote})
		return
	}
	for k, s := range names {
		q, err := pitch.Parse(s)
		if err != nil {
			panic(err)
		}
		id := score.NoteID(len(p.Notes))
		p.Notes = append(p.Notes, score.Note{ID: id, Head: head, Chord: k > 0, Onset: at, Dur: dur, Voice: "1", Staff: 1,
			Written: q, Sounding: q, TieFrom: score.NoNote, TieTo: score.NoNote})
	}
}

// bars lays 4/4 measures over the part and gives the notes their measures.
func bars(p *score.Part, end score.Tick) {
	const bar = 4 * 480
	for at := score.Tick(0); at < end; at += bar {
		i := len(p.Measures)
		p.Measures = append(p.Measures, score.Measure{Index: i, Number: fmt.Sprint(i + 1), Start: at, Len: bar,
			Meter: score.Meter{Beats: "4", Unit: "4", Num: 4, Den: 4, Len: bar, Groups: []score.Tick{bar}}})
	}
	for i := range p.Notes {
		p.Notes[i].Measure = int(p.Notes[i].Onset / bar)
	}
}

// total is the cost of a path written out by definition.
func total(pr *Problem, path []int) float64 {
	sum := 0.0
	for i, s := range path {
		sum += pr.Node(i, s)
		if i > 0 {
			sum += pr.Edge(i, path[i-1], s)
		}
	}
	for _, j := range pr.joins {
		sum += pr.way(&pr.layers[j.from].states[path[j.from]], &pr.layers[j.to].states[path[j.to]], &j.pass)
	}
	return sum
}

// enumerate is the brute-force twin: the least total over every path.
func enumerate(pr *Problem) float64 {
	best := math.Inf(1)
	path := make([]int, pr.Layers())
	var walk func(i int)
	walk = func(i int) {
		if i == pr.Layers() {
			best = min(best, total(pr, path))
			return
		}
		for s := 0; s < pr.States(i); s++ {
			path[i] = s
			walk(i + 1)
		}
	}
	walk(0)
	return best
}

// thin keeps a random few states of each layer, so that all paths can be tried.
// Layers may still be left without a way between them where a held note forbids it.
func thin(t *rapid.T, pr *Problem, most int) {
	for i := range pr.layers {
		l := &pr.layers[i]
		for len(l.states) > most {
			k := rapid.IntRange(0, len(l.states)-1).Draw(t, "drop")
			l.states = append(l.states[:k:k], l.states[k+1:]...)
			l.nodes = append(l.nodes[:k:k], l.nodes[k+1:]...)
		}
	}
}

func drawPart(t *rapid.T, k instrument.Kind, layers int) (*score.Score, *score.Part) {
	in := instrument.Of(k)
	low := in.Open[3].MIDI()
	p := &score.Part{ID: "P1"}
	sc := &score.Score{Quarter: 480, Parts: []*score.Part{p}}
	at := score.Tick(0)
	for i := 0; i < layers; i++ {
		dur := score.Tick(rapid.SampledFrom([]int{60, 120, 240, 480, 960}).Draw(t, "dur"))
		n := rapid.SampledFrom([]int{0, 1, 1, 1, 1, 2, 2, 3}).Draw(t, "size")
		var names []string
		for j := 0; j < n; j++ {
			names = append(names, midiName(rapid.IntRange(low-1, low+40).Draw(t, "key")))
		}
		if n == 1 && rapid.IntRange(0, 3).Draw(t, "held") == 0 {
			appendChord(p, at, 3*dur, names) // sounds on under what follows
		} else {
			appendChord(p, at, dur, names)
		}
		at += dur
	}
	for i := range p.Notes {
		n := &p.Notes[i]
		if n.Rest {
			continue
		}
		switch rapid.IntRange(0, 11).Draw(t, "mark") {
		case 0:
			n.Marks = append(n.Marks, score.Mark{Kind: score.Fingering, Text: fmt.Sprint(rapid.IntRange(0, 4).Draw(t, "finger"))})
		case 1:
			n.Marks = append(n.Marks, score.Mark{Kind: score.String, Text: fmt.Sprint(rapid.IntRange(1, 4).Draw(t, "string"))})
		}
	}
	bars(p, at+1)
	if len(p.Measures) > 0 && rapid.Bool().Draw(t, "repeat") {
		a := rapid.IntRange(0, len(p.Measures)-1).Draw(t, "from")
		b := rapid.IntRange(a, len(p.Measures)-1).Draw(t, "to")
		p.Measures[a].RepeatStart, p.Measures[b].RepeatTimes = true, 2
	}
	for i := 0; i+1 < len(p.Notes); i++ {
		if !p.Notes[i].Rest && !p.Notes[i+1].Rest && rapid.IntRange(0, 3).Draw(t, "slur") == 0 {
			p.Slurs = append(p.Slurs, score.Slur{Start: p.Notes[i].Head, End: p.Notes[i+1].Head})
		}
	}
	return sc, p
}

func midiName(key int) string {
	q := pitch.FromMIDI(key, 0)
	a := ""
	if q.Alter > 0 {
		a = "#"
	}
	return fmt.Sprintf("%v%s%d", q.Step, a, q.Octave)
}

// TestExact compares the search with every path there is, on small random parts
// with chords, held notes, repeats, slurs and marks. rapid logs the seed.
func TestExact(t *testing.T) {
	joins, joinsDear := 0, 0
	rapid.Check(t, func(t *rapid.T) {
		k := instrument.Kind(rapid.IntRange(0, 2).Draw(t, "kind"))
		sc, p := drawPart(t, k, rapid.IntRange(1, 6).Draw(t, "events"))
		if rapid.Bool().Draw(t, "short bars") {
			shortBars(p)
		}
		pr := NewProblem(sc, p, Options{Instrument: instrument.Of(k), Harmonics: Harmonics(rapid.IntRange(0, 2).Draw(t, "harmonics"))})
		thin(t, pr, 5)
		want := enumerate(pr)
		got := pr.Solve()
		if len(pr.joins) > 0 {
			joins++
		}
		if math.IsInf(want, 1) {
			if !math.IsInf(got.Cost, 1) {
				t.Fatalf("found cost %v where no path exists", got.Cost)
			}
			return
		}
		if !got.Exact {
			t.Fatalf("gave up on %d layers", pr.Layers())
		}
		if math.Abs(got.Cost-want) > 1e-6 || math.Abs(total(pr, got.States)-want) > 1e-6 {
			t.Fatalf("Solve says %v (its path costs %v), every path tried: %v", got.Cost, total(pr, got.States), want)
		}
		if chain, ok := sequence.Best(pr); ok && want > chain.Cost+1e-6 {
			joinsDear++
		}
		checkFeatures(t, pr, got)
	})
	t.Logf("cases with joins: %d, with joins that cost something: %d", joins, joinsDear)
	if joinsDear == 0 {
		t.Error("no case tested a join that costs anything")
	}
}

// shortBars makes a bar of every event's onset, so that repeats fall inside.
func shortBars(p *score.Part) {
	p.Measures = nil
	var starts []score.Tick
	for i := range p.Notes {
		if at := p.Notes[i].Onset; len(starts) == 0 || at > starts[len(starts)-1] {
			starts = append(starts, at)
		}
	}
	end := p.Notes[len(p.Notes)-1].End()
	for i, s := range starts {
		e := end
		if i+1 < len(starts) {
			e = starts[i+1]
		}
		p.Measures = append(p.Measures, score.Measure{Index: i, Number: fmt.Sprint(i + 1), Start: s, Len: e - s, Meter: score.Meter{Num: 1, Den: 4, Len: e - s}})
	}
	m := 0
	for i := range p.Notes {
		for m+1 < len(starts) && starts[m+1] <= p.Notes[i].Onset {
			m++
		}
		p.Notes[i].Measure = m
	}
	if n := len(p.Measures); n > 2 {
		p.Measures[1].RepeatStart, p.Measures[n-1].RepeatTimes = true, 2
		p.Measures[0].Jump.Segno = ""
	}
}

// checkFeatures: the feature vector times the weights is the cost.
func checkFeatures(t *rapid.T, pr *Problem, s Solution) {
	sum := 0.0
	for k, v := range pr.Features(s.States) {
		sum += v * pr.m.w[k]
	}
	if math.Abs(sum-s.Cost) > 1e-6 {
		t.Fatalf("features times weights = %v, cost %v", sum, s.Cost)
	}
}

// TestInvariants checks whole plans of larger random parts as a player would.
func TestInvariants(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k := instrument.Kind(rapid.IntRange(0, 2).Draw(t, "kind"))
		sc, p := drawPart(t, k, rapid.IntRange(0, 20).Draw(t, "events"))
		in := instrument.Of(k)
		st := Analyze(sc, p, Options{Instrument: in})
		said := map[score.NoteID]bool{}
		for _, f := range st.Findings {
			for _, id := range f.Notes {
				said[id] = true
			}
		}
		for i := range st.Grips {
			checkGrip(t, st, &in, i, said)
		}
		for _, m := range Needed(st) {
			if m.Mark.Text == "" && m.Mark.Kind != score.ThumbPosition {
				t.Fatalf("empty mark %+v", m)
			}
		}
		for i := range st.Grips {
			if w := Why(st, i); (w == "") != (len(st.Grips[i].Stops) == 0 && st.Grips[i].Unplayable == "") {
				t.Fatalf("event %d: why %q for %+v", i, w, st.Grips[i])
			}
		}
	})
}

func checkGrip(t *rapid.T, st *Study, in *instrument.Instrument, i int, said map[score.NoteID]bool) {
	g := &st.Grips[i]
	used := map[int]bool{}
	for a := range g.Stops {
		s := &g.Stops[a]
		n := &st.part.Notes[s.Note]
		if used[s.String] && !twin(st, g.Stops[:a], s) {
			t.Fatalf("event %d: string %d twice", i, s.String)
		}
		used[s.String] = true
		if s.Touch == Pressed && in.Open[s.String-1].MIDI()+s.Semitone != n.Sounding.MIDI() {
			t.Fatalf("event %d: %v on string %d at %d", i, n.Sounding, s.String, s.Semitone)
		}
		if (s.Finger == 0) != (s.Semitone == 0) {
			t.Fatalf("event %d: finger %d at semitone %d", i, s.Finger, s.Semitone)
		}
		checkMarks(t, n, s, said)
		for b := range g.Stops[:a] {
			checkPair(t, in, i, &g.Stops[b], s)
		}
	}
	for _, id := range st.Events[i].Struck {
		found := false
		for _, s := range g.Stops {
			found = found || s.Note == id
		}
		if !found && g.Unplayable == "" {
			t.Fatalf("event %d: note %d has no stop and no reason", i, id)
		}
	}
	if (g.Unplayable != "") != (len(g.LeftOut) > 0) {
		t.Fatalf("event %d: unplayable %q, left out %v", i, g.Unplayable, g.LeftOut)
	}
}

// twin: the same pitch, struck by another voice, on the same stop.
func twin(st *Study, before []Stop, s *Stop) bool {
	for _, b := range before {
		if b.String == s.String {
			return b.Semitone == s.Semitone && b.Finger == s.Finger && st.part.Notes[b.Note].Voice != st.part.Notes[s.Note].Voice
		}
	}
	return false
}

func checkMarks(t *rapid.T, n *score.Note, s *Stop, said map[score.NoteID]bool) {
	if said[n.ID] || s.Touch != Pressed {
		return
	}
	if m, ok := n.Get(score.Fingering); ok && m.Text != fmt.Sprint(s.Finger) {
		t.Fatalf("printed finger %s on %v, given %d without a finding", m.Text, n.Sounding, s.Finger)
	}
	if m, ok := n.Get(score.String); ok && m.Text != fmt.Sprint(s.String) {
		t.Fatalf("printed string %s on %v, given %d without a finding", m.Text, n.Sounding, s.String)
	}
}

func checkPair(t *rapid.T, in *instrument.Instrument, i int, a, b *Stop) {
	if a.Finger == 0 || b.Finger == 0 {
		return
	}
	if rank(a.Finger) > rank(b.Finger) {
		a, b = b, a
	}
	switch {
	case a.Finger == b.Finger && (a.Semitone != b.Semitone || max(a.String-b.String, b.String-a.String) != 1):
		t.Fatalf("event %d: finger %d at two places", i, a.Finger)
	case a.Semitone > b.Semitone:
		t.Fatalf("event %d: finger %d at %d above finger %d at %d", i, a.Finger, a.Semitone, b.Finger, b.Semitone)
	case in.Span(a.Semitone, b.Semitone) > in.MaxStretch():
		t.Fatalf("event %d: stretch of %.0f mm", i, in.Span(a.Semitone, b.Semitone))
	}
}

func BenchmarkAnalyze1000Notes(b *testing.B) {
	for _, k := range []instrument.Kind{instrument.ViolinKind, instrument.CelloKind} {
		b.Run(k.String(), func(b *testing.B) {
			in := instrument.Of(k)
			var notes [][]string
			key, step := in.Open[3].MIDI()+10, 2
			for i := 0; i < 1000; i++ { // a wandering line over two and a half octaves
				key += step
				if i%7 == 3 {
					step = -step
				}
				if i%5 == 1 {
					step = 1 + i%4
				}
				if key > in.Open[0].MIDI()+16 {
					step, key = -2, key-15
				}
				if key < in.Open[3].MIDI() {
					step, key = 2, key+9
				}
				notes = append(notes, []string{midiName(key)})
			}
			sc, p := line(240, notes...)
			b.ResetTimer()
			for b.Loop() {
				Analyze(sc, p, Options{Instrument: in})
			}
		})
	}
}

func BenchmarkAnalyze1000DoubleStops(b *testing.B) {
	var notes [][]string
	for i := 0; i < 1000; i++ {
		low := 60 + (i*5)%17
		notes = append(notes, []string{midiName(low), midiName(low + []int{3, 4, 8, 9, 12, 7}[i%6])})
	}
	sc, p := line(240, notes...)
	for b.Loop() {
		Analyze(sc, p, Options{})
	}
}
