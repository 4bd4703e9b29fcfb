package joint

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pochette/internal/bowing"
	"pochette/internal/fingering"
	"pochette/internal/instrument"
	"pochette/internal/pitch"
	"pochette/internal/score"
	"pochette/internal/sequence"
)

var seedFlag = flag.Uint64("seed", 0, "seed of the random cases; 0: a new one each time")

func seeded(t *testing.T) *rand.Rand {
	t.Helper()
	seed := *seedFlag
	if seed == 0 {
		seed = rand.Uint64()
	}
	t.Logf("seed %d", seed)
	return rand.New(rand.NewPCG(seed, 7))
}

// tiny writes a part of a few notes with everything that can go wrong: chords,
// slurs, rests, dots, signs, plucked notes, repeats, endings, a da capo.
func tiny(r *rand.Rand) (*score.Score, *score.Part) {
	p := &score.Part{ID: "P1", Name: "Violin"}
	sc := &score.Score{Quarter: 480, Parts: []*score.Part{p}}
	p.Directions = append(p.Directions, score.Direction{Kind: "sound", Tempo: float64(30 + r.IntN(120))})
	const bar = 960
	at, slur := score.Tick(0), score.NoNote
	n := 2 + r.IntN(4)
	for range n {
		d := []score.Tick{120, 240, 360, 480, 480, 960}[r.IntN(6)]
		if r.IntN(8) == 0 {
			at += d
			continue
		}
		at = addTiny(r, p, at, d, &slur)
	}
	if len(p.Notes) == 0 {
		at = addTiny(r, p, at, 480, &slur)
	}
	for t := score.Tick(0); t < at; t += bar {
		i := len(p.Measures)
		p.Measures = append(p.Measures, score.Measure{Index: i, Number: fmt.Sprint(i + 1), Start: t, Len: bar,
			Meter: score.Meter{Beats: "2", Unit: "4", Num: 2, Den: 4, Len: bar, Groups: []score.Tick{bar}}})
	}
	for i := range p.Notes {
		p.Notes[i].Measure = int(p.Notes[i].Onset / bar)
	}
	repeatTiny(r, p)
	return sc, p
}

func addTiny(r *rand.Rand, p *score.Part, at, d score.Tick, slur *score.NoteID) score.Tick {
	head := score.NoteID(len(p.Notes))
	key := 55 + r.IntN(30)
	keys := []int{key}
	for r.IntN(4) == 0 && len(keys) < 4 && key < 75 {
		keys = append(keys, keys[len(keys)-1]+5+r.IntN(5))
	}
	dur := d
	if r.IntN(6) == 0 {
		dur /= 2
	}
	for k, q := range keys {
		w := pitch.FromMIDI(q, 0)
		n := score.Note{ID: score.NoteID(len(p.Notes)), Head: head, Chord: k > 0, Onset: at, Dur: dur, Voice: "1", Staff: 1,
			Written: w, Sounding: w, TieFrom: score.NoNote, TieTo: score.NoNote}
		if k == 0 {
			for _, m := range []score.MarkKind{score.UpBow, score.DownBow, score.Staccato, score.Accent, score.NotePizzicato, score.Fermata} {
				if r.IntN(14) == 0 {
					n.Marks = append(n.Marks, score.Mark{Kind: m})
				}
			}
		}
		p.Notes = append(p.Notes, n)
	}
	switch {
	case *slur == score.NoNote && r.IntN(3) == 0:
		*slur = head
	case *slur != score.NoNote && r.IntN(2) == 0:
		p.Slurs = append(p.Slurs, score.Slur{Number: 1, Start: *slur, End: head})
		*slur = score.NoNote
	}
	return at + d
}

