// Other sources of the same piece: each difference with both readings, and the choice.
import { api, type Apparatus, type Difference, type Witness } from "./api";
import { side } from "./compare";
import type { Desk } from "./desk";
import { button, enter, failed, fill, h } from "./dom";
import { capital, measureName, plural } from "./words";

export async function witnesses(desk: Desk, host: HTMLElement, open = ""): Promise<void> {
  const list = await api.witnesses(desk.piece.id);
  const body = h("div", {});
  const add = h("input", { type: "file", id: "witness-file", class: "unseen", accept: ".xml,.musicxml,.mxl",
    onchange: () => { const f = add.files?.[0]; if (f) void load(f); } });
  const load = async (f: File) => {
    fill(body, h("p", { role: "status" }, `Reading ${f.name} and setting it beside this piece…`));
    try { const w = await api.addWitness(desk.piece.id, f); await witnesses(desk, host, w.id); } catch (e) { fill(body); failed(e); }
  };
  fill(host, h("article", { class: "view" },
    h("div", { class: "row wrap spread" }, h("h1", {}, "Witnesses"), h("a", { class: "button", href: `#/${desk.piece.id}` }, "Back to the music")),
    h("p", { class: "soft" }, "A witness is another source of this text. Every difference of note, slur, articulation and dynamic is listed with both readings; you choose, and your choice is a decision with its reason."),
    h("div", { class: "row wrap" },
      list.map((w) => button(title(w), () => void witnesses(desk, host, w.id).catch(failed), { "aria-pressed": String(w.id === open || list.length === 1), "data-witness": w.id })),
      add, h("label", { for: "witness-file", class: "button" }, "Add a witness…"),
      list.length ? button("Apparatus", () => void apparatus(desk, body).catch(failed)) : null),
    body));
  enter(`Witnesses: ${desk.piece.title}`);
  const w = list.find((x) => x.id === open) ?? (list.length === 1 ? list[0] : undefined);
  if (w) await differences(desk, body, w);
}

async function differences(desk: Desk, host: HTMLElement, w: Witness): Promise<void> {
  const all = await api.differences(desk.piece.id, w.id);
  if (!all.length) { fill(host, h("p", {}, `${w.name} agrees with this piece in every note, slur, articulation and dynamic.`)); return; }
  const kinds = [...new Set(all.map((d) => d.kind))];
  const shown = new Set(kinds);
  const list = h("div", { class: "bars", role: "list" });
  const count = h("p", { role: "status" });
  const settled = () => {
    const n = all.filter((d) => d.chosen).length;
    count.textContent = `${plural(all.length, "difference")}, ${n} settled.`;
    const tab = document.querySelector(`[data-witness="${CSS.escape(w.id)}"]`);
    if (tab) tab.textContent = title({ ...w, differences: all.length, chosen: n });
  };
  const draw = () => fill(list, all.filter((d) => shown.has(d.kind)).map((d) => one(desk, w, d, settled)));
  settled();
  fill(host, count,
    h("div", { class: "row wrap", role: "group", "aria-label": "Show differences of" }, kinds.map((k) => {
      const b = button(`${capital(k)} (${all.filter((d) => d.kind === k).length})`, () => {
        if (!shown.delete(k)) shown.add(k);
        b.setAttribute("aria-pressed", String(shown.has(k)));
        draw();
      }, { "aria-pressed": "true" });
      return b;
    })), list);
  draw();
}

const title = (w: Witness) => w.differences === undefined ? w.name : `${w.name} (${w.chosen ?? 0} of ${w.differences} settled)`;

function one(desk: Desk, w: Witness, d: Difference, settled: () => void): HTMLElement {
  const reason = h("input", { id: `why-${d.n}`, maxlength: 500, autocomplete: "off", value: d.reason ?? "" });
  const status = h("span", { class: "soft" });
  const choose = (reading: "here" | "there") => {
    desk.choose(w.id, d.n, reading, reason.value.trim()).then((done) => {
      if (!done) return; // refused: the page has said why
      d.chosen = reading;
      d.reason = reason.value.trim();
      mark();
      settled();
    }).catch(failed);
  };
  const here = button("Keep this reading", () => choose("here"));
  const there = button("Take this reading", () => choose("there"));
  const mark = () => {
    here.setAttribute("aria-pressed", String(d.chosen === "here"));
    there.setAttribute("aria-pressed", String(d.chosen === "there"));
    status.textContent = d.chosen ? "settled" : "open";
  };
  mark();
  const a = side("This piece", d.here), b = side(w.name, d.there);
  a.append(here);
  b.append(there);
  return h("section", { class: "pair", role: "listitem" },
    h("h2", {}, button(capital(measureName(desk.piece.measures[d.measure])), () => { desk.goTo(d.measure); location.hash = `#/${desk.piece.id}`; }, { class: "link" }), `: ${d.kind} `, status),
    h("div", { class: "sides" }, a, b),
    h("div", { class: "row wrap" }, h("label", { for: `why-${d.n}` }, "Reason"), reason));
}

/** apparatusList is each difference with what was chosen and why. */
export const apparatusList = (entries: NonNullable<Apparatus["entries"]>) => h("ol", { class: "apparatus" },
  entries.map((e) => h("li", {}, e.place ? h("strong", {}, `${capital(e.place)}: `) : null, e.text, e.reason ? ` (${e.reason})` : "")));

async function apparatus(desk: Desk, host: HTMLElement): Promise<void> {
  const a = await api.apparatus(desk.piece.id);
  const entries = a.entries ?? [];
  fill(host, h("h2", {}, "Apparatus"),
    entries.length ? apparatusList(entries)
      : h("p", { class: a.text ? "pre" : "soft" }, a.text ?? "No reading is chosen yet."));
}
