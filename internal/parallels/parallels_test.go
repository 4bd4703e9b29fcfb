package parallels

import (
	"slices"
	"strings"
	"testing"

	"pochette/internal/pitch"
	"pochette/internal/score"
)

// twice makes a part of a theme of two bars, two other bars, and the theme again a
// fifth higher.
func twice() (*score.Score, *score.Part) {
	p := &score.Part{ID: "P1", Staves: 1}
	m := score.Meter{Num: 4, Den: 4, Len: 16, Groups: []score.Tick{16}}
	theme := []int{0, 1, 2, 4, 3, 1, 0, 5}
	other := []int{9, 2, 8, 3, 7, 7, 1, 6}
	for bars, line := range [][]int{theme, other, theme} {
		for i, d := range line {
			if i%4 == 0 {
				k := len(p.Measures)
				p.Measures = append(p.Measures, score.Measure{Index: k, Number: itoa(k + 1), Start: score.Tick(16 * k), Len: 16, Meter: m})
			}
			id := score.NoteID(len(p.Notes))
			dia := 28 + d + bars*2
			q := pitch.Pitch{Step: pitch.Step(dia % 7), Octave: int8(dia / 7)}
			p.Notes = append(p.Notes, score.Note{ID: id, Measure: len(p.Measures) - 1, Onset: score.Tick(4 * len(p.Notes)), Dur: 4, Voice: "1", Staff: 1, Head: id,
				TieFrom: score.NoNote, TieTo: score.NoNote, Written: q, Sounding: q})
		}
	}
	return &score.Score{Quarter: 4, Parts: []*score.Part{p}}, p
}

func TestDifferencesAreTold(t *testing.T) {
	for _, c := range []struct {
		name   string
		aspect Aspect
		change func(p *score.Part)
		text   string
	}{
		{"slur", Slur, func(p *score.Part) { p.Slurs = []score.Slur{{Start: 18, End: 19}} }, "a slur from"},
		{"dot", Articulation, func(p *score.Part) { p.Notes[2].Marks = []score.Mark{{Kind: score.Staccato}} }, "staccato"},
		{"trill", Ornament, func(p *score.Part) { p.Notes[19].Marks = []score.Mark{{Kind: score.Trill}} }, "trill"},
		{"bow", Bow, func(p *score.Part) { p.Notes[19].Marks = []score.Mark{{Kind: score.UpBow}} }, "up-bow"},
		{"dynamic", Dynamic, func(p *score.Part) {
			p.Directions = []score.Direction{{Kind: "dynamics", Text: "p", At: p.Notes[17].Onset, Measure: 4}}
		}, "has no dynamic"},
		{"sharp", Accidental, func(p *score.Part) { p.Notes[18].Written.Alter++; p.Notes[18].Sounding.Alter++ }, "it would be"},
		{"pitch", PitchAspect, func(p *score.Part) {
			p.Notes[20].Written = p.Notes[20].Written.Transpose(pitch.Interval{Diatonic: 2, Chromatic: 4})
		}, "it would be"},
		{"rhythm", Rhythm, func(p *score.Part) { p.Notes[18].Dur, p.Notes[19].Onset, p.Notes[19].Dur = 6, 74+4, 2 }, "dotted quarter eighth"},
	} {
		sc, p := twice()
		c.change(p)
		st := Analyze(sc, p, Options{Strict: true})
		i := slices.IndexFunc(st.Odd, func(o Odd) bool { return o.Aspect == c.aspect && strings.Contains(o.Text, c.text) })
		if i < 0 {
			t.Errorf("%s: not told in %+v (%d passages)", c.name, st.Odd, len(st.Passages))
			continue
		}
		o := st.Odd[i]
		if o.Beside.Measure < 0 || o.Beside.Measure/2 == o.At.Measure/2 || len(o.Notes) < 2 || (strings.Contains(o.Why, NoVerdict) || strings.Contains(o.Why, OneVerdict)) != (i == 0) {
			t.Errorf("%s: %+v", c.name, o)
		}
	}
}

