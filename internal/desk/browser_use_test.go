package desk_test

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
	cdpage "github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"pochette/internal/demo"
	"pochette/internal/desk"
)

// jigFile is the invented movement as a file to drop.
func jigFile(t *testing.T) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), demo.Name)
	if err := os.WriteFile(path, demo.Jig, 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

const (
	drawn   = `document.querySelector(".sheet [data-note]")`
	heading = `document.querySelector(".panel h2")?.textContent`
)

// dropped is a tab with the invented movement dropped and drawn.
func dropped(t *testing.T, address string, width, height int64) *tab {
	t.Helper()
	p := newTab(t, browser(t), address, width, height)
	p.open(address)
	p.until("the empty library", seen("h1", "The desk is empty"))
	p.drop(jigFile(t))
	p.until("the first page", drawn)
	return p
}

// pressed says that a choice of the panel is decided.
func pressed(key string) string {
	return fmt.Sprintf(`document.querySelector('[data-focus="%s"]')?.getAttribute("aria-pressed") === "true"`, key)
}

func not(expr string) string { return "!(" + expr + ")" }

func TestFirstUse(t *testing.T) {
	address := startDesk(t, t.TempDir())
	p := newTab(t, browser(t), address, 1280, 800)
	p.open(address)
	p.until("the empty library", seen("h1", "The desk is empty"))
	p.picture("desk-empty.png")

	bad := filepath.Join(t.TempDir(), "shopping.txt")
	if err := os.WriteFile(bad, []byte("eggs\nrosin\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	p.drop(bad)
	p.until("the message about the bad file", seen(".notice", "shopping.txt"))
	p.click(".notice button", "Close")

	p.js(`void performance.mark("dropped")`)
	p.drop(jigFile(t))
	p.until("the first page", drawn)
	t.Logf("first page of a new piece: %s ms after the drop (seen by polling)", p.js(`Math.round(performance.now() - performance.getEntriesByName("dropped")[0].startTime)`))
	p.until("the title", seen("h1", "Jig"))

	p.note(2, 3)
	p.until("what is known of the note", seen(".panel h2", "Measure 2"))
	for _, words := range []string{"string", "finger", "position"} {
		if p.js(fmt.Sprintf(`document.querySelector(".panel").innerText.toLowerCase().includes(%q)`, words)) != "true" {
			t.Errorf("the panel says nothing of %s", words)
		}
	}
	p.picture("desk.png")

	before := p.js(`document.querySelector(".sheet svg").outerHTML`)
	p.click(`[data-focus^="finger-"]:not(.now)`, "Fourth")
	p.until("the decision", pressed("finger-4"))
	p.until("new marks on the page", `document.querySelector(".sheet .decided")`)
	if after := p.js(`document.querySelector(".sheet svg").outerHTML`); after == before {
		t.Error("the page is the same after the decision")
	}
	p.until("the speed to be known", `performance.getEntriesByName("pochette-marks").length`)
	t.Logf("from the act to new marks on screen: %s ms", p.js(`Math.round(performance.getEntriesByName("pochette-marks")[0].duration)`))
	p.picture("desk-decided.png")

	p.open(p.js("location.href"))
	p.run(chromedp.Reload())
	p.until("the page after a reload", drawn)
	p.note(2, 3)
	p.until("the decision after a reload", pressed("finger-4"))

	p.click("button", "Undo")
	p.until("the undoing", not(pressed("finger-4")))
	p.until("no decided mark", `!document.querySelector(".sheet .decided")`)
	p.click("button", "Redo")
	p.until("the redoing", pressed("finger-4"))

	p.click(`[role="tab"]`, "History")
	p.until("the history", seen(".history li", "inger"))
	p.picture("desk-history.png")
	p.click(`[role="tab"]`, "Findings")
	p.until("the findings", `document.querySelectorAll(".findings li").length > 0`)
}

func TestKeyboardAlone(t *testing.T) {
	address := startDesk(t, t.TempDir())
	p := dropped(t, address, 1280, 800)
	p.open("#/")
	p.until("the library", seen(".pieces a", "Jig"))
	for i := 0; p.js(`document.activeElement.className`) != "title"; i++ {
		if i > 20 {
			t.Fatal("the tab key does not come to the piece")
		}
		p.keys(kb.Tab)
	}
	p.keys(kb.Enter)
	p.until("the music", drawn)
	p.until("the focus on the music", `document.activeElement.classList.contains("score")`)

	p.keys(kb.ArrowRight, kb.ArrowRight, kb.ArrowRight)
	first := p.js(heading)
	if !strings.Contains(first, "easure") {
		t.Fatalf("after three arrows the panel says %q", first)
	}
	if said := p.js(`document.querySelector("#say").textContent`); !strings.Contains(said, first) || !strings.Contains(said, "string") {
		t.Errorf("a screen reader hears %q at %q", said, first)
	}
	p.press("n")
	p.until("the next measure", fmt.Sprintf(`%s !== %q`, heading, first))
	p.press("g")
	p.until("the field for a measure", `document.activeElement.id === "go"`)
	p.keys("8")
	if v := p.js(`document.activeElement.value`); v != "8" {
		t.Fatalf("the field has %q", v)
	}
	p.keys(kb.Enter)
	p.until("measure 8", seen(".panel h2", "Measure 8"))

	for _, c := range []struct{ key, becomes string }{{"u", "bow-up"}, {"d", "bow-down"}} {
		p.press(c.key)
		p.until("a decision by "+c.key, pressed(c.becomes))
	}
	p.press("e")
	p.until("the field for the reason", `document.activeElement.id === "reason"`)
	p.keys(strings.Split("begins the phrase", "")...)
	p.keys(kb.Enter)
	p.until("the reason kept", seen(".facts dd", "begins the phrase"))
	p.keys(kb.Escape)
	p.until("the focus on the music again", `document.activeElement.classList.contains("score")`)
	p.with(input.ModifierCtrl, "z")
	p.with(input.ModifierCtrl, "z")
	p.with(input.ModifierCtrl, "z")
	p.until("all undone", not(pressed("bow-down"))+" && "+not(pressed("bow-up")))
	p.with(input.ModifierCtrl, "y")
	p.until("one redone", pressed("bow-up"))
	p.keys(kb.Delete)
	p.until("taken back", not(pressed("bow-up")))

	p.press("l")
	p.until("the lock", seen(".panel", "This measure is locked"))
	p.press("l")
	p.until("the lock opened", not(seen(".panel", "This measure is locked")))

	p.press("?")
	p.until("the list of keys", seen("dialog", "turn the page"))
	p.picture("desk-keys.png")
	p.keys(kb.Escape)
	p.until("the list gone", `!document.querySelector("dialog")`)

	p.press("p")
	p.until("pages", seen(".turner .count", "1 /")+" || "+seen(".turner .count", "/"))
	p.press("s")
	p.until("the stand", `document.querySelector('.piece[data-mode="stand"]')`)
	p.keys(kb.Home, kb.PageDown, kb.PageUp)
	p.until("the first page", seen(".turner .count", "1 /"))
	p.keys(kb.Escape)
	p.until("the stand left", `document.querySelector('.piece[data-mode="paged"]')`)
}

func TestTwoWindows(t *testing.T) {
	address := startDesk(t, t.TempDir())
	b := browser(t)
	one := newTab(t, b, address, 1000, 700)
	one.open(address)
	one.until("the empty library", seen("h1", "The desk is empty"))
	one.drop(jigFile(t))
	one.until("the first page", drawn)
	piece := one.js("location.href")

	two := newTab(t, b, address, 1000, 700)
	two.deaf()
	two.open(piece)
	two.until("the first page", drawn)
	three := newTab(t, b, address, 1000, 700)
	three.open(piece)
	three.until("the first page", drawn)

	activate := func(p *tab) { p.run(cdpage.BringToFront()) }
	activate(one)
	one.note(2, 0)
	one.press("u")
	one.until("the decision", pressed("bow-up"))

	activate(three)
	three.until("the other window's decision shown here", seen(".notice", "another window"))

	activate(two)
	two.note(4, 0)
	two.press("d")
	two.until("the conflict told", seen(".notice", "Another window changed this piece"))
	two.picture("desk-conflict.png")
	two.note(2, 0)
	two.until("the first decision, not lost", pressed("bow-up"))
	two.note(4, 0)
	two.until("its own not yet done", not(pressed("bow-down")))
	two.click(".notice button", "Do it all the same")
	two.until("its own done now", pressed("bow-down"))
	two.note(2, 0)
	two.until("the first decision still there", pressed("bow-up"))
}

func TestExportAndImport(t *testing.T) {
	address := startDesk(t, t.TempDir())
	p := dropped(t, address, 1280, 800)
	p.note(2, 0)
	p.press("u")
	p.until("the decision", pressed("bow-up"))
	p.open("#/")
	p.until("the library", seen(".pieces a", "Jig"))
	p.picture("desk-library.png")

	dir := t.TempDir()
	name := p.js(`(async () => {
		const r = await fetch(document.querySelector('.pieces a[aria-label^="Export"]').href);
		const b = new Uint8Array(await r.arrayBuffer());
		let s = ""; for (const x of b) s += String.fromCharCode(x);
		window.exported = btoa(s);
		return decodeURIComponent(/filename\*=UTF-8''([^;]+)/.exec(r.headers.get("Content-Disposition") ?? "")?.[1] ?? "");
	})()`)
	if name == "" || filepath.Base(name) != name {
		t.Fatalf("the export is named %q", name)
	}
	file := filepath.Join(dir, name)
	if err := os.WriteFile(file, fromBase64(t, p.js("window.exported")), 0o644); err != nil {
		t.Fatal(err)
	}

	other := startDesk(t, t.TempDir())
	q := newTab(t, browser(t), other, 1280, 800)
	q.open(other)
	q.until("the other, empty library", seen("h1", "The desk is empty"))
	q.drop(file)
	q.until("the music", drawn)
	q.note(2, 0)
	q.until("the decision that came along", pressed("bow-up"))

	q.open("#/")
	q.click(".pieces button", "Remove")
	q.click("dialog button", "Remove it")
	q.until("the library empty again", seen("h1", "The desk is empty"))
}

func TestNarrow(t *testing.T) {
	address := startDesk(t, t.TempDir())
	p := dropped(t, address, 360, 740)
	p.run(emulation.SetTouchEmulationEnabled(true))
	wide := func(view string) {
		t.Helper()
		got := p.js(`Math.max(document.documentElement.scrollWidth, ...[...document.querySelectorAll("main, .score, .panel-body, .tools, dialog")].map(e => e.getBoundingClientRect().left + (e.scrollWidth > e.clientWidth + 1 ? 10000 : e.clientWidth)))`)
		if w := 0.0; true {
			fmt.Sscan(got, &w)
			if w > 360.5 {
				t.Errorf("%s is %v pixels wide; 360 are there", view, got)
			}
		}
	}
	wide("the piece")
	p.note(2, 1)
	wide("the piece, pointed at a note")
	p.picture("desk-narrow.png")
	small := p.js(`[...document.querySelectorAll("button, .button")].filter(e => e.getClientRects().length && !e.classList.contains("link")).map(e => [e.textContent, e.getBoundingClientRect()]).filter(([, b]) => b.width < 38 || b.height < 38).map(([t, b]) => t + " " + b.width + "×" + b.height).join("; ")`)
	if small != "" {
		t.Errorf("too small for a finger: %s", small)
	}
	p.click("button", "All tools")
	p.until("the tools", seen("dialog", "At the stand"))
	wide("the tools")
	p.click("dialog button", "At the stand")
	p.until("the stand", `document.querySelector('.piece[data-mode="stand"] .sheet:not([hidden]) svg')`)
	wide("the stand")
	p.until("more than one page", `/1 \/ ([2-9]|\d\d)/.test(document.querySelector(".turner .count")?.textContent ?? "")`)
	p.run(chromedp.MouseClickXY(300, 300)) // a tap on the right: the next page
	p.until("the next page", seen(".turner .count", "2 /"))
	p.run(chromedp.MouseClickXY(40, 300))
	p.until("the page before", seen(".turner .count", "1 /"))
	p.picture("desk-stand.png")
	for _, view := range []string{"compare", "witnesses", "lesson", "print"} {
		p.open(strings.Split(p.js("location.hash"), "/")[0] + "/" + strings.Split(p.js("location.hash"), "/")[1] + "/" + view)
		p.until(view, `document.querySelector("main h1") && !document.querySelector(".piece")`)
		p.until("the end of waiting", `![...document.querySelectorAll("[role=status]")].some(e => e.textContent.endsWith("…"))`)
		wide(view)
	}
	p.open("#/")
	p.until("the library", seen(".pieces a", "Jig"))
	wide("the library")
}

func TestPrintView(t *testing.T) {
	address := startDesk(t, t.TempDir())
	p := dropped(t, address, 1280, 800)
	p.note(2, 3)
	p.press("4")
	p.until("the decision", pressed("finger-4"))
	p.open(p.js("location.hash") + "/print")
	p.until("the pages", `document.querySelector(".print-sheet svg .decided") && document.querySelector(".print-sheet svg .proposed")`)
	p.picture("desk-print.png")
	style := func(class string) string {
		return p.js(fmt.Sprintf(`(() => { const e = document.querySelector(".print-sheet .%s text, .print-sheet .%s tspan"); const s = getComputedStyle(e); return s.fontWeight + " " + s.fontStyle; })()`, class, class))
	}
	if d, pr := style("decided"), style("proposed"); d != "700 normal" || pr != "400 italic" {
		t.Errorf("decided marks are set %q, proposed ones %q; want bold upright and light slanted", d, pr)
	}
	p.run(emulation.SetEmulatedMedia().WithMedia("print"))
	if n := p.js(`[...document.querySelectorAll("button, .button, .bar")].filter(e => e.getClientRects().length).length`); n != "0" {
		t.Errorf("%s controls would be printed", n)
	}
	if p.js(seen(".key-line", desk.Legend)) != "true" {
		t.Error("the legend would not be printed, or is not that of the PDF")
	}
	if c := p.js(`getComputedStyle(document.body).backgroundColor`); c != "rgb(255, 255, 255)" {
		t.Errorf("the paper is %s", c)
	}
	var pdf []byte
	p.run(chromedp.ActionFunc(func(ctx context.Context) (err error) {
		pdf, _, err = cdpage.PrintToPDF().Do(ctx)
		return err
	}))
	if !bytes.HasPrefix(pdf, []byte("%PDF-")) || len(pdf) < 10000 {
		t.Errorf("printing gives %d bytes", len(pdf))
	}
}

// Every control has a name for a screen reader.
func TestNames(t *testing.T) {
	address := startDesk(t, t.TempDir())
	p := dropped(t, address, 1280, 800)
	p.note(1, 0)
	piece := p.js("location.hash")
	for _, view := range []string{"", "/compare", "/witnesses", "/lesson", "/print"} {
		p.open(piece + view)
		p.until("the view "+view, `document.querySelector("main h1")`)
		p.everyControlNamed(fmt.Sprintf("view %q", view), 3)
		if got := p.js(`document.querySelectorAll("h1").length`); got != "1" {
			t.Errorf("view %q has %s main headings", view, got)
		}
	}
}
