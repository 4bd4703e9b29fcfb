package engrave

import (
	"encoding/json"
	"path/filepath"
	"strings"
	"testing"

	"pochette/internal/testdata"
)

// Notes with a time-modification alone take the time it says. Source of the score: the
// unofficial MusicXML test suite, 23f: triplets on the last two quarters of a staff and
// on the second of another, without tuplet elements; the measure has four quarters.
func TestTimeModificationAlone(t *testing.T) {
	file := filepath.Join(testdata.Dir(t), "musicxml", "suite", "23f-Tuplets-DurationButNoBracket.xml")
	p := openPool(t, 1)
	b, err := p.Timemap(t.Context(), readScore(t, file))
	if err != nil {
		t.Fatal(err)
	}
	var moments []struct {
		Qstamp float64
		On     []string
	}
	if err := json.Unmarshal(b, &moments); err != nil {
		t.Fatal(err)
	}
	last := moments[len(moments)-1].Qstamp
	if last < 3.999 || last > 4.001 {
		t.Errorf("the score ends at %g quarters, wanted 4", last)
	}
}

func TestTellTuplets(t *testing.T) {
	const mod = "<time-modification><actual-notes>3</actual-notes><normal-notes>2</normal-notes></time-modification>"
	note := func(kind, more string) string {
		return "<note><pitch><step>A</step><octave>4</octave></pitch><duration>1</duration><voice>1</voice><type>" + kind + "</type>" + more + "</note>"
	}
	e, q := note("eighth", mod), note("quarter", mod)
	start := note("eighth", mod+`<notations><tuplet type="start"/></notations>`)
	stop := note("eighth", mod+`<notations><tuplet type="stop"/></notations>`)
	for name, tt := range map[string]struct {
		measure string
		want    string // S and E where a tuplet was begun and ended, . for a note
	}{
		"none":               {note("eighth", ""), "."},
		"one triplet":        {e + e + e, "S...E"},
		"two":                {strings.Repeat(e, 6), "S...ES...E"},
		"quarter and eighth": {q + e + e + q, "S..ES..E"},
		"broken off":         {e + e + note("eighth", ""), "S..E."},
		"told":               {start + e + stop, "..."},
		"told and untold":    {start + e + stop + e + e + e, "...S...E"},
		"alone":              {note("half", mod), "S.E"},
		"over a gap":         {e + "<forward><duration>1</duration></forward>" + e, "S.ES.E"},
		"tremolo":            {note("half", mod+`<notations><ornaments><tremolo type="start">3</tremolo></ornaments></notations>`), "."},
	} {
		source := string(invented(tt.measure))
		got, err := prepare(source)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		var b strings.Builder
		for _, n := range strings.Split(got.xml, "<note>")[1:] {
			if strings.Contains(n, `show-number="none"`) {
				b.WriteString("S")
			}
			b.WriteString(".")
			if strings.Contains(n, `<tuplet type="stop"/></notations></note>`) && !strings.Contains(source, "<note>"+n) {
				b.WriteString("E")
			}
		}
		if b.String() != tt.want {
			t.Errorf("%s: %s, wanted %s", name, b.String(), tt.want)
		}
	}
}
