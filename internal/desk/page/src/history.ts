// What was decided, by whom and when; the newest first.
import { api, type HistoryLine } from "./api";
import type { Desk } from "./desk";
import { button, fill, h } from "./dom";
import { ago, capital } from "./words";

export async function history(desk: Desk, host: HTMLElement): Promise<void> {
  const lines = await api.history(desk.piece.id);
  if (host.getAttribute("aria-labelledby") !== "tab-history") return; // another tab was opened meanwhile
  const acts = h("div", { class: "row wrap" },
    button("Undo", () => void desk.undo(), { disabled: !desk.piece.can_undo, "data-focus": "undo" }),
    button("Redo", () => void desk.redo(), { disabled: !desk.piece.can_redo, "data-focus": "redo" }));
  if (!lines.length) {
    fill(host, acts, h("p", { class: "soft" }, "Nothing is decided yet. Whatever you decide is listed here and can be undone, however long ago it was."));
    return;
  }
  const newest = [...lines].sort((a, b) => b.n - a.n);
  fill(host, acts, h("ol", { class: "history", reversed: true }, newest.map((l) => line(desk, l))));
}

function line(desk: Desk, l: HistoryLine): HTMLElement {
  const at = l.ref ? desk.where(l.ref) : undefined;
  const go = () => { if (at) desk.select(at); else if (l.measure !== undefined) desk.goTo(l.measure); };
  return h("li", { class: l.undone ? "undone" : "", value: l.n },
    h("p", {}, l.undone ? h("span", {}, "Undone: ") : null, capital(l.text)),
    l.reason ? h("p", { class: "reason" }, `“${l.reason}”`) : null,
    h("p", { class: "soft" }, l.who ? `${l.who}, ` : "", h("time", { datetime: l.when, title: l.when }, ago(l.when))),
    at || (l.measure !== undefined && l.measure >= 0) ? button("Go there", go, { class: "link" }) : null);
}
