package study

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"pochette/internal/bowing"
	"pochette/internal/decide"
	"pochette/internal/demo"
	"pochette/internal/score"
	"pochette/internal/testdata"
)

// quarters makes a part of bars of four quarter notes; on gives what stands on a note.
func quarters(name, sign string, line, bars int, on func(i int) string) []byte {
	var b strings.Builder
	fmt.Fprintf(&b, `<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>%s</part-name></score-part></part-list><part id="P1">`, name)
	for m := range bars {
		fmt.Fprintf(&b, `<measure number="%d">`, m+1)
		if m == 0 {
			fmt.Fprintf(&b, `<attributes><divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type></time><clef><sign>%s</sign><line>%d</line></clef></attributes>`, sign, line)
		}
		for q := range 4 {
			i := 4*m + q
			fmt.Fprintf(&b, `<note><pitch><step>%c</step><octave>4</octave></pitch><duration>1</duration><voice>1</voice><type>quarter</type>%s</note>`, "CDEFG"[i%5], on(i))
		}
		b.WriteString(`</measure>`)
	}
	b.WriteString(`</part></score-partwise>`)
	return []byte(b.String())
}

func nothing(int) string { return "" }

func one(s *Study, kind string) *score.Finding {
	if fs := s.findings(kind); len(fs) == 1 {
		return &fs[0]
	}
	return nil
}

// A part of another instrument, or of none that is named, is studied with word of what
// was guessed and why; one that names a string instrument says nothing; what is given is
// not guessed; percussion is refused.
func TestWhatIsGuessed(t *testing.T) {
	for _, c := range []struct {
		name, given string
		grade       score.Grade
		says        string // "" for no finding
	}{
		{"Flute", "", score.Caution, `for "Flute", not for violin, viola or cello; it is read as a violin part`},
		{"Piano", "", score.Caution, `for "Piano"`},
		{"Timpani", "", score.Caution, `for "Timpani"`},
		{"Music", "", score.Remark, "does not name its instrument; it is read as a violin part"},
		{"Violin", "", 0, ""},
		{"Flute", "viola", 0, ""},
	} {
		s, err := Analyze(Request{Name: "x.xml", Data: quarters(c.name, "G", 2, 2, nothing), Instrument: c.given})
		if err != nil {
			t.Fatal(err)
		}
		f := one(s, "instrument-guessed")
		if c.says == "" {
			if f != nil {
				t.Errorf("%s: %s", c.name, f.Text)
			}
			continue
		}
		if f == nil || f.Grade != c.grade || !strings.Contains(f.Text, c.says) || !strings.Contains(f.Why, "treble clef and fits the range") || !strings.Contains(f.Suggestion, "--instrument") {
			t.Errorf("%s: %+v", c.name, f)
		}
	}
	_, err := Analyze(Request{Name: "x.xml", Data: quarters("Timpani", "percussion", 3, 2, nothing)})
	if err == nil || !strings.Contains(err.Error(), "x.xml: part 1 (Timpani) is for percussion") || strings.Contains(err.Error(), "\n") {
		t.Errorf("percussion: %v", err)
	}
	drums := strings.NewReplacer("<pitch><step>", "<unpitched><display-step>", "</step><octave>4</octave></pitch>", "</display-step><display-octave>4</display-octave></unpitched>").
		Replace(string(quarters("Drums", "G", 2, 2, nothing)))
	if _, err := Analyze(Request{Name: "x.xml", Data: []byte(drums)}); err == nil || !strings.Contains(err.Error(), "part 1 (Drums)") || strings.Contains(err.Error(), "\n") {
		t.Errorf("notes without pitch: %v", err)
	}
}

// A slur of sixteen bars is told to outlast the bow, with seconds and places, and a slur
// without an end with what the bow does.
func TestSlursThatCannotBe(t *testing.T) {
	slur := func(from, to int) func(int) string {
		return func(i int) string {
			switch i {
			case from:
				return `<notations><slur type="start" number="1"/></notations>`
			case to:
				return `<notations><slur type="stop" number="1"/></notations>`
			}
			return ""
		}
	}
	s, err := Analyze(Request{Name: "x.xml", Data: quarters("Viola", "C", 3, 16, slur(0, 63))})
	if err != nil {
		t.Fatal(err)
	}
	if f := one(s, "bow-runs-out"); f == nil || f.Grade != score.Caution || !strings.Contains(f.Text, " seconds ") || strings.Count(f.Suggestion, "measure") < 2 || !strings.Contains(f.Suggestion, "bows at least: change") {
		t.Errorf("%+v", f)
	}
	if s, err = Analyze(Request{Name: "x.xml", Data: quarters("Viola", "C", 3, 4, slur(0, -1))}); err != nil {
		t.Fatal(err)
	}
	if f := one(s, "slur-unmatched"); f == nil || !strings.Contains(f.Why, "the bow changes as if it were not there") || f.Suggestion == "" || len(s.Bow.Proposed) != 16 {
		t.Errorf("%d strokes, %+v", len(s.Bow.Proposed), f)
	}
}

