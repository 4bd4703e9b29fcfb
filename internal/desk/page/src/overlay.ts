// What the page draws over the engraving: the place pointed at, spans and locks. They
// differ by shape and words, not by colour alone.
import type { Piece } from "./api";
import type { Desk } from "./desk";
import { h, svg } from "./dom";

export interface Span { kind: "wrong" | "crossing" | "hard" | "locked" | "chosen"; first: number; last: number; label: string; fromEvent?: number; toEvent?: number }

/** spans lists what is to be drawn over measures. Event numbers are ids. */
export function spans(piece: Piece, layers: string[]): Span[] {
  const out: Span[] = [];
  if (layers.includes("wrong"))
    for (const f of piece.findings)
      if (f.kind === "wrong-way-round" && f.measure >= 0)
        out.push({ kind: "wrong", first: f.measure, last: Math.max(f.measure, f.to_measure ?? f.measure), label: "wrong way round" });
  const of = new Map(piece.events.map((e) => [e.id, e.measure]));
  const spots = (kind: "crossing" | "hard", list: Piece["spots"]) => {
    list?.slice(0, 12).forEach((s, i) => out.push({ // more would hide the music; the list of findings has them all
      kind, label: String(i + 1), first: of.get(s.first_event) ?? s.measure, last: of.get(s.last_event) ?? s.measure,
      fromEvent: s.first_event, toEvent: s.last_event,
    }));
  };
  if (layers.includes("crossing")) spots("crossing", piece.spots);
  if (layers.includes("hard")) spots("hard", piece.hard);
  let open: Span | null = null;
  for (const m of piece.measures) {
    if (!m.locked) { open = null; continue; }
    if (open) open.last = m.index;
    else out.push(open = { kind: "locked", first: m.index, last: m.index, label: "locked" });
  }
  return out;
}

interface Box { left: number; right: number; top: number; bottom: number }

const boxOf = (el: Element, base: DOMRect): Box => {
  const b = el.getBoundingClientRect();
  return { left: b.left - base.left, right: b.right - base.left, top: b.top - base.top, bottom: b.bottom - base.top };
};

/** rows joins the measures of a span that stand on one system. */
function rows(sheet: HTMLElement, base: DOMRect, s: Span, desk: Desk): Box[] {
  const out: Box[] = [];
  for (let m = s.first; m <= s.last; m++) {
    const g = sheet.querySelector(`[data-measure="${m}"]`);
    const staff = g?.querySelector(".staff > path") ? [...g.querySelectorAll(".staff > path")] : [];
    if (!staff.length) continue;
    const a = boxOf(staff[0]!, base), b = boxOf(staff[staff.length - 1]!, base);
    const box = { left: a.left, right: a.right, top: a.top, bottom: b.bottom };
    const edge = (id: number | undefined) => {
      const ref = id === undefined ? undefined : desk.piece.events[desk.indexOf(id)]?.notes[0]?.ref;
      const note = ref ? sheet.querySelector(`[data-note="${CSS.escape(ref)}"]`) : null;
      return note && g!.contains(note) ? boxOf(note, base) : null;
    };
    if (m === s.first) box.left = edge(s.fromEvent)?.left ?? box.left;
    if (m === s.last) box.right = edge(s.toEvent)?.right ?? box.right;
    const row = out[out.length - 1];
    if (row && Math.abs(row.top - box.top) < 4) row.right = box.right;
    else out.push(box);
  }
  return out;
}

/** overlay draws the spans over one page. */
export function overlay(sheet: HTMLElement, desk: Desk, layers: string[]): void {
  for (const old of [...sheet.querySelectorAll(":scope > .span")]) old.remove();
  const base = sheet.getBoundingClientRect();
  if (base.width === 0) return;
  const shown = [...sheet.querySelectorAll("[data-measure]")].map((g) => Number(g.getAttribute("data-measure")));
  if (!shown.length) return;
  const least = Math.min(...shown), most = Math.max(...shown);
  for (const s of spans(desk.piece, layers)) {
    if (s.last < least || s.first > most) continue;
    draw(sheet, base, { ...s, first: Math.max(s.first, least), last: Math.min(s.last, most) }, desk, s.first < least, s.last > most);
  }
}

