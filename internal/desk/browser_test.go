package desk_test

import (
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/cdproto/network"
	cdpage "github.com/chromedp/cdproto/page"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
)

// The browser tests drive the Chromium of the system, without a window, through its
// devtools protocol: real keys, real clicks, real drops.

var pictures = flag.Bool("pictures", false, "write the pictures of docs/ anew from the browser tests")

// patience is how long a test waits for something to appear before it gives up: long,
// since the machine may be busy, and never a measure of speed.
var patience = flag.Duration("patience", 60*time.Second, "how long a browser test waits for something to appear")

// browser starts one browser for a test; the test is skipped where there is none.
func browser(t *testing.T) context.Context {
	t.Helper()
	if testing.Short() {
		t.Skip("-short: no browser")
	}
	path, err := exec.LookPath("chromium")
	if err != nil {
		t.Skip("no chromium on this machine (Debian package chromium)")
	}
	profile, err := os.MkdirTemp("", "pochette-browser-")
	if err != nil {
		t.Fatal(err)
	}
	opts := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.UserDataDir(profile),
		chromedp.Flag("disable-dev-shm-usage", true))
	if os.Geteuid() == 0 {
		opts = append(opts, chromedp.NoSandbox) // its sandbox refuses root
	}
	alloc, stop := chromedp.NewExecAllocator(t.Context(), opts...)
	ctx, shut := chromedp.NewContext(alloc, chromedp.WithErrorf(func(string, ...any) {})) // it remarks on events that it does not know
	t.Cleanup(func() {
		_ = chromedp.Cancel(ctx) // closes the browser and waits for it
		shut()
		stop()
		for range 20 { // helpers of the browser may still be writing
			if os.RemoveAll(profile) == nil {
				return
			}
			time.Sleep(100 * time.Millisecond)
		}
	})
	if err := chromedp.Run(ctx); err != nil {
		t.Skipf("chromium does not start: %v", err)
	}
	return ctx
}

// tab is one tab of a browser, looking at one desk.
type tab struct {
	t    *testing.T
	ctx  context.Context
	base string // scheme and host of the desk

	address string // to open, token and all

	mu      sync.Mutex
	trouble []string
	allowed []string // what the console may say
}

// newTab opens a tab of a size, in CSS pixels. Whatever the page logs as an error, throws
// or asks of another machine fails the test at its end.
func newTab(t *testing.T, parent context.Context, address string, width, height int64) *tab {
	t.Helper()
	u, err := url.Parse(address)
	if err != nil {
		t.Fatal(err)
	}
	ctx, shut := chromedp.NewContext(parent)
	p := &tab{t: t, ctx: ctx, base: u.Scheme + "://" + u.Host, address: address}
	chromedp.ListenTarget(ctx, p.heard)
	t.Cleanup(func() {
		shut()
		p.mu.Lock()
		defer p.mu.Unlock()
		for _, m := range p.trouble {
			t.Error("the page: " + m)
		}
	})
	if err := chromedp.Run(ctx); err != nil { // without a deadline: the tab lives as long as the context of its first run
		t.Fatalf("browser: %v", err)
	}
	p.run(network.Enable(), cdpage.BringToFront(), chromedp.EmulateViewport(width, height))
	return p
}

func (p *tab) heard(ev any) {
	switch e := ev.(type) {
	case *runtime.EventExceptionThrown:
		text := e.ExceptionDetails.Text
		if e.ExceptionDetails.Exception != nil {
			text += " " + e.ExceptionDetails.Exception.Description
		}
		p.report(text)
	case *runtime.EventConsoleAPICalled:
		if e.Type == runtime.APITypeError || e.Type == runtime.APITypeWarning {
			p.report(fmt.Sprintf("console: %s", e.Args[0].Value))
		}
	case *network.EventRequestWillBeSent:
		u := e.Request.URL
		for _, home := range []string{p.base + "/", "data:", "blob:", "about:", "chrome"} {
			if strings.HasPrefix(u, home) {
				return
			}
		}
		p.report("asked " + u)
	}
}

func (p *tab) report(text string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, a := range p.allowed {
		if strings.Contains(text, a) {
			return
		}
	}
	p.trouble = append(p.trouble, text)
}

// allow lets the page log what contains one of some texts.
func (p *tab) allow(texts ...string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.allowed = append(p.allowed, texts...)
}

func (p *tab) run(acts ...chromedp.Action) {
	p.t.Helper()
	ctx, stop := context.WithTimeout(p.ctx, *patience)
	defer stop()
	if err := chromedp.Run(ctx, acts...); err != nil {
		p.t.Fatalf("browser: %v", err)
	}
}

// open goes to an address, or to a view of the desk that begins with #.
func (p *tab) open(address string) {
	p.t.Helper()
	if strings.HasPrefix(address, "#") {
		p.js(fmt.Sprintf("void (location.hash = %q)", address))
		return
	}
	p.run(chromedp.Navigate(address))
}

// js evaluates an expression in the page and gives its value as text.
func (p *tab) js(expr string) string {
	p.t.Helper()
	var v any
	p.run(chromedp.ActionFunc(func(ctx context.Context) error {
		r, fault, err := runtime.Evaluate(expr).WithReturnByValue(true).WithAwaitPromise(true).Do(ctx)
		if err != nil {
			return err
		}
		if fault != nil {
			return fmt.Errorf("%s: %s", expr, fault.Error())
		}
		if len(r.Value) == 0 {
			return nil
		}
		return json.Unmarshal(r.Value, &v)
	}))
	if v == nil {
		return ""
	}
	return fmt.Sprint(v)
}

