package harmony

import (
	"pochette/internal/score"
	"pochette/internal/timeline"
)

// NonChordKind is the class of a note that is foreign to its chord.
type NonChordKind int8

// The classes of the common textbooks.
const (
	PassingNote NonChordKind = iota
	NeighbourNote
	Suspension
	Retardation
	Appoggiatura
	Anticipation
	EscapeNote
	FreeNote // none of these: left and reached by leap
)

func (k NonChordKind) String() string {
	return [...]string{"passing note", "neighbour note", "suspension", "retardation", "appoggiatura", "anticipation", "escape note", "free non-chord note"}[k]
}

// NonChord is a note foreign to its chord.
type NonChord struct {
	Note       score.NoteID
	Chord      int
	Kind       NonChordKind
	Accented   bool // on a beat, and a stronger one than the place of the note it goes to
	Resolution score.NoteID
	Prepared   score.NoteID // of a suspension: the note that prepares it
	At         score.Tick   // where it is foreign: its own beginning, or that of the chord it is held into
}

// Pair is an accented non-chord note and its release: the strong and weak note of
// a sigh.
type Pair struct{ Strong, Weak score.NoteID }

// nonChord classes every note that is foreign to the chord it is struck in, and
// every note that is held over into a chord it is foreign to.
func (s *Study) nonChord() {
	line := newLine(s.part)
	for i := range s.part.Notes {
		n := &s.part.Notes[i]
		if !n.Struck() || n.Grace || n.Cue || n.Unpitched || n.Dur <= 0 {
			continue
		}
		ci := s.chordAt(n.Onset)
		if ci < 0 {
			continue
		}
		t := ToneOf(n.Sounding)
		if s.Chords[ci].Chord.role(t) == foreign {
			s.class(line, n, ci)
			continue
		}
		// held over the chord's end into one it is foreign to
		for j := ci + 1; j < len(s.Chords) && s.Chords[j].From < line.ends[i]; j++ {
			if s.Chords[j].Chord.role(t) == foreign {
				s.heldOver(line, n, j)
				break
			}
		}
	}
}

// line finds the neighbours of a note in its written voice.
type line struct {
	p         *score.Part
	ends      []score.Tick
	prev, nxt []score.NoteID
	inside    []bool // see insideSlurs
}

func newLine(p *score.Part) *line {
	l := &line{p: p, ends: endsOf(p), prev: make([]score.NoteID, len(p.Notes)), nxt: make([]score.NoteID, len(p.Notes)), inside: insideSlurs(p)}
	last := map[string][]score.NoteID{} // by voice: the notes of its latest chord
	for i := range p.Notes {
		n := &p.Notes[i]
		l.prev[i], l.nxt[i] = score.NoNote, score.NoNote
		if !n.Struck() || n.Grace || n.Cue || n.Unpitched {
			continue
		}
		g := last[n.Voice]
		if len(g) > 0 && p.Notes[g[0]].Onset == n.Onset {
			l.prev[i] = l.prev[g[0]]
			last[n.Voice] = append(g, n.ID)
			continue
		}
		// the nearest of the chord before
		for _, id := range g {
			if l.ends[id]+p.Notes[id].Dur < n.Onset {
				continue // a long silence lies between
			}
			if l.prev[i] == score.NoNote || near(p, id, n.ID) < near(p, l.prev[i], n.ID) {
				l.prev[i] = id
			}
			if l.nxt[id] == score.NoNote {
				l.nxt[id] = n.ID
			}
		}
		last[n.Voice] = []score.NoteID{n.ID}
	}
	return l
}

func near(p *score.Part, a, b score.NoteID) int {
	d := p.Notes[a].Sounding.MIDI() - p.Notes[b].Sounding.MIDI()
	return max(d, -d)
}

// level of a note's place in its bar.
func (s *Study) level(n *score.Note) int {
	m := &s.part.Measures[n.Measure]
	return timeline.Level(m.Meter, timeline.Offset(s.part, n.Measure)+n.Onset-m.Start)
}

// isBeat says that a tick of a measure is a felt beat of its meter: in cut time a half.
func (s *Study) isBeat(measure int, at score.Tick) bool {
	m := &s.part.Measures[measure]
	beat := timeline.Beat(m.Meter)
	return beat <= 0 || (timeline.Offset(s.part, measure)+at-m.Start)%beat == 0
}

