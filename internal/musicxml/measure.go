package musicxml

import (
	"strconv"
	"strings"

	"pochette/internal/pitch"
	"pochette/internal/score"
)

// partState is a part while it is read. Until settle, onsets count from the
// start of their measure and NoteIDs are indices in file order.
type partState struct {
	d     *decoder
	part  *score.Part
	seen  bool
	notes []finding

	div        ratio // divisions to a quarter
	divKnown   bool
	meter      score.Meter
	keys       map[int]score.Key // by staff, 0 = all
	clefs      map[int]score.Clef
	transpose  map[int]pitch.Interval
	ending     []int
	forward    bool // a forward repeat that the measure before asked for
	noncontrol bool
	voiceRank  map[string]int
	raw        []rawNote
	slurs      []slurEvent
	newID      []score.NoteID // of each raw note, after sorting
	info       []measureInfo
	noVoice    bool // said already

	// in the present measure
	m        *score.Measure
	pos, max score.Tick
	backups  int
	lastNote int // index + 1 of the last note that carries a stem, 0 = none
}

// measureInfo is what only the checks of a measure's length need.
type measureInfo struct {
	held         score.Tick // in this part alone
	meterChanges bool       // inside
	noncontrol   bool
}

// measure reads the element the scanner stands in.
func (ps *partState) measure(tag measureTag) error {
	ps.open(tag)
	err := ps.d.each(func(name string) error {
		e, err := ps.d.f.read(ps.d.s)
		if err != nil {
			return err
		}
		switch name {
		case "note":
			ps.readNote(e)
		case "backup", "forward":
			ps.move(e)
		case "attributes":
			ps.attributes(e)
		case "direction":
			ps.direction(e)
		case "barline":
			ps.barline(e)
		case "print":
			if e.get("new-system") == "yes" || e.get("new-page") == "yes" {
				ps.m.NewSystem = true
			}
		case "sound":
			ps.sound(e, e, nil)
		}
		return nil
	})
	ps.close(ps.d.s.end)
	return err
}

func (ps *partState) emptyMeasure(tag measureTag) {
	ps.open(tag)
	ps.close(tag.start)
}

func (ps *partState) open(tag measureTag) {
	if ps.keys == nil {
		ps.keys, ps.clefs, ps.transpose = map[int]score.Key{}, map[int]score.Clef{}, map[int]pitch.Interval{}
		ps.voiceRank = map[string]int{}
		ps.div = ratio{1, 1}
	}
	ps.m = &score.Measure{Index: len(ps.part.Measures), Number: tag.number, Implicit: tag.implicit, Meter: ps.meter,
		Src: score.Span{Start: int64(tag.start)}, RepeatStart: ps.forward, Endings: ps.ending}
	ps.forward = false
	ps.info = append(ps.info, measureInfo{noncontrol: tag.noncontrol})
	ps.noncontrol = ps.noncontrol || tag.noncontrol
	ps.m.Key = ps.keyOf(1)
	for staff := 1; staff <= ps.part.Staves; staff++ {
		if c, ok := ps.clefs[staff]; ok {
			c.At = 0
			ps.m.Clefs = append(ps.m.Clefs, c)
		}
	}
	ps.pos, ps.max, ps.backups, ps.lastNote = 0, 0, 0, 0
}

func (ps *partState) close(end int) {
	ps.wordsJumps()
	ps.m.Src.End = int64(end)
	ps.m.Len = ps.max
	ps.info[ps.m.Index].held = ps.max
	if ps.m.EndingStop {
		ps.ending = nil
	}
	ps.part.Measures = append(ps.part.Measures, *ps.m)
}

// keyOf is the signature of a staff at its present place.
func (ps *partState) keyOf(staff int) score.Key {
	k, ok := ps.keys[staff]
	if !ok {
		k = ps.keys[0]
	}
	k.At = 0
	return k
}

