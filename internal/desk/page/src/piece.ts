// The view of one piece: the music, the ribbon, the panel, the bar of tools and the keys.
import type { Settings } from "./api";
import { Desk } from "./desk";
import { button, dialog, enter, failed, fill, h } from "./dom";
import { help, obey, type Key } from "./keys";
import { backAll, decidedOn, Panel } from "./panel";
import { keep, layerNames, prefs, type Mode } from "./prefs";
import { Ribbon } from "./ribbon";
import { Score } from "./score";

const zooms = [0.6, 0.7, 0.8, 0.9, 1, 1.15, 1.3, 1.5, 1.75, 2];

export class PieceView {
  private score: Score;
  private panel: Panel;
  private element: HTMLElement;
  private tools = h("div", { class: "tools", role: "toolbar", "aria-label": "The piece" });
  readonly table: Key[];

  constructor(private desk: Desk, host: HTMLElement) {
    this.score = new Score(desk);
    this.panel = new Panel(desk);
    this.element = h("div", { class: "piece" }, this.tools, new Ribbon(desk).element, h("div", { class: "desk" }, this.score.element, this.panel.element));
    this.table = this.keys();
    fill(host, this.element);
    this.draw();
    this.score.layout().catch(failed); // at once: a window in the background is told of no size
    desk.on("piece", () => this.draw());
    desk.on("select", () => { this.element.classList.toggle("pointed", desk.at !== null); });
    enter(desk.piece.title);
    this.score.element.focus({ preventScroll: true });
  }

  close(): void { this.score.close(); }
  key(e: KeyboardEvent): boolean { return obey(this.table, e); }

  private view(change: () => void): void {
    change();
    keep();
    this.draw();
    void this.desk.emit("view");
  }

  private zoom(by: number): void {
    const i = zooms.reduce((best, z, j) => Math.abs(z - prefs.zoom) < Math.abs(zooms[best]! - prefs.zoom) ? j : best, 0);
    this.view(() => { prefs.zoom = zooms[Math.min(Math.max(i + by, 0), zooms.length - 1)]!; });
  }

  private mode(mode: Mode): void {
    this.view(() => { prefs.mode = mode; });
    this.score.element.focus({ preventScroll: true });
  }

  private draw(): void {
    const { piece } = this.desk;
    const link = (to: string, text: string) => h("a", { class: "button", href: `#/${piece.id}/${to}` }, text);
    this.element.dataset.mode = prefs.mode;
    this.element.dataset.panel = prefs.panel ? "open" : "shut";
    const modes: [Mode, string][] = [["flow", "Continuous"], ["paged", "Paged"], ["stand", "At the stand"]];
    const focus = document.activeElement?.getAttribute("data-focus");
    fill(this.tools,
      h("div", { class: "row name" }, h("a", { href: "#/", class: "button", "aria-label": "Library" }, "‹", h("span", { class: "word" }, "\u00a0Library")),
        h("h1", {}, piece.title || "Without a title"), h("span", { class: "soft part" }, piece.part || piece.instrument)),
      button("All tools", () => this.allTools(), { class: "less", "data-focus": "t-all" }),
      h("div", { class: "row" },
        button("Undo", () => void this.desk.undo(), { disabled: !piece.can_undo, "data-focus": "t-undo" }),
        button("Redo", () => void this.desk.redo(), { disabled: !piece.can_redo, "data-focus": "t-redo" })),
      h("div", { class: "row join more", role: "group", "aria-label": "Reading" }, modes.map(([m, t]) =>
        button(t, () => this.mode(m), { "aria-pressed": String(prefs.mode === m), "data-focus": `t-${m}` }))),
      h("div", { class: "row join" }, button("−", () => this.zoom(-1), { "aria-label": "Smaller", "data-focus": "t-minus" }),
        button("+", () => this.zoom(1), { "aria-label": "Larger", "data-focus": "t-plus" })),
      h("div", { class: "row more wrap" }, this.showMenu(), link("lesson", "Lesson"), link("compare", "Compare"), link("witnesses", "Witnesses"), link("print", "Print")),
      h("div", { class: "row" },
        button("Panel", () => this.view(() => { prefs.panel = !prefs.panel; }), { "aria-pressed": String(prefs.panel), "data-focus": "t-panel" }),
        button("?", () => help(this.table), { "aria-label": "Keys", "data-focus": "t-help" })));
    if (focus) this.tools.querySelector<HTMLElement>(`[data-focus="${CSS.escape(focus)}"]`)?.focus({ preventScroll: true });
  }

