// The print view: every page at the width of the paper, then the browser's own printing;
// or the part as a PDF, drawn by the same engraver.
import { api } from "./api";
import type { Desk } from "./desk";
import { button, enter, fill, h, picture } from "./dom";
import { engraved, prefs } from "./prefs";

export async function printView(desk: Desk, host: HTMLElement): Promise<void> {
  const { piece } = desk;
  const sheets = h("div", { class: "print-sheets" }, h("p", { role: "status" }, "Setting the pages…"));
  const now = button("Print these pages", () => window.print(), { disabled: true });
  fill(host, h("article", { class: "view print-view" },
    h("div", { class: "row wrap spread screen" }, h("h1", {}, "Print"),
      h("div", { class: "row wrap" }, now, h("a", { class: "button", href: api.printPath(piece.id), target: "_blank" }, "The part as PDF"),
        h("a", { class: "button", href: api.musicxmlPath(piece.id), download: "" }, "The part as MusicXML"),
        h("a", { class: "button", href: `#/${piece.id}` }, "Back to the music"))),
    h("p", { class: "screen soft" }, "Decided marks are upright, bold and solid; proposed ones slanted, light and open: the difference stays on black-and-white paper."),
    h("div", { class: "paper-head" }, h("h2", {}, piece.title), h("p", {}, piece.part || piece.instrument)), sheets));
  enter(`Print: ${piece.title}`);
  const q = { width: 180, height: 250, paged: 1, zoom: 1, layers: engraved.filter((l) => prefs.layers.includes(l)).join(",") };
  const { count } = await api.pages(piece.id, q);
  const pics: SVGSVGElement[] = [];
  for (let n = 1; n <= count; n++) pics.push(picture(await api.page(piece.id, n, q)));
  for (const p of pics) p.setAttribute("aria-hidden", "true");
  fill(sheets, pics.map((p, i) => h("section", { class: "print-sheet", "aria-label": `Page ${i + 1} of ${count}` }, p)));
  now.disabled = false;
}
