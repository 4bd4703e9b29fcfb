package musicxml

import (
	"regexp"
	"slices"
	"strconv"
	"strings"

	"pochette/internal/score"
)

// addDirection places one at the present moment, with the span of owner.
func (ps *partState) addDirection(owner elem, d score.Direction) {
	d.Measure, d.At = ps.m.Index, max(0, d.At+ps.pos)
	d.Src = score.Span{Start: int64(owner.node().start), End: int64(owner.node().end)}
	if d.Staff == 0 {
		d.Staff = 1
	}
	ps.part.Directions = append(ps.part.Directions, d)
}

// direction reads <direction>: one score.Direction for each thing it prints.
func (ps *partState) direction(e elem) {
	base := score.Direction{Staff: 1, Voice: e.child("voice").text(), Above: e.get("placement") == "above", At: ps.offset(e)}
	if n, err := strconv.Atoi(e.child("staff").text()); err == nil && n >= 1 && n <= 64 {
		base.Staff = n
	}
	first := len(ps.part.Directions)
	for c := range e.children {
		if c.name() == "direction-type" {
			for t := range c.children {
				ps.directionType(e, t, base)
			}
		}
	}
	made := ps.part.Directions[first:]
	if s := e.child("sound"); s.ok() {
		ps.sound(e, s, made)
	}
	for i := range made {
		d := &made[i]
		switch d.Kind {
		case "segno":
			ps.m.Jump.Segno = label(ps.m.Jump.Segno, "segno")
		case "coda":
			ps.m.Jump.Coda = label(ps.m.Jump.Coda, "coda")
		}
	}
}

// offset is the <offset> of a direction as time, rounded to a tick.
func (ps *partState) offset(e elem) score.Tick {
	o := e.child("offset")
	if !o.ok() {
		return 0
	}
	r, neg, ok := parseDecimal(o.rawText())
	if !ok {
		return 0
	}
	t, _, ok := ps.inTicks(r)
	if !ok {
		return 0
	}
	if neg {
		return -t
	}
	return t
}

func (ps *partState) directionType(owner, t elem, d score.Direction) {
	d.Kind, d.Text = t.name(), t.text()
	d.Number = staffAttr(t, "number", 1)
	switch t.name() {
	case "dynamics":
		d.Number = 0
		for c := range t.children {
			d.Text = c.name()
			if c.name() == "other-dynamics" {
				d.Text = c.text()
			}
			ps.addDirection(owner, d)
		}
		return
	case "wedge", "pedal", "dashes", "bracket", "principal-voice":
		d.Text = t.get("type")
	case "octave-shift":
		d.Text, d.Size = t.get("type"), 8
		if n, err := strconv.Atoi(t.get("size")); err == nil && (n == 15 || n == 22) {
			d.Size = n
		}
	case "string-mute":
		d.Text, d.Number = t.get("type"), 0
	case "metronome":
		d.Text, d.Tempo = metronome(t)
		d.Number = 0
	case "scordatura":
		for a := range t.children {
			if a.name() == "accord" {
				ps.tuning(owner, a, a.get("string"))
			}
		}
		return
	default:
		d.Number = 0
	}
	ps.addDirection(owner, d)
}

// metronome is the mark as text, "quarter. = 72" or "quarter = half", and its
// tempo in quarters a minute, 0 where it gives none.
func metronome(e elem) (string, float64) {
	var sides []string
	tempo, unit := 0.0, ratio{}
	for c := range e.children {
		switch c.name() {
		case "beat-unit":
			sides = append(sides, c.text())
			unit = typeLength[c.text()]
		case "beat-unit-dot":
			if n := len(sides); n > 0 {
				dots := strings.Count(sides[n-1], ".") + 1
				sides[n-1] += "."
				if base := typeLength[strings.TrimRight(sides[n-1], ".")]; dots <= 8 && base.den > 0 {
					unit = ratio{base.num * (1<<(dots+1) - 1), base.den << dots}
				}
			}
		case "per-minute":
			sides = append(sides, c.text())
			if v := firstNumber(c.text()); v > 0 && unit.den > 0 {
				tempo = v * float64(unit.num) / float64(unit.den)
			}
		case "metronome-note":
			sides = append(sides, c.child("metronome-type").text())
		}
	}
	if len(sides) > 2 {
		return strings.Join(sides, " "), tempo
	}
	return strings.Join(sides, " = "), tempo
}

