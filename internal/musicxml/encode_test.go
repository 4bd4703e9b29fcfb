package musicxml

import (
	"bytes"
	"fmt"
	"reflect"
	"slices"
	"strings"
	"testing"

	gocmp "github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"pochette/internal/pitch"
	"pochette/internal/score"
)

// drawScore makes a random score for Encode: several voices, rests, chords,
// grace notes, ties, slurs, triplets, marks, directions, repeats and endings.
func drawScore(t *rapid.T) *score.Score {
	s := &score.Score{Quarter: 12, Title: text(t, "title"), Composer: text(t, "composer"), Number: "3"}
	for k := range rapid.IntRange(1, 2).Draw(t, "parts") {
		d := &drawer{t: t, s: s, p: &score.Part{ID: fmt.Sprintf("P%d", k+1), Name: text(t, "name"), Abbreviation: "Vla.", Instrument: "Viola", Sound: "strings.viola", Program: 42, Staves: 1}}
		if rapid.Bool().Draw(t, "transposed") {
			d.iv = pitch.Interval{Diatonic: -1, Chromatic: -2}
		}
		d.part(rapid.IntRange(1, 4).Draw(t, "measures"))
		s.Parts = append(s.Parts, d.p)
	}
	n := len(s.Parts[0].Measures)
	for _, p := range s.Parts {
		n = min(n, len(p.Measures))
	}
	for _, p := range s.Parts { // Decode gives measures of one index one length
		for i := range n {
			if p.Measures[i].Len != s.Parts[0].Measures[i].Len {
				s.Parts = s.Parts[:1]
				return s
			}
		}
	}
	return s
}

func text(t *rapid.T, label string) string {
	return rapid.StringMatching(`[A-Za-zé♭&<>"'][A-Za-zé ♭&<>"']{0,8}[a-z]`).Draw(t, label)
}

type drawer struct {
	t     *rapid.T
	s     *score.Score
	p     *score.Part
	iv    pitch.Interval
	start score.Tick
}

func (d *drawer) part(measures int) {
	meter := score.Meter{Beats: "4", Unit: "4", Num: 4, Den: 4, Len: 48, Groups: []score.Tick{48}}
	key, clef := score.Key{}, score.Clef{Staff: 1, Sign: "C", Line: 3}
	for i := range measures {
		if rapid.IntRange(0, 3).Draw(d.t, "meter changes") == 0 {
			meter = score.Meter{Beats: "3+2", Unit: "8", Num: 5, Den: 8, Len: 30, Groups: []score.Tick{18, 12}}
		}
		if rapid.IntRange(0, 3).Draw(d.t, "key changes") == 0 {
			key = score.Key{Fifths: rapid.IntRange(-7, 7).Draw(d.t, "fifths"), Mode: rapid.SampledFrom([]string{"", "minor"}).Draw(d.t, "mode")}
		}
		m := score.Measure{Index: i, Number: fmt.Sprint(i + 1), Start: d.start, Len: meter.Len, Meter: meter, Key: key, Clefs: []score.Clef{clef}}
		if i == 0 && rapid.Bool().Draw(d.t, "pickup") {
			m.Len, m.Implicit = 12, true
		}
		m.Key.At, m.Clefs[0].At = m.Start, m.Start
		d.bars(&m)
		d.p.Measures = append(d.p.Measures, m)
		from := len(d.p.Notes)
		for v := range rapid.IntRange(1, 2).Draw(d.t, "voices") {
			d.voice(&m, fmt.Sprint(v+1))
		}
		d.sort(from)
		d.direction(&m)
		if rapid.IntRange(0, 3).Draw(d.t, "clef changes") == 0 {
			clef = score.Clef{Staff: 1, Sign: "G", Line: 2, At: m.Start + 12}
			d.p.Measures[i].Clefs = append(d.p.Measures[i].Clefs, clef)
		}
		d.start += m.Len
	}
	d.tiesAndSlurs()
}

func (d *drawer) bars(m *score.Measure) {
	switch rapid.IntRange(0, 5).Draw(d.t, "bar") {
	case 0:
		m.RepeatStart, m.LeftBar = true, "heavy-light"
	case 1:
		m.RepeatTimes, m.RightBar = rapid.IntRange(2, 4).Draw(d.t, "times"), "light-heavy"
	case 2:
		m.Endings, m.EndingStart, m.EndingStop = []int{1, 2}, true, true
	case 3:
		m.Jump = score.Jump{Segno: "one", DalSegno: "one", Fine: true}
	case 4:
		m.Jump = score.Jump{Coda: "coda", ToCoda: "coda", DaCapo: true}
		m.NewSystem = true
	}
}

