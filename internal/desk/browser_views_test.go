package desk_test

import (
	"bytes"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"pochette/internal/demo"
)

func TestReadingAsOneLikes(t *testing.T) {
	p := dropped(t, startDesk(t, t.TempDir()), 1280, 800)
	first := func() string { return p.js(`document.querySelector(".sheet svg")?.getAttribute("viewBox") ?? ""`) }
	notes := func() string {
		return p.js(`document.querySelectorAll('.sheet .proposed').length`)
	}
	wide, marks := first(), notes()
	if marks == "0" {
		t.Fatal("no proposed mark is drawn")
	}

	// The pages reflow to the window: a narrower one has fewer measures to a line.
	staves := `document.querySelector(".sheet svg").getBoundingClientRect().width`
	p.run(chromedp.EmulateViewport(900, 800))
	p.until("pages for the narrower window", fmt.Sprintf(`(document.querySelector(".sheet svg")?.getAttribute("viewBox") ?? %[1]q) !== %[1]q`, wide))
	if w := p.js(staves + ` <= 900`); w != "true" {
		t.Error("the music is wider than the window")
	}
	p.run(chromedp.EmulateViewport(1280, 800))
	p.until("pages for the wide window again", fmt.Sprintf(`document.querySelector(".sheet svg")?.getAttribute("viewBox") === %q`, wide))

	size := `document.querySelector(".sheet .notehead").getBoundingClientRect().height`
	before := p.js(size)
	p.click("button", "Larger")
	p.until("larger notes", fmt.Sprintf("%s > %s * 1.05", size, before))
	p.click("button", "Smaller")
	p.until("notes as before", fmt.Sprintf("Math.abs(%s - %s) < 0.6", size, before))

	p.click("button", "Show")
	p.until("the layers", seen("dialog label", "Bow marks"))
	for _, layer := range []string{"Bow marks", "Fingers", "Strings"} {
		p.click("dialog label", layer)
	}
	p.until("no proposed mark", `document.querySelector(".sheet svg") && !document.querySelector(".sheet .proposed")`)
	p.click("dialog label", "Hard spots")
	p.until("hard spots over the music", `document.querySelector(".span.hard")`)
	p.click("dialog label", "Crossings")
	p.until("crossings over the music", `document.querySelector(".span.crossing")`)
	if p.js(`Boolean(document.querySelector(".span.wrong"))`) != "true" {
		t.Error("the spans that come out the wrong way round are not shown")
	}
	p.click("dialog label", "Chord names")
	p.until("chord names under the music", `document.querySelectorAll(".sheet .chord-name").length > 5`)
	p.click("dialog label", "Voices")
	p.until("the voices' lines", `document.querySelectorAll(".voices polyline").length > 1`)
	if off := p.js(`(() => { const head = [...document.querySelectorAll(".sheet [data-note] .notehead")][0].getBoundingClientRect(), line = [...document.querySelectorAll(".voices polyline")].map(l => l.getBoundingClientRect());
		return line.some(b => b.left <= head.right && b.right >= head.left && b.top <= head.bottom && b.bottom >= head.top); })()`); off != "true" {
		t.Error("no voice's line goes through the first note")
	}
	p.keys(kb.Escape)
	p.picture("desk-voices.png")
	p.click("button", "Show")
	for _, layer := range []string{"Chord names", "Voices"} {
		p.click("dialog label", layer)
	}
	p.until("no voices", `!document.querySelector(".voices polyline, .chord-name")`)
	for _, layer := range []string{"Bow marks", "Fingers", "Strings"} {
		p.click("dialog label", layer)
	}
	p.until("the marks again", fmt.Sprintf(`document.querySelectorAll(".sheet .proposed").length == %s`, marks))
	p.click("dialog label", "Dark room")
	p.until("a dark page", `getComputedStyle(document.querySelector(".sheet")).backgroundColor === "rgb(26, 22, 17)"`)
	p.keys(kb.Escape)
	p.note(9, 2)
	p.picture("desk-dark.png")

	// What one likes is kept; the bar pointed at by the ribbon comes into sight.
	p.run(chromedp.Reload())
	p.until("the page", drawn)
	p.until("still dark", `document.documentElement.dataset.light === "dark"`)
	p.run(chromedp.Evaluate(`document.querySelector(".strip").focus()`, nil))
	p.keys(kb.End)
	p.until("the last measure", `document.querySelector(".strip").getAttribute("aria-valuenow") === "24"`)
	p.until("its note in sight", `(() => { const c = document.querySelector(".cursor")?.getBoundingClientRect(), s = document.querySelector(".score").getBoundingClientRect(); return c && c.top >= s.top && c.bottom <= s.bottom; })()`)
}