func repeatTiny(r *rand.Rand, p *score.Part) {
	n := len(p.Measures)
	for range r.IntN(3) {
		a := r.IntN(n)
		b := a + r.IntN(n-a)
		p.Measures[a].RepeatStart = true
		p.Measures[b].RepeatTimes = 2
		if b+1 < n && b > a && r.IntN(2) == 0 {
			p.Measures[b].Endings, p.Measures[b].EndingStart, p.Measures[b].EndingStop = []int{1}, true, true
			p.Measures[b+1].Endings, p.Measures[b+1].EndingStart, p.Measures[b+1].EndingStop = []int{2}, true, true
		}
	}
	if r.IntN(5) == 0 {
		p.Measures[n-1].Jump.DaCapo = true
		p.Measures[r.IntN(n)].Jump.Fine = true
	}
	p.Measures[n-1].RightBar = "light-heavy"
}

func tinyOptions(r *rand.Rand) Options {
	o := Options{Places: 2 + r.IntN(2)}
	o.Bow.MayChangeSlurs = r.IntN(2) == 0
	if r.IntN(2) == 0 { // cheap changes, so that every kind of them occurs
		bw := *bowing.DefaultWeights()
		for _, k := range []int{bowing.LinkPair, bowing.LinkDotted, bowing.LinkHaste, bowing.SplitSlur, bowing.JoinNotes, bowing.RetakeLift} {
			bw[k] *= 0.3 * r.Float64()
		}
		o.Bow.Weights = &bw
	}
	switch r.IntN(8) {
	case 0:
		o.Bow.Fewest = true
	case 1:
		o.Bow.Strict = true
	}
	switch r.IntN(6) {
	case 0, 1:
		o.Hand.Instrument = instrument.Cello()
	case 2:
		o.Hand.Weights = fingering.LearnedWeights()
	}
	w := DefaultWeights(instrument.ViolinKind) // larger than in earnest, so that they decide
	for k := range w {
		w[k] *= 10 * r.Float64()
	}
	o.Weights = w
	return o
}

// thin allows a few grips of each layer.
func thin(r *rand.Rand, s *Solver, most int) map[int]*restriction {
	only := map[int]*restriction{}
	for i := range s.layers {
		ok := make([]bool, s.layers[i].grips)
		for range most {
			ok[r.IntN(len(ok))] = true
		}
		s.narrow(only, i, func(int) bool { return true }, ok)
	}
	return only
}

// twin is the brute-force search: every state of every bow, every allowed grip
// of every layer, every place; the cost by definition.
type twin struct {
	pr   *Problem
	only map[int]*restriction
	best float64
	all  []float64 // the least cost of every (bows, grips), where asked for
	keep bool
	each func(states, grips []int, cost float64)
}

func (w *twin) run() float64 {
	w.best = math.Inf(1)
	w.bows(make([]int, w.pr.Bow.Bows()), 0)
	return w.best
}

func (w *twin) bows(states []int, b int) {
	if b < len(states) {
		for k := range w.pr.Bow.States(b) {
			states[b] = k
			w.bows(states, b+1)
		}
		return
	}
	base := bowCost(w.pr, states)
	if math.IsInf(base, 1) {
		return
	}
	base += drawAll(w.pr, states, 0, -1)
	w.grips(states, make([]int, len(w.pr.layers)), 0, base)
}

func (w *twin) grips(states, grips []int, i int, sum float64) {
	pr := w.pr
	if i == len(grips) {
		for k, j := range pr.Hand.Ties() {
			sum += pr.Hand.TieCost(k, grips[j[0]], grips[j[1]])
		}
		if w.keep && !math.IsInf(sum, 1) {
			w.all = append(w.all, sum)
		}
		if w.each != nil && !math.IsInf(sum, 1) {
			w.each(states, grips, sum)
		}
		w.best = min(w.best, sum)
		return
	}
	var ok []bool
	if r := w.only[i]; r != nil {
		k := 0
		if b := pr.layers[i].bow; b >= 0 {
			k = states[b]
		}
		if ok = r.grips[k]; ok == nil {
			return
		}
	}
	for g := range pr.layers[i].grips {
		if ok != nil && !ok[g] {
			continue
		}
		grips[i] = g
		if c := handCost(pr, states, grips, i); !math.IsInf(c, 1) {
			w.grips(states, grips, i+1, sum+c)
		}
	}
}

