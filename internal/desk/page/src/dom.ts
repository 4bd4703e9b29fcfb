// Small helpers around the document. Elements are made, never parsed from text, so
// that no name in a file can become markup.

type Child = Node | string | number | null | undefined | false;
type Props = Record<string, string | number | boolean | null | undefined | ((e: any) => void)>;

/** h makes an element. A property that begins with "on" is a listener; true is a bare
 *  attribute, false and null leave it out. */
export function h<K extends keyof HTMLElementTagNameMap>(tag: K, props: Props = {}, ...children: (Child | Child[])[]): HTMLElementTagNameMap[K] {
  const el = document.createElement(tag);
  for (const [name, value] of Object.entries(props)) {
    if (value === null || value === undefined || value === false) continue;
    if (typeof value === "function") el.addEventListener(name.slice(2), value);
    else if (name === "value" && "value" in el) (el as any).value = value;
    else el.setAttribute(name, value === true ? "" : String(value));
  }
  append(el, children);
  return el;
}

function append(el: Element, children: (Child | Child[])[]): void {
  for (const c of children.flat()) {
    if (c === null || c === undefined || c === false) continue;
    el.append(typeof c === "number" ? String(c) : c);
  }
}

/** fill puts children in place of what an element holds. */
export function fill(el: Element, ...children: (Child | Child[])[]): void {
  el.replaceChildren();
  append(el, children);
}

/** svg makes an SVG element. */
export function svg(tag: string, attrs: Record<string, string | number>, ...children: (Node | string)[]): SVGElement {
  const el = document.createElementNS("http://www.w3.org/2000/svg", tag);
  for (const [k, v] of Object.entries(attrs)) el.setAttribute(k, String(v));
  el.append(...children);
  return el;
}

/** picture reads an SVG text of the server. */
export function picture(text: string): SVGSVGElement {
  const doc = new DOMParser().parseFromString(text, "image/svg+xml");
  const root = doc.documentElement;
  if (root.nodeName !== "svg") throw new Error("the server sent a page that is no picture");
  return document.importNode(root, true) as unknown as SVGSVGElement;
}

/** byID is an element that index.html has. */
export function byID(id: string): HTMLElement {
  const el = document.getElementById(id);
  if (!el) throw new Error(`index.html has no #${id}`);
  return el;
}

/** say tells a screen reader. */
export function say(text: string): void {
  byID("say").textContent = text;
}

export interface Act {
  text: string;
  run: () => void;
}

/** notice shows a message that stays until it is read; plain messages go by themselves. */
export function notice(text: string, kind: "trouble" | "plain" = "trouble", ...acts: Act[]): void {
  const box = byID("notices");
  for (const old of [...box.children]) if (old.getAttribute("data-text") === text) old.remove();
  const el: HTMLElement = h("div", { class: `notice ${kind}`, "data-text": text }, h("p", {}, text),
    h("div", { class: "row" },
      acts.map((a) => h("button", { type: "button", onclick: () => { el.remove(); a.run(); } }, a.text)),
      h("button", { type: "button", onclick: () => el.remove() }, "Close")));
  box.append(el);
  if (kind === "plain" && acts.length === 0) setTimeout(() => el.remove(), 6000);
}

/** failed shows what went wrong. */
export function failed(e: unknown): void {
  notice(e instanceof Error ? e.message : String(e));
}

/** dialog opens a box over the page; Escape closes it. */
export function dialog(title: string, ...children: (Child | Child[])[]): HTMLDialogElement {
  const d: HTMLDialogElement = h("dialog", { "aria-label": title, class: "box" },
    h("div", { class: "head" }, h("h2", {}, title), h("button", { type: "button", onclick: () => d.close() }, "Close")), ...children);
  d.addEventListener("close", () => d.remove());
  document.body.append(d);
  d.showModal();
  return d;
}

/** button is a plain button; pressed gives it an on-off state. */
export function button(text: Child | Child[], run: (e: Event) => void, props: Props = {}): HTMLButtonElement {
  return h("button", { type: "button", onclick: run, ...props }, text);
}

/** heading moves the focus to the heading of a new view, so that a reader starts there. */
export function enter(title: string): void {
  document.title = title ? `${title} · pochette` : "pochette";
  byID("main").focus({ preventScroll: true });
}
