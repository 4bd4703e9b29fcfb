package decide

import (
	"fmt"
	"math/big"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"pochette/internal/demo"
	"pochette/internal/instrument"
	"pochette/internal/musicxml/xmltest"
	"pochette/internal/score"
	"pochette/internal/timeline"
)

func TestLine(t *testing.T) {
	d, err := ParseLine(`m22.2+1/2:F#5 finger=3 string=II position=half bow=up reason="keeps \"the\" colour"`)
	if err != nil {
		t.Fatal(err)
	}
	if d.At.Measure != "22" || d.At.Beat.Cmp(big.NewRat(5, 2)) != 0 || d.At.Pitch != "F#5" || *d.Finger != 3 || d.String != 2 || *d.Position != 0 || d.Bow != Up || d.Reason != `keeps "the" colour` {
		t.Errorf("%+v", d)
	}
	for _, c := range []struct{ in, out string }{
		{"m1.1 string=4", "m1.1 string=IV"}, {"m1.1:2 finger=thumb", "m1.1:2 finger=thumb"}, {"m@12.3 position=3", "m@12.3 position=3"},
		{"mX1.1 finger=0", "mX1.1 finger=0"}, {" m7.1+3/4   bow=down ", "m7.1+3/4 bow=down"}, {"m7.1+2/4 bow=down", "m7.1+1/2 bow=down"},
		{"m7.1:B♭3 bow=down", "m7.1:Bb3 bow=down"},
	} {
		d, err := ParseLine(c.in)
		if err != nil || d.Text() != c.out {
			t.Errorf("%q: %q, %v, want %q", c.in, d.Text(), err, c.out)
		}
	}
}

func TestBadLines(t *testing.T) {
	for _, c := range []struct{ in, want string }{
		{"", "empty decision"}, {"22.2 finger=3", "does not begin with m"}, {"m22 finger=3", "no beat"}, {"m.2 finger=3", "no measure number"},
		{"m22.0 finger=3", "no beat"}, {"m22.2+3/2 finger=3", "no beat"}, {"m22.x finger=1", "no beat"}, {"m22.2:H5 finger=1", "neither a pitch nor"},
		{"m22.2", "decides nothing"}, {`m22.2 reason="because"`, "decides nothing"}, {"m22.2 finger", "not of the form"}, {"m22.2 finger=5", "want 0 (open string)"},
		{"m22.2 finger=3 finger=3", "given twice"}, {"m22.2 string=VI", "I is the highest"}, {"m22.2 string=0", "I is the highest"},
		{"m22.2 position=0", "half"}, {"m22.2 position=15", "1 to 14"}, {"m22.2 bow=left", "down or up"}, {"m22.2 thumb=1", "unknown key"},
		{`m22.2 finger=1 reason="x`, "not closed"}, {"m@0.1 finger=1", "after @"}, {"m22.2 finger=0 position=3", "no position"}, {"m22.2:0 finger=1", "neither"},
	} {
		_, err := ParseLine(c.in)
		if err == nil || !strings.Contains(err.Error(), c.want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%q: %v, want %q", c.in, err, c.want)
		}
	}
}

const example = `# bar 22 after the lesson of May
version: 1
part: Viola
decisions:
  - at: m1.1
    finger: 2
    string: III
    reason: "warm, and the next bar lies in second position"
  - m2.1 bow=up
`

func TestFile(t *testing.T) {
	f, err := ParseFile("d.yaml", []byte(example))
	if err != nil {
		t.Fatal(err)
	}
	if f.Part != "Viola" || len(f.Decisions) != 2 || f.Decisions[0].Line != 5 || f.Decisions[1].Line != 9 || f.Decisions[1].Bow != Up || *f.Decisions[0].Finger != 2 {
		t.Errorf("%+v", f)
	}
}