// ticks is a length in divisions as time; complaints go to the place of e.
func (ps *partState) ticks(e elem) (t score.Tick, negative, ok bool) {
	r, negative, ok := parseDecimal(e.rawText())
	if !ok {
		ps.noteHere("bad-duration", score.Trouble, e.node().start, "<%s>%s</%s> is no length", e.name(), e.text(), e.name())
		return 0, false, false
	}
	if !ps.divKnown {
		ps.divKnown = true
		ps.noteHere("no-divisions", score.Caution, e.node().start, "no <divisions> before the first length; one division to a quarter is assumed")
	}
	if r.num == 0 {
		return 0, false, true
	}
	t, exact, ok := ps.inTicks(r)
	if !ok {
		ps.noteHere("bad-duration", score.Trouble, e.node().start, "a length of %s divisions is longer than music can be", e.text())
		return 0, false, false
	}
	if !exact && !ps.d.rounded {
		ps.noteHere("rounded", score.Caution, e.node().start, "a length of %s divisions was rounded", e.text())
	}
	return t, negative, true
}

// inTicks is a length of r divisions as time; ok is false beyond maxDuration.
func (ps *partState) inTicks(r ratio) (t score.Tick, exact, ok bool) {
	g := gcd(r.num, ps.div.num)
	num, den := r.num/g*ps.div.den, r.den*(ps.div.num/g) // quarters
	if num/den >= maxDuration {
		return 0, false, false
	}
	return scale(num, den, ps.d.q)
}

// advance moves the place in the measure forward.
func (ps *partState) advance(by score.Tick) {
	ps.pos += by
	ps.max = max(ps.max, ps.pos)
}

// move reads <backup> and <forward>.
func (ps *partState) move(e elem) {
	d := e.child("duration")
	if !d.ok() {
		ps.noteHere("no-duration", score.Trouble, e.node().start, "a <%s> without a duration was passed over", e.name())
		return
	}
	t, negative, ok := ps.ticks(d)
	if !ok {
		return
	}
	if e.name() == "backup" != negative {
		ps.backups++
		ps.lastNote = 0
		if t > ps.pos {
			ps.noteHere("backup-too-far", score.Caution, e.node().start, "a <backup> goes back beyond the start of the measure; it stops there")
			t = ps.pos
		}
		ps.pos -= t
		return
	}
	ps.advance(t)
}

// attributes reads signatures, clefs, divisions and transposition.
func (ps *partState) attributes(e elem) {
	for c := range e.children {
		switch c.name() {
		case "divisions":
			if r, neg, ok := parseDecimal(c.rawText()); ok && !neg && r.num > 0 {
				ps.div, ps.divKnown = r, true
			} else {
				ps.noteHere("bad-divisions", score.Trouble, c.node().start, "<divisions> of %q is no number above 0; the one before is kept", c.text())
			}
		case "key":
			ps.key(c)
		case "time":
			ps.time(c)
		case "staves":
			if n, err := strconv.Atoi(c.text()); err == nil && n >= 1 && n <= 64 {
				ps.part.Staves = max(ps.part.Staves, n)
			}
		case "clef":
			ps.clef(c)
		case "transpose":
			ps.transposition(c)
		case "staff-details":
			for t := range c.children {
				if t.name() == "staff-tuning" {
					ps.tuning(e, t, t.get("line"))
				}
			}
		}
	}
}

// staffAttr is a staff number in an attribute, otherwise def.
func staffAttr(e elem, name string, def int) int {
	if n, err := strconv.Atoi(e.get(name)); err == nil && n >= 1 && n <= 64 {
		return n
	}
	return def
}

func (ps *partState) key(e elem) {
	k := score.Key{At: ps.pos, Staff: staffAttr(e, "number", 0), Mode: e.child("mode").text()}
	if f := e.child("fifths"); f.ok() {
		n, err := strconv.Atoi(f.text())
		if err != nil || n < -28 || n > 28 {
			ps.noteHere("bad-key", score.Caution, f.node().start, "a key signature of %q fifths was passed over", f.text())
			return
		}
		k.Fifths = n
	} else {
		k.Free = e.has("key-step")
	}
	if k.Staff == 0 {
		clear(ps.keys)
	}
	ps.keys[k.Staff] = k
	if ps.pos == 0 && k.Staff <= 1 {
		ps.m.Key = ps.keyOf(1)
		return
	}
	ps.m.Keys = append(ps.m.Keys, k)
}

func (ps *partState) time(e elem) {
	if n := staffAttr(e, "number", 1); n > 1 {
		return // the first staff's meter counts the measure
	}
	m, bad := parseMeter(e, ps.d.q)
	if bad != "" {
		ps.noteHere("bad-meter", score.Caution, e.node().start, "a time signature with %s was passed over", bad)
		return
	}
	ps.meter = m
	if ps.pos == 0 {
		ps.m.Meter = m
	} else {
		ps.info[ps.m.Index].meterChanges = true
	}
}

