// Present: a few measures large, for a lesson or a projector, stepping through a list of
// chosen places with their notes.
import { api, Refused, type LessonPlace } from "./api";
import type { Desk } from "./desk";
import { button, enter, failed, fill, h, notice, say } from "./dom";
import { excerpt } from "./excerpt";
import { capital, measureName } from "./words";

const storage = (id: string) => `pochette.places.${id}`;

/** places are the chosen ones; a server that keeps none leaves them to the browser. */
async function load(id: string): Promise<LessonPlace[]> {
  try { return await api.places(id); } catch (e) {
    if (!(e instanceof Refused)) throw e;
    return JSON.parse(localStorage.getItem(storage(id)) ?? "[]") as LessonPlace[];
  }
}

async function keep(id: string, list: LessonPlace[]): Promise<void> {
  try { await api.keepPlaces(id, list); } catch (e) {
    if (!(e instanceof Refused)) throw e;
    localStorage.setItem(storage(id), JSON.stringify(list));
  }
}

/** suggested is a list to begin with: where the bow comes out wrong and what is hard. */
function suggested(desk: Desk): LessonPlace[] {
  const { piece } = desk;
  const of = new Map(piece.events.map((e) => [e.id, e.measure]));
  const hard = (piece.hard ?? []).map((s) => ({ from: of.get(s.first_event) ?? s.measure, to: of.get(s.last_event) ?? s.measure, note: capital(s.text ?? "") }));
  const wrong = piece.findings.filter((f) => f.kind === "wrong-way-round" && f.measure >= 0).map((f) => ({ from: f.measure, to: f.measure, note: f.text }));
  return [...hard, ...wrong].sort((a, b) => a.from - b.from).slice(0, 12);
}

export class Lesson {
  private list: LessonPlace[] = [];
  private at = 0;
  private own = true;
  private listOpen = false; // the list of places, over redraws

  constructor(private desk: Desk, private host: HTMLElement, private span: [number, number] | null) {}

  async open(): Promise<void> {
    this.list = await load(this.desk.piece.id);
    if (this.span) {
      const [from, to] = this.span;
      this.at = this.list.findIndex((p) => p.from === from && p.to === to);
      if (this.at < 0) { this.list = [{ from, to, note: "" }, ...this.list]; this.at = 0; this.own = false; }
    } else if (!this.list.length) {
      this.list = suggested(this.desk);
      this.own = false;
    }
    enter(`Lesson: ${this.desk.piece.title}`);
    this.draw();
  }

  step(by: number): void {
    const want = this.at + by;
    if (want < 0 || want >= this.list.length) { say(by > 0 ? "This is the last place." : "This is the first place."); return; }
    this.at = want;
    this.draw();
  }

  private name(p: LessonPlace): string {
    const ms = this.desk.piece.measures;
    return capital(p.from === p.to ? measureName(ms[p.from]) : `${measureName(ms[p.from])} to ${measureName(ms[p.to])}`);
  }

  private draw(): void {
    const p = this.list[this.at];
    const back = h("a", { class: "button", href: `#/${this.desk.piece.id}` }, "Back to the music");
    if (!p) {
      fill(this.host, h("article", { class: "view" }, h("h1", {}, "Nothing to show yet"),
        h("p", {}, "Choose a bar or a span in the music and press “Large”; then keep it here with a note of your own."), back));
      return;
    }
    const note = h("textarea", { id: "lesson-note", rows: 2, maxlength: 500, value: p.note });
    const few = p.to - p.from;
    const width = few === 0 ? 70 : few === 1 ? 105 : few < 4 ? 140 : 190;
    fill(this.host, h("article", { class: "lesson", "data-asked": this.span ? this.span.join("-") : null },
      h("div", { class: "row wrap spread" }, h("h1", {}, this.name(p)), h("span", { class: "soft" }, `${this.at + 1} of ${this.list.length}`), back),
      excerpt(this.desk.piece.id, p.from, p.to, width),
      p.note ? h("p", { class: "told" }, p.note) : null,
      h("div", { class: "row wrap steps" },
        button("‹ Before", () => this.step(-1), { disabled: this.at === 0 }),
        button("Next ›", () => this.step(1), { disabled: this.at === this.list.length - 1 })),
      h("details", { class: "edit", open: this.listOpen, ontoggle: (e: Event) => { this.listOpen = (e.target as HTMLDetailsElement).open; } }, h("summary", {}, "The list of places"),
        h("form", { onsubmit: (e: Event) => { e.preventDefault(); p.note = note.value.trim(); void this.keep("Kept."); } },
          h("label", { for: "lesson-note" }, "Note to this place"), note,
          h("div", { class: "row wrap" }, h("button", { type: "submit" }, this.own ? "Keep the note" : "Keep this list"),
            button("Earlier in the list", () => this.move(-1), { disabled: this.at === 0 }),
            button("Later in the list", () => this.move(1), { disabled: this.at === this.list.length - 1 }),
            button("Take out of the list", () => this.remove()))),
        h("ol", {}, this.list.map((x, i) => h("li", { "aria-current": i === this.at ? "true" : null },
          button(this.name(x), () => { this.at = i; this.draw(); }, { class: "link" }), x.note ? ` ${x.note}` : ""))))));
    say(`${this.name(p)}. ${p.note}`);
  }

  private move(by: number): void {
    const [p] = this.list.splice(this.at, 1);
    this.at += by;
    this.list.splice(this.at, 0, p!);
    void this.keep("");
  }

  private remove(): void {
    this.list.splice(this.at, 1);
    this.at = Math.max(0, Math.min(this.at, this.list.length - 1));
    void this.keep("Taken out.");
  }

  private async keep(text: string): Promise<void> {
    try {
      await keep(this.desk.piece.id, this.list);
      this.own = true;
      if (text) notice(text, "plain");
      this.draw();
    } catch (e) { failed(e); }
  }
}
