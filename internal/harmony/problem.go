package harmony

import "math/bits"

// heardBit is a bit of a mask of tones that counts as always heard.
const heardBit = 63

// State is a chord in a key, as indices into a Problem.
type State struct{ Key, Fn int }

// Segment is a stretch of units [From, To) under one state.
type Segment struct {
	From, To int
	State
}

// problem is one movement laid out for the search: what may be, not yet scored.
type problem struct {
	g       *grid
	home    Key
	keys    []Key
	chords  []Chord // all chords of all keys, each once
	chord   [][]int32
	role    [][tones]int8  // by chord and tone
	rel     [][tones]int16 // by chord and tone: place in the block of tints
	pace    int
	groupOf [2][]int // functions that follow and lead alike, by mode and function
	groupAs [2][]*function
	groups  [2]int
	members [2][][]int
	mask    [][4]uint64 // by chord and role: the bit of its tone, 0 for none
	bit     [][4]uint8  // the number of that bit; heardBit for none
	pivot   [][]int8    // by key and chord: its class there
	units   int
}

func newProblem(g *grid, home Key) *problem {
	p := &problem{g: g, home: home, units: len(g.units)}
	for d := -kinBack; d <= kinBack; d++ {
		f := Tone(home.Fifths() + d)
		p.keys = append(p.keys, Key{f, false}, Key{f + 3, true})
	}
	ids := map[Chord]int32{}
	for _, k := range p.keys {
		fs := functions[mode(k.Minor)]
		row := make([]int32, len(fs))
		for i, f := range fs {
			c := Chord{k.Tonic + f.root, f.quality}
			id, ok := ids[c]
			if !ok {
				id = int32(len(p.chords))
				ids[c] = id
				p.chords = append(p.chords, c)
			}
			row[i] = id
		}
		p.chord = append(p.chord, row)
	}
	for _, c := range p.chords {
		var roles [tones]int8
		var mask [4]uint64
		var rel [tones]int16
		for i := range roles {
			roles[i] = int8(c.role(loTone + Tone(i)))
			if r := roles[i]; r < foreign {
				mask[r] = 1 << uint(i)
			}
			rel[i] = int16(int(c.Quality)*motions + motionBucket(loTone+Tone(i)-c.Root))
		}
		p.rel = append(p.rel, rel)
		var bit [4]uint8
		for r, m := range mask {
			bit[r] = heardBit
			if m != 0 {
				bit[r] = uint8(bits.TrailingZeros64(m))
			}
		}
		p.bit = append(p.bit, bit)
		p.role, p.mask = append(p.role, roles), append(p.mask, mask)
	}
	for ki, k := range p.keys {
		row := make([]int8, len(p.chords))
		for i := range row {
			row[i] = classes
		}
		for i := len(p.chord[ki]) - 1; i >= 0; i-- { // the first reading of a chord wins
			row[p.chord[ki][i]] = functions[mode(k.Minor)][i].class
		}
		p.pivot = append(p.pivot, row)
	}
	p.pace = paceBucket(g)
	for m := range 2 {
		p.groupUp(m)
	}
	return p
}

const maxGroups = 64

func (p *problem) groupUp(m int) {
	type key struct {
		class int8
		root  Tone
	}
	ids := map[key]int{}
	for i := range functions[m] {
		f := &functions[m][i]
		k := key{f.class, f.root}
		id, ok := ids[k]
		if !ok {
			id = len(ids)
			ids[k] = id
			p.groupAs[m] = append(p.groupAs[m], f)
			p.members[m] = append(p.members[m], nil)
		}
		p.groupOf[m] = append(p.groupOf[m], id)
		p.members[m][id] = append(p.members[m][id], i)
	}
	p.groups[m] = len(ids)
}

func paceBucket(g *grid) int {
	struck, q := 0.0, 0.0
	for i := range g.units {
		struck, q = struck+float64(g.units[i].struck), q+float64(g.units[i].quarters)
	}
	switch {
	case struck < 1.7*q:
		return 0
	case struck < 2.9*q:
		return 1
	}
	return 2
}