func TestBadFiles(t *testing.T) {
	deep := strings.Repeat("[", 20000)
	for _, c := range []struct{ name, in, want string }{
		{"empty", "", "version: 1"},
		{"comment", "# nothing\n", ""},
		{"list", "- m1.1 finger=1\n", "line 1: want a mapping"},
		{"no version", "decisions: []\n", "no version"},
		{"version 2", "version: 2\n", `line 1: version "2"`},
		{"key", "version: 1\nnotes: []\n", `line 2: unknown key "notes"`},
		{"key in a decision", "version: 1\ndecisions:\n  - at: m1.1\n    fingers: 2\n", `line 4: unknown key "fingers"`},
		{"twice", "version: 1\ndecisions:\n  - at: m1.1\n    finger: 2\n    finger: 3\n", "line 5"},
		{"place", "version: 1\ndecisions:\n  - at: bar 3\n    finger: 2\n", "line 3: place"},
		{"no place", "version: 1\ndecisions:\n  - finger: 2\n", "line 3: a decision without its place"},
		{"line", "version: 1\ndecisions:\n  - m1.1 finger=9\n", "line 3: m1.1: finger"},
		{"scalar", "version: 1\ndecisions: all\n", "line 2: decisions want a list"},
		{"null", "version: 1\ndecisions:\n  - at: m1.1\n    finger:\n", "line 4: finger wants one value"},
		{"alias", "version: 1\ndecisions:\n  - &a\n    at: m1.1\n    finger: 1\n  - *a\n", "line 3"},
		{"tabs", "version: 1\n\tdecisions: []\n", "not YAML"},
		{"two documents", "version: 1\n---\nversion: 1\n", "more than one"},
		{"deep", "version: 1\ndecisions: " + deep, ""},
		{"binary", "\x00\x01\x02", "not YAML"},
		{"large", strings.Repeat("#", MaxBytes+1), "larger than"},
	} {
		_, err := ParseFile("d.yaml", []byte(c.in))
		if err == nil || !strings.Contains(err.Error(), c.want) || strings.Contains(err.Error(), "\n") || !strings.HasPrefix(err.Error(), "d.yaml") || len(err.Error()) > 300 {
			t.Errorf("%s: %v, want %q", c.name, err, c.want)
		}
	}
}

func drawDecision(t *rapid.T) Decision {
	var d Decision
	if rapid.Bool().Draw(t, "by index") {
		d.At.Index = rapid.IntRange(1, 999).Draw(t, "index")
	} else {
		d.At.Measure = rapid.StringMatching(`[0-9A-Za-z_-]{1,6}`).Draw(t, "measure")
	}
	q := rapid.Int64Range(1, 48).Draw(t, "q")
	d.At.Beat = big.NewRat(rapid.Int64Range(1, 12).Draw(t, "beat")*q+rapid.Int64Range(0, q-1).Draw(t, "r"), q)
	switch rapid.IntRange(0, 2).Draw(t, "which") {
	case 1:
		d.At.Nth = rapid.IntRange(1, 9).Draw(t, "nth")
	case 2:
		d.At.Pitch = rapid.SampledFrom([]string{"C4", "F#5", "Bb3", "E##4", "Abb6"}).Draw(t, "pitch")
	}
	if rapid.Bool().Draw(t, "finger") {
		f := int8(rapid.IntRange(0, instrument.Thumb).Draw(t, "f"))
		d.Finger = &f
	}
	d.String = rapid.IntRange(0, 5).Draw(t, "string")
	if (d.Finger == nil || *d.Finger > 0) && rapid.Bool().Draw(t, "position") {
		p := rapid.IntRange(0, 14).Draw(t, "p")
		d.Position = &p
	}
	d.Bow = rapid.SampledFrom([]Direction{"", Down, Up}).Draw(t, "bow")
	if !d.settled() {
		d.String = 1
	}
	d.Reason = rapid.StringOfN(rapid.Rune().Filter(func(r rune) bool { return oneLineText(string(r), 4) }), 0, 120, maxReason).Draw(t, "reason")
	return d
}

