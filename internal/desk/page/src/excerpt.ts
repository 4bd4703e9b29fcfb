// A few measures drawn by themselves.
import { api } from "./api";
import { h, picture } from "./dom";
import { engraved, prefs } from "./prefs";

/** excerpt is a frame that fills itself with some measures. width is in millimetres:
 *  narrower is larger on the screen. */
export function excerpt(id: string, first: number, last: number, width = 0): HTMLElement {
  const frame = h("figure", { class: "excerpt", "aria-label": "The music of these measures" });
  const layers = engraved.filter((l) => prefs.layers.includes(l)).join(",");
  const mm = width || Math.max(60, Math.min(200, 30 + 45 * (last - first + 1)));
  api.excerpt(id, first, last, Math.round(mm), layers).then((text) => frame.replaceChildren(drawn(text)),
    (e: unknown) => frame.replaceChildren(h("p", {}, e instanceof Error ? e.message : String(e))));
  return frame;
}

/** drawn is the picture of an SVG text, out of the way of screen readers. */
export function drawn(text: string): SVGSVGElement {
  const pic = picture(text);
  pic.setAttribute("aria-hidden", "true");
  return pic;
}