func bowCost(pr *Problem, states []int) float64 {
	sum := 0.0
	for b, k := range states {
		sum += pr.Bow.NodeCost(b, k)
	}
	for i, l := range pr.Bow.Links() {
		if l.A != l.B {
			sum += pr.Bow.LinkCost(i, states[l.A], states[l.B])
		}
	}
	return sum
}

// handCost of layer i by definition: its grip, the way into it with the bow as
// it goes, and the crossing by direction.
func handCost(pr *Problem, states, grips []int, i int) float64 {
	sum := pr.Hand.Node(i, grips[i])
	if i == 0 {
		return sum
	}
	e, f := pr.Hand.LayerEvent(i-1), pr.Hand.LayerEvent(i)
	ba, da := heldBy(pr, states, e)
	bb, db := heldBy(pr, states, f)
	how := fingering.Changed
	switch {
	case bb < 0: // plucked
		how = pr.Hand.Bowed(i)
	case ba == bb && da == db:
		how = fingering.Slurred
	case ba == bb || ba < 0:
	case pr.Bow.Chain(bb) >= 0:
		li := pr.Bow.Chain(bb)
		kind := pr.Bow.LinkKind(li, states[ba], states[bb])
		l := pr.Bow.Links()[li]
		switch {
		case kind == bowing.Retake:
			how = fingering.Lifted
		case l.Jump || l.Gap > 0:
		case kind == bowing.Link:
			how = fingering.Stopped
		case kind == bowing.Join:
			how = fingering.Slurred
		}
	}
	sum += pr.Hand.EdgeBow(i, grips[i-1], grips[i], how)
	rest, _ := pr.Hand.Rest(i)
	if ba < 0 || bb < 0 || rest > 0 || how == fingering.Lifted {
		return sum
	}
	loA, hiA := pr.Hand.StringsAt(i-1, grips[i-1])
	loB, hiB := pr.Hand.StringsAt(i, grips[i])
	w := pr.w[CrossInStroke]
	if how == fingering.Changed {
		w = pr.w[CrossAtTurn]
	}
	switch {
	case loA > hiB && da == bowing.Up:
		sum += w * float64(loA-hiB)
	case loB > hiA && da == bowing.Down:
		sum += w * float64(loB-hiA)
	}
	return sum
}

// heldBy is the bow that takes an event, -1 if it is plucked, and its direction.
func heldBy(pr *Problem, states []int, event int) (int, bowing.Direction) {
	for b, k := range states {
		first, last := pr.Bow.Span(b)
		if event < first || event > last {
			continue
		}
		if pr.Bow.Split(b, k) && event >= pr.Bow.CutAt(b) {
			return b, pr.Bow.Exit(b, k)
		}
		return b, pr.Bow.Entry(b, k)
	}
	return -1, bowing.None
}

// drawAll tries every place for the beginning and end of every stroke from b on.
func drawAll(pr *Problem, states []int, b, end int) float64 {
	if b == len(states) {
		return 0
	}
	k := pr.stroke(b, false, states[b])
	k.f = free
	if li := pr.Bow.Chain(b); b > 0 && li >= 0 {
		l := pr.Bow.Links()[li]
		switch kind := pr.Bow.LinkKind(li, states[b-1], states[b]); {
		case kind == bowing.Retake:
			k.f = set
		case !l.Jump && l.Gap == 0 && kind != bowing.AfterRest:
			k.f = bound
		}
	}
	best := math.Inf(1)
	for start := range pr.places {
		for to := range pr.places {
			c := legCost(pr, &k, end, start, to)
			if math.IsInf(c, 1) {
				continue
			}
			if !pr.Bow.Split(b, states[b]) {
				best = min(best, c+drawAll(pr, states, b+1, to))
				continue
			}
			k2 := pr.stroke(b, true, states[b])
			for start2 := range pr.places {
				for to2 := range pr.places {
					if c2 := legCost(pr, &k2, to, start2, to2); !math.IsInf(c2, 1) {
						best = min(best, c+c2+drawAll(pr, states, b+1, to2))
					}
				}
			}
		}
	}
	return best
}

