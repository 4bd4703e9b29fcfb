package svg

import (
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"
)

// half is a font whose letters are all half an em wide.
type half struct{}

func (half) Advance(Face, rune) float64 { return 0.5 }

// parse wraps a body in an svg element of 100 by 50 and reads it.
func parse(t *testing.T, body string) *Drawing {
	t.Helper()
	d, err := Parse(wrap(body), half{})
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func wrap(body string) string {
	return `<svg xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink" width="100px" height="50px">` + body + `</svg>`
}

func hex(c Color) string { return fmt.Sprintf("%02x%02x%02x%02x", c.R, c.G, c.B, c.A) }

// describe is a short text for a list of operations.
func describe(d *Drawing) string {
	var b strings.Builder
	for _, op := range d.Ops {
		switch o := op.(type) {
		case *Shape:
			fmt.Fprintf(&b, "%s", cmdBytes(o.Path))
			if o.Fill.A > 0 {
				fmt.Fprintf(&b, " fill %s", hex(o.Fill))
			}
			if o.Stroke.A > 0 {
				fmt.Fprintf(&b, " stroke %s %g", hex(o.Stroke), o.Width)
			}
		case *Text:
			p := o.M.Apply(Point{})
			fmt.Fprintf(&b, "%q at %g,%g size %g", o.S, p.X, p.Y, o.Size)
			if o.Face.Bold {
				b.WriteString(" bold")
			}
			if o.Face.Italic {
				b.WriteString(" italic")
			}
		}
		b.WriteByte('\n')
	}
	return strings.TrimSuffix(b.String(), "\n")
}

func TestOperations(t *testing.T) {
	for _, c := range []struct{ name, body, want string }{
		{"rect", `<rect x="1" y="2" width="3" height="4"/>`, "MLLLZ fill 000000ff"},
		{"rounded", `<rect width="3" height="4" rx="1" fill="none" stroke="#f00"/>`, "MLCLCLCLCZ stroke ff0000ff 1"},
		{"empty rect", `<rect width="0" height="4"/>`, ""},
		{"ellipse", `<ellipse cx="1" cy="1" rx="2" ry="1" fill-opacity="0"/>`, ""},
		{"circle", `<circle r="2" opacity=".5"/>`, "MCCCCZ fill 00000080"},
		{"line", `<line x2="5" stroke="blue" stroke-width="2"/>`, "ML stroke 0000ffff 2"},
		{"polygon", `<polygon points="0,0 1,0 1,1"/>`, "MLLZ fill 000000ff"},
		{"polyline", `<polyline points="0,0 1,0 1,1" fill="none" stroke="black"/>`, "MLL stroke 000000ff 1"},
		{"current color", `<g color="#0f0"><path d="M0 0L1 1" stroke="currentColor" fill="none"/></g>`, "ML stroke 00ff00ff 1"},
		{"invalid color", `<g fill="red"><path d="M0 0L1 1" fill="#00000"/></g>`, "ML fill ff0000ff"},
		{"hidden", `<g visibility="hidden"><rect width="1" height="1"/></g><g display="none"><rect width="1" height="1"/></g>`, ""},
		{"css", `<style>/* c */ @font-face {font-family:'x'; src: url(a)} g.a rect, #b {fill:#123456} rect {fill:red; stroke:currentColor} a:hover {fill:blue}</style>
			<g class="z a"><g><rect width="1" height="1"/></g></g><rect id="b" width="1" height="1" style="stroke:none"/><rect width="1" height="1" fill="lime"/>`,
			"MLLLZ fill 123456ff stroke 000000ff 1\nMLLLZ fill 123456ff\nMLLLZ fill ff0000ff stroke 000000ff 1"},
		{"use", `<defs><g id="n"><path d="M0 0H1"/></g></defs><use xlink:href="#n" x="3"/><use href="#n"/>`, "ML fill 000000ff\nML fill 000000ff"},
		{"text", `<text x="10" y="20" font-size="8" font-weight="bold">ab<tspan font-style="italic">c</tspan></text>`,
			"\"ab\" at 10,20 size 8 bold\n\"c\" at 18,20 size 8 bold italic"},
		{"anchor", `<text x="50" y="20" font-size="8" text-anchor="middle">abcd</text>`, `"abcd" at 42,20 size 8`},
		{"end", "<text x=\"50\" y=\"20\" font-size=\"0px\" text-anchor=\"end\">\n <tspan font-size=\"8\">ab</tspan>\n</text>", `"ab" at 42,20 size 8`},
		{"spaces", "<text font-size=\"2\">  a \n b  </text>", `"a b" at 0,0 size 2`},
		{"chunks", `<text x="0" y="5" font-size="2">a<tspan x="9" y="7">b</tspan><tspan dy="1">c</tspan></text>`,
			"\"a\" at 0,5 size 2\n\"b\" at 9,7 size 2\n\"c\" at 10,8 size 2"},
		{"spacing", `<text font-size="2" letter-spacing="1">ab</text>`, "\"a\" at 0,0 size 2\n\"b\" at 2,0 size 2"},
		{"entities", `<text font-size="2">&lt;&#233;&#xE9;&amp;<![CDATA[<]]></text>`, `"<éé&<" at 0,0 size 2`},
	} {
		if got := describe(parse(t, c.body)); got != c.want {
			t.Errorf("%s:\n%s\nwant\n%s", c.name, got, c.want)
		}
	}
}

// SVG 1.1 section 7.8 and 7.9: a view box is fitted into its viewport, in the
// middle unless told otherwise.
func TestViewBox(t *testing.T) {
	for body, want := range map[string]Point{
		`<svg viewBox="0 0 1000 500"><path d="M100 100H200"/></svg>`:                                                  {10, 10},
		`<svg viewBox="0 0 100 100"><path d="M0 0H200"/></svg>`:                                                       {25, 0},
		`<svg viewBox="0 0 100 100" preserveAspectRatio="xMinYMin"><path d="M0 0H200"/></svg>`:                        {0, 0},
		`<svg viewBox="0 0 100 100" preserveAspectRatio="none"><path d="M10 10H200"/></svg>`:                          {10, 5},
		`<svg x="10" y="5" width="50%" height="25" viewBox="10 0 100 50"><path d="M20 10H200"/></svg>`:                {15, 10},
		`<symbol id="s" viewBox="0 0 10 10"><path d="M1 1H2"/></symbol><use href="#s" x="5" width="20" height="20"/>`: {7, 2},
	} {
		d := parse(t, body)
		s := d.Ops[0].(*Shape)
		if got := s.M.Apply(s.Path.Pts[0]); !near(got.X, want.X, 1e-9) || !near(got.Y, want.Y, 1e-9) {
			t.Errorf("%s: begins at %v, want %v", body, got, want)
		}
	}
}

func TestErrorsNameThePlace(t *testing.T) {
	for _, c := range []struct{ src, want string }{
		{"", "no element"},
		{"<html/>", "not <svg>"},
		{wrap("\n  <image href='x'/>"), "line 2, column 3: <image>: this element is not supported"},
		{wrap(`<rect fill="url(#g)" width="1" height="1"/>`), "gradients"},
		{wrap(`<g clip-path="url(#c)"/>`), "clip-path is not supported"},
		{wrap(`<path d="M0 0 L1"/>`), "<path>: path data"},
		{wrap(`<use href="#none"/>`), "not defined"},
		{wrap(`<g transform="spin(1)"/>`), "spin"},
		{wrap(`<text><textPath/></text>`), "<textPath> inside text"},
		{wrap(`<g>`), "closes nothing"},
		{"<svg", "cut off"},
		{"<svg a=1/>", "without quotes"},
		{"<svg>&bogus;</svg>", "not known"},
		{"<!DOCTYPE svg [<!ENTITY a 'b'>]><svg/>", "declarations of its own"},
		{`<svg width="0" height="5"/>`, "empty"},
		{strings.Repeat("<g>", 300), "nesting deeper"},
		{wrap(`<g id="a"><use href="#a"/></g>`), "nesting deeper"},
	} {
		_, err := Parse(c.src, half{})
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%.60q: error %v, want %q in it", c.src, err, c.want)
		}
	}
}

