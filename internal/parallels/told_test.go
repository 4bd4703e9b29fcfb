package parallels

import (
	"strings"
	"testing"

	"pochette/internal/pitch"
	"pochette/internal/score"
)

// A value counts for every note that is written with it, of a lower voice too, and a
// tied note by its written values.
func TestWrittenValuesAreCounted(t *testing.T) {
	only := func(change func(p *score.Part)) (out []string) {
		sc, p := twice()
		for i := range p.Notes {
			p.Notes[i].Value = score.Value{Type: "quarter", Actual: 1, Normal: 1}
		}
		change(p)
		for _, o := range Analyze(sc, p, Options{Strict: true}).Single {
			if o.Aspect == Length {
				out = append(out, o.Text)
			}
		}
		return out
	}
	add := func(p *score.Part, v score.Value, at, dur score.Tick, measure int) {
		q := pitch.Pitch{Step: 0, Octave: 2}
		n := score.Note{Measure: measure, Onset: at, Dur: dur, Voice: "2", Staff: 1, TieFrom: score.NoNote, TieTo: score.NoNote, Written: q, Sounding: q, Value: v}
		i := 0
		for i < len(p.Notes) && p.Notes[i].Onset < at {
			i++
		}
		p.Notes = append(p.Notes[:i], append([]score.Note{n}, p.Notes[i:]...)...)
		for k := range p.Notes {
			p.Notes[k].ID, p.Notes[k].Head = score.NoteID(k), score.NoteID(k)
		}
	}
	dotted := score.Value{Type: "half", Dots: 1, Actual: 1, Normal: 1}
	if got := only(func(p *score.Part) { add(p, dotted, 0, 12, 0) }); len(got) != 1 || got[0] != "The only dotted half in the movement." {
		t.Errorf("one dotted half: %q", got)
	}
	if got := only(func(p *score.Part) { add(p, dotted, 32, 12, 2); add(p, dotted, 0, 12, 0) }); len(got) != 0 {
		t.Errorf("two dotted halves under moving quarters: %q", got)
	}
	if got := only(func(p *score.Part) { add(p, dotted, 92, 4, 5) }); len(got) != 0 {
		t.Errorf("the value of the last notes: %q", got)
	}
}

// Names of compound intervals by common theory textbooks, from memory.
func TestIntervalNames(t *testing.T) {
	for steps, want := range map[int]string{0: "unison", 1: "second", 7: "octave", 8: "ninth", 11: "twelfth", 14: "fifteenth", 16: "two octaves and a third", 21: "three octaves"} {
		if got := Interval(steps); got != want {
			t.Errorf("%d steps: %q, want %q", steps, got, want)
		}
	}
}

// A pitch carried over is spelled by the key: no double sharp where the signature has none.
func TestCarriedPitchIsSpelledByTheKey(t *testing.T) {
	for _, c := range []struct {
		q      pitch.Pitch
		fifths int
		want   string
	}{{pitch.Pitch{Step: 2, Alter: 2, Octave: 5}, 4, "F♯5"}, {pitch.Pitch{Step: 3, Alter: 2, Octave: 5}, 5, "F𝄪5"}, {pitch.Pitch{Step: 6, Alter: 1, Octave: 4}, 6, "B♯4"}, {pitch.Pitch{Step: 5, Alter: -1, Octave: 4}, 0, "A♭4"}} {
		got := spelled(c.q, c.fifths)
		if got.String() != c.want || got.MIDI() != c.q.MIDI() {
			t.Errorf("%v in %d fifths: %v, want %s", c.q, c.fifths, got, c.want)
		}
	}
}

// A note answers another tonally or really; only what does neither differs.
func TestTonalAnswerIsNoDifference(t *testing.T) {
	p := &Passage{Shift: pitch.Interval{Diatonic: 2, Chromatic: 4}}
	for _, c := range []struct {
		x, y step
		want bool
	}{{step{key: 60}, step{key: 64}, true}, {step{key: 62}, step{key: 65}, true}, {step{key: 62}, step{key: 66, relative: 1}, true}, {step{key: 60}, step{key: 65, relative: 1}, false}} {
		if got := p.answers(&c.x, &c.y); got != c.want {
			t.Errorf("%+v answers %+v: %v", c.y, c.x, got)
		}
	}
	same := &Passage{}
	if same.answers(&step{key: 66}, &step{key: 65}) {
		t.Error("at the same pitch F is no F sharp, whatever the signatures")
	}
}

// The same key spelled otherwise is told as a spelling.
func TestRespelling(t *testing.T) {
	sc, p := twice()
	for i := range 8 {
		q := p.Notes[i].Written
		p.Notes[16+i].Written, p.Notes[16+i].Sounding = q, q
	}
	d := pitch.Pitch{Step: 1, Alter: 1, Octave: 4}
	p.Notes[2].Written, p.Notes[2].Sounding = d, d
	e := pitch.Pitch{Step: 2, Alter: -1, Octave: 4}
	p.Notes[18].Written, p.Notes[18].Sounding = e, e
	st := Analyze(sc, p, Options{Strict: true})
	for _, o := range st.Odd {
		if strings.Contains(o.Text, "the same key, spelled otherwise") && strings.Contains(o.Text, "D♯4") && strings.Contains(o.Text, "E♭4") {
			return
		}
	}
	t.Errorf("not told: %+v", st.Odd)
}

// One place that is told alone is spoken of as one, and of what occurs once no verdict is
// asked.
func TestVerdict(t *testing.T) {
	sc, p := twice()
	p.Notes[19].Marks = []score.Mark{{Kind: score.Trill}}
	st := Analyze(sc, p, Options{Strict: true})
	for i, o := range st.Single {
		if strings.Contains(o.Why, "slip") {
			t.Errorf("%d: %s %s", i, o.Text, o.Why)
		}
	}
	if len(st.Odd) == 0 || !strings.Contains(st.Odd[0].Why, map[bool]string{true: OneVerdict, false: NoVerdict}[len(st.Odd) == 1]) {
		t.Errorf("%+v", st.Odd)
	}
}
