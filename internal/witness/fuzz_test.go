package witness

import (
	"bytes"
	"strings"
	"testing"

	"pochette/internal/demo"
	"pochette/internal/musicxml"
	"pochette/internal/score"
)

// FuzzCompare holds the demonstration's movement against whatever a file may be: it ends,
// what it lists lies in the two texts, and a file does not differ from itself.
func FuzzCompare(f *testing.F) {
	here := read(f, "jig.musicxml", demo.Jig)
	f.Add(demo.Jig)
	f.Add(bytes.Replace(demo.Jig, []byte("<f/>"), []byte("<ff/>"), 1))
	f.Add(bytes.ReplaceAll(demo.Jig, []byte(`<slur type="stop"`), []byte(`<slur type="start"`)))
	f.Add([]byte(`<score-partwise><part-list><score-part id="P1"><part-name>x</part-name></score-part></part-list><part id="P1"><measure number="1"><attributes><divisions>1</divisions></attributes><note><pitch><step>C</step><octave>4</octave></pitch><duration>1</duration></note></measure></part></score-partwise>`))
	f.Fuzz(func(t *testing.T, data []byte) {
		src, err := musicxml.Open(data, "there.xml")
		if err != nil {
			if strings.Contains(err.Error(), "\n") {
				t.Errorf("not one line: %q", err)
			}
			return
		}
		sc, _, err := musicxml.Decode(src)
		if err != nil || len(sc.Parts) == 0 || len(sc.Parts[0].Notes) > 3000 {
			return
		}
		there := Source{sc, sc.Parts[0]}
		if d := Compare(there, there); len(d) != 0 {
			t.Errorf("the text differs from itself: %+v", d[0])
		}
		keys := map[string]bool{}
		for _, d := range Compare(here, there) {
			if d.Measure < 0 && d.MeasureThere < 0 {
				t.Errorf("a difference in no measure: %+v", d)
			}
			if d.Measure >= len(here.Part.Measures) || d.MeasureThere >= len(there.Part.Measures) {
				t.Errorf("a difference in a measure that is not there: %+v", d)
			}
			if d.NoteHere != score.NoNote && int(d.NoteHere) >= len(here.Part.Notes) {
				t.Errorf("a difference on a note that is not there: %+v", d)
			}
			if keys[d.Key] {
				t.Errorf("two differences are named %q", d.Key)
			}
			keys[d.Key] = true
		}
	})
}
