package study

import (
	"archive/zip"
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"pochette/internal/instrument"
	"pochette/internal/musicxml"
	"pochette/internal/musicxml/xmltest"
	"pochette/internal/score"
	"pochette/internal/testdata"
)

// realFiles lists the shared scores of string music: as people export them.
func realFiles(t *testing.T) []string {
	t.Helper()
	files := testdata.Scores(t, "musicxml/solo/*", "musicxml/quartets/*", "timing/*", "bowing/*/*")
	if len(files) < 30 {
		t.Fatalf("only %d files in %s", len(files), testdata.Dir(t))
	}
	return files
}

// Every string part of every real score is studied; stripping our marks gives
// the source's bytes again, and what is read back differs only by the marks.
func TestRealScores(t *testing.T) {
	parts, marks := 0, 0
	for _, file := range realFiles(t) {
		data, src, sc := xmltest.Read(t, file)
		for i, p := range sc.Parts {
			if _, _, ok := instrument.Guess(p); !ok || len(p.Notes) == 0 {
				t.Logf("%s part %d (%s): not for violin, viola or cello", src.Name, i+1, partName(p))
				continue
			}
			s, err := Analyze(Request{Name: src.Name, Data: data, Part: fmt.Sprint(i + 1)})
			if err != nil {
				t.Errorf("%s part %d: %v", src.Name, i+1, err)
				continue
			}
			parts, marks = parts+1, marks+len(s.Marks)
			checkRoundTrip(t, s)
		}
	}
	t.Logf("%d parts studied, %d marks added", parts, marks)
	if marks == 0 {
		t.Error("no mark was added anywhere")
	}
}

func checkRoundTrip(t *testing.T, s *Study) {
	t.Helper()
	marked, err := s.MarkedXML()
	if err != nil {
		t.Errorf("%v", err)
		return
	}
	back, err := musicxml.Strip(marked, s.Source.Name)
	if err != nil || !bytes.Equal(back, s.Source.XML) {
		t.Errorf("%s, %s: stripped bytes differ from the source's (%v)", s.Source.Name, partName(s.Part), err)
	}
	src, err := musicxml.Open(marked, s.Source.Name)
	if err != nil {
		t.Errorf("%v", err)
		return
	}
	again, _, err := musicxml.Decode(src)
	if err != nil {
		t.Errorf("%v", err)
		return
	}
	want := bare(s.Score)
	for _, m := range s.Marks {
		n := &want.Parts[s.PartIndex].Notes[m.Note]
		n.Marks = append(n.Marks, score.Mark{Kind: m.Mark.Kind, Text: m.Mark.Text})
	}
	if d := cmp.Diff(markSets(want), markSets(bare(again))); d != "" {
		t.Errorf("%s, %s: read back it differs:\n%.800s", s.Source.Name, partName(s.Part), d)
	}
}

// bare is a copy without what splicing must change: places in the bytes.
func bare(sc *score.Score) *score.Score {
	out := *sc
	out.Parts = nil
	for _, p := range sc.Parts {
		q := *p
		q.Notes = append([]score.Note{}, p.Notes...)
		for i := range q.Notes {
			q.Notes[i].Src = score.Span{}
			q.Notes[i].Marks = append([]score.Mark{}, q.Notes[i].Marks...)
		}
		q.Measures = append([]score.Measure{}, p.Measures...)
		for i := range q.Measures {
			q.Measures[i].Src = score.Span{}
		}
		q.Directions = append([]score.Direction{}, p.Directions...)
		for i := range q.Directions {
			q.Directions[i].Src = score.Span{}
		}
		q.Slurs = append([]score.Slur{}, p.Slurs...)
		for i := range q.Slurs {
			q.Slurs[i].StartSrc, q.Slurs[i].EndSrc = score.Span{}, score.Span{}
		}
		out.Parts = append(out.Parts, &q)
	}
	return &out
}

// markSets turns each note's marks into a set, since a new mark may stand before
// an old one, and drops their origin and side.
func markSets(sc *score.Score) *score.Score {
	for _, p := range sc.Parts {
		for i := range p.Notes {
			n := &p.Notes[i]
			count := map[string]int{}
			for _, m := range n.Marks {
				count[string(m.Kind)+" "+m.Text]++
			}
			n.Marks, n.Lyric = nil, fmt.Sprint(n.Lyric, count)
		}
	}
	return sc
}

