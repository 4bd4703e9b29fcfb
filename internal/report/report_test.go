package report

import (
	"bytes"
	"html/template"
	"reflect"
	"regexp"
	"strings"
	"testing"
)

const hostile = `"><script>alert(1)</script><img src=x onerror=alert(2)>&'{{.}}`

// full is a document in which every string is the given one, every list has two
// members, and every bar its own name; markup is left out, since it is trusted.
func full(text string) Document {
	var d Document
	fill(reflect.ValueOf(&d).Elem(), text)
	for i := range d.Bars {
		d.Bars[i].ID = []string{"m1", "m2"}[i]
	}
	bars := []string{"m1", "m2"}
	for _, items := range [][]Item{d.First, d.Hard, d.Alternatives, d.Decided, d.Form, d.Keys, d.Odd, d.Once} {
		for i := range items {
			items[i].Bar = bars[i]
		}
	}
	for i := range d.Harmony {
		d.Harmony[i].Bar = bars[i]
	}
	for i := range d.Parallels {
		d.Parallels[i].Bar, d.Parallels[i].Late = bars[i], bars[1-i]
		for k := range d.Parallels[i].Differences {
			d.Parallels[i].Differences[k].Bar = bars[k]
		}
	}
	return d
}

func fill(v reflect.Value, text string) {
	switch {
	case v.Type() == reflect.TypeFor[template.HTML]():
		v.SetString(`<svg viewBox="0 0 1 1"></svg>`)
	case v.Kind() == reflect.String:
		v.SetString(text)
	case v.Kind() == reflect.Slice:
		v.Set(reflect.MakeSlice(v.Type(), 2, 2))
		for i := range v.Len() {
			fill(v.Index(i), text)
		}
	case v.Kind() == reflect.Struct:
		for i := range v.NumField() {
			fill(v.Field(i), text)
		}
	}
}

func written(t *testing.T, d Document) string {
	t.Helper()
	var b bytes.Buffer
	if err := Write(&b, d); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

var (
	links   = regexp.MustCompile(`\b(?:href|src|action|data|poster|srcset|formaction|xlink:href)\s*=\s*["']?([^"'\s>]*)`)
	targets = regexp.MustCompile(`\bid="([^"]*)"`)
	tags    = regexp.MustCompile(`<(/?)([a-zA-Z][a-zA-Z0-9]*)`)
	fetches = regexp.MustCompile(`(?i)url\(|@import|https?:|//[a-z]|<script|<link|<iframe|<object|<embed|<img|\son[a-z]+=`)
)

// Nothing of the page, filled in every place, asks for anything outside of it: no
// address, no script, no style sheet, no picture, and the page's own policy
// (Content Security Policy level 3) forbids what might slip in.
func TestPageIsSelfContained(t *testing.T) {
	page := written(t, full("plain words"))
	if found := fetches.FindAllString(page, -1); len(found) > 0 {
		t.Errorf("the page fetches: %q", found)
	}
	if !strings.Contains(page, `http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'`) {
		t.Error("no policy against fetching")
	}
	if !strings.HasPrefix(page, "<!DOCTYPE html>") || !strings.Contains(page, `<html lang="en">`) || !strings.Contains(page, `name="viewport"`) {
		t.Error("no doctype, language or viewport")
	}
}

// Every link stays on the page and has its target, and no name is given twice.
func TestLinksHaveTargets(t *testing.T) {
	page := written(t, full("plain words"))
	ids := map[string]int{}
	for _, m := range targets.FindAllStringSubmatch(page, -1) {
		if ids[m[1]]++; ids[m[1]] > 1 {
			t.Errorf("id %q stands twice", m[1])
		}
	}
	n := 0
	for _, m := range links.FindAllStringSubmatch(page, -1) {
		n++
		to, inside := strings.CutPrefix(m[1], "#")
		if !inside || ids[to] == 0 {
			t.Errorf("link to %q goes nowhere", m[1])
		}
	}
	if want := 2*5 + 2*4; n != want { // four lists and the bars, two each; bars of the harmony, odd places, two ends of each parallel
		t.Errorf("%d links, want %d", n, want)
	}
}

// Titles, names and sentences come from files that anyone may write: whatever they
// hold is text. No tag and no attribute comes of it, in any place of the page.
func TestHostileTextStaysText(t *testing.T) {
	plain, page := written(t, full("x")), written(t, full(hostile))
	count := func(page string) map[string]int {
		n := map[string]int{}
		for _, m := range tags.FindAllStringSubmatch(page, -1) {
			n[m[1]+m[2]]++
		}
		return n
	}
	if a, b := count(plain), count(page); !reflect.DeepEqual(a, b) {
		t.Errorf("tags with plain text %v, with hostile text %v", a, b)
	}
	bare := regexp.MustCompile(`="[^"]*"`).ReplaceAllString(page, "") // what stands in quotes is a value
	if strings.Contains(page, "<script") || regexp.MustCompile(`<[^>]*\sonerror`).MatchString(bare) {
		t.Error("hostile text became markup")
	}
	if !strings.Contains(page, "&lt;script&gt;alert(1)") {
		t.Error("the text itself is lost")
	}
	d := full("x")
	d.First[0].Bar = "javascript:alert(1)"
	if strings.Contains(written(t, d), `href="javascript:`) {
		t.Error("a bar's name became an address")
	}
}

// Tags close in the order in which they open.
func TestTagsAreBalanced(t *testing.T) {
	void := map[string]bool{"meta": true, "br": true, "hr": true}
	for _, d := range []Document{{}, full("x")} {
		var open []string
		for _, m := range tags.FindAllStringSubmatch(written(t, d), -1) {
			switch {
			case void[m[2]]:
			case m[1] == "":
				open = append(open, m[2])
			case len(open) == 0 || open[len(open)-1] != m[2]:
				t.Fatalf("</%s> closes %v", m[2], open)
			default:
				open = open[:len(open)-1]
			}
		}
		if len(open) > 0 {
			t.Errorf("never closed: %v", open)
		}
	}
}

// On paper: margins are set, what only leads around the screen is hidden, a bar is
// not torn in two, and nothing sticks to the screen or hides behind a click alone.
func TestPageIsPrintable(t *testing.T) {
	page := written(t, full("plain words"))
	_, print, ok := strings.Cut(page, "@media print {")
	if !ok {
		t.Fatal("no rules for paper")
	}
	for _, want := range []string{"@page", "margin", "nav", "details[open]"} {
		if !strings.Contains(print[:strings.Index(print, "</style>")], want) {
			t.Errorf("rules for paper do not mention %s", want)
		}
	}
	if !regexp.MustCompile(`article\s*{[^}]*break-inside:\s*avoid`).MatchString(page) {
		t.Error("a bar may be torn in two")
	}
	if strings.Contains(page, "position: fixed") || strings.Contains(page, "position: sticky") {
		t.Error("something sticks to the screen")
	}
}

// What the costs are counted in is said once, wherever they come first.
func TestCostsAreExplainedOnce(t *testing.T) {
	const unit = "one is hardly minded"
	for _, c := range []struct {
		others, decided []Item
		want            int
	}{{make([]Item, 1), make([]Item, 1), 1}, {make([]Item, 1), nil, 1}, {nil, make([]Item, 1), 1}, {nil, nil, 0}} {
		page := written(t, Document{Costs: unit, Alternatives: c.others, Decided: c.decided})
		if n := strings.Count(page, unit); n != c.want {
			t.Errorf("%d other plans, %d decisions: told %d times", len(c.others), len(c.decided), n)
		}
	}
}