var drawnMarks = []score.Mark{
	{Kind: score.UpBow}, {Kind: score.DownBow, Below: true}, {Kind: score.Fingering, Text: "2"}, {Kind: score.Fingering, Text: "1", Substitution: true, Alternate: true},
	{Kind: score.String, Text: "3"}, {Kind: score.OpenString}, {Kind: score.ThumbPosition}, {Kind: score.Harmonic, Text: "natural"}, {Kind: score.Harmonic},
	{Kind: score.Staccato}, {Kind: score.Tenuto, Below: true}, {Kind: score.StrongAccent, Text: "down"}, {Kind: score.BreathMark, Text: "comma"},
	{Kind: score.Trill}, {Kind: "mordent"}, {Kind: score.Tremolo, Text: "3"}, {Kind: score.Fermata}, {Kind: score.Fermata, Text: "square"},
	{Kind: score.NoteDynamics, Text: "sfz"}, {Kind: score.Arpeggiate, Text: "up"}, {Kind: "wavy-line-start"}, {Kind: score.GlissandoStart}, {Kind: "let-ring"},
	{Kind: score.OtherTechnical, Text: "x"}, {Kind: score.SnapPizzicato}, {Kind: score.NonArpeggiate}, {Kind: "accidental-mark", Text: "sharp"},
}

// voice fills a measure with quarters, eighths, triplets of eighths and rests.
func (d *drawer) voice(m *score.Measure, voice string) {
	at := m.Start
	end := m.Start + m.Len
	for at < end {
		n := score.Note{Measure: m.Index, Onset: at, Voice: voice, Staff: 1, TieFrom: score.NoNote, TieTo: score.NoNote, Value: score.Value{Type: "eighth", Actual: 1, Normal: 1}, Dur: 6}
		if end-at >= 12 {
			switch rapid.IntRange(0, 3).Draw(d.t, "value") {
			case 0:
				n.Value.Type, n.Dur = "quarter", 12
			case 1:
				for k := range 3 {
					w := n
					w.Onset, w.Dur, w.Value = at+score.Tick(4*k), 4, score.Value{Type: "eighth", Actual: 3, Normal: 2}
					if k != 1 {
						w.Tuplets = []score.Tuplet{{Number: 1, Start: k == 0}}
					}
					d.pitch(&w)
					d.add(w)
				}
				at += 12
				continue
			}
		}
		switch rapid.IntRange(0, 7).Draw(d.t, "sort") {
		case 0:
			n.Rest = true
			d.add(n)
		case 1:
			g := n
			g.Grace, g.Slash, g.Dur = true, true, 0
			d.pitch(&g)
			d.add(g)
			fallthrough
		default:
			d.pitch(&n)
			d.marks(&n)
			head := d.add(n)
			if rapid.IntRange(0, 4).Draw(d.t, "chord") == 0 {
				c := n
				c.Marks = nil
				d.pitch(&c)
				c.Chord, c.Head = true, head
				d.p.Notes = append(d.p.Notes, c)
			}
		}
		at += n.Dur
	}
}

func (d *drawer) pitch(n *score.Note) {
	n.Written = pitch.Pitch{Step: pitch.Step(rapid.IntRange(0, 6).Draw(d.t, "step")), Alter: int8(rapid.IntRange(-1, 1).Draw(d.t, "alter")), Octave: int8(rapid.IntRange(3, 6).Draw(d.t, "octave"))}
	n.Sounding = n.Written.Transpose(d.iv)
}

func (d *drawer) marks(n *score.Note) {
	for rapid.IntRange(0, 2).Draw(d.t, "mark") == 0 && len(n.Marks) < 5 {
		n.Marks = append(n.Marks, rapid.SampledFrom(drawnMarks).Draw(d.t, "kind"))
	}
	n.Hidden = rapid.IntRange(0, 20).Draw(d.t, "hidden") == 0
	if rapid.IntRange(0, 9).Draw(d.t, "lyric") == 0 {
		n.Lyric = "la"
	}
}

func (d *drawer) add(n score.Note) score.NoteID {
	n.Head = score.NoteID(len(d.p.Notes))
	d.p.Notes = append(d.p.Notes, n)
	return n.Head
}

