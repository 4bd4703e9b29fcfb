package desk_test

import (
	"bytes"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"pochette/internal/demo"
)

var speed = flag.Bool("speed", false, "measure in the browser: the first page after a drop, and from a key to new marks on screen")

var (
	measureText = regexp.MustCompile(`(?s)<measure number="([^"]*)".*?</measure>`)
	titleText   = regexp.MustCompile(`<movement-title>[^<]*</movement-title>`)
	noteText    = regexp.MustCompile(`<note>`)
)

// long is the invented movement made long: its measures 1 to 9, which have no repeat,
// again and again, numbered on, until there are some notes at least.
func long(t *testing.T, notes int) (text []byte, have int) {
	t.Helper()
	all := measureText.FindAllSubmatchIndex(demo.Jig, -1)
	if len(all) < 12 {
		t.Fatalf("the movement has %d measures", len(all))
	}
	var b bytes.Buffer
	title := fmt.Sprintf("<movement-title>Long jig of %d</movement-title>", notes)
	b.Write(titleText.ReplaceAll(demo.Jig[:all[0][1]], []byte(title)))
	for number := 1; have < notes; {
		for _, m := range all[1:10] {
			fmt.Fprintf(&b, "\n<measure number=\"%d\"", number)
			b.Write(demo.Jig[m[3]+1 : m[1]])
			have += len(noteText.FindAll(demo.Jig[m[0]:m[1]], -1))
			number++
		}
	}
	b.WriteString("</part></score-partwise>")
	return b.Bytes(), have
}

// Speed is reported, never asserted: the machine may be busy.
func TestSpeed(t *testing.T) {
	if !*speed {
		t.Skip("asked for by -speed")
	}
	b := browser(t)
	address := startDesk(t, t.TempDir())
	p := newTab(t, b, address, 1280, 800)
	second := newTab(t, b, address, 1280, 800)
	p.open(address)
	p.until("the library", seen("h1", "The desk is empty"))
	p.js(fmt.Sprintf(`void (window.jig = %q)`, demo.Jig))
	for i := range 48 {
		p.js(fmt.Sprintf(`fetch("/api/pieces?name=jig%[1]d.musicxml", {method: "POST", headers: {"X-Pochette": "1"}, body: window.jig.replace("<movement-title>Jig", "<movement-title>Jig %[1]d")}).then(r => r.status)`, i))
	}
	if n := p.js(`fetch("/api/pieces").then(r => r.json()).then(l => l.length)`); n != "48" {
		t.Fatalf("%s pieces in the library", n)
	}
	for _, notes := range []int{200, 1000, 3000} {
		text, have := long(t, notes)
		file := filepath.Join(t.TempDir(), "long.musicxml")
		if err := os.WriteFile(file, text, 0o644); err != nil {
			t.Fatal(err)
		}
		p.open("#/")
		p.until("the library", `document.querySelector(".library")`)
		p.js(`void (() => {
			window.firstPage = 0;
			addEventListener("drop", () => {
				const from = performance.now();
				const look = () => { if (document.querySelector(".sheet [data-note]")) window.firstPage = performance.now() - from; else requestAnimationFrame(look); };
				look();
			}, { capture: true, once: true });
		})()`)
		p.drop(file)
		p.until("the first page", `window.firstPage`)
		first := p.js(`Math.round(window.firstPage)`)

		// The other window has the same piece open and listens.
		second.open(p.js("location.href"))
		second.until("the first page", drawn)
		p.js(`void performance.clearMeasures()`)
		p.note(6, 0)
		for i := range 20 {
			p.keys(kb.ArrowRight)
			p.press([]string{"4", "u", "1", "d"}[i%4])
			p.until("new marks", fmt.Sprintf(`performance.getEntriesByName("pochette-marks").length >= %d || document.querySelector(".notice.trouble")`, i+1))
			p.js(`void document.querySelectorAll(".notice.trouble").forEach(n => { n.remove(); performance.mark("pochette-act"); performance.measure("pochette-marks", "pochette-act"); })`)
		}
		times := p.js(`(() => { const a = performance.getEntriesByName("pochette-marks").map(e => e.duration).filter(d => d > 1).sort((x, y) => x - y); return "of " + a.length + " decisions: median " + Math.round(a[a.length >> 1]) + " ms, least " + Math.round(a[0]) + ", most " + Math.round(a[a.length - 1]); })()`)
		split := p.js(`(() => { const e = performance.getEntriesByType("resource"), m = (w) => { const a = e.filter(x => x.name.includes(w)).slice(-20).map(x => x.duration).sort((x, y) => x - y); return Math.round(a[a.length >> 1]); }; 
			const own = performance.getEntriesByName("pochette-marks").filter(x => x.duration > 1).map(x => { const end = x.startTime + x.duration, a = e.filter(y => y.name.includes("/pages/") && y.startTime >= x.startTime && y.responseEnd <= end); return a.length ? end - Math.max(...a.map(y => y.responseEnd)) : NaN; }).filter(x => x === x).sort((x, y) => x - y);
			const wait = performance.getEntriesByName("pochette-marks").filter(x => x.duration > 1).map(x => Math.min(...e.filter(y => y.name.endsWith("/decide") && y.startTime >= x.startTime).map(y => y.startTime)) - x.startTime).filter(x => x < 1e5).sort((x, y) => x - y);
			return "the key waits " + Math.round(wait[wait.length >> 1]) + " ms for what was before, the browser draws in " + Math.round(own[own.length >> 1]) + " ms, decide answers in " + m("/decide") + " ms, a page in " + m("/pages/") + " ms (medians)"; })()`)
		load, _ := os.ReadFile("/proc/loadavg")
		t.Logf("%d notes, 50 pieces, two windows: first page %s ms after the drop; from key to new marks on screen, %s; %s; load %s", have, first, times, split, strings.Fields(string(load) + " ?")[0])
		p.js(`void performance.clearResourceTimings()`)
		p.with(input.ModifierCtrl, "z")
		p.run(chromedp.Sleep(0))
	}
}
