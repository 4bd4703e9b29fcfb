package fingering

import (
	"math"
	"slices"

	"pochette/internal/instrument"
	"pochette/internal/score"
	"pochette/internal/sequence"
	"pochette/internal/timeline"
)

// Problem is a part laid out for the search: a layer of grips for each event
// that is played, the passages between them, and the joins that repeats and
// jumps add. It is a sequence.Lattice (without the joins).
type Problem struct {
	Events   []timeline.Event
	Findings []score.Finding
	sc       *score.Score
	p        *score.Part
	o        Options
	m        *model
	gen      generator
	layers   []layer
	joins    []join
	alive    map[score.NoteID]bool // notes of the grips of the event last laid out
	struck   map[score.NoteID]tone // as they were struck, for when they are held
}

var _ sequence.Lattice = (*Problem)(nil)

// layer is one played event.
type layer struct {
	event  int
	states []state
	nodes  []float64
	pass   passage // from the layer before
	at     moment
	lost   []score.NoteID                // beyond the instrument, never in a state
	why    string                        // why some notes are left out
	advice string                        // what helps
	twins  map[score.NoteID]score.NoteID // unisons that share a stop
}

// join is a passage of the play order that is not the written one: from the
// end of a repeated section to its beginning, over an ending, by a da capo.
type join struct {
	from, to int // layers
	pass     passage
}

// NewProblem lays out a part.
func NewProblem(sc *score.Score, p *score.Part, o Options) *Problem {
	if o.Instrument.Open == nil {
		o.Instrument = instrument.Violin()
	}
	if o.Weights == nil {
		o.Weights = DefaultWeights()
	}
	if o.Pace == nil {
		pace := timeline.PaceOf(sc, p)
		o.Pace = &pace
	}
	pr := &Problem{Events: timeline.Events(p), sc: sc, p: p, o: o}
	pr.m = newModel(&pr.o.Instrument, o.Weights.vector(o.Instrument.Kind, o.Profile))
	pr.m.taste(o.Harmonics)
	pr.gen.in = &pr.o.Instrument
	pr.layOut()
	pr.survey()
	pr.surveyHarmonics()
	pr.spreadOpen()
	pr.joinRepeats()
	for i := range pr.layers {
		pr.weighNodes(&pr.layers[i])
	}
	return pr
}

// Layers, States, Node and Edge make it a lattice.
func (pr *Problem) Layers() int           { return len(pr.layers) }
func (pr *Problem) States(i int) int      { return len(pr.layers[i].states) }
func (pr *Problem) Node(i, s int) float64 { return pr.layers[i].nodes[s] }

// Edge is the cost of the way between grips of neighbouring layers.
func (pr *Problem) Edge(i, from, to int) float64 {
	l := &pr.layers[i]
	return pr.way(&pr.layers[i-1].states[from], &l.states[to], &l.pass)
}

func (pr *Problem) way(a, b *state, p *passage) float64 { return pr.wayBelow(a, b, p, 0) }

// wayBelow is way where that is less than enough; else +Inf.
func (pr *Problem) wayBelow(a, b *state, p *passage, enough float64) float64 {
	t := tally{w: &pr.m.w, enough: enough}
	if !pr.m.edge(a, b, p, &t) {
		return math.Inf(1)
	}
	if enough > 0 && t.sum >= enough {
		return math.Inf(1)
	}
	return t.sum
}

// Features adds up the terms of a path, joins included, in the order of
// TermNames: its product with the weights is the path's cost. Learning compares
// them.
func (pr *Problem) Features(path []int) []float64 {
	v := make([]float64, nTerms)
	for i := range path {
		for k, x := range pr.terms(path, i) {
			v[k] += x
		}
	}
	for _, j := range pr.joins {
		var vals [nTerms]float64
		pr.m.edge(&pr.layers[j.from].states[path[j.from]], &pr.layers[j.to].states[path[j.to]], &j.pass, &tally{w: &pr.m.w, vals: &vals})
		for k, x := range vals {
			v[k] += x
		}
	}
	return v
}

// terms of one layer of a path: its node and the way into it.
func (pr *Problem) terms(path []int, i int) (vals [nTerms]float64) {
	l := &pr.layers[i]
	t := tally{w: &pr.m.w, vals: &vals}
	pr.m.node(&l.states[path[i]], &l.at, &t)
	if i > 0 {
		pr.m.edge(&pr.layers[i-1].states[path[i-1]], &l.states[path[i]], &l.pass, &t)
	}
	return vals
}

// graceSeconds is how long a grace note has.
const graceSeconds = 0.1

func (pr *Problem) layOut() {
	r := &reader{p: pr.p, o: &pr.o, at: func(id score.NoteID) score.Loc { return timeline.AtNote(pr.p, id) }}
	r.words = positionWords(pr.p, pr.Events)
	last := -1
	for i := range pr.Events {
		e := &pr.Events[i]
		if e.Rest {
			continue
		}
		l := layer{event: i, at: moment{seconds: graceSeconds}}
		if !e.Grace {
			l.at.seconds = pr.seconds(e.Onset, e.Dur)
		}
		pr.fill(&l, e, r)
		if last >= 0 {
			l.pass = pr.passageTo(last, i)
			l.pass.next = l.at.seconds
		}
		last = i
		pr.layers = append(pr.layers, l)
	}
	pr.Findings = append(pr.Findings, r.findings...)
}

