// The panel beside the music: what is known of the place pointed at, and what can be
// decided there.
import type { Event_, Finding, NoteFacts, Parallel, Settings, Spot } from "./api";
import type { Desk } from "./desk";
import { button, failed, fill, h } from "./dom";
import { history } from "./history";
import { excerpt } from "./excerpt";
import { otherWays } from "./others";
import { bowName, capital, cost, fingerName, followsName, measureName, placeName, positionName, stringName } from "./words";

type Tab = "place" | "findings" | "history";
const tabNames: [Tab, string][] = [["place", "Here"], ["findings", "Findings"], ["history", "History"]];

const fingers: [string, string, string][] = [["0", "0", "Open string"], ["1", "1", "First finger"], ["2", "2", "Second finger"],
  ["3", "3", "Third finger"], ["4", "4", "Fourth finger"], ["thumb", "th", "Thumb"]];
const dynamics = ["pp", "p", "mp", "mf", "f", "ff", "sfz", "fp"];

export class Panel {
  readonly element: HTMLElement;
  private tab: Tab = "place";
  private body = h("div", { class: "panel-body" });
  private tabs = h("div", { class: "tabs", role: "tablist", "aria-label": "Beside the music" });
  private reason = "";
  private reasonFor = "";

  constructor(private desk: Desk) {
    this.element = h("section", { class: "panel", "aria-label": "Beside the music" }, this.tabs, this.body);
    desk.on("select", () => { if (this.tab === "place") this.draw(); });
    desk.on("piece", () => this.draw());
    this.draw();
  }

  show(tab: Tab): void {
    this.tab = tab;
    this.draw();
  }

  /** focus goes to a control of the place pointed at, for the keys that do. */
  focus(control: string): void {
    this.show("place");
    this.body.querySelector<HTMLElement>(control)?.focus();
  }

  /** reasonGiven is what was written as the reason for the place pointed at: whatever is
   *  decided there, by click or key, is kept with it. */
  get reasonGiven(): string { return this.reasonFor === this.desk.note?.ref ? this.reason : ""; }

  ways(): void {
    if (!this.desk.at) return;
    this.show("place");
    const [first, last] = this.desk.span;
    otherWays(this.desk, this.body.querySelector("#others")!, first, last).catch(failed);
  }

  private draw(): void {
    const focus = document.activeElement?.getAttribute("data-focus");
    fill(this.tabs, tabNames.map(([id, text]) => h("button", {
      type: "button", role: "tab", id: `tab-${id}`, "aria-selected": String(this.tab === id), "aria-controls": "beside",
      "data-focus": `tab-${id}`, onclick: () => this.show(id),
    }, id === "findings" ? `${text} (${this.desk.piece.findings.length})` : text)));
    this.body.id = "beside";
    this.body.setAttribute("role", "tabpanel");
    this.body.setAttribute("aria-labelledby", `tab-${this.tab}`);
    if (this.tab === "findings") fill(this.body, this.findings(this.desk.piece.findings, true), this.hardest());
    else if (this.tab === "history") history(this.desk, this.body).catch(failed);
    else fill(this.body, this.place());
    if (focus) this.element.querySelector<HTMLElement>(`[data-focus="${CSS.escape(focus)}"]`)?.focus({ preventScroll: true });
  }

  private place(): HTMLElement[] {
    const { desk } = this;
    const e = desk.event;
    if (!e) return [h("p", { class: "soft" }, "Point at a note or a bar to see what is known of it. Click, tap, or use the arrow keys; the key ? lists every key.")];
    const n = desk.note;
    if (n?.ref !== this.reasonFor) { this.reasonFor = n?.ref ?? ""; this.reason = n?.reason ?? ""; }
    const [first, last] = desk.span;
    const ms = desk.piece.measures;
    const title = desk.from !== null && first !== last ? `${capital(measureName(ms[first]))} to ${measureName(ms[last])}` : placeName(desk.piece, e);
    return [
      h("div", { class: "row spread" },
        button("‹", () => desk.step(-1), { "aria-label": "Note before", "data-focus": "before" }), h("h2", {}, title),
        button("›", () => desk.step(1), { "aria-label": "Next note", "data-focus": "next" })),
      n && e.notes.length > 1 ? this.chord(e) : null,
      n ? this.facts(e, n) : h("p", {}, "A rest."),
      this.what(),
      n ? this.settle(e, n) : null,
      this.span(first, last),
      h("div", { id: "others" }),
      this.findings(desk.piece.findings.filter((f) => f.measure <= last && Math.max(f.measure, f.to_measure ?? f.measure) >= first), false),
      ...this.parallels(first, last),
    ].filter((x): x is HTMLElement => x !== null);
  }

  private chord(e: Event_): HTMLElement {
    return h("div", { class: "row", role: "group", "aria-label": "Notes of the chord" },
      e.notes.map((n, i) => button(n.pitch, () => this.desk.select({ event: this.desk.at!.event, note: i }),
        { "aria-pressed": String(i === this.desk.at?.note), "data-focus": `chord-${i}` })));
  }