// firstNumber finds the number in texts such as "c. 120" and "100-110".
func firstNumber(s string) float64 {
	i := strings.IndexAny(s, "0123456789")
	if i < 0 {
		return 0
	}
	j := i
	for j < len(s) && (s[j] >= '0' && s[j] <= '9' || s[j] == '.') {
		j++
	}
	v, err := strconv.ParseFloat(strings.TrimRight(s[i:j], "."), 64)
	if err != nil || v > 100000 {
		return 0
	}
	return v
}

// sound reads jumps, tempo and pizzicato of <sound>; made are the directions of
// the <direction> around it, the first of which takes the tempo.
func (ps *partState) sound(owner, e elem, made []score.Direction) {
	j := &ps.m.Jump
	if v := e.get("segno"); v != "" {
		j.Segno = v
	}
	if v := e.get("coda"); v != "" {
		j.Coda = v
	}
	if v := e.get("dalsegno"); v != "" {
		j.DalSegno = v
	}
	if v := e.get("tocoda"); v != "" {
		j.ToCoda = v
	}
	j.DaCapo = j.DaCapo || e.get("dacapo") == "yes"
	if v := e.get("fine"); v != "" && v != "no" {
		j.Fine = true
	}
	if e.get("forward-repeat") == "yes" {
		ps.m.RepeatStart = true
	}
	if v := e.get("pizzicato"); v == "yes" || v == "no" {
		ps.addDirection(owner, score.Direction{Kind: "pizzicato", Text: v, At: ps.offset(e)})
	}
	tempo, err := strconv.ParseFloat(e.get("tempo"), 64)
	if err != nil || !(tempo > 0 && tempo < 100000) {
		return
	}
	if len(made) == 0 {
		ps.addDirection(owner, score.Direction{Kind: "sound", Tempo: tempo, At: ps.offset(e)})
		return
	}
	best := &made[0]
	for i := range made {
		if made[i].Kind == "metronome" {
			best = &made[i]
			break
		}
	}
	best.Tempo = tempo
}

// wordsJumps says where words of the measure ask for a jump that the file does
// not encode. It is asked when the measure is read, as <sound> may stand anywhere
// in it.
func (ps *partState) wordsJumps() {
	all := ps.part.Directions
	first := len(all)
	for first > 0 && all[first-1].Measure == ps.m.Index {
		first--
	}
	for i := first; i < len(all); i++ {
		d := &all[i]
		if d.Kind != "words" {
			continue
		}
		attr, encoded := jumpInWords(d.Text, ps.m.Jump)
		if attr == "" || encoded {
			continue
		}
		words := strings.Join(strings.Fields(d.Text), " ")
		text := "the words \"" + words + "\" ask for a jump that the file does not encode (no <sound " + attr + ">); the order of playing does not follow it"
		if attr == "fine" {
			text = "the word \"" + words + "\" marks where the music ends after a jump, but the file does not encode it (no <sound fine>); the order of playing does not stop here"
		}
		ps.note(finding{kind: "jump-in-words", grade: score.Caution, off: int(d.Src.Start), measure: len(ps.part.Measures) + 1, at: d.At, text: text,
			hint: "where the order of playing matters, encode the jump in the file: <sound " + attr + "=\"…\"/> in the direction that holds the words"})
	}
}

// jumpLetters finds D.C. and D.S. however their points and spaces are set.
var jumpLetters = regexp.MustCompile(`\bd\.?\s*([cs])\b\.?`)

// jumpInWords is the attribute of <sound> that encodes the jump that words ask
// for, "" if they ask for none, and whether j has it.
func jumpInWords(words string, j score.Jump) (attr string, encoded bool) {
	const most = 8 // a longer text is a remark, not an instruction to the player
	t := strings.ReplaceAll(jumpLetters.ReplaceAllString(strings.ToLower(words), "d$1 "), ".", " ")
	list := strings.Fields(t)
	if len(list) > most {
		return "", false
	}
	t = " " + strings.Join(list, " ") + " "
	has := func(names ...string) bool {
		return slices.ContainsFunc(names, func(n string) bool { return strings.Contains(t, " "+n+" ") })
	}
	switch {
	case has("dc", "da capo", "dacapo"):
		return "dacapo", j.DaCapo
	case has("ds", "dal segno"):
		return "dalsegno", j.DalSegno != ""
	case t == " fine ":
		return "fine", j.Fine
	case t == " to coda ":
		return "tocoda", j.ToCoda != ""
	}
	return "", false
}