// The marked file validates against the MusicXML 4.0 schema (W3C) where the
// source did.
func TestMarkedFilesValidate(t *testing.T) {
	if _, err := exec.LookPath("xmllint"); err != nil {
		t.Skip("xmllint is not installed (Debian: libxml2-utils); .ci/run installs it")
	}
	schema := filepath.Join(testdata.Dir(t), "musicxml/xsd/musicxml-local.xsd")
	valid := func(xml []byte) bool {
		f := filepath.Join(t.TempDir(), "x.xml")
		if err := os.WriteFile(f, xml, 0o600); err != nil {
			t.Fatal(err)
		}
		return exec.Command("xmllint", "--nonet", "--noout", "--schema", schema, f).Run() == nil
	}
	n := 0
	for _, file := range realFiles(t) {
		data, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		s, err := Analyze(Request{Name: filepath.Base(file), Data: data})
		if err != nil {
			t.Fatal(err)
		}
		if !valid(s.Source.XML) {
			t.Logf("%s: the source does not validate", s.Source.Name)
			continue
		}
		marked, err := s.MarkedXML()
		if err != nil {
			t.Fatal(err)
		}
		if n++; !valid(marked) {
			t.Errorf("%s: the source validates, the marked part does not", s.Source.Name)
		}
	}
	if n < 20 {
		t.Errorf("only %d sources validate", n)
	}
}

// Bad input: an error of one line that names the file, never a panic.
func TestBadInput(t *testing.T) {
	head := `<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Violin</part-name></score-part></part-list><part id="P1">`
	attr := `<attributes><divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type></time><clef><sign>G</sign><line>2</line></clef></attributes>`
	note := func(step string, oct int, extra string) string {
		return fmt.Sprintf("<note>%s<pitch><step>%s</step><octave>%d</octave></pitch><duration>4</duration><type>whole</type></note>", extra, step, oct)
	}
	for name, data := range map[string]string{
		"empty":     "",
		"not XML":   "this is a shopping list",
		"HTML":      "<html><body>no</body></html>",
		"truncated": head + "<measure number=\"1\">" + attr + "<note><pitch>",
		"no notes":  head + `<measure number="1">` + attr + `<note><rest/><duration>4</duration></note></measure></part></score-partwise>`,
		"no parts":  `<score-partwise version="4.0"><part-list/></score-partwise>`,
		"entities":  `<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;">]>` + head + `<measure number="1">` + attr + `<note><pitch><step>&b;</step></pitch></note></measure></part></score-partwise>`,
		"zip":       "PK\x03\x04 not really",
		"bomb":      zipBomb(t),
	} {
		_, err := Analyze(Request{Name: "bad.musicxml", Data: []byte(data)})
		if err == nil {
			t.Errorf("%s: no error", name)
			continue
		}
		if msg := err.Error(); !strings.HasPrefix(msg, "bad.musicxml:") || strings.Contains(msg, "\n") || len(msg) > 300 {
			t.Errorf("%s: %q is not one clear line about the file", name, msg)
		}
	}
	chord := note("G", 3, "")
	for i := range 39 {
		chord += note("CDEFGAB"[i%7:i%7+1], 3+i/7, "<chord/>")
	}
	alone := head + `<measure number="1">` + attr + note("C", 2, "") + `</measure></part></score-partwise>`
	if _, err := Analyze(Request{Name: "odd.musicxml", Data: []byte(alone)}); err == nil || !strings.Contains(err.Error(), "nothing that a violin can play: at measure 1") {
		t.Errorf("one note below the open string and nothing else: %v", err)
	}
	for name, notes := range map[string]string{"below the open string": note("C", 2, "") + note("C", 5, ""), "a chord of 40": chord} {
		xml := head + `<measure number="1">` + attr + notes + `</measure></part></score-partwise>`
		s, err := Analyze(Request{Name: "odd.musicxml", Data: []byte(xml)})
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		told := false
		for _, f := range s.Findings {
			told = told || f.Grade == score.Trouble && f.At.Measure == 0
		}
		if !told {
			t.Errorf("%s: no finding says that it cannot be played: %+v", name, s.Findings)
		}
	}
}

// zipBomb is an archive of a few kB whose entry unpacks to 1 GB of blanks.
func zipBomb(t *testing.T) string {
	t.Helper()
	var buf bytes.Buffer
	w := zip.NewWriter(&buf)
	c, err := w.Create("META-INF/container.xml")
	if err != nil {
		t.Fatal(err)
	}
	fmt.Fprint(c, `<container><rootfiles><rootfile full-path="x.xml"/></rootfiles></container>`)
	x, err := w.Create("x.xml")
	if err != nil {
		t.Fatal(err)
	}
	blank := make([]byte, 1<<20)
	for range 1 << 10 {
		if _, err := x.Write(blank); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return buf.String()
}