  private facts(e: Event_, n: NoteFacts): HTMLElement {
    const rows: [string, string | undefined][] = [
      ["Note", n.pitch],
      ["Bow", [bowName(e.bow), followsName(e.follows)].filter(Boolean).join("; ") + from(n, "bow")],
      ["String", n.string ? stringName(n.string) + (this.desk.piece.open_strings?.[n.string - 1] ? ` (${this.desk.piece.open_strings[n.string - 1]})` : "") + from(n, "string") : ""],
      ["Finger", n.finger ? fingerName(n.finger) + from(n, "finger") : ""],
      ["Hand", positionName(e.position)],
      ["Crossing", e.crossing?.text],
      ["Chord", e.chord ?? this.desk.piece.measures[e.measure]?.chord],
      ["Key", e.key ?? this.desk.piece.measures[e.measure]?.key],
      ["Voice", e.voice],
      ["Tension", tension(this.desk.piece.measures[e.measure]?.tension)],
      ["Difficulty", e.difficulty ? `${Math.round(e.difficulty)} of 100` : ""],
      ["Reason", n.reason],
    ];
    return h("div", {}, h("dl", { class: "facts" }, rows.filter(([, v]) => v).flatMap(([k, v]) => [h("dt", {}, k), h("dd", {}, v!)])),
      e.why ? h("p", { class: "why" }, e.why) : null);
  }

  /** what tells what the last decision brought with it. */
  private what(): HTMLElement | null {
    const r = this.desk.last;
    if (!r || (!r.costs && !r.consequences?.length)) return null;
    return h("div", { class: "brought" }, h("h3", {}, "What it brings"),
      r.costs ? h("p", {}, `The whole plan ${cost(r.costs.after - r.costs.before)}.`) : null,
      r.consequences?.length ? h("ul", {}, r.consequences.map((c) => h("li", {}, c.text))) : null);
  }

  private settle(e: Event_, n: NoteFacts): HTMLElement {
    const locked = this.desk.piece.measures[e.measure]?.locked;
    if (locked) return h("p", { class: "brought" }, "This measure is locked. Unlock it to decide here.");
    const decided = decidedOn(n);
    const set = (s: Settings) => void this.desk.decide(s, this.reason);
    const choice = (key: keyof Settings, value: string | number, text: string, name: string, now: unknown) => {
      const mine = key in decided && String(decided[key] === true ? now : decided[key]) === String(value);
      const is = !mine && now !== undefined && String(now) === String(value);
      return h("button", {
        type: "button", class: is ? "now" : "", "aria-pressed": String(mine), "data-focus": `${key}-${value}`,
        "aria-label": name + (mine ? ", decided" : is ? ", as the plan has it" : ""), title: name,
        onclick: () => set({ [key]: mine ? null : value }),
      }, text);
    };
    const flag = (key: "link" | "retake" | "breath", text: string) => {
      const mine = decided[key] === true;
      return h("button", { type: "button", "aria-pressed": String(mine), "data-focus": key, onclick: () => set({ [key]: mine ? null : true }) }, text);
    };
    const strings = this.desk.piece.open_strings?.length ?? 4;
    const reason = h("input", { id: "reason", "data-focus": "reason", value: this.reason, maxlength: 500, autocomplete: "off",
      oninput: (ev: Event) => { this.reason = (ev.target as HTMLInputElement).value; } });
    const words = h("input", { id: "words", "data-focus": "words", maxlength: 80, autocomplete: "off", value: typeof decided.words === "string" ? decided.words : "" });
    return h("div", { class: "settle" }, h("h3", {}, "Decide"),
      group("Finger", fingers.map(([v, t, name]) => choice("finger", v, t, name, n.finger))),
      group("String", Array.from({ length: strings }, (_, i) => choice("string", i + 1, stringName(i + 1), `String ${stringName(i + 1)}`, n.string))),
      group("Bow", [choice("bow", "down", "Down", "Down-bow", e.bow), choice("bow", "up", "Up", "Up-bow", e.bow), flag("retake", "Retake"), flag("link", "Linked")]),
      group("Slur", [
        button(this.desk.from === null ? "To the next note" : "Over what is chosen", () => this.slur(), { "data-focus": "slur" }),
        button("None here", () => set({ slur: "none" }), { "data-focus": "slur-none" }),
        "slur" in decided ? button("Take back", () => set({ slur: null }), { "data-focus": "slur-back" }) : null,
        flag("breath", "Breath after"),
      ]),
      group("Dynamic", dynamics.map((d) => choice("dynamic", d, d, `Dynamic ${d}`, undefined))),
      h("form", { class: "set", onsubmit: (ev: Event) => { ev.preventDefault(); set({ words: words.value.trim() || null }); } },
        h("label", { for: "words" }, "Words"), words, h("button", { type: "submit" }, "Set")),
      h("form", { class: "set", onsubmit: (ev: Event) => { ev.preventDefault(); this.giveReason(decided, e, n); } },
        h("label", { for: "reason" }, "Reason"), reason, h("button", { type: "submit", disabled: Object.keys(decided).length === 0 }, "Keep")),
      Object.keys(decided).length ? button("Take back all decisions here", () => set(backAll(decided)), { "data-focus": "back" }) : null,
    );
  }

