package engrave

import (
	"context"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
	"unicode/utf8"
)

var tags = regexp.MustCompile(`<[^>]*>`)

// texts are the words of each element of a class in a page, in the order drawn.
func texts(svg, class string) []string {
	var out []string
	for _, part := range strings.Split(svg, `class="`+class+`"`)[1:] {
		text, _, _ := strings.Cut(part, "</text>")
		_, text, _ = strings.Cut(text, ">")
		out = append(out, strings.Join(strings.Fields(tags.ReplaceAllString(text, " ")), " "))
	}
	return out
}

// The marks of a string player: each reaches the page. The names are MusicXML's.
func TestMarksAreDrawn(t *testing.T) {
	p := openPool(t, 1)
	xml := invented(
		quarter("G", 4, "<up-bow/>", "<fingering>1</fingering>")+
			quarter("A", 4, "<fingering>2</fingering>", "<string>3</string>")+
			quarter("B", 4, "<string>1</string>")+
			quarter("C", 5, "<thumb-position/>"),
		quarter("G", 4, "<fingering>1</fingering>", `<fingering substitution="yes">3</fingering>`)+
			quarter("A", 4, "<fingering>2</fingering>", `<fingering alternate="yes">4</fingering>`)+
			quarter("D", 4, "<fingering>1</fingering>", "<string>2</string>")+
			voiced(1, true, "B", 4, "<fingering>2</fingering>", "<string>1</string>")+
			quarter("A", 4, "<fingering>0</fingering>", "<open-string/>"),
	)
	pages, err := p.SVG(t.Context(), xml, A4())
	if err != nil {
		t.Fatal(err)
	}
	got := texts(pages[0], "fing")
	want := []string{"1", "2", "III", "I", thumbSign, "1-3", "2(4)", "1 II", "2 I", "0"}
	if !slices.Equal(got, want) {
		t.Errorf("fingerings drawn: %q, wanted %q", got, want)
	}
	for _, w := range []string{"Invented Suite", "2. Jig", "Ada Nobody", "Viola"} {
		if strings.Count(pages[0], w) != 1 {
			t.Errorf("%q stands %d times on the page, wanted once", w, strings.Count(pages[0], w))
		}
	}
	// SMuFL 1.40, range "String techniques": U+E612 up bow.
	if !strings.Contains(pages[0], "#E612-") {
		t.Error("no up-bow on the page")
	}
	if strings.Contains(pages[0], mark) {
		t.Error("the separator reached the page")
	}
}

// With two voices on a staff the lower one has its fingerings below, unless told.
func TestLowerVoice(t *testing.T) {
	source := string(invented(
		quarter("G", 5, "<fingering>3</fingering>") + "<backup><duration>1</duration></backup>" +
			voiced(2, false, "B", 4, "<fingering>1</fingering>") +
			voiced(2, false, "B", 4, `<fingering placement="above">2</fingering>`)))
	got, err := prepare(source)
	if err != nil {
		t.Fatal(err)
	}
	for _, w := range []string{"<fingering>3<", `<fingering placement="below">1<`, `<fingering placement="above">2<`} {
		if !strings.Contains(got.xml, w) {
			t.Errorf("no %s in the engraver's copy", w)
		}
	}
}

// A lower voice that sounds alone has its fingerings above, by its bow signs: after the
// upper voice has ended, over a rest in it, before it comes in; not under a note that
// sounds on.
func TestLowerVoiceAlone(t *testing.T) {
	back := func(n int) string { return "<backup><duration>" + strconv.Itoa(n) + "</duration></backup>" }
	const rest = "<note><rest/><duration>1</duration><voice>1</voice><type>quarter</type></note>"
	one := voiced(2, false, "B", 4, "<fingering>1</fingering>")
	for name, c := range map[string]struct{ measure, want string }{
		"after it":       {quarter("G", 5) + one, "above"},
		"over a rest":    {quarter("G", 5) + rest + back(1) + one, "above"},
		"before it":      {"<forward><duration>1</duration></forward>" + quarter("G", 5) + back(2) + one, "above"},
		"with it":        {quarter("G", 5) + quarter("A", 5) + back(1) + one, "below"},
		"while it lasts": {strings.Replace(quarter("G", 5), "<duration>1<", "<duration>2<", 1) + back(1) + one, "below"},
	} {
		got, err := prepare(string(invented(c.measure)))
		if err != nil {
			t.Fatal(err)
		}
		if w := `<fingering placement="` + c.want + `">1<`; !strings.Contains(got.xml, w) {
			t.Errorf("%s: no %s in the engraver's copy", name, w)
		}
	}
}