// until waits for an expression, or what it promises, to be true.
func (p *tab) until(what, expr string) {
	p.t.Helper()
	for end := time.Now().Add(*patience); ; time.Sleep(30 * time.Millisecond) {
		if p.js("Promise.resolve("+expr+").then(Boolean)") == "true" {
			return
		}
		if time.Now().After(end) {
			p.t.Fatalf("waited in vain for %s\n(%s)\nthe page says:\n%s", what, expr, p.js("document.body.innerText.slice(0, 1500)"))
		}
	}
}

// has says whether an element whose text contains some words can be seen.
func seen(selector, words string) string {
	return fmt.Sprintf(`[...document.querySelectorAll(%q)].some(e => e.getClientRects().length && e.textContent.includes(%q))`, selector, words)
}

// keys presses keys one after the other, as names (kb.ArrowRight) or signs.
func (p *tab) keys(keys ...string) {
	p.t.Helper()
	for _, k := range keys {
		p.run(chromedp.KeyEvent(k))
	}
}

// press presses and lets go keys that are acts, not letters of a text: a browser makes no
// letter of a key that the page has taken, but the devtools protocol sends one all the same.
func (p *tab) press(keys ...string) {
	p.t.Helper()
	for _, k := range keys {
		code := "Key" + strings.ToUpper(k)
		if k >= "0" && k <= "9" {
			code = "Digit" + k
		}
		for _, kind := range []input.KeyType{input.KeyRawDown, input.KeyUp} {
			p.run(input.DispatchKeyEvent(kind).WithKey(k).WithCode(code).WithWindowsVirtualKeyCode(int64(strings.ToUpper(k)[0])))
		}
	}
}

// with presses one key with modifiers.
func (p *tab) with(m input.Modifier, key string) {
	p.t.Helper()
	p.run(chromedp.KeyEvent(key, chromedp.KeyModifiers(m)))
}

// click clicks with the mouse in the middle of the first element of a selector that can
// be seen and whose text or label contains some words.
func (p *tab) click(selector, words string) {
	p.t.Helper()
	find := fmt.Sprintf(`[...document.querySelectorAll(%q)].find(e => e.getClientRects().length && ((e.getAttribute("aria-label") ?? "") + e.textContent).includes(%q))`, selector, words)
	p.until(fmt.Sprintf("%s with %q", selector, words), find)
	var at []float64
	p.run(chromedp.Evaluate(fmt.Sprintf(`(() => { const e = %s; e.scrollIntoView({block: "nearest"}); const b = e.getBoundingClientRect(); return [b.x + b.width / 2, b.y + b.height / 2]; })()`, find), &at),
		chromedp.ActionFunc(func(ctx context.Context) error { return chromedp.MouseClickXY(at[0], at[1]).Do(ctx) }))
}

// drop drags files from outside over the page and lets them go, once the page has said
// that it would take them.
func (p *tab) drop(paths ...string) {
	p.t.Helper()
	data := &input.DragData{Files: paths, Items: []*input.DragDataItem{}, DragOperationsMask: 1}
	drag := func(kind input.DispatchDragEventType) {
		p.run(input.DispatchDragEvent(kind, 150, 250, data), chromedp.Sleep(150*time.Millisecond))
	}
	over := `document.body.classList.contains("over")`
	for range 20 { // a window that has just come to the front may miss the first of it
		p.run(cdpage.BringToFront())
		drag(input.DragEnter)
		drag(input.DragOver)
		if p.js(over) == "true" {
			break
		}
		drag(input.DragCancel)
	}
	p.until("the page to take what is dragged over it", over)
	drag(input.DragOver)
	drag(input.Drop)
}

// note clicks on the head of the n-th note of a measure, both from 0. A page that is
// still being laid out moves under the mouse: then the note is clicked on again.
func (p *tab) note(measure, n int) {
	p.t.Helper()
	find := fmt.Sprintf(`document.querySelectorAll('[data-measure="%d"] [data-note]')[%d]`, measure, n)
	p.until("the notes of the measure", find)
	name := p.js(find + `.getAttribute("data-note")`)
	for range 5 {
		var at []float64
		p.run(chromedp.Evaluate(fmt.Sprintf(`(() => { const g = %s, e = g?.querySelector(".notehead") ?? g; if (!e) return [0, 0]; e.scrollIntoView({block: "center"}); const b = e.getBoundingClientRect(); return [b.x + b.width / 2, b.y + b.height / 2]; })()`, find), &at),
			chromedp.ActionFunc(func(ctx context.Context) error { return chromedp.MouseClickXY(at[0], at[1]).Do(ctx) }))
		for range 20 {
			if p.js(fmt.Sprintf(`document.querySelector(".cursor") && document.querySelector(".pointed-at")?.getAttribute("data-note") === %q`, name)) == "true" {
				return
			}
			time.Sleep(50 * time.Millisecond)
		}
	}
	p.t.Fatalf("a click on note %d of measure %d points at %s", n, measure, p.js(`document.querySelector(".pointed-at")?.getAttribute("data-note") ?? "nothing"`))
}

// picture writes what the tab shows into docs/, where pictures are asked for.
func (p *tab) picture(name string) {
	p.t.Helper()
	if !*pictures {
		return
	}
	var png []byte
	p.run(chromedp.Sleep(300*time.Millisecond), chromedp.CaptureScreenshot(&png))
	if err := os.WriteFile(filepath.Join("..", "..", "docs", name), png, 0o644); err != nil {
		p.t.Fatal(err)
	}
}

// deaf makes the page of a tab miss what the desk tells of other windows, as a window
// does that was asleep. It holds for pages opened afterwards.
func (p *tab) deaf() {
	p.t.Helper()
	p.run(chromedp.ActionFunc(func(ctx context.Context) error {
		_, err := cdpage.AddScriptToEvaluateOnNewDocument(`window.EventSource = class { close() {} }`).Do(ctx)
		return err
	}))
}