// Definitions that use each other can multiply without end.
func TestUseBomb(t *testing.T) {
	var b strings.Builder
	b.WriteString(`<defs><path id="d0" d="M0 0H1"/>`)
	for i := 1; i < 12; i++ {
		fmt.Fprintf(&b, `<g id="d%d">%s</g>`, i, strings.Repeat(fmt.Sprintf(`<use href="#d%d"/>`, i-1), 10))
	}
	b.WriteString(`</defs><use href="#d11"/>`)
	_, err := Parse(wrap(b.String()), half{})
	var e *Error
	if !errors.As(err, &e) || !strings.Contains(e.What, "operations") {
		t.Fatalf("error %v, want the limit of operations", err)
	}
}

// xmlLine renders a document as one line for comparison: encoding/xml's view.
func xmlLine(src string) (string, error) {
	d := xml.NewDecoder(strings.NewReader(src))
	var b strings.Builder
	depth := 0
	for {
		tok, err := d.RawToken()
		if err == io.EOF {
			return b.String(), nil
		}
		if err != nil {
			return "", err
		}
		switch t := tok.(type) {
		case xml.StartElement:
			depth++
			fmt.Fprintf(&b, "<%s", t.Name.Local)
			for _, a := range t.Attr {
				key := a.Name.Local
				if a.Name.Space != "" {
					key = a.Name.Space + ":" + key
				}
				fmt.Fprintf(&b, " %s=%q", key, a.Value)
			}
			b.WriteByte('>')
		case xml.EndElement:
			depth--
			b.WriteString("</>")
		case xml.CharData:
			if depth > 0 {
				b.Write(t)
			}
		}
	}
}

