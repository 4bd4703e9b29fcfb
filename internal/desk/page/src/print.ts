// The print view: every page at the width of the paper, then the browser's own printing;
// or the part as a PDF, drawn by the same engraver.
import { api } from "./api";
import type { Desk } from "./desk";
import { button, enter, fill, h, picture } from "./dom";
import { engraved, prefs } from "./prefs";
import { apparatusList } from "./witnesses";

/** legend says on the paper how marks are told apart; the PDF has the same line. */
const legend = "Bold, bow signs filled: decided. Slanted, bow signs open: proposed. All else as the source prints it.";

export async function printView(desk: Desk, host: HTMLElement): Promise<void> {
  const { piece } = desk;
  const readings = h("section", { class: "readings", "aria-label": "Readings" });
  const sheets = h("div", { class: "print-sheets" }, h("p", { role: "status" }, "Setting the pages…"));
  const now = button("Print these pages", () => window.print(), { disabled: true });
  fill(host, h("article", { class: "view print-view" },
    h("div", { class: "row wrap spread screen" }, h("h1", {}, "Print"),
      h("div", { class: "row wrap" }, now, h("a", { class: "button", href: api.printPath(piece.id), target: "_blank" }, "The part as PDF"),
        h("a", { class: "button", href: api.musicxmlPath(piece.id), download: "" }, "The part as MusicXML"),
        h("a", { class: "button", href: `#/${piece.id}` }, "Back to the music"))),
    h("div", { class: "paper-head" }, h("h2", {}, piece.title), h("p", {}, piece.part || piece.instrument)), sheets,
    h("p", { class: "key-line" }, legend), readings));
  enter(`Print: ${piece.title}`);
  const q = { width: 180, height: 250, paged: 1, zoom: 1, layers: engraved.filter((l) => prefs.layers.includes(l)).join(",") };
  const { count } = await api.pages(piece.id, q);
  const pics: SVGSVGElement[] = [];
  for (let n = 1; n <= count; n++) pics.push(picture(await api.page(piece.id, n, q)));
  for (const p of pics) p.setAttribute("aria-hidden", "true");
  fill(sheets, pics.map((p, i) => h("section", { class: "print-sheet", "aria-label": `Page ${i + 1} of ${count}` }, p)));
  const { sources, entries } = await api.apparatus(piece.id);
  if ((sources?.length ?? 0) > 1) {
    fill(readings, h("h2", {}, "Readings"), h("ul", {}, (sources ?? []).map((s) => h("li", {}, s))), apparatusList(entries ?? []));
  }
  now.disabled = false;
}