  /** slur binds what is chosen, or the note to the next. */
  slur(): void {
    const { desk } = this;
    if (!desk.at) return;
    const why = this.reasonGiven; // written for what is chosen, whichever end is pointed at
    let a = desk.at.event, b = desk.from;
    if (b === null) {
      b = a + 1;
      while (desk.piece.events[b] && desk.piece.events[b]!.notes.length === 0) b++;
    }
    if (b < a) [a, b] = [b, a];
    const end = desk.piece.events[b]?.notes[0]?.ref;
    if (!end) return;
    if (a !== desk.at.event) { desk.at = { event: a, note: 0 }; }
    desk.from = null;
    void desk.decide({ slur: end }, why);
  }

  /** giveReason settles the same once more, with the reason. */
  private giveReason(decided: Record<string, unknown>, e: Event_, n: NoteFacts): void {
    const now: Record<string, unknown> = { finger: n.finger, string: n.string, bow: e.bow };
    const again: Record<string, unknown> = {};
    for (const [k, v] of Object.entries(decided)) again[k] = v === true && k in now ? now[k] : v;
    void this.desk.decide(again as Settings, this.reason);
  }

  private span(first: number, last: number): HTMLElement {
    const { desk } = this;
    const ms = desk.piece.measures;
    const locked = ms.slice(first, last + 1).every((m) => m.locked);
    const what = first === last ? "this measure" : `these ${last - first + 1} measures`;
    return h("div", { class: "row wrap" },
      button(locked ? `Unlock ${what}` : `Lock ${what}`, () => void desk.lock(first, last, !locked), { "data-focus": "lock" }),
      button("Other ways here", () => otherWays(desk, this.body.querySelector("#others")!, first, last).catch(failed), { "data-focus": "ways" }),
      button("Large", () => { location.hash = `#/${desk.piece.id}/lesson/${first}-${last}`; }, { "data-focus": "large", title: "Show this large, as for a lesson" }));
  }

  private findings(list: Finding[], all: boolean): HTMLElement | null {
    if (!list.length) return all ? h("p", { class: "soft" }, "Nothing was found that asks for attention.") : null;
    return h("div", {}, h("h3", {}, all ? "Findings" : "Found here"), h("ul", { class: "findings" }, list.map((f) => h("li", { class: f.grade },
      h("p", {}, h("strong", {}, `${capital(f.grade)}: `), f.text), f.why ? h("p", { class: "soft" }, f.why) : null,
      f.suggestion ? h("p", {}, `→ ${f.suggestion}`) : null,
      all && f.measure >= 0 ? button(capital(f.place || measureName(this.desk.piece.measures[f.measure])), () => this.desk.goTo(f.measure), { class: "link" }) : null))));
  }

  private hardest(): HTMLElement | null {
    const list: Spot[] = this.desk.piece.hard ?? [];
    if (!list.length) return null;
    return h("div", {}, h("h3", {}, "Hard spots"), h("ol", {}, list.map((s) => h("li", {},
      button(capital(s.place), () => this.desk.goTo(s.measure), { class: "link" }), s.text ? h("p", {}, s.text) : null))));
  }

  private parallels(first: number, last: number): HTMLElement[] {
    const here = (this.desk.piece.parallels ?? []).flatMap((p): { p: Parallel; to: number }[] => {
      if (p.first <= last && p.last >= first) return [{ p, to: p.other_first }];
      if (p.other_first <= last && p.other_last >= first) return [{ p, to: p.first }];
      return [];
    });
    return here.map(({ p, to }) => {
      const both = h("div", { class: "both" });
      const id = this.desk.piece.id;
      return h("div", {}, h("h3", {}, "Parallel passage"), p.text ? h("p", {}, p.text) : null,
        h("div", { class: "row wrap" }, button(`Go to ${measureName(this.desk.piece.measures[to])}`, () => this.desk.goTo(to)),
          button("Both, one over the other", () => {
            fill(both, excerpt(id, p.first, p.last), excerpt(id, p.other_first, p.other_last));
          })), both);
    });
  }
}

const group = (name: string, buttons: (HTMLElement | null)[]) =>
  h("div", { class: "set", role: "group", "aria-label": name }, h("span", { class: "label" }, name), h("div", { class: "choices" }, buttons));

/** from tells where a mark comes from. */
function from(n: NoteFacts, key: string): string {
  if (n.decided && key in n.decided) return " (decided)";
  if (n.printed && key in n.printed) return " (printed)";
  return "";
}

const tension = (t: number | undefined) => t === undefined ? "" : `${Math.round(100 * t)} of 100`;

/** decidedOn is what is decided on a note, with its value where the server says it. */
export function decidedOn(n: NoteFacts): Record<string, unknown> {
  return Object.fromEntries(Object.entries(n.decided ?? {}).map(([k, v]) => {
    const said = n.says?.[k];
    return [k, said === undefined ? v : said === "true" ? true : said === "false" ? false : said];
  }));
}

export function backAll(decided: Record<string, unknown>): Settings {
  return Object.fromEntries(Object.keys(decided).map((k) => [k, null])) as Settings;
}
