// The engraved pages: laid out for the window, fetched as they come into sight, turned,
// zoomed and pointed at.
import { api, query, type Marks, type Pages, type Sight } from "./api";
import type { At, Desk } from "./desk";
import { failed, fill, h, picture, say } from "./dom";
import { cursor, overlay, voices } from "./overlay";
import { engraved, prefs } from "./prefs";
import { capital, measureName } from "./words";

const mm = 96 / 25.4; // CSS pixels in a millimetre
const least = 70; // narrower pages cannot hold a measure and its clef

/** Sheet is a page: key says of which state it is drawn. */
interface Sheet { n: number; box: HTMLElement; key: string; drawn: boolean }

export class Score {
  readonly element: HTMLElement;
  private readonly paper: HTMLElement;
  private readonly turner: HTMLElement;
  private sheets: Sheet[] = [];
  private meta: Pages | null = null;
  private layoutKey = ""; // what the sheets are laid out for
  private wanted = ""; // what they will be
  private page = 1; // the one in sight, where pages are turned
  private seen: IntersectionObserver;
  private size: ResizeObserver;
  private timer = 0;
  private resting = 0;
  private visible = new Set<Sheet>();

  constructor(private desk: Desk) {
    this.paper = h("div", { class: "paper" });
    this.turner = h("div", { class: "turner" });
    this.element = h("div", {
      class: "score", tabindex: 0, role: "application", "aria-roledescription": "score",
      "aria-label": "The music. Arrow keys go from note to note; the question mark lists all keys.",
    }, this.paper, this.turner);
    this.paper.addEventListener("click", (e) => this.click(e));
    this.seen = new IntersectionObserver((entries) => this.sight(entries), { root: this.element, rootMargin: "60% 0px" });
    this.size = new ResizeObserver(() => { clearTimeout(this.timer); this.timer = window.setTimeout(() => this.layout().catch(failed), 150); });
    this.size.observe(this.element);
    desk.eye = { sight: () => this.sightNow(), marks: (m) => this.marks(m) };
    desk.on("decided", () => this.redraw());
    let over = desk.piece.measures;
    desk.on("piece", () => { if (over !== desk.piece.measures) { over = desk.piece.measures; this.overlays(); } });
    desk.on("select", () => void this.show().catch(failed));
    desk.on("view", () => void this.layout().catch(failed));
  }

  close(): void {
    this.seen.disconnect();
    this.size.disconnect();
    clearTimeout(this.timer);
    clearTimeout(this.resting);
  }

  private get turns(): boolean { return prefs.mode !== "flow"; }

  /** query is what the server needs to lay the pages out. */
  private query(): Record<string, string | number | undefined> {
    const box = this.element.getBoundingClientRect();
    const side = parseFloat(getComputedStyle(this.paper).paddingLeft) * 2;
    const scrollbar = this.turns ? 0 : this.element.offsetWidth - this.element.clientWidth;
    const width = Math.max(least, Math.floor((box.width - side - scrollbar) / mm / 2) * 2);
    const turner = prefs.mode === "stand" ? 26 : parseFloat(getComputedStyle(this.element).fontSize) * 3.4;
    const height = Math.max(60, Math.floor((box.height - 16 - turner) / mm / 2) * 2);
    const layers = engraved.filter((l) => prefs.layers.includes(l)).join(",");
    return { width: Math.min(width, 400), zoom: prefs.zoom, layers, ...(this.turns ? { paged: 1, height: Math.min(height, 1000) } : {}) };
  }

  /** layout asks how many pages there are and makes room for them. */
  async layout(force = false): Promise<void> {
    if (!this.element.isConnected || this.element.clientWidth === 0) return;
    const q = this.query();
    const key = JSON.stringify(q);
    if (key === this.wanted && !force) { this.overlays(); return; }
    this.wanted = key;
    const keepMeasure = this.anchor();
    let meta: Pages;
    try {
      meta = await api.pages(this.desk.piece.id, q);
    } catch (e) {
      if (this.wanted === key) this.wanted = "";
      throw e;
    }
    if (this.wanted !== key) return; // a newer layout is under way
    this.layoutKey = key;
    this.meta = meta;
    this.seen.disconnect();
    this.visible.clear();
    this.sheets = Array.from({ length: meta.count }, (_, i) => this.sheet(i + 1));
    this.page = keepMeasure > 0 ? this.pageOf(keepMeasure) : 1;
    await this.draw(this.sheets[this.page - 1]); // the old pages stay until there is something to see
    if (this.layoutKey !== key || this.wanted !== key) return;
    this.element.dataset.mode = prefs.mode;
    fill(this.paper, this.sheets.map((s) => s.box));
    this.turned();
    this.overlays();
    for (const s of this.sheets) this.seen.observe(s.box);
    if (!this.turns && keepMeasure > 0) await this.bring(keepMeasure);
  }