// sort brings the notes from index from on into score order (a plain twin of
// what Decode does).
func (d *drawer) sort(from int) {
	old := slices.Clone(d.p.Notes[from:])
	less := func(a, b int) bool {
		x, y := old[int(old[a].Head)-from], old[int(old[b].Head)-from]
		switch {
		case old[a].Head == old[b].Head:
			return a < b
		case x.Onset != y.Onset:
			return x.Onset < y.Onset
		case x.Grace != y.Grace:
			return x.Grace
		case x.Voice != y.Voice:
			return x.Voice < y.Voice
		}
		return old[a].Head < old[b].Head
	}
	order := make([]int, len(old))
	place := make([]score.NoteID, len(old))
	for i := range order {
		order[i] = i
	}
	for i := range order { // selection sort: short, and another method than the code's
		for k := i + 1; k < len(order); k++ {
			if less(order[k], order[i]) {
				order[i], order[k] = order[k], order[i]
			}
		}
		place[order[i]] = score.NoteID(from + i)
	}
	for i, o := range order {
		n := old[o]
		n.ID, n.Head = score.NoteID(from+i), place[int(n.Head)-from]
		d.p.Notes[from+i] = n
	}
}

func (d *drawer) direction(m *score.Measure) {
	dir := rapid.SampledFrom([]score.Direction{{}, {Kind: "words", Text: "sul tasto & lento"}, {Kind: "dynamics", Text: "mf"}, {Kind: "dynamics", Text: "fmp"}, {Kind: "wedge", Text: "crescendo", Number: 1},
		{Kind: "metronome", Text: "quarter. = 72", Tempo: 108}, {Kind: "rehearsal", Text: "B"}, {Kind: "octave-shift", Text: "down", Size: 15, Number: 1},
		{Kind: "sound", Tempo: 92.5}, {Kind: "pizzicato", Text: "yes"}, {Kind: "scordatura", Text: "F♯4", Number: 2}, {Kind: "barline", Text: "dashed"}}).Draw(d.t, "direction")
	if dir.Kind == "" {
		return
	}
	dir.Measure, dir.At, dir.Staff = m.Index, m.Start+score.Tick(rapid.IntRange(0, int(m.Len)).Draw(d.t, "at")), 1
	dir.Above = dir.Kind != "sound" && dir.Kind != "pizzicato" && dir.Kind != "scordatura" && dir.Kind != "barline"
	d.p.Directions = append(d.p.Directions, dir)
}

// tiesAndSlurs ties some notes of one voice and pitch that meet, and slurs
// others one after the other.
func (d *drawer) tiesAndSlurs() {
	ns := d.p.Notes
	last := map[string]score.NoteID{}
	end := score.NoteID(-1)
	for i := range ns {
		n := &ns[i]
		if n.Rest || n.Chord || n.Grace {
			continue
		}
		prev, ok := last[n.Voice]
		last[n.Voice] = n.ID
		if !ok {
			continue
		}
		if p := &ns[prev]; p.End() == n.Onset && rapid.IntRange(0, 3).Draw(d.t, "tie") == 0 {
			n.Written, n.Sounding = p.Written, p.Sounding
			n.TieFrom, p.TieTo = prev, n.ID
		}
		if prev >= end && rapid.IntRange(0, 3).Draw(d.t, "slur") == 0 {
			d.p.Slurs = append(d.p.Slurs, score.Slur{Number: 1 + len(d.p.Slurs)%3, Start: prev, End: n.ID, Placement: "above"})
			end = n.ID
		}
	}
	slices.SortFunc(d.p.Slurs, func(a, b score.Slur) int { return int(a.Start - b.Start) })
}

// Decode(Encode(x)) == x, beams apart, which Encode computes.
func TestEncodeProperty(t *testing.T) {
	docs := map[string][]byte{}
	rapid.Check(t, func(t *rapid.T) {
		want := drawScore(t)
		shareJumps(want.Parts) // as every decoded score has them
		var b bytes.Buffer
		if err := Encode(&b, want); err != nil {
			t.Fatal(err)
		}
		src, err := Open(b.Bytes(), "made.musicxml")
		if err != nil {
			t.Fatal(err)
		}
		got, fs, err := Decode(src)
		if err != nil {
			t.Fatalf("%v\n%s", err, b.Bytes())
		}
		for _, f := range fs {
			if f.Kind != "under-full" && f.Kind != "over-full" && f.Kind != "jump-in-words" {
				t.Fatalf("%v: %s\n%s", f.At, f.Text, b.Bytes())
			}
		}
		a, c := normal(want), normal(got)
		if !reflect.DeepEqual(a, c) {
			t.Fatalf("reads differently:\n%s\n%s", gocmp.Diff(a, c), b.Bytes())
		}
		if len(docs) < 40 {
			docs[fmt.Sprintf("made%d.musicxml", len(docs))] = b.Bytes()
		}
	})
	v := newValidator(t)
	if bad, log := v.check(t, docs); len(bad) > 0 {
		t.Errorf("made documents do not validate:\n%s", log)
	}
}

