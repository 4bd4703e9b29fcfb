// Two plans, bar by bar: mine beside the proposal, or beside one kept earlier.
import { api, type Reading } from "./api";
import type { Desk } from "./desk";
import { button, enter, failed, fill, h, notice } from "./dom";
import { drawn, excerpt } from "./excerpt";
import { measureName, capital, plural } from "./words";

export async function compare(desk: Desk, host: HTMLElement, other = "proposal"): Promise<void> {
  const list = h("div", { class: "bars", role: "list" });
  const count = h("p", { class: "soft", role: "status" }, "Comparing…");
  const choice = h("select", { id: "with", onchange: (e: Event) => void compare(desk, host, (e.target as HTMLSelectElement).value).catch(failed) },
    h("option", { value: "proposal", selected: other === "proposal" }, "the proposal without my decisions"),
    (desk.piece.plans ?? []).map((p) => h("option", { value: p.id, selected: other === p.id }, p.name)));
  const all = h("input", { type: "checkbox", id: "all", onchange: () => draw() });
  const name = h("input", { id: "plan-name", maxlength: 80, autocomplete: "off", required: true });
  fill(host, h("article", { class: "view" },
    h("div", { class: "row wrap spread" }, h("h1", {}, "Two plans, bar by bar"), h("a", { class: "button", href: `#/${desk.piece.id}` }, "Back to the music")),
    h("div", { class: "row wrap" }, h("label", { for: "with" }, "Mine beside"), choice, all, h("label", { for: "all" }, "Show the bars that agree too")),
    h("form", { class: "row wrap", onsubmit: (e: Event) => { e.preventDefault(); void keep(name.value.trim()); } },
      h("label", { for: "plan-name" }, "Keep the present plan as"), name, h("button", { type: "submit" }, "Keep")),
    count, list));
  enter(`Two plans: ${desk.piece.title}`);

  const keep = async (as: string) => {
    if (!as) return;
    try {
      const made = await api.keepPlan(desk.piece.id, as);
      await desk.reload();
      notice(`Kept as “${as}”.`, "plain");
      await compare(desk, host, made.id ?? other);
    } catch (e) { failed(e); }
  };
  const r = await api.compare(desk.piece.id, other);
  const theirs = r.with?.name && r.with.id !== "proposal" ? r.with.name : "The proposal";
  const differ = r.bars.filter((b) => !b.same);
  const draw = () => {
    const shown = all.checked ? r.bars : differ;
    count.textContent = differ.length ? `${plural(differ.length, "bar")} of ${desk.piece.measures.length} differ.` : "The two plans agree in every bar.";
    fill(list, shown.map((b) => h("section", { class: b.same ? "pair same" : "pair", role: "listitem" },
      h("h2", {}, button(capital(measureName(desk.piece.measures[b.measure])), () => { desk.goTo(b.measure); location.hash = `#/${desk.piece.id}`; }, { class: "link" }), b.same ? " (agree)" : ""),
      h("div", { class: "sides" }, side("Mine", b.here, b.same ? null : desk.piece.id, b.measure), side(theirs, b.there)))));
  };
  draw();
}

/** side is one of two readings that stand beside each other. id asks for a picture of the
 *  present plan where the server sent none. */
export function side(title: string, r: Reading, id: string | null = null, measure = 0): HTMLElement {
  const pic = r.svg ?? r.excerpt;
  const figure = pic ? h("figure", { class: "excerpt" }, drawn(pic)) : id ? excerpt(id, measure, measure, 90) : null;
  return h("div", { class: "side" }, h("h3", {}, title), figure, r.text ? h("p", {}, r.text) : null);
}