// The bow signs of a lower voice stand above the staff, since the engraver turns those
// below over; one that is placed in the source stays.
func TestBowSignsStandAbove(t *testing.T) {
	p := openPool(t, 1)
	pages, err := p.SVG(t.Context(), invented(
		quarter("G", 5)+"<backup><duration>1</duration></backup>"+voiced(2, false, "B", 3, "<down-bow/>")+
			quarter("G", 5)+"<backup><duration>1</duration></backup>"+voiced(2, false, "B", 3, `<up-bow placement="below"/>`)), A4())
	if err != nil {
		t.Fatal(err)
	}
	// SMuFL 1.40, "String techniques": U+E610 down bow, U+E612 up bow, U+E613 turned up bow.
	if !strings.Contains(pages[0], `"#E610-`) {
		t.Error("no upright down-bow")
	}
	if !strings.Contains(pages[0], `"#E613-`) {
		t.Error("the sign placed below by the source is not below")
	}
}

// What the engraver would multiply or divide by is bounded in its copy.
func TestHostileNumbers(t *testing.T) {
	p := openPool(t, 1)
	for name, change := range map[string]*strings.Replacer{
		"repeats":   strings.NewReplacer("</measure>", `<barline location="right"><repeat direction="backward" times="1000000"/></barline></measure>`),
		"beat type": strings.NewReplacer("<beat-type>4<", "<beat-type>0<"),
		"beats":     strings.NewReplacer("<beats>4<", "<beats>999999999<"),
	} {
		ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
		if _, err := p.SVG(ctx, []byte(change.Replace(string(invented(plainMeasures(12)...)))), A4()); err != nil {
			t.Errorf("%s: %v", name, err)
		}
		cancel()
	}
}

func TestExcerpts(t *testing.T) {
	p := openPool(t, 1)
	s, err := p.Session(t.Context(), invented(plainMeasures(12)...))
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	ids := map[string]string{}
	for _, tt := range []struct {
		measures string
		want     int
	}{{"2-4", 3}, {"7", 1}, {"start-2", 2}, {"11-end", 2}, {"", 12}, {"1-12", 12}} {
		pages, err := s.SVG(t.Context(), Excerpt(tt.measures, 120))
		if err != nil {
			t.Errorf("%q: %v", tt.measures, err)
			continue
		}
		all := strings.Join(pages, "")
		if got := strings.Count(all, `data-class="measure"`); got != tt.want {
			t.Errorf("%q: %d measures drawn, wanted %d", tt.measures, got, tt.want)
		}
		id := pictureID.FindStringSubmatch(pages[0])
		if id == nil || ids[id[1]] != "" {
			t.Errorf("%q: the picture shares its identifier with %q", tt.measures, ids[id[1]])
		} else {
			ids[id[1]] = "of " + tt.measures
		}
	}
	for _, bad := range []string{"13", "5-40", "0", "4-2", "x", "-3", "2--4"} {
		if pages, err := s.SVG(t.Context(), Excerpt(bad, 120)); err == nil {
			t.Errorf("%q: %d pages, wanted an error", bad, len(pages))
		} else if !strings.Contains(err.Error(), bad) {
			t.Errorf("%q: %v does not name it", bad, err)
		}
	}
	if _, err := s.SVG(t.Context(), Excerpt("3", 120)); err != nil {
		t.Errorf("after bad ranges: %v", err)
	}
}