  private layerBoxes(): HTMLElement[] {
    return layerNames.map(([id, text]) => h("label", { class: "check" },
      h("input", { type: "checkbox", checked: prefs.layers.includes(id), onchange: () => this.layer(id) }), text));
  }

  private layer(id: string): void {
    prefs.layers = prefs.layers.includes(id) ? prefs.layers.filter((l) => l !== id) : [...prefs.layers, id];
    keep();
    void this.desk.emit("view");
  }

  private showMenu(): HTMLElement {
    return button("Show…", () => this.showLayers(), { "data-focus": "t-show" });
  }

  private showLayers(): void {
    dialog("Show on the music", h("div", { class: "checks" }, this.layerBoxes()), this.darkBox());
  }

  private darkBox(): HTMLElement {
    return h("label", { class: "check" }, h("input", { type: "checkbox", checked: prefs.dark, onchange: () => { prefs.dark = !prefs.dark; keep(); } }), "Dark room");
  }

  /** allTools is the bar of tools where there is no room for it. */
  private allTools(): void {
    const d = dialog("Tools");
    const act = (text: string, run: () => void, pressed?: boolean) => button(text, () => { d.close(); run(); }, pressed === undefined ? {} : { "aria-pressed": String(pressed) });
    const go = (to: string) => () => { location.hash = `#/${this.desk.piece.id}/${to}`; };
    d.append(h("div", { class: "row wrap" },
      act("Continuous", () => this.mode("flow"), prefs.mode === "flow"), act("Paged", () => this.mode("paged"), prefs.mode === "paged"), act("At the stand", () => this.mode("stand"), prefs.mode === "stand"),
      act("Lesson", go("lesson")), act("Compare", go("compare")), act("Witnesses", go("witnesses")), act("Print", go("print"))),
      h("h3", {}, "Show on the music"), h("div", { class: "checks" }, this.layerBoxes()), this.darkBox());
  }

  private goToNumber(): void {
    const field = h("input", { id: "go", autocomplete: "off", inputmode: "numeric", autofocus: true });
    const d = dialog("Go to", h("form", { class: "set", onsubmit: (e: Event) => {
      e.preventDefault();
      const want = field.value.trim();
      const m = this.desk.piece.measures.find((x) => x.number === want);
      d.close();
      this.score.element.focus({ preventScroll: true });
      if (m) this.desk.goTo(m.index);
    } }, h("label", { for: "go" }, "Measure"), field, h("button", { type: "submit" }, "Go")));
  }

  private lockHere(): void {
    const [a, b] = this.desk.span;
    if (this.desk.at) void this.desk.lock(a, b, !this.desk.piece.measures.slice(a, b + 1).every((m) => m.locked));
  }

  /** arrows turn pages at the stand, where pedals send them; elsewhere they point. */
  private arrow(by: number, point: () => void): void {
    if (prefs.mode === "stand") this.score.turn(by); else point();
  }