func TestOtherWays(t *testing.T) {
	p := dropped(t, startDesk(t, t.TempDir()), 1280, 900)
	p.note(16, 1)
	p.click("button", "Other ways here")
	p.until("other ways or the word that there are none", `document.querySelector(".way") || document.querySelector("#others")?.textContent.includes("No other way")`)
	p.until("a way to take", seen(".way button", "Take this"))
	p.picture("desk-ways.png")
	undo := `[...document.querySelectorAll("button")].some(b => b.textContent === "Undo" && !b.disabled)`
	p.click(".way button", "Take this")
	p.until("something to undo", undo)
	p.until("decided marks", `document.querySelector(".sheet .decided")`)
	p.click("button", "Undo")
	p.until("nothing to undo", "!"+undo)
}

func TestComparing(t *testing.T) {
	p := dropped(t, startDesk(t, t.TempDir()), 1280, 800)
	p.note(2, 3)
	p.press("4")
	p.until("the decision", pressed("finger-4"))
	piece := p.js("location.hash")
	p.open(piece + "/compare")
	p.until("the bar that differs", seen(".pair h2", "Measure 2"))
	p.until("both readings drawn", `document.querySelectorAll(".pair .side svg").length >= 2`)
	p.picture("desk-compare.png")
	p.run(chromedp.SendKeys("#plan-name", "with the fourth finger", chromedp.ByQuery))
	p.keys(kb.Enter)
	p.until("the plan kept", `[...document.querySelectorAll("option")].some(o => o.selected && o.textContent === "with the fourth finger")`)
	p.until("no difference from the plan just kept", seen("[role=status]", "agree in every bar"))
	p.open(piece)
	p.until("the music", drawn)
	p.click("button", "Undo")
	p.until("undone", `![...document.querySelectorAll("button")].some(b => b.textContent === "Undo" && !b.disabled)`)
	p.open(piece + "/compare")
	p.until("no difference from the proposal", seen("[role=status]", "agree in every bar"))
	p.js(`void (() => { const s = document.querySelector("#with"); s.selectedIndex = [...s.options].findIndex(o => o.textContent.includes("fourth")); s.dispatchEvent(new Event("change")); })()`)
	p.until("the kept plan differs", seen(".pair h2", "Measure 2"))
}

func TestWitnesses(t *testing.T) {
	p := dropped(t, startDesk(t, t.TempDir()), 1280, 900)
	piece := p.js("location.hash")

	// Another source of the same piece: one note a step higher, one dynamic louder.
	other := bytes.Replace(demo.Jig, []byte("<f/>"), []byte("<ff/>"), 1)
	at := bytes.Index(other, []byte(`<measure number="3">`))
	step := bytes.Index(other[at:], []byte("<step>D</step>"))
	if at < 0 || step < 0 {
		t.Fatal("the movement has changed: choose other differences")
	}
	other = append([]byte{}, other...)
	copy(other[at+step:], "<step>F</step>")
	file := filepath.Join(t.TempDir(), "copyist.musicxml")
	if err := os.WriteFile(file, other, 0o644); err != nil {
		t.Fatal(err)
	}
	p.open(piece + "/witnesses")
	p.until("the field for a file", `document.querySelector("#witness-file")`)
	p.run(chromedp.SetUploadFiles("#witness-file", []string{file}, chromedp.ByQuery))
	p.until("the differences", `document.querySelectorAll(".pair").length >= 2`)
	p.until("both readings drawn", `document.querySelectorAll(".pair .side svg").length >= 4`)
	if p.js(seen(".pair h2", "Measure 3")) != "true" || p.js(seen(".pair h2", "Measure 1")) != "true" {
		t.Errorf("the differences are listed at %s", p.js(`[...document.querySelectorAll(".pair h2")].map(e => e.textContent).join("; ")`))
	}
	p.run(chromedp.SendKeys(`.pair:nth-child(1) input`, "as in the other copies", chromedp.ByQuery))
	p.click(".pair:nth-child(1) button", "Take this reading")
	p.until("the choice", `document.querySelector('.pair:nth-child(1) [aria-pressed="true"]')?.textContent === "Take this reading"`)
	p.picture("desk-witnesses.png")
	p.click("button", "Apparatus")
	p.until("the reason in the apparatus", seen("main", "as in the other copies"))
	p.open(piece)
	p.until("the music", drawn)
	p.click(`[role="tab"]`, "History")
	p.until("the choice in the history", seen(".history li", "as in the other copies"))
	p.click(".panel button", "Undo")
	p.until("the choice undone", seen(".history li.undone", "as in the other copies"))
}

