// Other ways to play a passage, side by side with what each costs.
import { api, type Alternative } from "./api";
import type { Desk } from "./desk";
import { button, fill, h } from "./dom";
import { drawn } from "./excerpt";
import { cost, measureName } from "./words";

export async function otherWays(desk: Desk, host: HTMLElement, first: number, last: number): Promise<void> {
  fill(host, h("p", { class: "soft", role: "status" }, "Looking for other ways…"));
  const ms = desk.piece.measures;
  let list = await api.alternatives(desk.piece.id, first, last);
  if (!list.length && first === last) { // one bar seldom has room for another way: its passage of four may
    first = Math.max(0, first - 1);
    last = Math.min(ms.length - 1, first + 3);
    list = await api.alternatives(desk.piece.id, first, last);
  }
  const where = first === last ? measureName(ms[first]) : `${measureName(ms[first])} to ${measureName(ms[last])}`;
  if (!list.length) {
    fill(host, h("p", { class: "soft" }, `No other way in ${where} that a player would call different.`));
    return;
  }
  fill(host, h("h3", { tabindex: -1 }, `Other ways in ${where}`), h("div", { class: "ways" }, list.map((a) => card(desk, a))));
  host.querySelector<HTMLElement>("h3")?.focus({ preventScroll: true });
  host.scrollIntoView({ block: "start" });
}

function card(desk: Desk, a: Alternative): HTMLElement {
  return h("article", { class: "way" },
    h("p", { class: "cost" }, a.cost === 0 ? "the present plan" : cost(a.cost)),
    a.excerpt ? h("figure", { class: "excerpt" }, drawn(a.excerpt)) : null,
    h("p", {}, a.text),
    a.why ? h("p", { class: "soft" }, a.why) : null,
    a.changes?.length ? h("ul", {}, a.changes.slice(0, 8).map((c) => h("li", {}, c.text)),
      a.changes.length > 8 ? h("li", {}, `and ${a.changes.length - 8} more`) : null) : null,
    a.cost === 0 ? null : button("Take this", () => void desk.take(a.id, a.text)));
}