  /** sheet is an empty page with the room it will take. */
  private sheet(n: number): Sheet {
    const box = h("div", { class: "sheet", "data-page": n });
    const size = this.meta?.pages?.[n - 1];
    if (!this.turns) box.style.aspectRatio = size ? `${size.width} / ${size.height}` : "210 / 120";
    return { n, box, key: "", drawn: false };
  }

  /** anchor is the measure that stays in sight when the pages are laid out anew: the one
   *  pointed at, unless the reader has gone elsewhere. */
  private anchor(): number {
    const s = this.desk.at ? this.sheets[this.pageOf(this.desk.measure) - 1] : undefined;
    const there = !this.sheets.length || (s && (this.turns ? s.n === this.page : this.inWindow(s)));
    return this.desk.at && there ? this.desk.measure : this.firstInSight();
  }

  /** bring scrolls to a measure without pointing at it. */
  private async bring(measure: number): Promise<void> {
    const s = this.sheets[this.pageOf(measure) - 1];
    await this.draw(s);
    const target = s?.box.querySelector(`[data-measure="${measure}"]`) ?? s?.box;
    if (!target) return;
    const a = target.getBoundingClientRect(), b = this.element.getBoundingClientRect();
    if (a.top < b.top || a.bottom > b.bottom) this.element.scrollBy({ top: a.top - b.top - b.height / 4 });
  }

  private firstInSight(): number {
    if (!this.meta?.pages) return 0;
    const top = this.element.scrollTop;
    const s = this.turns ? this.sheets[this.page - 1] : this.sheets.find((x) => x.box.offsetTop + x.box.offsetHeight > top);
    return s ? this.meta.pages[s.n - 1]?.first ?? 0 : 0;
  }

  /** pageOf is the page with a measure, from 1. */
  private pageOf(measure: number): number {
    const i = this.meta?.pages?.findIndex((p) => measure >= p.first && measure <= p.last) ?? -1;
    if (i >= 0) return i + 1;
    const s = this.sheets.find((x) => x.box.querySelector(`[data-measure="${measure}"]`));
    return s?.n ?? 1;
  }

  private sight(entries: IntersectionObserverEntry[]): void {
    for (const e of entries) {
      const s = this.sheets.find((x) => x.box === e.target);
      if (!s) continue;
      if (e.isIntersecting) { this.visible.add(s); this.draw(s).catch(failed); } else this.visible.delete(s);
    }
  }

  /** draw fetches a page unless it is there as it should be. */
  private async draw(s: Sheet | undefined): Promise<void> {
    if (!s) return;
    const key = `${this.desk.piece.revision} ${this.layoutKey}`;
    if (s.key === key || !this.sheets.includes(s)) return;
    s.key = key;
    try {
      const text = await api.page(this.desk.piece.id, s.n, JSON.parse(this.layoutKey));
      if (s.key !== key || !this.sheets.includes(s)) return;
      this.put(s, text);
      s.drawn = true;
      this.over(s);
    } catch (e) {
      s.key = "";
      if (this.sheets.includes(s)) throw e; // a page of a layout that is gone is missed by nobody
    }
  }

  /** put shows a page. Of a page that is there already only the systems that differ are
   *  exchanged: a decision seldom touches more than one, and the rest costs the browser most. */
  private put(s: Sheet, text: string): void {
    const pic = picture(text);
    const now = s.box.querySelector<SVGSVGElement>("svg");
    const systems = systemsOf(now), fresh = systemsOf(pic);
    if (now && systems.length > 0 && systems.length === fresh.length) {
      addGlyphs(now, pic);
      fresh.forEach((g, i) => {
        if (g.dataset.key !== systems[i]!.dataset.key) systems[i]!.replaceWith(g);
        else systems[i]!.setAttribute("transform", g.getAttribute("transform") ?? "");
      });
      resize(now, pic.viewBox.baseVal.width, pic.viewBox.baseVal.height);
      this.shape(s, now);
      return;
    }
    pic.setAttribute("aria-hidden", "true"); // the notes are told one by one in #say
    pic.setAttribute("focusable", "false");
    this.shape(s, pic);
    s.box.replaceChildren(pic);
  }

