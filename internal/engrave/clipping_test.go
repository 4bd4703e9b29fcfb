package engrave_test

import (
	"context"
	"fmt"
	"image/color"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"pochette/internal/engrave"
	"pochette/internal/paper"
	"pochette/internal/testdata"
)

var viewBox = regexp.MustCompile(`^<svg width="[0-9.]+mm" height="[0-9.]+mm" viewBox="0 0 ([0-9.]+) ([0-9.]+)"[^>]*>`)

// Nothing of an excerpt reaches over its edge: drawn on a sheet with a margin around the
// picture, the margin stays white. The scores have stacks of fingers, numerals, dynamics,
// ledger lines and long measure numbers.
func TestExcerptsAreNotClipped(t *testing.T) {
	scores := map[string][]byte{"invented extremes": extremes(120)}
	for _, name := range []string{"bowing/solos/reger-op42-1-2.musicxml", "bowing/etudes/sitt-op32-1-16.musicxml"} {
		b, err := os.ReadFile(filepath.Join(testdata.Dir(t), name))
		if err != nil {
			t.Fatal(err)
		}
		scores[name] = b
	}
	pool, err := engrave.Open(t.Context(), engrave.PoolOptions{Size: 1, CacheDir: t.TempDir()})
	if err != nil {
		t.Fatal(err)
	}
	defer pool.Close(context.Background())
	for name, b := range scores {
		s, err := pool.Session(t.Context(), b)
		if err != nil {
			t.Fatal(err)
		}
		set, err := s.Excerpts(t.Context(), [][2]int{{1, 1}, {2, 2}, {4, 5}, {8, 8}, {9, 9}, {20, 20}, {29, 31}}, 120)
		if err != nil {
			t.Fatal(err)
		}
		s.Close()
		for i, svg := range withGlyphs(set) {
			checkMargin(t, fmt.Sprintf("%s, picture %d", name, i), svg)
		}
	}
}

func withGlyphs(set engrave.ExcerptSet) []string {
	_, defs, _ := strings.Cut(set.Glyphs, "<defs>")
	defs, _, _ = strings.Cut(defs, "</defs>")
	var out []string
	for _, svg := range set.SVG {
		top := viewBox.FindString(svg)
		out = append(out, top+"<defs>"+defs+"</defs>"+svg[len(top):])
	}
	return out
}

// checkMargin draws a picture inside a margin of 20 mm and looks for ink there.
func checkMargin(t *testing.T, name, svg string) {
	t.Helper()
	m := viewBox.FindStringSubmatch(svg)
	if m == nil {
		t.Fatalf("%s: no size: %.200s", name, svg)
	}
	var w, h float64
	fmt.Sscan(m[1], &w)
	fmt.Sscan(m[2], &h)
	const margin, dpi = 20, 100
	svg = svg[len(m[0]):]
	sheet := fmt.Sprintf(`<svg viewBox="0 0 %g %g" xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"><g transform="translate(%d, %d)"><svg x="0" y="0" width="%g" height="%g" viewBox="0 0 %g %g" overflow="visible">`,
		w+2*margin, h+2*margin, margin, margin, w, h, w, h) + svg + `</g></svg>`
	img, err := paper.Image(paper.Page{Width: w + 2*margin, Height: h + 2*margin, SVG: sheet}, dpi)
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	inside := 0
	for y := range img.Bounds().Dy() {
		for x := range img.Bounds().Dx() {
			c := color.GrayModel.Convert(img.At(x, y)).(color.Gray)
			if c.Y > 200 {
				continue
			}
			mmX, mmY := float64(x)*25.4/dpi-margin, float64(y)*25.4/dpi-margin
			if mmX < 0 || mmY < 0 || mmX > w || mmY > h {
				t.Errorf("%s (%g by %g mm): ink at %.1f, %.1f mm, over the edge", name, w, h, mmX, mmY)
				return
			}
			inside++
		}
	}
	if inside < 200 {
		t.Errorf("%s: only %d dark points: nothing was drawn", name, inside)
	}
}

// extremes are n measures with very high and very low notes and what hangs on them.
func extremes(n int) []byte {
	var b strings.Builder
	b.WriteString(`<?xml version="1.0" encoding="UTF-8"?><score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Violin</part-name></score-part></part-list><part id="P1">`)
	note := func(chord, step string, octave int, technical string) {
		fmt.Fprintf(&b, `<note>%s<pitch><step>%s</step><octave>%d</octave></pitch><duration>1</duration><voice>1</voice><type>quarter</type><notations><technical>%s</technical></notations></note>`, chord, step, octave, technical)
	}
	for i := range n {
		fmt.Fprintf(&b, `<measure number="%d">`, 1000+i)
		if i == 0 {
			b.WriteString(`<attributes><divisions>1</divisions><key><fifths>-6</fifths></key><time><beats>4</beats><beat-type>4</beat-type></time><clef><sign>G</sign><line>2</line></clef></attributes>`)
		}
		note("", "E", 7, "<up-bow/><fingering>4</fingering><string>1</string>")
		note("", "G", 3, `<fingering placement="below">1</fingering>`)
		b.WriteString(`<direction placement="below"><direction-type><dynamics><fff/></dynamics></direction-type></direction>`)
		b.WriteString(`<direction placement="above"><direction-type><words>a very long word of advice to whoever plays</words></direction-type></direction>`)
		note("", "G", 6, "<down-bow/><fingering>3</fingering>")
		note("<chord/>", "B", 5, "<fingering>2</fingering>")
		note("<chord/>", "D", 5, "<fingering>1</fingering><string>3</string>")
		note("", "A", 2, "")
		b.WriteString(`</measure>`)
	}
	b.WriteString(`</part></score-partwise>`)
	return []byte(b.String())
}
