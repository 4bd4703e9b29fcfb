package desk_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"
)

// settled is one kind of decision, made by the mouse or by the keyboard as a player
// would, on a note of its own.
type settled struct {
	name    string
	measure int // by index, so that no decision stands on another's note
	note    int
	stroke  bool // the note has to begin a stroke
	on      int  // how many notes on the choice goes
	act     func(p *tab)
	key     string // of what the desk keeps
	value   string // that it keeps, where it is more than a flag
	mark    string // what is drawn for it: a selector
	told    string // in the history
}

// tool clicks on a control of the panel by the name that it keeps when it is drawn anew.
func (p *tab) tool(name string) {
	p.t.Helper()
	p.click(fmt.Sprintf(`.panel [data-focus=%q]`, name), "")
}

var everyDecision = []settled{
	{name: "finger by the mouse", measure: 2, note: 3, act: func(p *tab) { p.tool("finger-4") }, key: "finger", value: "4", mark: ".finger.decided", told: "finger 4"},
	{name: "finger by the keyboard", measure: 2, note: 3, act: func(p *tab) { p.press("4") }, key: "finger", value: "4", mark: ".finger.decided", told: "finger 4"},
	{name: "string by the mouse", measure: 3, note: 1, act: func(p *tab) { p.tool("string-2") }, key: "string", value: "2", mark: ".string.decided", told: "string II"},
	{name: "string by the keyboard", measure: 4, note: 1, act: func(p *tab) { p.shifted("2") }, key: "string", value: "2", mark: ".string.decided", told: "string II"},
	{name: "bow by the mouse", measure: 5, stroke: true, act: func(p *tab) { p.tool("bow-up") }, key: "bow", value: "up", mark: ".bow.decided", told: "up-bow"},
	{name: "bow by the keyboard", measure: 6, stroke: true, act: func(p *tab) { p.press("d") }, key: "bow", value: "down", mark: ".bow.decided", told: "down-bow"},
	{name: "slur by the mouse", measure: 7, note: 2, act: func(p *tab) { p.tool("slur") }, key: "slur", mark: ".slur.decided", told: "slur"},
	{name: "slur over a span by the keyboard", measure: 8, note: 0, on: 2, act: func(p *tab) { p.press("j") }, key: "slur", mark: ".slur.decided", told: "slur"},
	{name: "no slur by the keyboard", measure: 9, note: 0, act: func(p *tab) { p.shifted("j") }, key: "slur", value: "none", told: "slur"},
	{name: "linked stroke by the mouse", measure: 10, stroke: true, act: func(p *tab) { p.tool("link") }, key: "link", mark: ".bow.decided", told: "link"},
	{name: "linked stroke by the keyboard", measure: 11, stroke: true, act: func(p *tab) { p.press("k") }, key: "link", mark: ".bow.decided", told: "link"},
	{name: "retake by the mouse", measure: 12, stroke: true, act: func(p *tab) { p.tool("retake") }, key: "retake", mark: ".bow.decided", told: "retake"},
	{name: "retake by the keyboard", measure: 13, stroke: true, act: func(p *tab) { p.press("r") }, key: "retake", mark: ".bow.decided", told: "retake"},
	{name: "breath by the mouse", measure: 14, note: 1, act: func(p *tab) { p.tool("breath") }, key: "breath", mark: ".breath.decided", told: "breath"},
	{name: "breath by the keyboard", measure: 15, note: 1, act: func(p *tab) { p.press("a") }, key: "breath", mark: ".breath.decided", told: "breath"},
	{name: "dynamic", measure: 16, note: 0, act: func(p *tab) {
		p.press("y")
		p.until("the choice of dynamics", `document.activeElement.dataset.focus === "dynamic-pp"`)
		p.keys(kb.Tab, kb.Tab, kb.Tab, kb.Enter)
	}, key: "dynamic", value: "mf", mark: ".dynamic.decided", told: "mf"},
	{name: "words", measure: 17, note: 0, act: func(p *tab) {
		p.press("w")
		p.until("the field for words", `document.activeElement.id === "words"`)
		p.keys(strings.Split("at the tip", "")...)
		p.keys(kb.Enter)
	}, key: "words", value: "at the tip", mark: ".words.decided", told: "at the tip"},
}