  private keys(): Key[] {
    const { desk } = this;
    const point = "Point", decide = "Decide", read = "Read";
    const set = (s: Settings) => void desk.decide(s, this.panel.reasonGiven);
    const finger = (f: string) => () => set({ finger: f });
    const toggle = (key: "retake" | "link" | "breath") => () => set({ [key]: desk.note && decidedOn(desk.note)[key] === true ? null : true });
    return [
      { group: point, keys: ["ArrowRight"], text: "next note (at the stand: next page)", run: () => this.arrow(1, () => desk.step(1)) },
      { group: point, keys: ["ArrowLeft"], text: "note before (at the stand: page before)", run: () => this.arrow(-1, () => desk.step(-1)) },
      { group: point, keys: ["ArrowUp"], text: "higher note of a chord", run: () => this.arrow(-1, () => desk.other(1)) },
      { group: point, keys: ["ArrowDown"], text: "lower note of a chord", run: () => this.arrow(1, () => desk.other(-1)) },
      { group: point, keys: ["Ctrl+ArrowRight", "n"], text: "next measure", run: () => desk.stepMeasure(1) },
      { group: point, keys: ["Ctrl+ArrowLeft", "b"], text: "measure before", run: () => desk.stepMeasure(-1) },
      { group: point, keys: ["Shift+ArrowRight"], text: "choose on to the right", run: () => desk.step(1, true) },
      { group: point, keys: ["Shift+ArrowLeft"], text: "choose on to the left", run: () => desk.step(-1, true) },
      { group: point, keys: ["Ctrl+Shift+ArrowRight"], text: "choose on by measures", run: () => desk.stepMeasure(1, true) },
      { group: point, keys: ["Ctrl+Shift+ArrowLeft"], text: "choose back by measures", run: () => desk.stepMeasure(-1, true) },
      { group: point, keys: ["Home"], text: "first measure", run: () => desk.goTo(0) },
      { group: point, keys: ["End"], text: "last measure", run: () => desk.goTo(desk.piece.measures.length - 1) },
      { group: point, keys: ["g"], text: "go to a measure by its number", run: () => this.goToNumber() },
      { group: point, keys: ["Escape"], text: "point at nothing; leave the stand", run: () => { if (prefs.mode === "stand") this.mode("paged"); else desk.select(null); } },
      ...["0", "1", "2", "3", "4"].map((f) => ({ group: decide, keys: [f], text: "finger (0: open string)", help: f === "0" ? ["0", "1", "2", "3", "4"] : [], run: finger(f) })),
      { group: decide, keys: ["t"], text: "thumb", run: finger("thumb") },
      ...[1, 2, 3, 4].map((s) => ({ group: decide, keys: [`Shift+${s}`], text: "string I, or so down to IV (shift with 4)", help: s === 1 ? ["Shift+1"] : [], run: () => set({ string: s }) })),
      { group: decide, keys: ["d"], text: "down-bow", run: () => set({ bow: "down" }) },
      { group: decide, keys: ["u"], text: "up-bow", run: () => set({ bow: "up" }) },
      { group: decide, keys: ["r"], text: "retake, on and off", run: toggle("retake") },
      { group: decide, keys: ["k"], text: "linked stroke, on and off", run: toggle("link") },
      { group: decide, keys: ["a"], text: "breath after, on and off", run: toggle("breath") },
      { group: decide, keys: ["Delete", "Backspace"], text: "take back all decisions on this note", run: () => { const d = desk.note?.decided; if (d && Object.keys(d).length) set(backAll(d)); } },
      { group: decide, keys: ["j"], text: "slur over what is chosen, or to the next note", run: () => this.panel.slur() },
      { group: decide, keys: ["Shift+j"], text: "no slur here", run: () => set({ slur: "none" }) },
      { group: decide, keys: ["y"], text: "to the dynamics", run: () => this.panel.focus('[data-focus^="dynamic-"]') },
      { group: decide, keys: ["w"], text: "write words over the note", run: () => this.panel.focus("#words") },
      { group: decide, keys: ["e"], text: "write the reason", run: () => this.panel.focus("#reason") },
      { group: decide, keys: ["o"], text: "other ways here, and what each costs", run: () => this.panel.ways() },
      { group: decide, keys: ["l"], text: "lock or unlock what is chosen", run: () => this.lockHere() },
      { group: decide, keys: ["Ctrl+z"], text: "undo", run: () => void desk.undo() },
      { group: decide, keys: ["Ctrl+Shift+z", "Ctrl+y"], text: "redo", run: () => void desk.redo() },
      { group: read, keys: ["PageDown", "Space"], text: "turn the page (a pedal sends this key)", run: () => this.score.turn(1) },
      { group: read, keys: ["PageUp", "Shift+Space"], text: "turn back", run: () => this.score.turn(-1) },
      { group: read, keys: ["+", "="], text: "larger", run: () => this.zoom(1) },
      { group: read, keys: ["-"], text: "smaller", run: () => this.zoom(-1) },
      { group: read, keys: ["c"], text: "continuous reading", run: () => this.mode("flow") },
      { group: read, keys: ["p"], text: "paged reading", run: () => this.mode("paged") },
      { group: read, keys: ["s"], text: "at the stand: nothing but the music", run: () => this.mode("stand") },
      { group: read, keys: ["m"], text: "dark room, on and off", run: () => { prefs.dark = !prefs.dark; keep(); } },
      { group: read, keys: ["v"], text: "what is shown on the music", run: () => this.showLayers() },
      { group: read, keys: ["i"], text: "panel, open and shut", run: () => this.view(() => { prefs.panel = !prefs.panel; }) },
      { group: read, keys: ["f"], text: "findings", run: () => this.panel.show("findings") },
      { group: read, keys: ["h"], text: "history", run: () => this.panel.show("history") },
      { group: read, keys: ["?"], text: "these keys", run: () => help(this.table) },
    ];
  }
}
