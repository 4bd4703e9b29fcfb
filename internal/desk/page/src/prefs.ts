// What this browser remembers of how one likes to read. Decisions are never kept here.

export type Mode = "flow" | "paged" | "stand";
export interface Prefs { zoom: number; mode: Mode; dark: boolean; layers: string[]; panel: boolean; name: string }

const key = "pochette.reading";
const usual: Prefs = { zoom: 1, mode: "flow", dark: false, layers: ["bow", "finger", "string", "wrong"], panel: true, name: "" };

/** layers that can be shown, in the order of the menu. */
export const layerNames: [string, string][] = [
  ["bow", "Bow marks"], ["finger", "Fingers"], ["string", "Strings"], ["chord", "Chord names"], ["voice", "Voices"],
  ["wrong", "Wrong way round"], ["crossing", "Crossings"], ["hard", "Hard spots"],
];
/** engraved layers are drawn by the engraver; the page itself draws the others over it. */
export const engraved = ["bow", "finger", "string", "chord"];

function load(): Prefs {
  try {
    const kept = JSON.parse(localStorage.getItem(key) ?? "{}") as Partial<Prefs>;
    return { ...usual, ...kept };
  } catch { return { ...usual }; }
}

export const prefs = load();

export function keep(): void {
  try { localStorage.setItem(key, JSON.stringify(prefs)); } catch { /* a browser without storage forgets; nothing else is lost */ }
  show();
}

/** show puts on the document what the style sheet reads. */
export function show(): void {
  document.documentElement.dataset.light = prefs.dark ? "dark" : "day";
}