// shifted presses a key with shift, as press does: the letter is an act.
func (p *tab) shifted(k string) {
	p.t.Helper()
	code := "Key" + strings.ToUpper(k)
	sign := strings.ToUpper(k)
	if k >= "0" && k <= "9" {
		code, sign = "Digit"+k, ")!@#$%^&*("[k[0]-'0':k[0]-'0'+1]
	}
	for _, kind := range []input.KeyType{input.KeyRawDown, input.KeyUp} {
		p.run(input.DispatchKeyEvent(kind).WithKey(sign).WithCode(code).WithModifiers(input.ModifierShift).WithWindowsVirtualKeyCode(int64(strings.ToUpper(k)[0])))
	}
}

// pick points at the note of a kind by the mouse and gives its name. Where a stroke
// has to begin on it, the desk is asked where one does.
func (p *tab) pick(d *settled) string {
	p.t.Helper()
	n := d.note
	if d.stroke {
		n = -1
		got := p.js(fmt.Sprintf(`fetch("/api/pieces/" + location.hash.slice(2)).then(r => r.json()).then(v => {
			const struck = v.events.filter(e => e.notes.length);
			const at = struck.findIndex((e, i) => e.measure === %d && i > 0 && struck[i - 1].stroke >= 0 && e.stroke > struck[i - 1].stroke && !struck[i - 1].notes.some(x => x.decided?.bow));
			return at < 0 ? -1 : struck.filter((e, i) => i < at && e.measure === %d).flatMap(e => e.notes).length; })`, d.measure, d.measure))
		if _, err := fmt.Sscan(got, &n); err != nil || n < 0 {
			p.t.Fatalf("no stroke begins inside measure %d of the movement: choose another", d.measure)
		}
	}
	p.note(d.measure, n)
	return p.js(`document.querySelector(".pointed-at").getAttribute("data-note")`)
}

// kept asks the desk what is decided on a note: "" for nothing.
func (p *tab) kept(ref, key string) string {
	p.t.Helper()
	return p.js(keptAt(ref, key))
}

func keptAt(ref, key string) string {
	return fmt.Sprintf(`fetch("/api/pieces/" + location.hash.slice(2)).then(r => r.json()).then(v => {
		for (const e of v.events) for (const n of e.notes) if (n.ref === %q) return n.decided?.[%[2]q] ? n.says?.[%[2]q] ?? (%[2]q === "bow" ? e.bow : String(n[%[2]q] ?? "yes")) : "";
		return "no such note"; })`, ref, key)
}

// drawnAt says that a mark is drawn in the measures about a decision.
func (d *settled) drawn() string {
	return fmt.Sprintf(`[...document.querySelectorAll('[data-measure="%d"] %s')].some(e => e.getClientRects().length)`, d.measure, d.mark)
}

// Each kind of decision, by real clicks and keys: it is drawn, kept over a reload, undone
// and done again, and the history says who made it, when and why.
func TestEveryDecision(t *testing.T) {
	address := startDesk(t, t.TempDir())
	p := dropped(t, address, 1280, 900)
	piece := p.js("location.hash")
	for i := range everyDecision {
		d := &everyDecision[i]
		if !t.Run(d.name, func(t *testing.T) { p.decideAndReturn(t, d) }) {
			p.open(address) // a fresh page for the next
			p.open(piece)
			p.until("the music", drawn)
		}
	}
}