func TestCleanCopyHasNoDifferences(t *testing.T) {
	sc, p := twice()
	st := Analyze(sc, p, Options{Strict: true})
	if len(st.Passages) != 1 || st.Passages[0].Pairs != 8 {
		t.Fatalf("passages %+v", st.Passages)
	}
	for _, d := range st.Differences {
		if d.Aspect != Accidental { // steps alone do not make one interval throughout
			t.Errorf("%+v", d)
		}
	}
}

func TestCensusTellsTheOnlyOne(t *testing.T) {
	sc, p := twice()
	p.Notes[5].Marks = []score.Mark{{Kind: score.Accent}}
	for _, i := range []int{8, 9} {
		p.Notes[i].Marks = []score.Mark{{Kind: score.Staccato}}
	}
	st := Analyze(sc, p, Options{Strict: true})
	only := 0
	for _, o := range st.Single {
		if o.Aspect == Articulation {
			only++
			if o.Finding.At.Note != 5 || o.Surprise <= 0 || !strings.Contains(o.Text, "only accent") {
				t.Errorf("%+v", o)
			}
		}
	}
	if only != 1 {
		t.Errorf("%d articulations occur once", only)
	}
}

func TestEmpty(t *testing.T) {
	if st := Analyze(&score.Score{Quarter: 4}, &score.Part{}, Options{}); len(st.Findings) > 0 {
		t.Errorf("%+v", st)
	}
}

// A bar of two notes at the end of a passage is made one note, or dotted: the passage
// does not lose the bar, and the rhythm is told.
func TestRhythmAtTheEdgeIsTold(t *testing.T) {
	for _, edge := range []struct {
		name        string
		first, next int // notes of the bar
	}{{"first bar", 12, 13}, {"last bar", 16, 17}} {
		for name, change := range map[string]func(a, b *score.Note){
			"one note": func(a, b *score.Note) { a.TieTo, b.TieFrom = b.ID, a.ID },
			"dotted":   func(a, b *score.Note) { a.Dur, b.Onset, b.Dur = 12, b.Onset+4, 4 },
		} {
			sc, p := threeBars()
			change(&p.Notes[edge.first], &p.Notes[edge.next])
			st := Analyze(sc, p, Options{Strict: true})
			if !slices.ContainsFunc(st.Odd, func(o Odd) bool {
				return o.Aspect == Rhythm && slices.Contains(o.Notes, score.NoteID(edge.first)) && slices.Contains(o.Notes, score.NoteID(edge.first-12))
			}) {
				t.Errorf("%s, %s: not told in %d passages, %+v", edge.name, name, len(st.Passages), st.Odd)
			}
		}
	}
}

// threeBars makes two halves, four quarters and two halves, then four bars of other
// music, and the three bars again a third higher.
func threeBars() (*score.Score, *score.Part) {
	p := &score.Part{ID: "P1", Staves: 1}
	m := score.Meter{Num: 4, Den: 4, Len: 16, Groups: []score.Tick{16}}
	theme, other := []int{0, 2, 1, 4, 3, 1, 5, 2}, []int{9, 3, 8, 2}
	at := score.Tick(0)
	add := func(dia int, d score.Tick) {
		if at%16 == 0 {
			k := len(p.Measures)
			p.Measures = append(p.Measures, score.Measure{Index: k, Number: itoa(k + 1), Start: at, Len: 16, Meter: m})
		}
		id := score.NoteID(len(p.Notes))
		q := pitch.Pitch{Step: pitch.Step(dia % 7), Octave: int8(dia / 7)}
		p.Notes = append(p.Notes, score.Note{ID: id, Measure: len(p.Measures) - 1, Onset: at, Dur: d, Voice: "1", Staff: 1, Head: id,
			TieFrom: score.NoNote, TieTo: score.NoNote, Written: q, Sounding: q})
		at += d
	}
	phrase := func(up int) {
		for i, d := range theme {
			length := score.Tick(4)
			if i < 2 || i >= 6 {
				length = 8
			}
			add(30+d+up, length)
		}
	}
	phrase(0)
	for _, d := range other {
		add(30+d, 16)
	}
	phrase(2)
	return &score.Score{Quarter: 4, Parts: []*score.Part{p}}, p
}