  /** shape gives a page the room that its picture takes. */
  private shape(s: Sheet, pic: SVGSVGElement): void {
    const box = pic.viewBox.baseVal;
    if (this.turns) pic.setAttribute("preserveAspectRatio", "xMidYMin meet"); // never cut at the foot
    else if (box && box.width > 0) s.box.style.aspectRatio = `${box.width} / ${box.height}`;
  }

  /** sightNow is what can be seen, as far as it is drawn as it stands. */
  private sightNow(): Sight | undefined {
    const key = `${this.desk.piece.revision} ${this.layoutKey}`;
    const pages = this.here().filter((s) => s.drawn && s.key === key).map((s) => s.n);
    return pages.length ? { look: query(JSON.parse(this.layoutKey)), pages } : undefined;
  }

  /** marks shows what came with an answer; it is done when it is on the screen. */
  private async marks(m: Marks): Promise<void> {
    for (const page of m.pages) {
      const s = this.sheets[page.n - 1];
      const svg = s?.box.querySelector<SVGSVGElement>("svg");
      const systems = systemsOf(svg ?? null);
      if (!s || !svg || systems.length !== page.systems.length) continue; // it is fetched
      page.systems.forEach((to, i) => {
        const g = systems[i]!;
        if (to.body) {
          const pic = picture(to.body);
          addGlyphs(svg, pic);
          const body = pic.querySelector(":scope > g");
          if (body) g.replaceChildren(...body.childNodes);
          g.dataset.key = to.key;
        }
        g.setAttribute("transform", `translate(0,${Math.round(to.y)})`);
      });
      resize(svg, page.width, page.height);
      this.shape(s, svg);
      if (!m.asked) s.key = `${m.revision} ${this.layoutKey}`;
      else s.key = "";
      this.over(s);
    }
    await this.shown(m.asked);
  }

  /** shown waits until what was done to the page is on the screen, and keeps how long it
   *  took since the key or click: the second frame begins after the first was shown. */
  private shown(asked = false): Promise<void> {
    const since = this.desk.since;
    if (!asked) this.desk.since = null;
    return new Promise((done) => {
      const end = () => {
        if (since !== null) performance.measure(asked ? "pochette-asked" : "pochette-marks", { start: since });
        done();
      };
      if (document.hidden) end(); // there are no frames
      else requestAnimationFrame(() => requestAnimationFrame(end));
    });
  }

  private here(): Sheet[] {
    return this.turns ? this.sheets.slice(this.page - 1, this.page) : [...this.visible].filter((s) => this.inWindow(s));
  }

  /** redraw fetches the pages in sight that are not as they should be; the others when the
   *  hand rests. */
  private async redraw(): Promise<void> {
    try {
      await Promise.all(this.here().map((s) => this.draw(s)));
      void this.shown();
      clearTimeout(this.resting);
      this.resting = window.setTimeout(() => Promise.all([...this.visible].map((s) => this.draw(s))).catch(failed), 250);
    } catch (e) { failed(e); }
  }

  private inWindow(s: Sheet): boolean {
    const a = s.box.getBoundingClientRect(), b = this.element.getBoundingClientRect();
    return a.bottom > b.top && a.top < b.bottom;
  }

  private over(s: Sheet): void {
    overlay(s.box, this.desk, prefs.layers);
    voices(s.box, this.desk, prefs.layers.includes("voice"));
    cursor(s.box, this.desk);
  }

  overlays(): void { for (const s of this.sheets) if (s.drawn) this.over(s); }

  /** show brings what is pointed at into sight. */
  private async show(): Promise<void> {
    const note = this.desk.note;
    for (const s of this.sheets) if (s.drawn) cursor(s.box, this.desk);
    if (!note) return;
    const s = this.sheets[this.pageOf(this.desk.measure) - 1];
    if (!s) return;
    if (this.turns && s.n !== this.page) { this.page = s.n; this.turned(); }
    await this.draw(s);
    const mark = s.box.querySelector(".cursor") ?? s.box;
    const a = mark.getBoundingClientRect(), b = this.element.getBoundingClientRect();
    const margin = Math.min(90, b.height / 4);
    if (!this.turns && (a.top < b.top + margin || a.bottom > b.bottom - margin)) {
      const calm = matchMedia("(prefers-reduced-motion: reduce)").matches;
      this.element.scrollBy({ top: a.top - b.top - b.height / 3, behavior: calm ? "auto" : "smooth" });
    }
  }