// passageTo is what lies between two written neighbours, rests skipped.
func (pr *Problem) passageTo(a, b int) passage {
	p := passage{seconds: graceSeconds, slurred: pr.Events[b].Slurred}
	if e := &pr.Events[a]; !e.Grace {
		p.seconds = pr.seconds(e.Onset, e.Dur)
	}
	for i := a + 1; i < b; i++ {
		p.rest += pr.seconds(pr.Events[i].Onset, pr.Events[i].Dur)
	}
	if s := pr.o.Strokes; len(s) == len(pr.Events) {
		p.slurred = s[a] == s[b] && s[a] >= 0
	}
	if p.rest > 0 {
		p.slurred = false
	}
	return p
}

// spreadOpen gives the grips of open strings alone (and of nothing) a place for
// the hand: any from which or to which a neighbour plays.
func (pr *Problem) spreadOpen() {
	plain := make([][]instrument.Hand, len(pr.layers))
	for i := range pr.layers {
		plain[i] = handsOf(pr.layers[i].states)
	}
	for i := range pr.layers {
		l := &pr.layers[i]
		if !slices.ContainsFunc(l.states, func(s state) bool { return s.open }) {
			continue
		}
		var hands []instrument.Hand
		for j := i - 1; j >= 0; j-- {
			if len(plain[j]) > 0 {
				hands = append(hands, plain[j]...)
				break
			}
		}
		for j := i + 1; j < len(plain); j++ {
			if len(plain[j]) > 0 {
				hands = append(hands, plain[j]...)
				break
			}
		}
		if len(hands) == 0 {
			hands = []instrument.Hand{{Place: 2, Shape: pr.o.Instrument.Shapes()[0]}}
		}
		slices.SortFunc(hands, func(a, b instrument.Hand) int {
			return (int(a.Place)-int(b.Place))*8 + int(a.Shape) - int(b.Shape)
		})
		hands = slices.Compact(hands)
		var out []state
		for _, s := range l.states {
			if !s.open {
				out = append(out, s)
				continue
			}
			for _, h := range hands {
				s.hand = h
				out = append(out, s)
			}
		}
		l.states = out
	}
}

func handsOf(states []state) []instrument.Hand {
	var out []instrument.Hand
	for i := range states {
		if h := states[i].hand; !states[i].open && !slices.Contains(out, h) {
			out = append(out, h)
		}
	}
	return out
}

// joinRepeats walks the play order and keeps each way between played events
// that is not the written one; written neighbours never played in a row are cut.
func (pr *Problem) joinRepeats() {
	layerOf := make([]int, len(pr.Events))
	byMeasure := make([][]int, len(pr.p.Measures))
	for i := range layerOf {
		layerOf[i] = -1
		m := pr.Events[i].Measure
		byMeasure[m] = append(byMeasure[m], i)
	}
	for k, l := range pr.layers {
		layerOf[l.event] = k
	}
	played := make([]bool, len(pr.layers))
	seen := map[[2]int]bool{}
	order, _ := timeline.PlayOrder(pr.p)
	last, rest := -1, 0.0
	for _, v := range order {
		for _, e := range byMeasure[v.Measure] {
			k := layerOf[e]
			if k < 0 {
				rest += pr.seconds(pr.Events[e].Onset, pr.Events[e].Dur)
				continue
			}
			if last >= 0 && k == last+1 {
				played[k] = true
			} else if key := [2]int{last, k}; last >= 0 && !seen[key] {
				seen[key] = true
				pr.joins = append(pr.joins, join{last, k, passage{seconds: pr.layers[last].at.seconds, rest: rest, jump: true, next: pr.layers[k].at.seconds}})
			}
			last, rest = k, 0
		}
	}
	for k := 1; k < len(pr.layers); k++ {
		pr.layers[k].pass.cut = !played[k] && len(order) > 0
	}
}

// positionWords maps the note at or after a printed position to it.
func positionWords(p *score.Part, events []timeline.Event) map[score.NoteID]int {
	out := map[score.NoteID]int{}
	for _, d := range p.Directions {
		if d.Kind != "words" || len(d.Text) > 60 {
			continue
		}
		pos, ok := instrument.ParsePosition(d.Text)
		if !ok {
			continue
		}
		for i := range events {
			if e := &events[i]; !e.Rest && !e.Grace && e.Onset >= d.At {
				for _, id := range e.Struck {
					out[id] = pos
				}
				break
			}
		}
	}
	return out
}

// seconds is how long a stretch lasts.
func (pr *Problem) seconds(at, length score.Tick) float64 { return pr.o.Pace.Seconds(at, at+length) }