// What is written is read again the same, in both forms.
func TestRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := drawDecision(t)
		back, err := ParseLine(d.Text())
		if err != nil || back.Text() != d.Text() || !equal(d, back) {
			t.Fatalf("%q: %+v, %v", d.Text(), back, err)
		}
		f := File{Name: "x", Part: rapid.SampledFrom([]string{"", "Viola", "2", "#1: yes", "null"}).Draw(t, "part"), Decisions: []Decision{d, drawDecision(t)}}
		if rapid.Bool().Draw(t, "style") {
			f.Style = []Setting{{Key: "taste", Value: rapid.SampledFrom([]string{"soloist", "null", "#a", "no: one"}).Draw(t, "taste")}, {Key: "harmonics", Value: "more"}}
		}
		text := f.Format()
		g, err := ParseFile("x", text)
		if err != nil || g.Part != f.Part || len(g.Decisions) != 2 || !equal(d, g.Decisions[0]) || !equal(f.Decisions[1], g.Decisions[1]) {
			t.Fatalf("%s\n%+v, %v", text, g, err)
		}
		if len(g.Style) != len(f.Style) || len(f.Style) > 0 && g.Style[0].Value != f.Style[0].Value {
			t.Fatalf("%s\nstyle %+v", text, g.Style)
		}
		if again := g.Format(); string(again) != string(text) {
			t.Fatalf("written twice:\n%s\n%s", text, again)
		}
	})
}

func equal(a, b Decision) bool {
	a.Source, a.Line, b.Source, b.Line = "", 0, "", 0
	if a.At.Beat.Cmp(b.At.Beat) != 0 {
		return false
	}
	a.At.Beat, b.At.Beat = nil, nil
	return reflect.DeepEqual(a, b)
}

func FuzzParseLine(f *testing.F) {
	f.Add(`m22.2+1/2:F#5 finger=3 string=II position=half bow=up reason="a \" b"`)
	f.Add("m@3.1 bow=down")
	f.Fuzz(func(t *testing.T, s string) {
		d, err := ParseLine(s)
		if err != nil {
			if strings.ContainsAny(err.Error(), "\n") && !strings.ContainsAny(s, "\n") {
				t.Errorf("%q: more than one line: %v", s, err)
			}
			return
		}
		back, err := ParseLine(d.Text())
		if err != nil || !equal(d, back) {
			t.Errorf("%q reads as %+v, written %q, read again %+v, %v", s, d, d.Text(), back, err)
		}
	})
}

func FuzzParseFile(f *testing.F) {
	f.Add(example)
	f.Add("version: 1\nstyle: {taste: soloist, profile: early}\n")
	f.Add("version: 1\ndecisions: [m1.1 finger=1, {at: m2.1, bow: up}]\n")
	f.Add("version: 1\ndecisions:\n- &a m1.1 finger=1\n- *a\n")
	f.Fuzz(func(t *testing.T, s string) {
		file, err := ParseFile("x", []byte(s))
		if err != nil {
			if strings.Contains(err.Error(), "\n") {
				t.Errorf("%q: more than one line: %v", s, err)
			}
			return
		}
		back, err := ParseFile("x", file.Format())
		if err != nil || len(back.Decisions) != len(file.Decisions) || len(back.Style) != len(file.Style) {
			t.Errorf("%q written as %q: %v", s, file.Format(), err)
		}
	})
}

// jig is the invented movement: viola, 6/8, a pickup of an eighth.
func jig(t *testing.T) *score.Part {
	t.Helper()
	_, sc := xmltest.Decode(t, demo.Jig, demo.Name)
	return sc.Parts[0]
}