// heard tells which roles of a chord the span has, as bits.
func (p *problem) heard(c int, mask uint64) int {
	b := &p.bit[c]
	return int(mask>>(b[0]&63)&1 | mask>>(b[1]&63)&1<<1 | mask>>(b[2]&63)&1<<2 | mask>>(b[3]&63)&1<<3)
}

// degree of the bass of a span in a key; degrees for none.
func (s *span) degree(k Key) int {
	if s.empty {
		return degrees
	}
	return degreeBucket(s.tone - k.Tonic)
}

// chordFeatures are those of a chord over one unit.
func (p *problem) chordFeatures(c, at int, add func(int, float64)) {
	u := &p.g.units[at]
	for _, o := range u.notes {
		r := int(p.role[c][o.tone-loTone])
		add(blTone.idx2(r, int(o.class)), float64(o.dur))
		if o.onset {
			add(blOnset.idx2(r, int(o.class)), 1)
		}
		add(blTint.at+int(p.rel[c][o.tone-loTone]), float64(o.dur))
	}
	if u.barWhen >= 0 {
		add(blBarLow.idx2(int(p.role[c][u.barLow-loTone]), int(u.barWhen)), 1)
	}
	if !u.empty {
		add(blUnitLow.idx2(int(p.role[c][u.lowTone-loTone]), int(u.level)), 1)
	}
	for _, o := range u.memory {
		add(blMemory.idx2(int(p.role[c][o.tone-loTone]), int(o.age)), 1)
	}
}

// keyFeatures are those of a key over one unit.
func (p *problem) keyFeatures(ki, at int, add func(int, float64)) {
	u, k := &p.g.units[at], p.keys[ki]
	m := mode(k.Minor)
	for _, o := range u.notes {
		add(blScale.idx2(m, degreeBucket(o.tone-k.Tonic)), float64(o.dur))
	}
	for _, o := range u.line {
		add(blLine.idx3(m, degreeBucket(o[0]-k.Tonic), degreeBucket(o[1]-k.Tonic)), 1)
	}
	add(blKin.idx(mode(p.home.Minor), m, kinBucket(p.home, k)), float64(u.quarters))
	add(blPlace.idx3(mode(p.home.Minor), u.place, relation(p.home, k)), float64(u.quarters))
}

func (p *problem) fn(s State) *function { return &functions[mode(p.keys[s.Key].Minor)][s.Fn] }

func (p *problem) chordOf(s State) Chord { return p.chords[p.chord[s.Key][s.Fn]] }

// span is what a segment holds apart from its chord.
type span struct {
	mask   uint64
	low    int16
	tone   Tone
	struck int
	beats  float32
	bars   float32
	level  int
	cross  bool // a bar line lies inside and it does not start on one
	first  Tone // lowest at its start
	empty  bool
}

func startSpan(u *unit) span {
	return span{mask: u.mask, low: u.low, tone: u.lowTone, struck: u.struck, beats: u.beats, bars: u.bars, level: int(u.level), first: u.first, empty: u.empty}
}

// before puts a unit in front of the span.
func (s span) before(u *unit) span {
	n := startSpan(u)
	n.mask |= s.mask
	if s.low < n.low {
		n.low, n.tone = s.low, s.tone
	}
	if n.empty {
		n.first = s.first
	}
	n.empty = n.empty && s.empty
	n.struck += s.struck
	n.beats += s.beats
	n.bars += s.bars
	n.cross = (s.cross || s.level == 0) && u.level != 0
	return n
}

// segmentFeatures tells all features of a segment that do not depend on its
// neighbours.
func (p *problem) segmentFeatures(s Segment, add func(int, float64)) {
	k, c := p.keys[s.Key], p.chord[s.Key][s.Fn]
	m := mode(k.Minor)
	for i := s.From; i < s.To; i++ {
		p.chordFeatures(int(c), i, add)
		p.keyFeatures(s.Key, i, add)
	}
	sp := startSpan(&p.g.units[s.To-1])
	for i := s.To - 2; i >= s.From; i-- {
		sp = sp.before(&p.g.units[i])
	}
	p.spanFeatures(sp, add)
	p.wholeFeatures(int(c), sp, add)
	add(blNumeral.idx2(m, s.Fn), 1)
	if d := sp.degree(k); d < degrees {
		add(blBass.idx3(m, int(functions[m][s.Fn].class), d), 1)
	}
}