func legCost(pr *Problem, k *matKey, end, start, to int) float64 {
	moves, frog, chord := pr.begin(k, max(end, 0), start)
	speed, out := pr.draw(k, start, to)
	return moves + frog + chord + speed + out
}

// small says that the twin can finish.
func small(pr *Problem) bool {
	n := 1.0
	for b := range pr.Bow.Bows() {
		n *= float64(pr.Bow.States(b))
	}
	draws := 1.0
	for b := range pr.Bow.Bows() {
		f := float64(pr.places * pr.places)
		if pr.Bow.CutAt(b) > 0 {
			f *= float64(pr.places)
		}
		draws *= f
	}
	return n*math.Pow(2, float64(len(pr.layers))) <= 3000 && n*draws <= 30000
}

func randomCase(r *rand.Rand, most int) (*Solver, *sequence.Search[*tables]) {
	for {
		sc, p := tiny(r)
		pr := NewProblem(sc, p, tinyOptions(r))
		if !small(pr) {
			continue
		}
		s := &Solver{Problem: pr, chain: &chain{pr: pr}, layerOf: pr.Hand.LayerOf(), eventOf: eventsByNote(pr), decided: map[score.NoteID]Decision{}, built: map[score.NoteID]bool{}, masks: map[int]*mask{}}
		s.chain.only = thin(r, s, most)
		return s, sequence.NewSearch[*tables](s.chain, pr.ties, nil, nil)
	}
}

// TestJointIsExact: the search costs what the brute-force twin finds, and the
// plan read off it costs that by definition and term by term.
func TestJointIsExact(t *testing.T) {
	r := seeded(t)
	cases, ties, splits, joins, kinds := 3000, 0, 0, 0, map[fingering.Bow]int{}
	if testing.Short() {
		cases = 1500 // one case in 180 joins strokes
	}
	for n := range cases {
		s, search := randomCase(r, 2)
		w := twin{pr: s.Problem, only: s.chain.only}
		want := w.run()
		j := search.Solve(DefaultBranches)
		if math.IsInf(want, 1) != math.IsInf(j.Cost, 1) || !math.IsInf(want, 1) && math.Abs(j.Cost-want) > tol(want) || !j.Exact {
			t.Fatalf("case %d: search %v (exact %v), twin %v", n, j.Cost, j.Exact, want)
		}
		if math.IsInf(want, 1) {
			continue
		}
		if len(s.ties) > 0 {
			ties++
		}
		p := s.Problem.plan(j.States, j.Cost)
		for _, e := range p.edges() {
			kinds[e]++
		}
		for b, k := range p.Bows {
			if s.Bow.Split(b, k) {
				splits++
			}
			if li := s.Bow.Chain(b); li >= 0 && s.Bow.LinkKind(li, p.Bows[b-1], k) == bowing.Join {
				joins++
			}
		}
		checkPlan(t, n, p, want)
	}
	t.Logf("%d cases, %d with repeats or jumps, %d split slurs, %d joined strokes, ways %v", cases, ties, splits, joins, kinds)
	if ties < cases/20 || splits == 0 || joins == 0 || len(kinds) < 4 {
		t.Errorf("the random cases are too tame")
	}
}

// tol allows for rounding; the penalties of the counting modes are large.
func tol(v float64) float64 { return 1e-7 * (1 + math.Abs(v)/100) }