func TestLesson(t *testing.T) {
	p := dropped(t, startDesk(t, t.TempDir()), 1280, 800)
	piece := p.js("location.hash")
	p.open(piece + "/lesson")
	p.until("a place, large", `document.querySelector(".lesson .excerpt svg")`)
	first := p.js(`document.querySelector("h1").textContent`)
	p.picture("desk-lesson.png")
	p.keys(kb.PageDown)
	p.until("the next place", fmt.Sprintf(`document.querySelector("h1").textContent !== %q || document.querySelector(".lesson").textContent.includes("2 of")`, first))
	p.open(piece + "/lesson/4-5")
	p.until("the span asked for", `document.querySelector('.lesson[data-asked="4-5"]')`) // the heading may have said so before
	if h := p.js(`document.querySelector("h1").textContent`); h != "Measure 4 to measure 5" {
		t.Errorf("the heading is %q", h)
	}
	p.click("summary", "list of places")
	p.run(chromedp.SendKeys("#lesson-note", "Let the bow fall", chromedp.ByQuery))
	p.click("button", "Keep")
	p.until("the note shown", seen(".told", "Let the bow fall"))
	if p.js(`document.querySelector("details.edit").open`) != "true" {
		t.Error("the list of places closed when the page was drawn anew")
	}
	p.run(chromedp.Reload())
	p.until("the note after a reload", seen(".told", "Let the bow fall"))
}

// A page of another site can neither read nor change what is on the desk, nor frame it.
func TestStrangeSite(t *testing.T) {
	address := startDesk(t, t.TempDir())
	b := browser(t)
	p := newTab(t, b, address, 1000, 700)
	p.open(address)
	p.until("the empty library", seen("h1", "The desk is empty"))
	p.drop(jigFile(t))
	p.until("the first page", drawn)
	id := strings.TrimPrefix(p.js("location.hash"), "#/")

	strange := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		fmt.Fprintf(w, `<!doctype html><title>strange</title><iframe name="frame" src="%s/"></iframe>
<form id="form" method="post" target="frame" enctype="text/plain" action="%s/api/pieces?name=x.musicxml"><input name="a" value="b"></form>`, p.base, p.base)
	}))
	t.Cleanup(strange.Close)
	s := newTab(t, b, strange.URL, 800, 600)
	// A name of this machine that is not the desk's own is another site too.
	name := strings.Replace(strange.URL, "127.0.0.1", "localhost", 1)
	s.allow("asked "+p.base, "asked "+name, "CORS", "Failed to fetch")
	s.open(name)
	for _, try := range []string{
		`fetch(%q + "/api/pieces", {credentials: "include"})`,
		`fetch(%q + "/api/pieces/` + id + `", {method: "DELETE", credentials: "include"})`,
		`fetch(%q + "/api/pieces/` + id + `/undo", {method: "POST", credentials: "include", headers: {"X-Pochette": "1"}, body: "{}"})`,
	} {
		if got := s.js(fmt.Sprintf(try, p.base) + `.then(r => "read " + r.status, () => "refused")`); got != "refused" {
			t.Errorf("%s: %s", try, got)
		}
	}
	s.js(fmt.Sprintf(`fetch(%q + "/api/pieces?name=x.musicxml", {method: "POST", mode: "no-cors", credentials: "include", body: "<score-partwise/>"}).then(() => "", () => "")`, p.base))
	s.js(`void document.getElementById("form").submit()`)
	s.until("an answer in the frame, or none", `document.readyState === "complete"`)

	p.run(chromedp.Reload())
	p.until("the piece, still there", drawn)
	p.open("#/")
	p.until("the library", seen(".pieces a", "Jig"))
	if n := p.js(`document.querySelectorAll(".pieces li").length`); n != "1" {
		t.Errorf("the library has %s pieces", n)
	}
}