func (p *tab) decideAndReturn(t *testing.T, d *settled) {
	outer := p.t
	p.t = t
	defer func() { p.t = outer }()
	ref := p.pick(d)
	for range d.on {
		p.with(input.ModifierShift, kb.ArrowRight)
	}
	why := "since " + d.name + " sings"
	p.press("e")
	p.until("the field for the reason", `document.activeElement.id === "reason"`)
	p.keys(strings.Split(why, "")...)
	p.keys(kb.Escape)
	p.until("the focus on the music", `document.activeElement.classList.contains("score")`)
	before := p.js(`document.querySelectorAll(".sheet .decided").length`)
	d.act(p)
	has := keptAt(ref, d.key) + `.then(v => v !== "")`
	p.until("the decision kept", has)
	if got := p.kept(ref, d.key); d.value != "" && got != d.value {
		t.Errorf("the desk keeps %s %q, want %q", d.key, got, d.value)
	}
	if d.mark != "" {
		p.until("its mark drawn", d.drawn())
	}

	p.click(`[role="tab"]`, "History")
	line := fmt.Sprintf(`[...document.querySelectorAll(".history li")].find(e => e.textContent.includes(%q))`, why)
	p.until("its line in the history", line)
	text := p.js(line + `.textContent`)
	for _, want := range []string{d.told, "Ottoline Farrow", why} {
		if !strings.Contains(text, want) {
			t.Errorf("the history says %q; want %q in it", text, want)
		}
	}
	if when := p.js(`Math.abs(Date.now() - Date.parse(` + line + `.querySelector("time").dateTime)) < 600000`); when != "true" {
		t.Errorf("the history does not say when: %s", p.js(line+`.innerHTML`))
	}
	p.click(`[role="tab"]`, "Here")

	p.run(chromedp.Reload())
	p.until("the music after a reload", drawn)
	if p.kept(ref, d.key) == "" {
		t.Error("lost by a reload")
	}
	if d.mark != "" {
		p.until("its mark after a reload", d.drawn())
	}
	p.with(input.ModifierCtrl, "z")
	p.until("it undone", keptAt(ref, d.key)+`.then(v => v === "")`)
	if d.mark != "" {
		p.until("no mark more than before", fmt.Sprintf(`document.querySelectorAll(".sheet .decided").length <= %s`, before))
	}
	p.with(input.ModifierCtrl, "y")
	p.until("it done again", has)
	if d.mark != "" {
		p.until("its mark again", d.drawn())
	}
	p.with(input.ModifierCtrl, "z")
	p.until("a clean part for the next", keptAt(ref, d.key)+`.then(v => v === "")`)
}

// A locked passage stays as it is, refuses decisions in words, and can be unlocked.
func TestLockedPassage(t *testing.T) {
	p := dropped(t, startDesk(t, t.TempDir()), 1280, 900)
	p.note(5, 0)
	p.with(input.ModifierCtrl|input.ModifierShift, kb.ArrowRight)
	p.until("two measures chosen", seen(".panel button", "Lock these 2 measures"))
	p.press("l")
	locked := `fetch("/api/pieces/" + location.hash.slice(2)).then(r => r.json()).then(v => v.measures.filter(m => m.locked).map(m => m.index).join(" "))`
	p.until("the lock", locked+`.then(s => s === "5 6")`)
	p.until("the lock over the music", `document.querySelector(".span.locked")`)
	bows := `fetch("/api/pieces/" + location.hash.slice(2)).then(r => r.json()).then(v => v.events.filter(e => e.measure === 5 || e.measure === 6).map(e => e.bow + e.notes.map(n => n.string + "/" + n.finger)).join(" "))`
	before := p.js(bows)

	p.note(6, 1)
	p.until("the word that it is locked", seen(".panel", "This measure is locked"))
	p.press("4")
	p.until("the refusal in words", seen(".notice", "locked passage"))
	p.click(".notice button", "Close")

	p.note(4, 0)
	p.press("u")
	p.until("a decision before the lock", pressed("bow-up"))
	p.note(4, 0)
	p.press("d")
	p.until("another", pressed("bow-down"))
	if now := p.js(bows); now != before {
		t.Errorf("the locked passage was\n%s and is\n%s", before, now)
	}
	p.run(chromedp.Reload())
	p.until("the music", drawn)
	if now := p.js(bows); now != before || p.js(locked) != "5 6" {
		t.Errorf("after a reload the lock is on %s and the passage\n%s, was\n%s", p.js(locked), now, before)
	}
	p.note(5, 0)
	p.press("l")
	p.until("one measure unlocked", locked+`.then(s => s === "6")`)
	p.with(input.ModifierCtrl, "z")
	p.until("the lock again", locked+`.then(s => s === "5 6")`)
	p.with(input.ModifierCtrl, "y")
	p.until("the unlocking again", locked+`.then(s => s === "6")`)
}
