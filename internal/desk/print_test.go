package desk

import (
	"bytes"
	"image"
	"image/draw"
	"image/png"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"pochette/internal/demo"
)

// poppler gives the path of one of its tools, or skips: the PDF is read by a program that
// is not ours.
func poppler(t *testing.T, tool string) string {
	t.Helper()
	path, err := exec.LookPath(tool)
	if err != nil {
		t.Skipf("no %s on this machine (Debian package poppler-utils)", tool)
	}
	return path
}

// saved keeps the print of a piece as a file: in POCHETTE_LOOK, where that is set, for
// whoever wants to look at it.
func (c *tester) saved(t *testing.T, piece, name string) string {
	t.Helper()
	dir := os.Getenv("POCHETTE_LOOK")
	if dir == "" {
		dir = t.TempDir()
	}
	path := filepath.Join(dir, name+".pdf")
	if err := os.WriteFile(path, []byte(c.call(200, "GET", piece+"/print", nil, nil)), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

func run(t *testing.T, name string, args ...string) string {
	t.Helper()
	out, err := exec.Command(name, args...).Output()
	if err != nil {
		t.Fatalf("%s %v: %v", name, args, err)
	}
	return string(out)
}

// grey is a page as a printer in black and white would put it down.
func grey(t *testing.T, pdf string) *image.Gray {
	t.Helper()
	text := run(t, poppler(t, "pdftoppm"), "-r", "300", "-gray", "-png", "-f", "1", "-l", "1", pdf)
	pic, err := png.Decode(strings.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	g := image.NewGray(pic.Bounds())
	draw.Draw(g, g.Bounds(), pic, pic.Bounds().Min, draw.Src)
	return g
}

// inkGained is how much darker one page is than another, in black pixels, and how much
// lighter elsewhere.
func inkGained(a, b *image.Gray) (gained, lost int) {
	for i := range a.Pix {
		if d := int(a.Pix[i]) - int(b.Pix[i]); d > 0 {
			gained += d
		} else {
			lost -= d
		}
	}
	return gained / 255, lost / 255
}

// A mark that is decided as it was proposed stays where it is and prints darker: a bow
// sign is filled, a finger bold.
func TestPrintTellsDecidedFromProposed(t *testing.T) {
	c := openDesk(t, t.TempDir())
	p := c.add("jig.musicxml", demo.Jig)
	var ref, bow, finger string
	v := c.piece(p)
	marks := c.call(200, "GET", p+"/pages/1?width=180&layers=bow,finger", nil, nil)
	for _, e := range v.Events {
		for _, n := range e.Notes {
			group := `data-note="` + n.Ref + `"`
			if _, after, ok := strings.Cut(marks, group); ok && bow == "" {
				if own, _, _ := strings.Cut(after, `data-note="`); strings.Contains(own, "bow proposed") {
					ref, bow, finger = n.Ref, e.Bow, n.Finger
				}
			}
		}
	}
	if bow == "" {
		t.Fatal("no proposed bow sign stands on the first page of the movement: choose another")
	}
	open := c.saved(t, p, "open")
	c.call(200, "POST", p+"/decide", object{"base": 0, "note": ref, "set": object{"bow": bow}}, nil)
	filled := c.saved(t, p, "bow")
	if gained, lost := inkGained(grey(t, open), grey(t, filled)); gained < 5 || lost > gained/2 {
		t.Errorf("the bow sign of %s gains %d black pixels at 300 dpi and loses %d when it is decided", ref, gained, lost)
	}
	c.call(200, "POST", p+"/decide", object{"base": 1, "note": ref, "set": object{"finger": finger}}, nil)
	bold := c.saved(t, p, "finger")
	if gained, lost := inkGained(grey(t, filled), grey(t, bold)); gained < 5 || lost > gained/2 {
		t.Errorf("the finger of %s gains %d black pixels at 300 dpi and loses %d when it is decided", ref, gained, lost)
	}
	text := run(t, poppler(t, "pdftotext"), "-layout", bold, "-")
	for _, want := range []string{Legend, "Jig", "Viola"} {
		if !strings.Contains(text, want) {
			t.Errorf("the print does not say %q:\n%s", want, text)
		}
	}
	if strings.Contains(text, "Readings") {
		t.Error("readings are listed, and there is one source")
	}
}

// What was chosen between the witnesses, and why, comes out with the part.
func TestPrintHasReadings(t *testing.T) {
	c := openDesk(t, t.TempDir())
	p := c.add("jig.musicxml", demo.Jig)
	var w witnessItem
	c.call(201, "POST", p+"/witnesses?name=copyist.xml", altered(), &w)
	c.call(200, "POST", p+"/witnesses/"+w.ID+"/choose", object{"base": 0, "n": 0, "reading": "there", "reason": "the louder suits the hall, and the echo that comes four measures later would have nothing to answer"}, nil)
	pdf := c.saved(t, p, "readings")
	text := strings.Join(strings.Fields(run(t, poppler(t, "pdftotext"), "-layout", pdf, "-")), " ")
	for _, want := range []string{"Readings", "jig.musicxml", "copyist.xml", "1 of 1 differences are settled.", "B is followed", "Reason: the louder suits the hall, and the echo that comes four measures later would have nothing to answer"} {
		if !strings.Contains(text, want) {
			t.Errorf("the print does not say %q:\n%s", want, text)
		}
	}
}

// The paper and the screen tell the two apart alike.
func TestPrintStyleIsThePages(t *testing.T) {
	css, err := os.ReadFile("page/src/style.css")
	if err != nil {
		t.Fatal(err)
	}
	squeeze := func(s string) string {
		s = strings.NewReplacer(" ", "", "\n", "", "currentColor", "black").Replace(s)
		return strings.ReplaceAll(s, ";}", "}")
	}
	// The selectors that only the page needs are passed over.
	page := strings.NewReplacer("text.decided,", "", "text.proposed,", "").Replace(squeeze(string(css)))
	for rule := range strings.SplitSeq(strings.TrimSuffix(strings.TrimPrefix(printStyle, "<style>"), "</style>"), "}") {
		if rule != "" && !strings.Contains(page, squeeze(rule)+"}") {
			t.Errorf("style.css has no %s}", rule)
		}
	}
}

// A long part fills its pages one after the other: every measure is there once, and no
// system reaches over the foot.
func TestPrintPages(t *testing.T) {
	c := openDesk(t, t.TempDir())
	p := c.add("long.musicxml", invented(700))
	pdf := c.saved(t, p, "long")
	text := run(t, poppler(t, "pdftotext"), "-layout", pdf, "-")
	pages := strings.Count(text, "\f")
	if pages < 3 {
		t.Fatalf("%d pages", pages)
	}
	if n := strings.Count(text, Legend); n != pages {
		t.Errorf("the legend stands on %d of %d pages", n, pages)
	}
	if other := []byte(c.call(200, "GET", p+"/print?paper=letter", nil, nil)); !bytes.Contains(other, []byte("/MediaBox")) {
		t.Error("no page of letter paper")
	}
	c.call(400, "GET", p+"/print?paper=vellum", nil, nil)
}