// In study.json, of real files and the demo, each total is the sum of its terms, the hand's
// of those of its events where nothing repeats, and the totals and the terms of both that
// of the plan (docs/STUDY_JSON.md). Every value is rounded to a thousandth.
func TestTermsAddUp(t *testing.T) {
	files := map[string][]byte{"demo": demo.Jig, "no repeats": quarters("Viola", "C", 3, 8, nothing)}
	paths := testdata.Scores(t, "musicxml/solo/*")
	if len(paths) < 4 {
		t.Fatalf("%d files", len(paths))
	}
	for _, p := range paths {
		data, err := os.ReadFile(p)
		if err != nil {
			t.Fatal(err)
		}
		files[filepath.Base(p)] = data
	}
	through := 0
	for name, data := range files {
		s, err := Analyze(Request{Name: name, Data: data, MayChangeSlurs: name == "demo"})
		if err != nil {
			t.Fatal(err)
		}
		text, err := json.Marshal(s.data("test"))
		if err != nil {
			t.Fatal(err)
		}
		var d jsonStudy
		if err := json.Unmarshal(text, &d); err != nil {
			t.Fatal(err)
		}
		sum := func(ts []jsonTerm) (v float64) {
			for _, t := range ts {
				v += t.Value
			}
			return v
		}
		near := func(what string, got, want float64, terms int) {
			if math.Abs(got-want) > 0.0006*float64(terms+2) {
				t.Errorf("%s: %s: the terms make %.3f, the total is %.3f", name, what, got, want)
			}
		}
		c := &d.Costs
		near("bow", sum(c.Bow.Terms), c.Bow.Total, len(c.Bow.Terms))
		near("hand", sum(c.Hand.Terms), c.Hand.Total, len(c.Hand.Terms))
		near("together", c.Bow.Total+c.Hand.Total+sum(c.Together.Terms), c.Together.Total, len(c.Together.Terms))
		strokes, n := 0.0, 0
		for _, st := range d.Strokes {
			strokes, n = strokes+sum(st.Terms), n+len(st.Terms)
		}
		for _, ch := range d.Changes {
			near("what the "+ch.Kind+" in "+ch.Place+" costs", sum(ch.CostTerms), ch.Cost, len(ch.CostTerms))
		}
		if repeats(&d) {
			continue
		}
		through++
		near("strokes", strokes, c.Bow.Total+sum(c.Together.Terms), n)
		events, n := 0.0, 0
		for _, e := range d.Events {
			events, n = events+sum(e.Terms), n+len(e.Terms)
		}
		near("events", events, c.Hand.Total, n)
	}
	if through == 0 {
		t.Error("no file is played straight through")
	}
}

func repeats(d *jsonStudy) bool { return len(d.PlayOrder) != len(d.Measures) }

// A place that no change rights names the line that decides it, and that line does.
func TestDecideLineOfAdvice(t *testing.T) {
	data := quarters("Violin", "G", 2, 2, func(i int) string {
		switch i {
		case 0, 4:
			return `<notations><slur type="start" number="1"/></notations>`
		case 1, 7:
			return `<notations><slur type="stop" number="1"/></notations>`
		}
		return ""
	})
	s, err := Analyze(Request{Name: "x.xml", Data: data})
	if err != nil {
		t.Fatal(err)
	}
	f := one(s, "wrong-way-round")
	if f == nil {
		t.Fatalf("nothing is wrong: %v", s.Findings)
	}
	_, line, found := strings.Cut(f.Suggestion, "--decide ")
	line, err = strconv.Unquote(strings.TrimSuffix(line, "."))
	if !found || err != nil {
		t.Fatalf("%q: %v", f.Suggestion, err)
	}
	d, err := decide.ParseLine(line)
	if err != nil {
		t.Fatal(err)
	}
	if s, err = Analyze(Request{Name: "x.xml", Data: data, Decisions: []decide.Decision{d}}); err != nil {
		t.Fatal(err)
	}
	if st := &s.Bow.Proposed[s.Stroke[4]]; st.Direction != bowing.Down || !st.Fixed || len(s.Decided) != 1 {
		t.Errorf("%q makes it %v", line, st.Direction)
	}
}

// No two places that come out the wrong way round are told the same remedy, no sentence
// names a chord's size where its bar says it, and the summary counts what is left apart.
func TestRemediesAreToldOnce(t *testing.T) {
	paths := testdata.Scores(t, "musicxml/solo/*")
	if len(paths) < 4 {
		t.Fatalf("%d files", len(paths))
	}
	places := 0
	for _, p := range paths {
		data, err := os.ReadFile(p)
		if err != nil {
			t.Fatal(err)
		}
		s, err := Analyze(Request{Name: filepath.Base(p), Data: data})
		if err != nil {
			t.Fatal(err)
		}
		told := map[string]string{}
		for _, f := range s.findings("wrong-way-round") {
			places++
			if was := told[f.Suggestion]; was != "" && f.Grade != score.Remark {
				t.Errorf("%s: %s and %s: %s", s.Source.Name, was, f.At, f.Suggestion)
			}
			told[f.Suggestion] = f.At.String()
		}
		for _, c := range s.Bow.Changes {
			if strings.Contains(c.Text, "-note chord") || strings.Contains(c.Text, "a up-bow") || strings.Contains(c.Text, "  ") {
				t.Errorf("%s, %s: %s", s.Source.Name, c.At, c.Text)
			}
		}
		if text := s.summaryBow(); strings.Contains(text, "other direction") || strings.Contains(text, "  ") {
			t.Errorf("%s: %s", s.Source.Name, text)
		}
	}
	if places == 0 {
		t.Error("no place comes out the wrong way round")
	}
}

func TestChangeCounts(t *testing.T) {
	got := strings.Join(changeCounts([]bowing.ChangeAt{{Kind: bowing.Begin}, {Kind: bowing.Retake, Chord: true}, {Kind: bowing.Retake}, {Kind: bowing.Retake, Chord: true}, {Kind: bowing.Link, Chord: true}}), ", ")
	if want := "the first stroke the other way round, 3 retakes (2 of them for the sake of chords), 1 linked stroke for the sake of a chord"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
}