  /** turn goes a page on (1) or back (-1); in continuous reading a windowful. */
  turn(by: number): void {
    if (!this.turns) {
      this.element.scrollBy({ top: by * this.element.clientHeight * 0.9, behavior: "auto" });
      return;
    }
    const want = Math.min(Math.max(this.page + by, 1), this.sheets.length);
    if (want === this.page) { say(by > 0 ? "This is the last page." : "This is the first page."); return; }
    this.page = want;
    this.turned();
    this.draw(this.sheets[want - 1]).catch(failed);
    say(`Page ${want} of ${this.sheets.length}.`);
  }

  private turned(): void {
    for (const s of this.sheets) s.box.hidden = this.turns && s.n !== this.page;
    if (!this.turns) { fill(this.turner); return; }
    const next = this.sheets[this.page];
    if (next) setTimeout(() => void this.draw(next).catch(() => {}), 60); // so that the turn itself costs nothing
    fill(this.turner,
      h("button", { type: "button", class: "turn back", "aria-label": "Page before", disabled: this.page === 1, onclick: () => this.turn(-1) }, "‹"),
      h("span", { class: "count" }, `${this.page} / ${this.sheets.length}`),
      h("button", { type: "button", class: "turn on", "aria-label": "Next page", disabled: this.page === this.sheets.length, onclick: () => this.turn(1) }, "›"));
  }

  private click(e: MouseEvent): void {
    const sheet = (e.target as Element).closest<HTMLElement>(".sheet");
    if (!sheet) return;
    if (prefs.mode === "stand") { // the hand is holding a bow: half the page is enough to aim at
      const b = sheet.getBoundingClientRect();
      this.turn(e.clientX < b.left + b.width / 3 ? -1 : 1);
      return;
    }
    const at = this.hit(sheet, e);
    if (at) this.desk.select(at, e.shiftKey);
  }

  /** hit is the note a click means: the one under it, else the nearest of the measure. */
  private hit(sheet: HTMLElement, e: MouseEvent): At | undefined {
    const direct = (e.target as Element).closest("[data-note]")?.getAttribute("data-note");
    const at = direct ? this.desk.where(direct) : undefined;
    if (at) return at;
    let best: At | undefined, near = Infinity;
    for (const g of sheet.querySelectorAll("[data-note]")) {
      const b = (g.querySelector(".notehead") ?? g).getBoundingClientRect();
      const dx = e.clientX - (b.left + b.right) / 2, dy = e.clientY - (b.top + b.bottom) / 2;
      const d = dx * dx + dy * dy / 9; // height is no matter: fingers and bow signs stand above their note
      const here = this.desk.where(g.getAttribute("data-note") ?? "");
      if (here && d < near) { near = d; best = here; }
    }
    return near < 150 * 150 ? best : undefined;
  }

  /** placeWords says where the reader is, for the heading of the print view and for tests. */
  placeWords(): string {
    const m = this.desk.piece.measures[this.desk.measure];
    return capital(measureName(m));
  }
}

const systemsOf = (svg: SVGSVGElement | null) => svg ? [...svg.querySelectorAll<SVGGElement>("g.system")] : [];

/** addGlyphs gives a page the shapes of a picture that it has not. */
function addGlyphs(page: SVGSVGElement, from: SVGSVGElement): void {
  const defs = page.querySelector("defs");
  if (!defs) return;
  const have = new Set([...defs.children].map((g) => g.id));
  for (const g of [...from.querySelectorAll(":scope > defs > *")]) if (!have.has(g.id)) defs.append(g);
}

/** resize sets the size of a page in mm; what is drawn on it is in hundredths. */
function resize(page: SVGSVGElement, width: number, height: number): void {
  page.setAttribute("viewBox", `0 0 ${width.toFixed(1)} ${height.toFixed(1)}`);
  page.querySelector("svg")?.setAttribute("viewBox", `0 0 ${Math.round(width * 100)} ${Math.round(height * 100)}`);
}