// Every note of a movement is found again by the place that names it.
func TestEveryNoteIsFound(t *testing.T) {
	p := jig(t)
	n := 0
	for i := range p.Notes {
		note := &p.Notes[i]
		if note.Rest || !note.Struck() {
			continue
		}
		at := timeline.AtNote(p, note.ID)
		number := timeline.Stem(at.Number)
		d, err := ParseLine(fmt.Sprintf("m%s.%s:%s finger=1", number, at.Beat, note.Sounding))
		if err != nil {
			t.Fatal(err)
		}
		m, found := Resolve(p, []Decision{d}, 4)
		if len(found) > 0 {
			t.Errorf("%v", found[0].Text)
			continue
		}
		if _, ok := m[note.ID]; !ok || len(m) != 1 {
			t.Errorf("%v: found %v", d.At, m)
		}
		n++
	}
	if n < 50 {
		t.Fatalf("only %d notes", n)
	}
}

func TestUnresolved(t *testing.T) {
	p := jig(t)
	chord := ""
	for i := range p.Notes {
		if p.Notes[i].Chord && chord == "" {
			at := timeline.AtNote(p, p.Notes[i].ID)
			chord = fmt.Sprintf("m%s.%s", at.Number, at.Beat)
		}
	}
	if chord == "" {
		t.Fatal("the movement has no chord")
	}
	last := timeline.Name(p, len(p.Measures)-1)
	for _, c := range []struct {
		in   []string
		want string
	}{
		{[]string{"m999.1 finger=1"}, "there is no measure 999; the part goes from"},
		{[]string{"m@999.1 finger=1"}, "measures"},
		{[]string{"m" + last + ".1+1/97 finger=1"}, "no note begins there; notes begin at"},
		{[]string{chord + " finger=1"}, "several notes are struck there"},
		{[]string{chord + ":9 finger=1"}, "notes are struck there"},
		{[]string{chord + ":C9 finger=1"}, "no C9 there"},
		{[]string{"m1.1:1 string=V"}, "the instrument has 4 strings"},
		{[]string{"m1.1:1 finger=1", "m1.1:1 finger=2"}, "contradicts"},
		{[]string{chord + " bow=up", chord + ":2 bow=down"}, "contradicts"},
		{[]string{"m1.1:1 finger=0", "m1.1:1 position=2"}, "no position"},
	} {
		var ds []Decision
		for i, s := range c.in {
			d, err := ParseLine(s)
			if err != nil {
				t.Fatal(err)
			}
			d.Source, d.Line = "d.yaml", i+1
			ds = append(ds, d)
		}
		m, found := Resolve(p, ds, 4)
		if len(found) == 0 || m != nil {
			t.Errorf("%v: %v", c.in, m)
			continue
		}
		text := found[0].Text
		if !strings.Contains(text, c.want) || !strings.HasPrefix(text, fmt.Sprintf("d.yaml line %d: ", len(ds))) || strings.Contains(text, "\n") {
			t.Errorf("%v: %q, want %q", c.in, text, c.want)
		}
	}
}

// The command line overrules the file, key by key.
func TestLaterSourceOverrules(t *testing.T) {
	p := jig(t)
	a, _ := ParseLine("m1.1:1 finger=1 bow=up")
	b, _ := ParseLine("m1.1:1 finger=2")
	a.Source, a.Line, b.Source = "d.yaml", 3, "--decide"
	m, found := Resolve(p, []Decision{a, b}, 4)
	if len(found) > 0 || len(m) != 1 {
		t.Fatalf("%v %v", m, found)
	}
	for _, s := range m {
		if *s.Finger != 2 || s.Bow != Up {
			t.Errorf("%+v", s)
		}
	}
}

// The example of docs/DECISIONS.md is read as it stands there.
func TestDocumentedExample(t *testing.T) {
	data, err := os.ReadFile(filepath.Join("..", "..", "docs", "DECISIONS.md"))
	if err != nil {
		t.Fatal(err)
	}
	blocks := strings.Split(string(data), "```")
	n := 0
	for i := 1; i < len(blocks); i += 2 {
		text, ok := strings.CutPrefix(blocks[i], "yaml\n")
		if !ok {
			continue
		}
		n++
		if _, err := ParseFile("DECISIONS.md", []byte(text)); err != nil {
			t.Errorf("%v\n%s", err, text)
		}
	}
	if n == 0 {
		t.Error("no example found")
	}
}
