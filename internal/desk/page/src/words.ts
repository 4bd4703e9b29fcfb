// How things are said. One place, so that the panel, the history and the screen
// reader use the same words.
import type { Event_, Measure, NoteFacts, Piece, Settings } from "./api";

const roman = ["", "I", "II", "III", "IV", "V"];
const ordinals = ["half", "first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth",
  "eleventh", "twelfth", "thirteenth", "fourteenth"];

export const stringName = (n: number | undefined) => n ? roman[n] ?? String(n) : "";
export const positionName = (n: number | undefined) => n === undefined || n < 0 ? "" : `${ordinals[n] ?? `${n}th`} position`;

export function fingerName(f: string | undefined): string {
  switch (f) {
    case undefined: case "": return "";
    case "0": return "open string";
    case "thumb": return "thumb";
    default: return `${ordinals[Number(f)] ?? f} finger`;
  }
}

export const bowName = (b: string | undefined) => b === "down" ? "down-bow" : b === "up" ? "up-bow" : "";

const follows: Record<string, string> = {
  begin: "the stroke that begins", "after-rest": "begun anew after a rest", retake: "after a retake: the bow is lifted and set again",
  link: "linked: in the same direction as the stroke before", split: "the printed slur is split here", join: "joined to the stroke before",
};
export const followsName = (f: string | undefined) => f ? follows[f] ?? "" : "";

export function measureName(m: Measure | undefined): string {
  if (!m) return "measure ?";
  return m.pickup || m.number === "0" ? "pickup" : `measure ${m.number}`;
}
export const capital = (s: string) => s.charAt(0).toUpperCase() + s.slice(1);

export function placeName(piece: Piece, e: Event_): string {
  return `${capital(measureName(piece.measures[e.measure]))}, beat ${e.beat}`;
}

/** noteSentence is what a screen reader says of a note. */
export function noteSentence(piece: Piece, e: Event_, n: NoteFacts | undefined): string {
  const parts = [placeName(piece, e)];
  if (e.rest || !n) parts.push("rest");
  else {
    parts.push(n.pitch, fingerName(n.finger), n.string ? `string ${stringName(n.string)}` : "", bowName(e.bow));
    if (n.decided && Object.keys(n.decided).length) parts.push("decided");
    if (e.locked || piece.measures[e.measure]?.locked) parts.push("locked");
  }
  return parts.filter(Boolean).join(", ") + ".";
}

/** settingWords says what a decision sets. */
export function settingWords(set: Settings): string {
  const out: string[] = [];
  for (const [k, v] of Object.entries(set)) {
    if (v === null) out.push(`${k} taken back`);
    else if (k === "finger") out.push(fingerName(String(v)));
    else if (k === "string") out.push(`string ${stringName(Number(v))}`);
    else if (k === "bow") out.push(bowName(String(v)));
    else if (v === true) out.push(k);
    else if (v === false) out.push(`no ${k}`);
    else out.push(`${k} ${v}`);
  }
  return out.join(", ");
}

const units: [number, Intl.RelativeTimeFormatUnit][] = [[60, "second"], [60, "minute"], [24, "hour"], [365, "day"]];
const relative = new Intl.RelativeTimeFormat("en", { numeric: "auto" });

/** ago says when something was, as one would. */
export function ago(when: string): string {
  const t = Date.parse(when);
  if (Number.isNaN(t)) return when;
  let n = (t - Date.now()) / 1000;
  for (const [size, unit] of units) {
    if (Math.abs(n) < size || unit === "day") return relative.format(Math.round(n), unit);
    n /= size;
  }
  return when;
}

/** cost says a difference of cost with its sign. */
export function cost(n: number): string {
  if (Math.abs(n) < 0.05) return "costs the same";
  return n > 0 ? `costs ${n.toFixed(1)} more` : `costs ${(-n).toFixed(1)} less`;
}

export const plural = (n: number, one: string, many = one + "s") => `${n} ${n === 1 ? one : many}`;