// parseMeter reads <time>. Several pairs of <beats> and <beat-type> are kept
// in Beats and Unit with a space between. bad says what is wrong, "" if nothing.
func parseMeter(e elem, q int64) (m score.Meter, bad string) {
	m.Symbol = e.get("symbol")
	if e.has("senza-misura") {
		return m, ""
	}
	var beats, units []string
	for c := range e.children {
		switch c.name() {
		case "beats":
			beats = append(beats, strings.Join(strings.Fields(c.text()), ""))
		case "beat-type":
			units = append(units, c.text())
		}
	}
	if len(beats) == 0 || len(beats) != len(units) || len(beats) > 16 {
		return m, "no pair of <beats> and <beat-type>"
	}
	m.Beats, m.Unit, m.Den = strings.Join(beats, " "), strings.Join(units, " "), 1
	for i := range beats {
		unit, err := strconv.Atoi(units[i])
		if err != nil || unit < 1 || unit > 1024 {
			return m, "a beat type of \"" + units[i] + "\""
		}
		den := m.Den / int(gcd(int64(m.Den), int64(unit))) * unit
		if den > 1<<16 {
			return m, "beat types that share no unit"
		}
		m.Num, m.Den = m.Num*(den/m.Den), den
		for _, g := range strings.Split(beats[i], "+") {
			n, err := strconv.Atoi(g)
			if err != nil || n < 1 || n > 1024 || len(m.Groups) >= 64 {
				return m, "beats of \"" + beats[i] + "\""
			}
			m.Num += n * (den / unit)
			t, _, ok := scale(int64(n)*4, int64(unit), q)
			if !ok {
				return m, "beats of \"" + beats[i] + "\""
			}
			m.Groups = append(m.Groups, t)
			m.Len += t
		}
	}
	return m, ""
}

func (ps *partState) clef(e elem) {
	c := score.Clef{At: ps.pos, Staff: staffAttr(e, "number", 1), Sign: e.child("sign").text()}
	c.Line, _ = strconv.Atoi(e.child("line").text())
	c.OctaveChange, _ = strconv.Atoi(e.child("clef-octave-change").text())
	if c.Line == 0 { // the schema's usual lines: documentation of <line>
		c.Line = map[string]int{"G": 2, "F": 4, "C": 3, "TAB": 5}[c.Sign]
	}
	if c.OctaveChange < -4 || c.OctaveChange > 4 || c.Line < 0 || c.Line > 64 {
		ps.noteHere("bad-clef", score.Caution, e.node().start, "a clef on line %d, %d octaves off, was passed over", c.Line, c.OctaveChange)
		return
	}
	ps.part.Staves = max(ps.part.Staves, c.Staff)
	ps.clefs[c.Staff] = c
	if ps.pos == 0 {
		for i := range ps.m.Clefs {
			if old := &ps.m.Clefs[i]; old.Staff == c.Staff && old.At == 0 {
				*old = c
				return
			}
		}
	}
	ps.m.Clefs = append(ps.m.Clefs, c)
}

// diatonicOf is how many steps a transposition of 0–11 semitones usually is
// (unison, minor and major second, …, augmented fourth, …, major seventh).
var diatonicOf = [12]int{0, 1, 1, 2, 2, 3, 3, 4, 5, 5, 6, 6}

func (ps *partState) transposition(e elem) {
	num := func(name string) (int, bool) {
		r, neg, ok := parseDecimal(e.child(name).rawText())
		v := int(r.num / r.den)
		if neg {
			v = -v
		}
		return v, ok && v > -100 && v < 100
	}
	var iv pitch.Interval
	chromatic, ok := num("chromatic")
	if !ok {
		ps.noteHere("bad-transpose", score.Caution, e.node().start, "a transposition of %q semitones was passed over", e.child("chromatic").text())
		return
	}
	iv.Chromatic = chromatic
	if d, ok := num("diatonic"); ok {
		iv.Diatonic = d
	} else {
		c, sign := chromatic, 1
		if c < 0 {
			c, sign = -c, -1
		}
		iv.Diatonic = sign * (7*(c/12) + diatonicOf[c%12])
	}
	if o, ok := num("octave-change"); ok && o >= -4 && o <= 4 {
		iv.Chromatic, iv.Diatonic = iv.Chromatic+12*o, iv.Diatonic+7*o
	}
	staff := staffAttr(e, "number", 0)
	if staff == 0 {
		clear(ps.transpose)
	}
	ps.transpose[staff] = iv
}

