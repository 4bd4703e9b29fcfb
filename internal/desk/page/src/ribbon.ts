// The movement in one strip: how hard each measure is, how tense, and in which key.
// A click, or the slider's keys, goes there.
import type { Measure } from "./api";
import type { Desk } from "./desk";
import { fill, h, svg } from "./dom";
import { capital, measureName } from "./words";

const height = 40;

export class Ribbon {
  readonly element: HTMLElement;
  private strip = h("div", { class: "strip" });
  private here: SVGElement | null = null;
  private drawn: Measure[] | null = null;

  constructor(private desk: Desk) {
    this.strip.setAttribute("role", "slider");
    this.strip.tabIndex = 0;
    this.strip.setAttribute("aria-label", "The whole movement, measure by measure");
    this.strip.addEventListener("click", (e) => this.click(e));
    this.strip.addEventListener("keydown", (e) => this.key(e));
    this.element = h("div", { class: "ribbon" }, this.strip, h("div", { class: "legend", "aria-hidden": "true" }));
    desk.on("piece", () => this.draw());
    desk.on("select", () => this.point());
    this.draw();
  }

  private draw(): void {
    const ms = this.desk.piece.measures;
    if (ms === this.drawn) return; // only events have changed
    this.drawn = ms;
    const tense = ms.some((m) => m.tension !== undefined), keys = ms.some((m) => m.key);
    const pic = svg("svg", { viewBox: `0 0 ${Math.max(ms.length, 1)} ${height}`, preserveAspectRatio: "none", "aria-hidden": "true" });
    for (const m of ms) {
      const high = Math.max(0.6, (height - 4) * Math.min(m.difficulty, 100) / 100);
      const level = m.difficulty >= 75 ? "most" : m.difficulty >= 55 ? "hard" : m.difficulty >= 30 ? "some" : "easy";
      pic.append(svg("rect", { x: m.index + 0.08, y: height - high, width: 0.84, height: high, class: `bar ${level}` },
        svg("title", {}, this.words(m))));
    }
    if (tense) pic.append(svg("polyline", { class: "tension", points: ms.map((m) => `${m.index + 0.5},${(height - 2 - (height - 6) * (m.tension ?? 0)).toFixed(2)}`).join(" ") }));
    this.here = svg("rect", { class: "at", y: 0, width: 1, height, x: -2 });
    pic.append(this.here);
    fill(this.strip, pic as unknown as HTMLElement, keys ? this.keys(ms) : null);
    this.strip.setAttribute("aria-valuemin", "0");
    this.strip.setAttribute("aria-valuemax", String(Math.max(ms.length - 1, 0)));
    fill(this.element.querySelector(".legend")!, `columns: difficulty${tense ? "; line: tension" : ""}${keys ? "; words: keys" : ""}`);
    this.point();
  }

  /** keys names the local keys where they change. */
  private keys(ms: Measure[]): HTMLElement {
    const row = h("div", { class: "keys" });
    let at = 0;
    for (let i = 1; i <= ms.length; i++) {
      if (i < ms.length && ms[i]!.key === ms[at]!.key) continue;
      const part = h("span", {}, ms[at]!.key ?? "");
      part.style.flexGrow = String(i - at);
      row.append(part);
      at = i;
    }
    return row;
  }

  private words(m: Measure): string {
    return [capital(measureName(m)), `difficulty ${Math.round(m.difficulty)} of 100`,
      m.tension === undefined ? "" : `tension ${Math.round(100 * m.tension)} of 100`, m.key ?? ""].filter(Boolean).join(", ");
  }

  private point(): void {
    const m = this.desk.piece.measures[this.desk.measure];
    this.here?.setAttribute("x", this.desk.at && m ? String(m.index) : "-2");
    this.strip.setAttribute("aria-valuenow", String(m?.index ?? 0));
    this.strip.setAttribute("aria-valuetext", m ? this.words(m) : "");
  }

  private click(e: MouseEvent): void {
    const b = this.strip.getBoundingClientRect();
    this.desk.goTo(Math.floor((e.clientX - b.left) / b.width * this.desk.piece.measures.length));
  }

  private key(e: KeyboardEvent): void {
    const by: Record<string, number> = { ArrowRight: 1, ArrowUp: 1, ArrowLeft: -1, ArrowDown: -1 };
    if (e.key in by) this.desk.stepMeasure(by[e.key]!);
    else if (e.key === "Home") this.desk.goTo(0);
    else if (e.key === "End") this.desk.goTo(this.desk.piece.measures.length - 1);
    else return;
    e.preventDefault();
    e.stopPropagation();
  }
}