func TestLayoutLimits(t *testing.T) {
	for name, spoil := range map[string]func(*Layout){
		"page width": func(l *Layout) { l.PageWidth = 5 }, "page height": func(l *Layout) { l.PageHeight = 7000 },
		"left margin": func(l *Layout) { l.MarginLeft = -1 }, "staff height": func(l *Layout) { l.StaffHeight = 20 },
		"measure numbers": func(l *Layout) { l.MeasureNumbers = 65 },
	} {
		l := A4()
		spoil(&l)
		if err := l.Check(); err == nil || !strings.Contains(err.Error(), name) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

var credits = regexp.MustCompile(`<credit page="1">.*?</credit>`)

// FuzzPrepare: a copy for the engraver is made of any text or refused, never a panic;
// the copy of a copy is the copy, but for the room it keeps for the heading, which has no
// name of the part any more.
func FuzzPrepare(f *testing.F) {
	f.Add(string(invented(quarter("G", 4, "<fingering>1</fingering>", "<string>2</string>", "<open-string/>"))))
	f.Add(string(invented(quarter("G", 4, "<thumb-position/>", "<fingering/>"))))
	f.Add("<score-partwise><part-list><score-part/></part-list><part><measure/></part></score-partwise>")
	f.Fuzz(func(t *testing.T, text string) {
		once, err := prepare(text)
		if err != nil {
			if strings.Contains(err.Error(), "\n") {
				t.Errorf("several lines: %q", err)
			}
			return
		}
		twice, err := prepare(once.xml)
		if err != nil {
			t.Fatalf("the copy cannot be read: %v", err)
		}
		if a, b := credits.ReplaceAllString(once.xml, ""), credits.ReplaceAllString(twice.xml, ""); a != b {
			t.Errorf("the copy of the copy differs:\n%s\n%s", a, b)
		}
	})
}

// The lines of a heading keep to the page and lose no word.
func TestWrapped(t *testing.T) {
	long := strings.Repeat("A set of rather long and elaborate pieces ", 5)
	for _, text := range []string{"", "Jig", long, strings.Repeat("x", 300), "Gigue légère " + strings.Repeat("é", 60)} {
		lines := wrapped(text, titleLine)
		if got, want := strings.Join(lines, " "), strings.Join(strings.Fields(text), " "); got != want {
			t.Errorf("%q became %q", want, got)
		}
		for _, l := range lines {
			if utf8.RuneCountInString(l) > titleLine && strings.Contains(l, " ") {
				t.Errorf("a line of several words is too long: %q", l)
			}
		}
	}
	if n := len(wrapped(long, titleLine)); n != 4 { // 209 characters at 66 a line
		t.Errorf("%d lines, wanted 4", n)
	}
}

// The second title stands clear of the first: their baselines are further apart than the
// size of its type with the descenders of the first, a quarter of that one's size.
func TestTitlesStandClear(t *testing.T) {
	p := openPool(t, 1)
	for _, l := range []Layout{A4(), Letter()} {
		pages, err := p.SVG(t.Context(), invented(plainMeasures(4)...), l)
		if err != nil {
			t.Fatal(err)
		}
		first, firstSize := textAt(t, pages[0], "Invented Suite")
		second, secondSize := textAt(t, pages[0], "2. Jig")
		if second-first < secondSize+firstSize/4 {
			t.Errorf("baselines %d and %d, type of %d and %d", first, second, firstSize, secondSize)
		}
	}
}

var yOrSize = regexp.MustCompile(`\b(y|font-size)="([0-9]+)(px)?"`)

// textAt is the baseline and the size of the type of a text in a page, in its units.
func textAt(t *testing.T, svg, text string) (y, size int) {
	t.Helper()
	before, _, found := strings.Cut(svg, ">"+text+"<")
	if !found {
		t.Fatalf("no %q on the page", text)
	}
	for _, m := range yOrSize.FindAllStringSubmatch(before, -1) {
		n, _ := strconv.Atoi(m[2])
		switch {
		case m[1] == "y":
			y = n
		case n > 0: // an outer text has the size 0
			size = n
		}
	}
	return y, size
}