// tuning keeps the open string of a staff-tuning or an accord as a direction:
// Number is the string, Text the pitch.
func (ps *partState) tuning(owner, e elem, str string) {
	n, _ := strconv.Atoi(str)
	p, ok := parsePitch(e.child("tuning-step"), e.child("tuning-alter"), e.child("tuning-octave"))
	if !ok {
		ps.noteHere("bad-tuning", score.Caution, e.node().start, "a tuning that cannot be read was passed over")
		return
	}
	ps.addDirection(owner, score.Direction{Kind: "scordatura", Text: p.String(), Number: n})
}

func (ps *partState) barline(e elem) {
	m, where := ps.m, e.get("location")
	style := e.child("bar-style").text()
	if style == "regular" {
		style = ""
	}
	switch where {
	case "left":
		m.LeftBar = style
	case "middle":
		ps.addDirection(e, score.Direction{Kind: "barline", Text: style})
	default:
		m.RightBar = style
	}
	for c := range e.children {
		switch c.name() {
		case "segno":
			m.Jump.Segno = label(e.get("segno"), "segno")
		case "coda":
			m.Jump.Coda = label(e.get("coda"), "coda")
		case "fermata":
			ps.addDirection(e, score.Direction{Kind: "fermata", Above: c.get("type") != "inverted"})
		case "ending":
			ps.endings(c)
		case "repeat":
			ps.repeat(c, where)
		}
	}
}

func label(s, def string) string {
	if s == "" {
		return def
	}
	return s
}

func (ps *partState) repeat(e elem, where string) {
	m := ps.m
	switch e.get("direction") {
	case "forward":
		switch {
		case where == "left" || where == "middle" && ps.pos == 0:
			m.RepeatStart = true
		case where == "middle":
			ps.noteHere("repeat-inside", score.Caution, e.node().start, "a repeat that begins inside the measure; it is read at the start of the next")
			ps.forward = true
		default:
			ps.forward = true
		}
	case "backward":
		times := 2
		if n, err := strconv.Atoi(e.get("times")); err == nil && n >= 1 && n <= 1000 {
			times = n
		}
		if where == "left" && len(ps.part.Measures) > 0 {
			m = &ps.part.Measures[len(ps.part.Measures)-1]
		} else if where == "middle" {
			ps.noteHere("repeat-inside", score.Caution, e.node().start, "a repeat that ends inside the measure; it is read at its end")
		}
		m.RepeatTimes = times
		m.Jump.ForwardRepeatRequired = m.Jump.ForwardRepeatRequired || e.get("after-jump") == "yes"
	default:
		ps.noteHere("bad-repeat", score.Caution, e.node().start, "a repeat with the direction %q was passed over", e.get("direction"))
	}
}

func (ps *partState) endings(e elem) {
	m := ps.m
	switch e.get("type") {
	case "start":
		nums := endingNumbers(e.get("number"))
		if nums == nil {
			nums = endingNumbers(e.text())
		}
		if nums == nil {
			ps.noteHere("bad-ending", score.Caution, e.node().start, "an ending numbered %q was passed over", e.get("number"))
			return
		}
		ps.ending, m.Endings, m.EndingStart = nums, nums, true
	case "stop", "discontinue":
		if ps.ending == nil {
			ps.noteHere("bad-ending", score.Caution, e.node().start, "an ending stops that never began")
			return
		}
		m.EndingStop = true
	}
}

// endingNumbers reads "1", "1, 2", "1-3" and "1.2."; nil if there is no number.
func endingNumbers(s string) []int {
	var out []int
	for _, f := range strings.FieldsFunc(s, func(r rune) bool { return r == ',' || r == ' ' || r == '.' }) {
		from, to, isRange := strings.Cut(f, "-")
		a, err := strconv.Atoi(from)
		b := a
		if isRange && err == nil {
			b, err = strconv.Atoi(to)
		}
		if err != nil || a < 1 || b < a || b > 1000 || len(out) > 100 {
			return nil
		}
		for ; a <= b; a++ {
			out = append(out, a)
		}
	}
	return out
}