func nodeLine(b *strings.Builder, n *node) {
	if n.name == "" {
		b.WriteString(n.text)
		return
	}
	fmt.Fprintf(b, "<%s", n.name)
	for _, a := range n.attrs {
		fmt.Fprintf(b, " %s=%q", a.key, a.val)
	}
	b.WriteByte('>')
	for _, k := range n.kids {
		nodeLine(b, k)
	}
	b.WriteString("</>")
}

// The reader must see what encoding/xml sees.
func TestXMLTwin(t *testing.T) {
	for _, src := range []string{
		`<?xml version="1.0"?><svg a='1' b="&lt;&#65;"><g/> x &amp; <!-- c --> <![CDATA[<&>]]></svg>`,
		`<svg:svg xlink:href="#a"><svg:g  a = "b" ></svg:g ></svg:svg>`,
		"<svg>\n\t<a><b/></a>é\u00a0</svg>\n<!-- end -->",
		`<!DOCTYPE svg PUBLIC "x" "y"><svg/>`,
	} {
		want, err := xmlLine(src)
		if err != nil {
			t.Fatal(err)
		}
		root, err := readXML(src)
		if err != nil {
			t.Errorf("%s: %v", src, err)
			continue
		}
		var b strings.Builder
		nodeLine(&b, root)
		if b.String() != want {
			t.Errorf("%s:\n%s\nencoding/xml:\n%s", src, &b, want)
		}
	}
}

func TestSize(t *testing.T) {
	for src, want := range map[string][2]float64{
		`<?xml version="1.0"?><svg width="20px" height="1in"/>`: {20, 96},
		`<svg viewBox="0 0 7 8"><g/>`:                           {7, 8},
		`<svg width="50%" viewBox="0 0 8 8"/>`:                  {4, 8},
	} {
		w, h, err := Size(src)
		if err != nil || w != want[0] || h != want[1] {
			t.Errorf("%s: %g by %g, %v", src, w, h, err)
		}
	}
	if _, _, err := Size("<p/>"); err == nil {
		t.Error("a size without an svg element")
	}
}

func FuzzParse(f *testing.F) {
	f.Add(wrap(`<style>g.a > b #c{fill:red}</style><g class="a" transform="rotate(3 1,2)"><rect width="3" height="50%"/></g>`))
	f.Add(wrap(`<defs><g id="a"><path d="M0 0h1z"/></g></defs><use xlink:href="#a" transform="scale(.5)"/>`))
	f.Add(wrap(`<text x="3" y="4" text-anchor="end">a&#233;<tspan dx="1" font-size="2em">b</tspan></text>`))
	f.Add(wrap(`<svg viewBox="0 0 1 1" preserveAspectRatio="xMaxYMid slice"><line x2="5" stroke="rgb(1,2%,3)" stroke-dasharray="1 2"/></svg>`))
	f.Fuzz(func(t *testing.T, src string) {
		d, err := Parse(src, half{})
		if err != nil {
			if strings.Contains(err.Error(), "\n") {
				t.Fatalf("error of more than one line: %q", err)
			}
			return
		}
		for _, op := range d.Ops {
			if s, ok := op.(*Shape); ok && len(s.Path.Cmds) == 0 {
				t.Fatal("an empty shape")
			}
		}
	})
}