// preparation looks for what prepares a suspension: the same pitch struck within a
// beat before, and no more than a bar, on a weaker place; other notes of a broken
// chord may lie between. NoNote where there is none.
func (s *Study) preparation(n *score.Note) score.NoteID {
	m := &s.part.Measures[n.Measure]
	back := max(timeline.Beat(m.Meter), s.q)
	level := s.level(n)
	for i := int(n.ID) - 1; i >= 0; i-- {
		b := &s.part.Notes[i]
		if b.End() < n.Onset-back {
			break
		}
		if b.Struck() && sounds(b) && b.Onset >= n.Onset-back && b.Onset < n.Onset && b.Sounding == n.Sounding {
			if s.level(b) > level {
				return b.ID
			}
			return score.NoNote
		}
	}
	return score.NoNote
}

// class files a foreign note by how it is reached and left.
func (s *Study) class(l *line, n *score.Note, ci int) {
	x := NonChord{Note: n.ID, Chord: ci, Kind: FreeNote, Resolution: score.NoNote, Prepared: score.NoNote, At: n.Onset}
	prev, next := l.prev[n.ID], l.nxt[n.ID]
	in, out := 99, 99
	d := func(a, b score.NoteID) int {
		return s.part.Notes[b].Sounding.Diatonic() - s.part.Notes[a].Sounding.Diatonic()
	}
	if prev != score.NoNote {
		in = d(prev, n.ID)
	}
	if next != score.NoNote {
		out = d(n.ID, next)
		x.Accented = s.isBeat(n.Measure, n.Onset) && s.level(n) < s.level(&s.part.Notes[next])
	}
	step := func(v int) bool { return v == 1 || v == -1 }
	prepared := s.preparation(n)
	switch {
	case x.Accented && out == -1 && prepared != score.NoNote:
		x.Kind, x.Prepared = Suspension, prepared
	case x.Accented && out == 1 && in == 0 && prepared != score.NoNote:
		x.Kind, x.Prepared = Retardation, prepared
	case out == 0 && s.nextHolds(next, ci) && !x.Accented:
		x.Kind = Anticipation
	case step(in) && step(out) && in == out:
		x.Kind = PassingNote
	case step(in) && step(out):
		x.Kind = NeighbourNote
	case step(out):
		x.Kind = Appoggiatura
	case step(in):
		x.Kind = EscapeNote
	}
	if x.Kind != FreeNote && x.Kind != EscapeNote {
		x.Resolution = next
	}
	s.NonChord = append(s.NonChord, x)
	if x.Accented && x.Resolution != score.NoNote && step(out) && !l.runs(&x) {
		s.Pairs = append(s.Pairs, Pair{n.ID, x.Resolution})
	}
}

// runs says that a passing or neighbour note lies inside a slur that has begun before
// it: it goes by in the run, and nobody leans on it.
func (l *line) runs(x *NonChord) bool {
	return (x.Kind == PassingNote || x.Kind == NeighbourNote) && l.inside[x.Note]
}

// insideSlurs marks the notes under a slur that has begun before them in their voice.
func insideSlurs(p *score.Part) []bool {
	in := make([]bool, len(p.Notes))
	for _, l := range p.Slurs {
		if l.Start < 0 || l.End < 0 {
			continue
		}
		a := &p.Notes[l.Start]
		for i := l.Start; i <= l.End && int(i) < len(in); i++ {
			if n := &p.Notes[i]; n.Onset > a.Onset && n.Voice == a.Voice {
				in[i] = true
			}
		}
	}
	return in
}

func suspensionOf(out int) NonChordKind {
	if out > 0 {
		return Retardation
	}
	return Suspension
}

// nextHolds says that a note is a chord tone of a later chord than ci.
func (s *Study) nextHolds(id score.NoteID, ci int) bool {
	if id == score.NoNote {
		return false
	}
	j := s.chordAt(s.part.Notes[id].Onset)
	return j > ci && s.Chords[j].Chord.role(ToneOf(s.part.Notes[id].Sounding)) < foreign
}

// heldOver files a note that sounds on into chord ci, to which it is foreign:
// with a step down after it a suspension, with a step up a retardation.
func (s *Study) heldOver(l *line, n *score.Note, ci int) {
	next := l.nxt[n.ID]
	if next == score.NoNote {
		return
	}
	out := s.part.Notes[next].Sounding.Diatonic() - n.Sounding.Diatonic()
	if out != 1 && out != -1 || s.Chords[ci].level > s.level(&s.part.Notes[next]) {
		return
	}
	x := NonChord{Note: n.ID, Chord: ci, Kind: suspensionOf(out), Resolution: next, Prepared: n.ID, At: s.Chords[ci].From}
	x.Accented = s.isBeat(s.Chords[ci].Measure, x.At)
	s.NonChord = append(s.NonChord, x)
	if x.Accented {
		s.Pairs = append(s.Pairs, Pair{n.ID, next})
	}
}
