// The library: all pieces, and the place where a new one is dropped.
import { api, type PieceLine } from "./api";
import { button, dialog, enter, failed, fill, h, notice, say } from "./dom";
import { ago, capital, plural } from "./words";

export async function library(host: HTMLElement): Promise<void> {
  const list = await api.pieces();
  enter("");
  fill(host, h("article", { class: "view library" },
    list.length ? h("h1", {}, "Library") : h("h1", {}, "The desk is empty"),
    dropBox(list.length === 0),
    list.length ? h("ul", { class: "pieces" }, [...list].sort((a, b) => Date.parse(b.changed) - Date.parse(a.changed)).map((p) => line(p, host))) : null));
}

function dropBox(empty: boolean): HTMLElement {
  const input = h("input", { type: "file", id: "file", class: "unseen", multiple: true, onchange: () => void take([...(input.files ?? [])]) });
  return h("div", { class: empty ? "drop large" : "drop" },
    h("p", {}, empty ? "Drop the score of a solo movement here: a MusicXML file (.musicxml, .xml, .mxl) for violin, viola or cello." : "Drop another score, or a piece exported from a desk."),
    input, h("label", { for: "file", class: "button main" }, "Choose a file…"),
    empty ? h("p", { class: "soft" }, "It stays on this machine. Its bow directions, fingerings and crossings are worked out, and every one of them is yours to decide.") : null);
}

/** take brings files into the library and opens the last that could be read. */
export async function take(files: File[]): Promise<void> {
  let last = "";
  for (const f of files) {
    say(`Reading ${f.name}.`);
    document.body.classList.add("busy");
    try {
      const exported = await isExport(f);
      last = (await (exported ? api.restore(f) : api.add(f))).id;
    } catch (e) {
      const said = e instanceof Error ? e.message : String(e);
      notice(said.startsWith(`${f.name}:`) ? said : `${f.name}: ${said}`);
    } finally { document.body.classList.remove("busy"); }
  }
  if (last) location.hash = `#/${encodeURIComponent(last)}`;
}

/** isExport tells a piece exported from a desk from a compressed score by its name: both
 *  are zip files. */
async function isExport(f: File): Promise<boolean> {
  return /\.(pochette|zip)$/i.test(f.name);
}

function line(p: PieceLine, host: HTMLElement): HTMLElement {
  return h("li", {},
    h("a", { href: `#/${encodeURIComponent(p.id)}`, class: "title" }, p.title || "Without a title"),
    h("p", { class: "soft" }, [capital(p.instrument || p.part), plural(p.bars, "bar"), plural(p.notes, "note"), ago(p.changed)].filter(Boolean).join(" · ")),
    h("div", { class: "row wrap" },
      h("a", { class: "button", href: api.exportPath(p.id), download: "", "aria-label": `Export ${p.title}` }, "Export"),
      button("Remove…", () => remove(p, host), { "aria-label": `Remove ${p.title}` })));
}

function remove(p: PieceLine, host: HTMLElement): void {
  const d = dialog(`Remove “${p.title}”?`, h("p", {}, "The piece goes from the library with every decision and its history. Export it first if you may want it again."),
    h("div", { class: "row wrap" },
      button("Remove it", () => { d.close(); api.remove(p.id).then(() => library(host)).catch(failed); }),
      button("Keep it", () => d.close(), { autofocus: true })));
}