/** voices joins the notes of each implied voice by a line, one line to a system: the
 *  voices differ by how the line is broken. */
export function voices(sheet: HTMLElement, desk: Desk, on: boolean): void {
  for (const old of [...sheet.querySelectorAll(":scope > .voices")]) old.remove();
  const base = sheet.getBoundingClientRect();
  if (!on || base.width === 0) return;
  const lines: SVGElement[] = [];
  for (const system of sheet.querySelectorAll("g.system")) {
    const points = new Map<number, string[]>();
    for (const g of system.querySelectorAll("[data-note]")) {
      const at = desk.where(g.getAttribute("data-note") ?? "");
      const voice = at ? desk.piece.events[at.event]?.notes[at.note]?.voice ?? 0 : 0;
      if (voice < 1) continue;
      const b = boxOf(g.querySelector(".notehead") ?? g, base);
      const of = points.get(voice) ?? [];
      of.push(`${(1000 * (b.left + b.right) / 2 / base.width).toFixed(1)},${(1000 * (b.top + b.bottom) / 2 / base.width).toFixed(1)}`);
      points.set(voice, of);
    }
    for (const [voice, of] of points) lines.push(svg("polyline", { points: of.join(" "), class: `voice voice-${Math.min(voice, 4)}` }));
  }
  const picture = svg("svg", { class: "voices", viewBox: `0 0 1000 ${(1000 * base.height / base.width).toFixed(1)}`, "aria-hidden": "true", focusable: "false" }, ...lines);
  sheet.append(picture);
}

/** draw draws a span, one box for each system; before and after say that it goes on on
 *  another page. */
function draw(sheet: HTMLElement, base: DOMRect, s: Span, desk: Desk, before = false, after = false): void {
  rows(sheet, base, s, desk).forEach((r, i, all) => {
    const begins = i === 0 && !before, ends = i === all.length - 1 && !after;
    const el = h("div", { class: `span ${s.kind}${begins ? " begins" : ""}${ends ? " ends" : ""}`, "aria-hidden": "true" },
      begins && s.label ? h("span", {}, s.label) : null);
    place(el, base, r);
    sheet.append(el);
  });
}

/** place puts a box where it belongs in shares of the page, so that it keeps when the
 *  window is resized. */
function place(el: HTMLElement, base: DOMRect, b: Box): void {
  const x = (v: number) => `${(100 * v / base.width).toFixed(3)}%`;
  const y = (v: number) => `${(100 * v / base.height).toFixed(3)}%`;
  el.style.left = x(b.left);
  el.style.top = y(b.top);
  el.style.width = x(b.right - b.left);
  el.style.height = y(b.bottom - b.top);
}

/** cursor marks the note pointed at and the measures chosen. */
export function cursor(sheet: HTMLElement, desk: Desk): void {
  for (const old of [...sheet.querySelectorAll(":scope > .cursor, :scope > .chosen")]) old.remove();
  for (const old of [...sheet.querySelectorAll(".pointed-at")]) old.classList.remove("pointed-at");
  const base = sheet.getBoundingClientRect();
  const note = desk.note;
  if (!note || base.width === 0) return;
  if (desk.from !== null) {
    const [first, last] = desk.span;
    draw(sheet, base, { kind: "chosen", first, last, label: "" }, desk);
  }
  const g = sheet.querySelector(`[data-note="${CSS.escape(note.ref)}"]`);
  if (!g) return;
  g.classList.add("pointed-at");
  const b = boxOf(g.querySelector(".notehead") ?? g, base);
  const pad = Math.max(4, (b.bottom - b.top) * 0.6);
  const el = h("div", { class: "cursor", "aria-hidden": "true" });
  place(el, base, { left: b.left - pad, right: b.right + pad, top: b.top - pad, bottom: b.bottom + pad });
  sheet.append(el);
}
