package musicxml

import (
	"math"
	"strconv"

	"pochette/internal/pitch"
	"pochette/internal/score"
)

// rawNote is what reading a note leaves beside part.Notes[i].
type rawNote struct {
	tieStart, tieStop bool
	rank              int // of its voice
	off               int
}

// readNote appends one note and moves on in time.
func (ps *partState) readNote(e elem) {
	i := len(ps.part.Notes)
	off := e.node().start
	n := score.Note{ID: score.NoteID(i), Measure: ps.m.Index, Onset: ps.pos, Staff: 1, Head: score.NoteID(i),
		TieFrom: score.NoNote, TieTo: score.NoNote, Src: score.Span{Start: int64(off), End: int64(e.node().end)}}
	r := rawNote{off: off}
	if g := e.child("grace"); g.ok() {
		n.Grace, n.Slash = true, g.get("slash") == "yes"
	}
	n.Cue = e.has("cue")
	n.Hidden = e.get("print-object") == "no"
	if e.get("pizzicato") == "yes" {
		n.Marks = append(n.Marks, score.Mark{Kind: score.NotePizzicato})
	}
	if s, err := strconv.Atoi(e.child("staff").text()); err == nil && s >= 1 && s <= 64 {
		n.Staff = s
		ps.part.Staves = max(ps.part.Staves, s)
	}
	ps.pitchOf(e, &n)
	ps.voiceOf(e, &n)
	n.Value = readValue(e)
	if !n.Grace {
		n.Dur = ps.durationOf(e, &n)
	}
	chord := e.has("chord")
	if chord {
		chord = ps.joinChord(&n, off)
	}
	ps.checkValue(&n, off, e.has("type"))
	ps.details(e, &n, &r)
	rank, ok := ps.voiceRank[n.Voice]
	if !ok {
		rank = len(ps.voiceRank)
		ps.voiceRank[n.Voice] = rank
	}
	r.rank = rank
	ps.part.Notes = append(ps.part.Notes, n)
	ps.raw = append(ps.raw, r)
	if !chord {
		ps.lastNote = i + 1
		ps.advance(n.Dur)
	}
}

// joinChord makes n a further note of the chord begun by the last stem; it
// reports false where there is none to join.
func (ps *partState) joinChord(n *score.Note, off int) bool {
	if ps.lastNote == 0 {
		ps.noteHere("chord-alone", score.Caution, off, "a chord note with no note before it to share its stem; it is read as a note of its own")
		return false
	}
	head := &ps.part.Notes[ps.lastNote-1]
	if head.Rest || head.Grace != n.Grace {
		ps.noteHere("chord-alone", score.Caution, off, "a chord note after a rest or between grace and main note; it is read as a note of its own")
		return false
	}
	n.Chord, n.Head, n.Onset = true, head.ID, head.Onset
	n.Voice = head.Voice
	if n.Dur > head.Dur {
		ps.noteHere("chord-longer", score.Caution, off, "a chord note is longer than the note that carries the stem; it is cut to its length")
		n.Dur = head.Dur
	}
	return true
}

func (ps *partState) voiceOf(e elem, n *score.Note) {
	if n.Voice = e.child("voice").text(); n.Voice != "" {
		return
	}
	// each <backup> begins another layer of the measure
	n.Voice = strconv.Itoa(1 + ps.backups)
	if !ps.noVoice {
		ps.noVoice = true
		ps.noteHere("no-voice", score.Remark, n0(e), "notes without <voice>; each <backup> is taken to begin another voice")
	}
}

func n0(e elem) int { return e.node().start }

// pitchOf reads what sounds: pitch, rest or unpitched.
func (ps *partState) pitchOf(e elem, n *score.Note) {
	place := func(u elem) {
		if p, ok := parsePitch(u.child("display-step"), elem{}, u.child("display-octave")); ok {
			n.Display, n.Placed = p, true
		}
	}
	if p := e.child("pitch"); p.ok() {
		w, ok := parsePitch(p.child("step"), p.child("alter"), p.child("octave"))
		if !ok {
			ps.noteHere("bad-pitch", score.Trouble, p.node().start, "a pitch that cannot be read (step %q, alter %q, octave %q); a rest stands in its place",
				p.child("step").text(), p.child("alter").text(), p.child("octave").text())
			n.Rest = true
			return
		}
		n.Written = w
		iv, ok := ps.transpose[n.Staff]
		if !ok {
			iv = ps.transpose[0]
		}
		n.Sounding = w.Transpose(iv)
		return
	}
	if u := e.child("unpitched"); u.ok() {
		n.Unpitched = true
		place(u)
		return
	}
	n.Rest = true
	r := e.child("rest")
	if !r.ok() {
		ps.noteHere("no-pitch", score.Trouble, n0(e), "a note with neither pitch nor rest; it is read as a rest")
		return
	}
	n.MeasureRest = r.get("measure") == "yes"
	place(r)
}

// parsePitch reads step, alteration (semitones, possibly a fraction) and octave.
func parsePitch(step, alter, octave elem) (pitch.Pitch, bool) {
	s, ok := pitch.ParseStep(step.text())
	if !ok {
		return pitch.Pitch{}, false
	}
	o, err := strconv.Atoi(octave.text())
	if err != nil || o < -1 || o > 10 {
		return pitch.Pitch{}, false
	}
	p := pitch.Pitch{Step: s, Octave: int8(o)}
	if t := alter.text(); t != "" {
		a, err := strconv.ParseFloat(t, 64)
		if err != nil || !(a >= -12 && a <= 12) {
			return pitch.Pitch{}, false
		}
		whole := math.Trunc(a)
		p.Alter, p.Cents = int8(whole), int16(math.Round(100*(a-whole)))
	}
	return p, true
}

