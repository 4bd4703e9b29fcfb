// The door: which view the address names, files dropped anywhere, keys.
import { compare } from "./compare";
import { Desk } from "./desk";
import { byID, failed, fill, h } from "./dom";
import { library, take } from "./library";
import { Lesson } from "./lesson";
import { PieceView } from "./piece";
import { show } from "./prefs";
import { printView } from "./print";
import { witnesses } from "./witnesses";

let desk: Desk | null = null;
let view: PieceView | null = null;
let lesson: Lesson | null = null;
let turn = 0; // a view that was overtaken by a later one does not draw

async function route(): Promise<void> {
  const mine = ++turn;
  const [id = "", what = "", arg = ""] = location.hash.replace(/^#\/?/, "").split("/").map(decodeURIComponent);
  view?.close();
  view = null;
  lesson = null;
  const host = byID("main");
  document.body.dataset.view = id ? what || "piece" : "library";
  bar(id !== "" && what === "");
  if (!id) {
    desk?.close();
    desk = null;
    return library(host);
  }
  if (desk?.piece.id !== id) {
    desk?.close();
    desk = null;
    fill(host, h("p", { class: "wait", role: "status" }, "Opening…"));
    const opened = await Desk.open(id);
    if (mine !== turn) { opened.close(); return; }
    desk = opened;
  }
  desk.quiet();
  switch (what) {
    case "compare": return compare(desk, host);
    case "witnesses": return witnesses(desk, host);
    case "print": return printView(desk, host);
    case "lesson": {
      const m = /^(\d+)-(\d+)$/.exec(arg);
      lesson = new Lesson(desk, host, m ? [Number(m[1]), Number(m[2])] : null);
      return lesson.open();
    }
    default: view = new PieceView(desk, host);
  }
}

/** bar is the line above all views but the piece, which has its own. */
function bar(none: boolean): void {
  fill(byID("top"), none ? null : h("header", { class: "bar" }, h("a", { href: "#/", class: "mark" }, "pochette"), h("span", { class: "soft" }, "the desk")));
}

function start(): void {
  show();
  const go = () => void route().catch((e) => {
    fill(byID("main"), h("article", { class: "view" }, h("h1", {}, "This could not be opened"), h("p", {}, e instanceof Error ? e.message : String(e)),
      h("a", { class: "button", href: "#/" }, "To the library")));
  });
  addEventListener("hashchange", go);
  addEventListener("keydown", (e) => {
    if (view) { view.key(e); return; }
    if (lesson && !(e.target as HTMLElement).closest("textarea, input")) {
      if (["ArrowRight", "ArrowDown", "PageDown"].includes(e.key)) { lesson.step(1); e.preventDefault(); }
      if (["ArrowLeft", "ArrowUp", "PageUp"].includes(e.key)) { lesson.step(-1); e.preventDefault(); }
    }
  });
  addEventListener("dragover", (e) => { e.preventDefault(); document.body.classList.add("over"); });
  addEventListener("dragleave", (e) => { if (!e.relatedTarget) document.body.classList.remove("over"); });
  addEventListener("drop", (e) => {
    e.preventDefault();
    document.body.classList.remove("over");
    const files = [...(e.dataTransfer?.files ?? [])];
    if (files.length) void take(files).catch(failed);
  });
  addEventListener("unhandledrejection", (e) => failed(e.reason));
  document.querySelector(".skip")?.addEventListener("click", (e) => { // the address names the view
    e.preventDefault();
    (document.querySelector<HTMLElement>(".score") ?? byID("main")).focus();
  });
  go();
}

start();
