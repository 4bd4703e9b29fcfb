package engrave

import (
	"fmt"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"pochette/internal/demo"
	"pochette/internal/testdata"
)

// withNoteIDs names the notes of a score note-0, note-1 …
func withNoteIDs(score []byte) ([]byte, int) {
	n := 0
	out := regexp.MustCompile(`<note( [^>]*)?>`).ReplaceAllFunc(score, func(tag []byte) []byte {
		n++
		return fmt.Appendf(nil, `<note id="note-%d">`, n-1)
	})
	return out, n
}

var drawnNote = regexp.MustCompile(`<g id="(note-[0-9]+)" class="note`)

// Cut into systems of any size, every note and measure of the score is drawn once,
// on one line that is as wide as the system asks.
func TestFlowDrawsAllOnce(t *testing.T) {
	p := openPool(t, 1)
	for name, score := range map[string][]byte{"demo": demo.Jig, "mov7": readScore(t, filepath.Join(testdata.Dir(t), "musicxml", "solo", "bwv1002_mov7.mxl"))} {
		score, _ := withNoteIDs(score)
		whole, err := p.SVG(t.Context(), score, A4())
		if err != nil {
			t.Fatal(err)
		}
		want := notesIn(strings.Join(whole, ""))
		f, err := p.Flow(t.Context(), score)
		if err != nil {
			t.Fatal(err)
		}
		for _, step := range []int{3, 7} {
			var got []string
			measures := 0
			for first := 0; first < f.Measures(); first += step {
				last := min(first+step, f.Measures()) - 1
				d, err := f.Draw(t.Context(), System{First: first, Last: last, Width: 170})
				if err != nil {
					t.Fatal(err)
				}
				got = append(got, notesIn(d.Body)...)
				measures += strings.Count(d.Body, `class="measure"`)
				if n := strings.Count(d.Body, `class="system"`); n != 1 || d.Width != 170 {
					t.Errorf("%s, measures %d to %d: %d systems, %g mm wide", name, first, last, n, d.Width)
				}
			}
			slices.Sort(got)
			if measures != f.Measures() || !slices.Equal(got, want) {
				t.Errorf("%s by %d: %d measures of %d, %d notes of %d", name, step, measures, f.Measures(), len(got), len(want))
			}
		}
	}
}

func notesIn(svg string) []string {
	var out []string
	for _, m := range drawnNote.FindAllStringSubmatch(svg, -1) {
		out = append(out, m[1])
	}
	slices.Sort(out)
	return out
}

// A slur over the end of a system is drawn on both sides; left out, on neither.
func TestFlowSlurOverTheEnd(t *testing.T) {
	p := openPool(t, 1)
	bar := func(n int, a, b string) string {
		attr := ""
		if n == 1 {
			attr = `<attributes><divisions>1</divisions><key><fifths>2</fifths></key><time><beats>2</beats><beat-type>4</beat-type></time><clef><sign>G</sign><line>2</line></clef></attributes>`
		}
		note := func(id int, x string) string {
			return fmt.Sprintf(`<note id="note-%d"><pitch><step>A</step><octave>4</octave></pitch><duration>1</duration><voice>1</voice><type>quarter</type>%s</note>`, id, x)
		}
		return fmt.Sprintf(`<measure number="%d">%s%s%s</measure>`, n, attr, note(2*n-2, a), note(2*n-1, b))
	}
	score := `<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Violin</part-name></score-part></part-list><part id="P1">` +
		bar(1, "", `<notations><slur type="start" number="1"/></notations>`) + bar(2, `<notations><slur type="stop" number="1"/></notations>`, "") + bar(3, "", "") + `</part></score-partwise>`
	f, err := p.Flow(t.Context(), []byte(score))
	if err != nil {
		t.Fatal(err)
	}
	draw := func(s System) string {
		s.Width = 90
		d, err := f.Draw(t.Context(), s)
		if err != nil {
			t.Fatal(err)
		}
		return d.Body
	}
	slurs := func(body string) int { return strings.Count(body, `class="slur`) }
	cut := [][2]string{{"note-1", "note-2"}}
	for _, c := range []struct {
		first, last, want int
		cut               [][2]string
	}{{0, 0, 1, nil}, {1, 1, 1, nil}, {2, 2, 0, nil}, {0, 1, 1, nil}, {0, 0, 0, cut}, {1, 1, 0, cut}, {0, 1, 0, cut}} {
		if n := slurs(draw(System{First: c.first, Last: c.last, CutSlurs: c.cut})); n != c.want {
			t.Errorf("measures %d to %d, without %v: %d slurs, want %d", c.first, c.last, c.cut, n, c.want)
		}
	}
	hidden := `class="meterSig" visibility="hidden"`
	if body := draw(System{First: 2, Last: 2}); strings.Count(body, `class="keyAccid"`) != 2 || !strings.Contains(body, `class="clef"`) || strings.Count(body, `class="meterSig"`) != strings.Count(body, hidden) {
		t.Error("a later system wants clef and two sharps, and no meter that is seen")
	}
	if body := draw(System{First: 0, Last: 0}); !strings.Contains(body, `class="meterSig"`) || strings.Contains(body, hidden) {
		t.Error("the first system has no meter")
	}
}

// Marks that are added are drawn with their classes, on their notes' systems alone.
func TestFlowAdds(t *testing.T) {
	p := openPool(t, 1)
	score, _ := withNoteIDs(demo.Jig)
	f, err := p.Flow(t.Context(), score)
	if err != nil {
		t.Fatal(err)
	}
	adds := []Added{
		{Note: "note-15", Kind: Finger, Text: "3", Class: "finger decided", Strong: true},
		{Note: "note-15", Kind: Numeral, Text: "II", Class: "string proposed"},
		{Note: "note-15", Kind: Bow, Text: "up", Class: "bow decided"},
		{Note: "note-2", Kind: Bow, Text: "dn", Class: "bow proposed"}, // in a chord
		{Note: "note-15", Kind: Words, Text: "a < b", Class: "words decided"},
		{Note: "note-15", Kind: Dynamic, Text: "mf", Class: "dynamic decided", Below: true},
		{Note: "note-15", Kind: Breath, Class: "breath decided"},
		{Note: "note-5", To: "note-15", Kind: SlurTo, Class: "slur decided"},
	}
	for _, r := range [][2]int{{0, 4}, {12, 14}} {
		d, err := f.Draw(t.Context(), System{First: r[0], Last: r[1], Width: 180, Added: adds})
		if err != nil {
			t.Fatal(err)
		}
		for _, a := range adds {
			n := strings.Count(d.Body, " "+a.Class+`"`)
			if want := r[0] == 0; (n == 1) != want || n > 1 {
				t.Errorf("measures %v: %s is drawn %d times", r, a.Class, n)
			}
		}
	}
}

// BenchmarkFlowSystem draws one system of a long score with marks.
func BenchmarkFlowSystem(b *testing.B) {
	p := openPool(b, 1)
	score, _ := withNoteIDs(demo.Jig)
	f, err := p.Flow(b.Context(), score)
	if err != nil {
		b.Fatal(err)
	}
	adds := []Added{{Note: "note-15", Kind: Finger, Text: "3", Class: "finger decided"}}
	for b.Loop() {
		if _, err := f.Draw(b.Context(), System{First: 0, Last: 3, Width: 180, Added: adds}); err != nil {
			b.Fatal(err)
		}
	}
}
