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
	"time"

	"github.com/chromedp/cdproto/input"
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
		p.js(`void (performance.clearMeasures(), performance.clearResourceTimings(), performance.setResourceTimingBufferSize(5000))`)
		p.note(6, 0)
		for i := range 20 {
			time.Sleep(150 * time.Millisecond) // a quick hand
			p.keys(kb.ArrowRight)
			p.press([]string{"4", "u", "1", "d"}[i%4])
			p.until("new marks", fmt.Sprintf(`performance.getEntriesByName("pochette-marks").length >= %d || document.querySelector(".notice.trouble")`, i+1))
			p.js(`void document.querySelectorAll(".notice.trouble").forEach(n => { n.remove(); performance.measure("pochette-marks", { start: performance.now() }); })`)
		}
		times := p.js(`(() => { const a = performance.getEntriesByName("pochette-marks").map(e => e.duration).filter(d => d > 1).sort((x, y) => x - y); return "of " + a.length + " decisions: median " + Math.round(a[a.length >> 1]) + " ms, least " + Math.round(a[0]) + ", most " + Math.round(a[a.length - 1]); })()`)
		split := p.js(`(() => {
			const mid = a => Math.round(a.sort((x, y) => x - y)[a.length >> 1]);
			const asked = performance.getEntriesByType("resource").filter(e => e.name.endsWith("/decide"));
			const own = performance.getEntriesByName("pochette-marks").filter(m => m.duration > 1).map(m => [m, asked.find(e => e.requestStart >= m.startTime && e.responseStart <= m.startTime + m.duration)]).filter(([, e]) => e);
			return "of this the key waits " + mid(own.map(([m, e]) => e.requestStart - m.startTime)) + " ms, the desk takes " + mid(own.map(([, e]) => e.responseStart - e.requestStart)) + " ms to the first line (" + mid(own.map(([, e]) => e.responseEnd - e.requestStart)) + " to the last), the browser " + mid(own.map(([m, e]) => m.startTime + m.duration - e.responseStart)) + " ms, two frames of the screen among them (medians of " + own.length + ")"; })()`)
		load, _ := os.ReadFile("/proc/loadavg")
		t.Logf("%d notes, 50 pieces, two windows: first page %s ms after the drop; from key to new marks on screen, %s; %s; load %s", have, first, times, split, strings.Fields(string(load) + " ?")[0])
		p.slow()
	}
}

// slow reports the decisions that take a new solver: a slur, and a lock.
func (p *tab) slow() {
	p.t.Helper()
	p.note(6, 0)
	for _, act := range []struct{ name, key string }{{"a slur", "j"}, {"a slur taken back", "z"}, {"a lock", "l"}, {"a lock undone", "z"}} {
		p.js(`void (performance.clearMeasures(), performance.clearResourceTimings())`)
		if act.key == "z" {
			p.with(input.ModifierCtrl, "z")
		} else {
			p.press(act.key)
		}
		p.until("new marks", `performance.getEntriesByName("pochette-marks").length || document.querySelector(".notice.trouble")`)
		p.t.Logf("%s: %s", act.name, p.js(`["pochette-asked", "pochette-marks"].map(n => n.slice(9) + " " + performance.getEntriesByName(n).map(e => Math.round(e.duration) + " ms").join(", ")).join("; ") + [...document.querySelectorAll(".notice.trouble p")].map(n => " " + n.textContent).join("")`))
		p.js(`void document.querySelectorAll(".notice.trouble").forEach(n => n.remove())`)
	}
}