// spanFeatures are those of any segment of these units.
func (p *problem) spanFeatures(sp span, add func(int, float64)) {
	add(blLength.idx1(lengthBucket(sp.beats)), 1)
	add(blBars.idx1(barBucket(sp.bars)), 1)
	add(blLevel.idx1(sp.level), 1)
	add(blPaceLevel.idx2(p.pace, sp.level), 1)
	add(blPaceLength.idx2(p.pace, lengthBucket(sp.beats)), 1)
	if sp.cross {
		add(blCross.idx1(sp.level), 1)
	}
}

// wholeFeatures are those of a chord over a whole segment.
func (p *problem) wholeFeatures(c int, sp span, add func(int, float64)) {
	if sp.empty {
		return
	}
	add(blLow.idx2(int(p.chords[c].Quality), int(p.role[c][sp.tone-loTone])), 1)
	add(blFirst.idx1(int(p.role[c][sp.first-loTone])), 1)
	many := 0
	if sp.struck >= fullEnough {
		many = 1
	}
	for r, bit := range p.mask[c] {
		if bit != 0 && sp.mask&bit == 0 {
			add(blMissing.idx3(int(p.chords[c].Quality), r, many), 1)
		}
	}
}

// joinFeatures are those of a step from one state to the next before unit at.
func (p *problem) joinFeatures(a, b State, at int, add func(int, float64)) {
	u := &p.g.units[at]
	fa, fb := p.fn(a), p.fn(b)
	ka, kb := p.keys[a.Key], p.keys[b.Key]
	ma, mb := mode(ka.Minor), mode(kb.Minor)
	if a.Key == b.Key {
		if u.section {
			add(blSection.idx1(1), 1)
		}
		if a.Fn == b.Fn {
			add(blSame.idx1(0), 1)
			return
		}
		add(blFollow.idx3(ma, int(fa.class), int(fb.class)), 1)
		add(blMotion.idx2(ma, motionBucket(fb.root-fa.root)), 1)
		return
	}
	add(blShift.idx3(ma, mb, shiftBucket(ka, kb)), 1)
	add(blShiftAt.idx1(int(u.level)), 1)
	if u.section {
		add(blSection.idx1(0), 1)
	}
	add(blLeave.idx2(ma, int(fa.class)), 1)
	add(blEnter.idx2(mb, int(fb.class)), 1)
	add(blPivot.idx2(ma, int(p.pivot[a.Key][p.chord[b.Key][b.Fn]])), 1)
}

func (p *problem) openFeatures(s State, add func(int, float64)) {
	add(blOpen.idx2(mode(p.keys[s.Key].Minor), int(p.fn(s).class)), 1)
	if p.keys[s.Key] == p.home {
		add(blHomeEnds.idx1(0), 1)
	}
}

func (p *problem) closeFeatures(s State, add func(int, float64)) {
	add(blClose.idx2(mode(p.keys[s.Key].Minor), int(p.fn(s).class)), 1)
	if p.keys[s.Key] == p.home {
		add(blHomeEnds.idx1(1), 1)
	}
}

// pathFeatures tells all features of a whole reading.
func (p *problem) pathFeatures(path []Segment, add func(int, float64)) {
	for i, s := range path {
		p.segmentFeatures(s, add)
		if i == 0 {
			p.openFeatures(s.State, add)
		} else {
			p.joinFeatures(path[i-1].State, s.State, s.From, add)
		}
		if i == len(path)-1 {
			p.closeFeatures(s.State, add)
		}
	}
}

// score of a whole reading under weights.
func (p *problem) score(w *Weights, path []Segment) float64 {
	sum := 0.0
	p.pathFeatures(path, func(i int, v float64) { sum += w.w[i] * v })
	return sum
}
