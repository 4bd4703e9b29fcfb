package desk_test

import (
	"archive/zip"
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/accessibility"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// bomb is a zip of a few kB whose member unpacks to a lot.
func bomb(t *testing.T, member string, megabytes int) []byte {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	w, err := z.Create(member)
	if err != nil {
		t.Fatal(err)
	}
	zeros := make([]byte, 1<<20)
	for range megabytes {
		if _, err := w.Write(zeros); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// Whatever is dropped that is no score gives one message that names the file, on one
// line, and the desk goes on.
func TestBadFilesDropped(t *testing.T) {
	p := newTab(t, browser(t), startDesk(t, t.TempDir()), 1000, 700)
	p.allow("400")
	p.open(p.address)
	p.until("the empty library", seen("h1", "The desk is empty"))
	dir := t.TempDir()
	bad := map[string][]byte{
		"shopping.txt":      []byte("eggs\nrosin\n"),
		"nothing.xml":       nil,
		"broken.musicxml":   []byte(`<score-partwise><part id="P1"><measure>`),
		"picture.mxl":       []byte("\x89PNG\r\n\x1a\n0000"),
		"web.xml":           []byte("<!doctype html><html><body>score</body></html>"),
		"entity.xml":        []byte(`<!DOCTYPE score-partwise [<!ENTITY a SYSTEM "file:///etc/passwd">]><score-partwise>&a;</score-partwise>`),
		"swelling.mxl":      bomb(t, "score.xml", 400),
		"swelling.pochette": bomb(t, "piece.json", 400),
		"torn.pochette":     []byte("PK\x03\x04torn"),
	}
	for name, data := range bad {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, data, 0o644); err != nil {
			t.Fatal(err)
		}
		p.drop(path)
		p.until("the message about "+name, seen(".notice", name))
		said := p.js(`[...document.querySelectorAll(".notice p")].map(e => e.textContent).join("|")`)
		if strings.Contains(said, "|") || strings.Contains(said, "\n") || strings.Contains(said, "root:") || strings.Contains(said, "goroutine") || len(said) < len(name)+12 || len(said) > 300 || strings.Count(said, name) != 1 {
			t.Errorf("%s: the page says %q", name, said)
		}
		t.Log(said)
		p.click(".notice button", "Close")
	}
	p.drop(jigFile(t))
	p.until("a good file after them", drawn)
}

// Every control of every box and tab has a name for a screen reader, a role, and a place
// that the Tab key reaches; the Tab key leaves each again.
func TestBoxesAreNamedAndReached(t *testing.T) {
	p := dropped(t, startDesk(t, t.TempDir()), 1280, 900)
	p.note(2, 1)
	for _, box := range []struct{ name, key, there string }{
		{"the keys", "?", `document.querySelector("dialog[open] dl")`},
		{"what is shown", "v", `document.querySelector("dialog[open] input[type=checkbox]")`},
		{"go to", "g", `document.querySelector("dialog[open] #go")`},
		{"findings", "f", `document.querySelector('[aria-selected="true"]#tab-findings')`},
		{"history", "h", `document.querySelector('[aria-selected="true"]#tab-history')`},
	} {
		p.press(box.key)
		p.until(box.name, box.there)
		p.everyControlNamed(box.name, 2, "dialog", "group", "tabpanel")
		if p.js(`Boolean(document.querySelector("dialog[open]"))`) == "true" {
			p.keys(kb.Escape)
			p.until("the box gone", `!document.querySelector("dialog[open]")`)
		}
	}
	p.run(chromedp.Evaluate(`document.querySelector("#tab-place").click(); document.querySelector(".score").focus()`, nil))
	p.until("the place again", `document.querySelector('[data-focus="finger-1"]')`)
	visited := map[string]bool{}
	for range 140 {
		p.keys(kb.Tab)
		at := p.js(`(() => { const e = document.activeElement; return e === document.body ? "" : e.getAttribute("data-focus") ?? e.className ?? e.tagName; })()`)
		visited[at] = true
	}
	for _, want := range []string{"finger-1", "string-2", "bow-up", "retake", "link", "slur", "slur-none", "breath", "dynamic-mf", "words", "reason", "lock", "ways", "large", "t-panel", "t-help", "t-show", "t-minus", "score", "strip"} {
		if !visited[want] {
			t.Errorf("the Tab key does not reach %s", want)
		}
	}
}

// everyControlNamed reads the accessibility tree as a screen reader does: each control
// (and what has one of the roles also) has a name, and there are as many at least.
func (p *tab) everyControlNamed(where string, least int, also ...string) {
	p.t.Helper()
	controls := map[string]bool{"button": true, "link": true, "textbox": true, "checkbox": true, "combobox": true, "slider": true, "tab": true, "application": true}
	for _, role := range also {
		controls[role] = true
	}
	n := 0
	p.run(chromedp.ActionFunc(func(ctx context.Context) error {
		if err := accessibility.Enable().Do(ctx); err != nil {
			return err
		}
		nodes, err := accessibility.GetFullAXTree().Do(ctx)
		for _, node := range nodes {
			if node.Ignored || node.Role == nil || !controls[strings.Trim(string(node.Role.Value), `"`)] {
				continue
			}
			n++
			if node.Name == nil || strings.Trim(string(node.Name.Value), `" `) == "" {
				p.t.Errorf("%s: a %s has no name", where, node.Role.Value)
			}
		}
		return err
	}))
	if n < least {
		p.t.Errorf("%s: only %d controls found", where, n)
	}
}

// On a tablet at the stand: pages are turned by a tap, by the keys of a pedal, and by the
// keyboard; no page is cut; what is touched is large enough (WCAG 2.2, 2.5.8 asks 24 CSS
// pixels, 2.5.5 44; a music stand asks for more than the least).
func TestTabletAtTheStand(t *testing.T) {
	p := newTab(t, browser(t), startDesk(t, t.TempDir()), 768, 1024)
	p.run(emulation.SetTouchEmulationEnabled(true), emulation.SetEmulatedMedia().WithFeatures([]*emulation.MediaFeature{{Name: "prefers-reduced-motion", Value: "reduce"}, {Name: "pointer", Value: "coarse"}}))
	p.open(p.address)
	p.until("the empty library", seen("h1", "The desk is empty"))
	text, _ := long(t, 900)
	file := filepath.Join(t.TempDir(), "long.musicxml")
	if err := os.WriteFile(file, text, 0o644); err != nil {
		t.Fatal(err)
	}
	p.drop(file)
	p.until("the first page", drawn)
	p.press("s")
	p.until("the stand", `document.querySelector('.piece[data-mode="stand"] .sheet:not([hidden]) svg')`)
	at := func(n int) string { return seen(".turner .count", fmt.Sprintf("%d /", n)) }
	p.until("page 1", at(1))
	page := 1
	for _, turn := range []struct {
		name string
		by   int
		act  func()
	}{
		{"page down", 1, func() { p.keys(kb.PageDown) }},
		{"page up", -1, func() { p.keys(kb.PageUp) }},
		{"arrow right", 1, func() { p.keys(kb.ArrowRight) }},
		{"arrow left", -1, func() { p.keys(kb.ArrowLeft) }},
		{"arrow down", 1, func() { p.keys(kb.ArrowDown) }},
		{"arrow up", -1, func() { p.keys(kb.ArrowUp) }},
		{"space", 1, func() { p.keys(" ") }},
		{"a tap on the right", 1, func() { p.run(chromedp.MouseClickXY(600, 500)) }},
		{"a tap on the left", -1, func() { p.run(chromedp.MouseClickXY(80, 500)) }},
	} {
		turn.act()
		page += turn.by
		p.until("page by "+turn.name, at(page))
		p.until("its music", `document.querySelector(".sheet:not([hidden]) [data-note]")`)
		if cut := p.js(`(() => { const s = document.querySelector(".sheet:not([hidden])"), b = s.getBoundingClientRect(), n = [...s.querySelectorAll("g.system")].map(g => g.getBoundingClientRect()); return n.some(r => r.bottom > innerHeight + 1 || r.right > innerWidth + 1) ? JSON.stringify([b.bottom, n.map(r => r.bottom)]) : ""; })()`); cut != "" {
			t.Errorf("page %d is cut: %s", page, cut)
		}
	}
	if moving := p.js(`[...document.querySelectorAll("*")].filter(e => { const s = getComputedStyle(e); return parseFloat(s.transitionDuration) > 0 || s.animationName !== "none" || s.scrollBehavior === "smooth"; }).length`); moving != "0" {
		t.Errorf("%s things move though motion is to be reduced", moving)
	}
	p.keys(kb.Escape)
	p.until("the stand left", `document.querySelector('.piece[data-mode="paged"]')`)
	small := p.js(`[...document.querySelectorAll("button, .button")].filter(e => e.getClientRects().length && !e.classList.contains("link")).map(e => [e.textContent, e.getBoundingClientRect()]).filter(([, b]) => b.width < 44 || b.height < 44).map(([t, b]) => t + " " + b.width + "×" + b.height).join("; ")`)
	if small != "" {
		t.Errorf("too small for a finger: %s", small)
	}
}