// normal drops what Encode computes (beams) and tells nil from empty no more.
func normal(s *score.Score) *score.Score {
	c := bare(s)
	for _, p := range c.Parts {
		for i := range p.Notes {
			p.Notes[i].Beams = nil
		}
		for i := range p.Measures {
			if len(p.Measures[i].Keys) == 0 {
				p.Measures[i].Keys = nil
			}
		}
		if len(p.Slurs) == 0 {
			p.Slurs = nil
		}
		if len(p.Directions) == 0 {
			p.Directions = nil
		}
		if len(p.Notes) == 0 {
			p.Notes = nil
		}
	}
	return c
}

// Every shared file that Encode can write reads back the same.
func TestEncodeShared(t *testing.T) {
	docs, refused := map[string][]byte{}, 0
	for _, f := range loadShared(t, append(suiteFiles, realFiles...)...) {
		var b bytes.Buffer
		if err := Encode(&b, f.score); err != nil {
			refused++
			t.Logf("%s: %v", f.name, err)
			if !strings.HasPrefix(err.Error(), "musicxml: ") || strings.Contains(err.Error(), "\n") {
				t.Errorf("%s: %v", f.name, err)
			}
			continue
		}
		_, got, _ := mustDecode(t, b.Bytes())
		for i, p := range f.score.Parts {
			if a, c := lines(f, p), lines(readable{score: got}, got.Parts[i]); a != c {
				t.Errorf("%s: part %s reads differently:\n was %.300s\n now %.300s", f.name, p.ID, a, c)
			}
			if a, c := len(p.Slurs), len(got.Parts[i].Slurs); a != c {
				t.Errorf("%s: part %s has %d slurs, had %d", f.name, p.ID, c, a)
			}
			for k := range p.Notes {
				if a, c := p.Notes[k].Marks, got.Parts[i].Notes[k].Marks; len(a)+len(c) > 0 && !reflect.DeepEqual(a, c) {
					t.Errorf("%s: part %s, note %d: marks %v, were %v", f.name, p.ID, k, c, a)
				}
			}
		}
		if len(f.data) < 200_000 {
			docs[f.name] = b.Bytes()
		}
	}
	t.Logf("%d files written, %d refused with a reason", len(docs), refused)
	if refused > 20 {
		t.Errorf("%d files could not be written", refused)
	}
	if bad, log := newValidator(t).check(t, docs); len(bad) > 0 {
		for _, n := range bad {
			t.Errorf("%s does not validate:\n%s", n, firstLinesWith(log, n))
		}
	}
}

// Beams by the beat (common practice, no source): 6/8 in threes, 2/4 by the
// quarter, a dotted figure with its hook.
func TestBeams(t *testing.T) {
	s := &score.Score{Quarter: 4}
	make := func(meter score.Meter, values ...string) []score.Note {
		var out []score.Note
		at := score.Tick(0)
		for _, v := range values {
			n := score.Note{Onset: at, Voice: "1", Value: score.Value{Type: strings.TrimSuffix(v, "."), Actual: 1, Normal: 1}}
			n.Dur = map[string]score.Tick{"eighth": 2, "16th": 1, "quarter": 4}[n.Value.Type]
			if strings.HasSuffix(v, ".") {
				n.Dur, n.Value.Dots = n.Dur*3/2, 1
			}
			out = append(out, n)
			at += n.Dur
		}
		return out
	}
	six := score.Meter{Num: 6, Den: 8, Len: 12, Groups: []score.Tick{12}}
	two := score.Meter{Num: 2, Den: 4, Len: 8, Groups: []score.Tick{8}}
	for _, c := range []struct {
		meter  score.Meter
		values string
		want   string
	}{
		{six, "eighth eighth eighth eighth eighth eighth", "[begin] [continue] [end] [begin] [continue] [end]"},
		{six, "eighth. 16th eighth quarter eighth", "[begin] [continue backward hook] [end] [] []"},
		{two, "eighth. 16th eighth eighth", "[begin] [end backward hook] [begin] [end]"},
		{two, "16th eighth 16th 16th 16th 16th 16th", "[begin forward hook] [continue] [end backward hook] [begin begin] [continue continue] [continue continue] [end end]"},
	} {
		notes := make(c.meter, strings.Fields(c.values)...)
		got := strings.Trim(fmt.Sprint(beamsOf(s, &score.Measure{Meter: c.meter, Len: c.meter.Len}, notes)), "[]")
		if got != strings.Trim(c.want, "[]") {
			t.Errorf("%d/%d %s: %s, want %s", c.meter.Num, c.meter.Den, c.values, got, c.want)
		}
	}
}
