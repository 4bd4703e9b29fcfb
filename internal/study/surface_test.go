package study

import (
	"bytes"
	"fmt"
	"regexp"
	"slices"
	"strings"
	"testing"

	"pochette/internal/demo"
	"pochette/internal/fingering"
	"pochette/internal/musicxml"
	"pochette/internal/report"
	"pochette/internal/score"
	"pochette/internal/timeline"
)

// small studies a violin part in 4/4, a quarter for each word: a pitch, "r", with
// "+" behind it a cross over the note, "(words)" printed before the next, and "N="
// the number of the finger printed.
func small(t *testing.T, text string, r Request) *Study {
	t.Helper()
	var b strings.Builder
	b.WriteString(`<?xml version="1.0"?><score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Violin</part-name></score-part></part-list><part id="P1">`)
	n := 0
	for _, w := range strings.Fields(text) {
		if n%4 == 0 && !strings.HasSuffix(b.String(), "</direction>") {
			if n > 0 {
				b.WriteString("</measure>")
			}
			fmt.Fprintf(&b, `<measure number="%d">`, n/4+1)
			if n == 0 {
				b.WriteString(`<attributes><divisions>1</divisions><time><beats>4</beats><beat-type>4</beat-type></time></attributes>`)
			}
		}
		if strings.HasPrefix(w, "(") {
			fmt.Fprintf(&b, `<direction><direction-type><words>%s</words></direction-type></direction>`, strings.ReplaceAll(strings.Trim(w, "()"), "_", " "))
			continue
		}
		n++
		finger := ""
		if f, rest, ok := strings.Cut(w, "="); ok {
			finger, w = "<fingering>"+f+"</fingering>", rest
		}
		if strings.HasSuffix(w, "+") {
			finger += "<stopped/>"
			w = strings.TrimSuffix(w, "+")
		}
		sound := "<rest/>"
		if w != "r" {
			sound = fmt.Sprintf("<pitch><step>%c</step><octave>%c</octave></pitch>", w[0], w[1])
		}
		if finger != "" {
			finger = "<notations><technical>" + finger + "</technical></notations>"
		}
		fmt.Fprintf(&b, "<note>%s<duration>1</duration><voice>1</voice><type>quarter</type>%s</note>", sound, finger)
	}
	b.WriteString("</measure></part></score-partwise>")
	r.Name, r.Data = "small.musicxml", []byte(b.String())
	s, err := Analyze(r)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// A harmonic of taste goes into the part as MusicXML has it, with finger and string,
// and taking the marks out again gives the source back byte for byte. Nobody gets
// one unasked.
func TestHarmonicInThePart(t *testing.T) {
	const run = "1=A5 B5 C6 E6 C6 B5 1=A5 r"
	for _, c := range []struct {
		taste string
		want  int
	}{{"", 0}, {"none", 0}, {"as-needed", 1}, {"more", 1}} {
		s := small(t, run, Request{Style: Style{Harmonics: c.taste}})
		marked, err := s.MarkedXML()
		if err != nil {
			t.Fatal(err)
		}
		if n := bytes.Count(marked, []byte("<harmonic><natural/></harmonic>")); n != c.want {
			t.Errorf("--harmonics %q: %d harmonics in the part", c.taste, n)
		}
		back, err := musicxml.Strip(marked, s.Source.Name)
		if err != nil || !bytes.Equal(back, s.Source.XML) {
			t.Errorf("--harmonics %q: stripped %v, the same %v", c.taste, err, bytes.Equal(back, s.Source.XML))
		}
		i := slices.IndexFunc(s.Hand.Grips, func(g fingering.Grip) bool { return len(g.Stops) > 0 && g.Stops[0].Taste })
		if (i >= 0) != (c.want > 0) {
			t.Errorf("--harmonics %q: harmonic at event %d", c.taste, i)
			continue
		}
		if i < 0 {
			continue
		}
		kinds := map[score.MarkKind]bool{}
		for _, m := range s.Marks {
			kinds[m.Mark.Kind] = kinds[m.Mark.Kind] || m.Note == s.Hand.Grips[i].Stops[0].Note
		}
		if !kinds[score.Harmonic] || !kinds[score.Fingering] || !kinds[score.String] {
			t.Errorf("marks of the harmonic: %v", kinds)
		}
		if row := s.noteRow(i); !strings.Contains(row.Why, "harmonic") {
			t.Errorf("%q", row.Why)
		}
	}
	if _, err := Analyze(Request{Name: demo.Name, Data: demo.Jig, Style: Style{Harmonics: "all"}}); err == nil || !strings.Contains(err.Error(), "none, as-needed or more") {
		t.Errorf("--harmonics all: %v", err)
	}
}

// Words for the mute are findings of the bow with their seconds, in the report and
// in the data.
func TestMuteIsTold(t *testing.T) {
	s := small(t, "A4 B4 r r (con_sord.) A4 B4 A4 r (senza_sordino) A4 B4 A4 A4", Request{})
	var got []string
	for _, f := range s.Findings {
		if strings.HasPrefix(f.Kind, "mute") {
			got = append(got, fmt.Sprintf("%s %v %v", f.Kind, f.At, f.Grade))
			if s.topic(f) != "bow" {
				t.Errorf("topic %s", s.topic(f))
			}
		}
	}
	if want := []string{"mute-on measure 2, beat 1 caution", "mute-off measure 3, beat 1 caution"}; !slices.Equal(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
	d := s.data("test")
	if len(d.Changeovers) != 2 || d.Changeovers[0].Seconds != 1.25 || d.Changeovers[0].Need != 4.8 { // two quarters at 96
		t.Errorf("%+v", d.Changeovers)
	}
}

// A cross over an open string or over a note that a lower finger stops is plucked
// without ado; the fourth has none above it to pluck with. The crosses are no change
// of the right hand.
func TestCrossesOverNotes(t *testing.T) {
	for text, want := range map[string]bool{"E5 A4+ E5 A4+": false, "3=D5 2=C5+ 1=B4+ A4+": false, "A4 4=E5+ A4 B4": true} {
		s := small(t, text, Request{})
		if got := len(s.findings("left-hand-pizzicato")) > 0; got != want {
			t.Errorf("%s: told %v", text, got)
		}
		if len(s.Changeovers) > 0 {
			t.Errorf("%s: %+v", text, s.Changeovers)
		}
		for i, w := range strings.Fields(text) {
			if strings.HasSuffix(w, "+") != (s.Stroke[i] < 0) {
				t.Errorf("%s: note %d in stroke %d", text, i, s.Stroke[i])
			}
		}
	}
}

// The demonstration begins with an upbeat that is printed as measure 0: reports and
// tables call it the pickup, and it is found by both names.
func TestPickupIsCalledSo(t *testing.T) {
	s := jigWith(t, Request{})
	if at := timeline.At(s.Part, 0, 0, score.NoNote).String(); at != "pickup, beat 4+1/2" {
		t.Errorf("%q", at)
	}
	for _, bars := range []string{"0", "pickup"} {
		if b, err := s.Bars(bars); err != nil || b != (Bars{0, 0}) {
			t.Errorf("--bars %s: %v %v", bars, b, err)
		}
	}
	if b, err := s.Bars("0-2"); err != nil || b != (Bars{0, 2}) {
		t.Errorf("--bars 0-2: %v %v", b, err)
	}
	for _, topic := range []Topic{Strokes, Fingers, Crossings, Hard} {
		for _, r := range s.Table(topic, Bars{0, 0}, true).Rows {
			if r.Cells[0] != "pickup" {
				t.Errorf("%s: bar %q", topic, r.Cells[0])
			}
		}
	}
	page := s.document("test")
	text := fmt.Sprintf("%+v", page)
	if strings.Contains(text, "easure 0") || !strings.Contains(text, "Pickup") && page.Bars[0].ID == barID(0) {
		t.Errorf("the report speaks of measure 0: %v", page.Bars[0].Label)
	}
	if len(s.decidedAt(t, "m0.4+1/2 string=III")) != 1 || len(s.decidedAt(t, "mpickup.4+1/2 string=III")) != 1 {
		t.Error("a decision does not find the pickup")
	}
}

// Every link of a real page has its target there, and the page asks for nothing from
// elsewhere.
func TestLinksOfTheReport(t *testing.T) {
	s := jigWith(t, Request{Decisions: decisions(t, "m5.1 string=III")})
	var b bytes.Buffer
	if err := report.Write(&b, s.document("test")); err != nil {
		t.Fatal(err)
	}
	page := b.String()
	n := 0
	for _, m := range regexp.MustCompile(`href="([^"]*)"`).FindAllStringSubmatch(page, -1) {
		n++
		if to, ok := strings.CutPrefix(m[1], "#"); !ok || !strings.Contains(page, ` id="`+to+`"`) {
			t.Errorf("link to %q goes nowhere", m[1])
		}
	}
	if n < 10 || strings.Contains(page, "http://") || strings.Contains(page, "https://") {
		t.Errorf("%d links, addresses in the page: %v", n, strings.Contains(page, "http"))
	}
	if strings.Count(page, "Costs say how much") != 1 {
		t.Error("the unit of costs is not told once")
	}
}

// decidedAt are the notes that one decision settles.
func (s *Study) decidedAt(t *testing.T, line string) []score.NoteID {
	t.Helper()
	var out []score.NoteID
	for id := range jigWith(t, Request{Decisions: decisions(t, line)}).Decided {
		out = append(out, id)
	}
	return out
}