func checkPlan(t *testing.T, n int, p *Plan, want float64) {
	t.Helper()
	pr := p.pr
	sum := bowCost(pr, p.Bows) + drawAll(pr, p.Bows, 0, -1)
	for i := range p.Grips {
		sum += handCost(pr, p.Bows, p.Grips, i)
	}
	for k, j := range pr.Hand.Ties() {
		sum += pr.Hand.TieCost(k, p.Grips[j[0]], p.Grips[j[1]])
	}
	if math.Abs(sum-want) > tol(want) {
		t.Fatalf("case %d: the plan costs %v by definition, not %v", n, sum, want)
	}
	terms := 0.0
	for _, it := range p.Items() {
		terms += it.Value
	}
	if math.Abs(terms-p.Cost) > tol(want)+1e-5*float64(len(p.Bows)) {
		t.Fatalf("case %d: the terms add up to %v, the plan costs %v: %v", n, terms, p.Cost, p.Terms())
	}
	b := p.BowStudy()
	if got := bowCost(pr, p.Bows) - pr.Bow.Penalty(p.Bows); math.Abs(b.Plan.Cost-got) > tol(want) {
		t.Fatalf("case %d: bowing counts %v for the same strokes, not %v", n, b.Plan.Cost, got)
	}
	h := p.HandStudy()
	if len(h.Grips) != len(pr.Hand.Events) {
		t.Fatalf("case %d: %d grips for %d events", n, len(h.Grips), len(pr.Hand.Events))
	}
}

// TestDecisionsResolve: after each of some decisions, and after taking one back,
// the kept search finds what the twin finds under the same restrictions.
func TestDecisionsResolve(t *testing.T) {
	r := seeded(t)
	done := 0
	cases := 1200
	if testing.Short() {
		cases = 100
	}
	for n := range cases {
		s, _ := randomCase(r, 3)
		free := s.chain.only
		s.chain.only = nil
		base := map[int]*restriction{}
		_ = free
		// the grips kept by thin become the only ones there are
		for i, x := range free {
			s.masks[i] = &mask{grips: x.grips[0]}
			base[i] = x
		}
		s.chain.only = free
		s.search = sequence.NewSearch[*tables](s.chain, s.ties, nil, nil)
		if s.plan = s.solve(); s.plan == nil {
			continue
		}
		for range 3 {
			i := r.IntN(len(s.layers))
			only := map[int]*restriction{}
			for k, m := range s.masks {
				s.restrict(only, k, m)
			}
			g := s.plan.Grips[i]
			m := &mask{grips: slices.Clone(s.masks[i].grips), bow: s.masks[i].bow}
			if r.IntN(2) == 0 && !s.layers[i].plucked && m.bow == bowing.None {
				m.bow = bowing.Down + bowing.Direction(r.IntN(2))
			} else {
				m.grips[g] = false
				if !slices.Contains(m.grips, true) {
					continue
				}
			}
			before := s.masks[i]
			s.setMask(i, m)
			s.search.Tighten(s.bowLayer(i))
			s.search.Tighten(i)
			w := twin{pr: s.Problem, only: s.chain.only}
			want := w.run()
			j := s.search.Solve(DefaultBranches)
			if math.IsInf(want, 1) != math.IsInf(j.Cost, 1) || !math.IsInf(want, 1) && math.Abs(j.Cost-want) > tol(want) {
				t.Fatalf("case %d: solved again %v, twin %v", n, j.Cost, want)
			}
			done++
			if math.IsInf(want, 1) {
				s.setMask(i, before)
				s.restart(i)
				w := twin{pr: s.Problem, only: s.chain.only}
				if want, j := w.run(), s.search.Solve(DefaultBranches); math.Abs(j.Cost-want) > tol(want) {
					t.Fatalf("case %d: taken back %v, twin %v", n, j.Cost, want)
				}
				continue
			}
			s.plan = s.Problem.plan(j.States, j.Cost)
		}
	}
	t.Logf("%d decisions", done)
}