// readValue is the written value of a note; Actual and Normal are 1 outside
// tuplets.
func readValue(e elem) score.Value {
	v := score.Value{Actual: 1, Normal: 1}
	for c := range e.children {
		switch c.name() {
		case "type":
			v.Type = c.text()
		case "dot":
			v.Dots++
		case "time-modification":
			a, err1 := strconv.Atoi(c.child("actual-notes").text())
			b, err2 := strconv.Atoi(c.child("normal-notes").text())
			if err1 == nil && err2 == nil && a > 0 && b > 0 && a <= 1<<12 && b <= 1<<12 {
				v.Actual, v.Normal = a, b
			}
		}
	}
	return v
}

// valueTicks is the time a written value takes; ok is false if it has no type.
func (ps *partState) valueTicks(v score.Value) (score.Tick, bool) {
	r, ok := valueLength(v)
	if !ok {
		return 0, false
	}
	t, _, ok := scale(r.num, r.den, ps.d.q)
	return t, ok
}

func (ps *partState) durationOf(e elem, n *score.Note) score.Tick {
	if d := e.child("duration"); d.ok() {
		t, neg, ok := ps.ticks(d)
		if ok && !neg {
			return t
		}
		if neg {
			ps.noteHere("bad-duration", score.Trouble, d.node().start, "a note of negative length")
		}
	} else {
		ps.noteHere("no-duration", score.Caution, n0(e), "a note without <duration>; its written value counts")
	}
	if t, ok := ps.valueTicks(n.Value); ok {
		return t
	}
	if n.MeasureRest && ps.m.Meter.Len > 0 {
		return ps.m.Meter.Len
	}
	ps.noteHere("no-length", score.Trouble, n0(e), "a note with neither length nor value; it takes no time")
	return 0
}

// checkValue finds the written value where it is missing and compares it with
// the length where it is there.
func (ps *partState) checkValue(n *score.Note, off int, typed bool) {
	full := n.Dur == ps.m.Meter.Len && n.Dur > 0 && n.Onset == 0
	if n.Rest && !n.Grace && full && (n.Value.Type == "" || n.Value.Type == "whole" && n.Dur != score.Tick(4*ps.d.q)) {
		n.MeasureRest = true
	}
	if n.MeasureRest {
		return
	}
	if n.Value.Type == "" {
		if v, ok := ps.valueOf(n.Dur, n.Value); ok && !n.Grace {
			n.Value = v
			if !n.Rest {
				ps.noteHere("no-type", score.Remark, off, "a note without <type>; its length makes it a %s", v.Type)
			}
		} else if n.Grace {
			n.Value.Type = "eighth"
			ps.noteHere("no-type", score.Remark, off, "a grace note without <type>; it is taken for an eighth")
		} else if !n.Rest {
			ps.noteHere("no-type", score.Caution, off, "a note without <type> whose length is no single written value")
		}
		return
	}
	t, ok := ps.valueTicks(n.Value)
	switch {
	case !ok:
		ps.noteHere("bad-type", score.Caution, off, "%q is no note type", n.Value.Type)
	case !n.Grace && t != n.Dur && !ps.d.rounded && typed && !n.Chord && !n.Cue:
		ps.noteHere("value-and-length", score.Remark, off, "the written value (%s) and the length of the note differ; the length counts", n.Value.Type)
	}
}

// valueOf is the single written value of a length, with the tuplet ratio that
// is known.
func (ps *partState) valueOf(dur score.Tick, v score.Value) (score.Value, bool) {
	for _, name := range typeNames {
		for dots := 0; dots <= 3; dots++ {
			w := score.Value{Type: name, Dots: dots, Actual: v.Actual, Normal: v.Normal}
			if t, ok := ps.valueTicks(w); ok && t == dur && t > 0 {
				return w, true
			}
		}
	}
	return v, false
}

// details reads everything printed on the note.
func (ps *partState) details(e elem, n *score.Note, r *rawNote) {
	for c := range e.children {
		switch c.name() {
		case "accidental":
			n.Accidental = c.text()
		case "stem":
			n.Stem = c.text()
		case "tie":
			r.tieStart = r.tieStart || c.get("type") == "start"
			r.tieStop = r.tieStop || c.get("type") == "stop"
		case "notehead":
			if h := c.text(); h != "" && h != "normal" {
				n.Marks = append(n.Marks, score.Mark{Kind: "notehead", Text: h})
			}
		case "beam":
			k := staffAttr(c, "number", 1)
			for k <= 8 && len(n.Beams) < k {
				n.Beams = append(n.Beams, "")
			}
			if k <= 8 {
				n.Beams[k-1] = c.text()
			}
		case "notations":
			ps.notations(c, n, r)
		case "lyric":
			if n.Lyric == "" && (c.get("number") == "1" || c.get("number") == "") {
				for t := range c.children {
					if t.name() == "text" || t.name() == "elision" {
						n.Lyric += t.text()
					}
				}
			}
		}
	}
}
