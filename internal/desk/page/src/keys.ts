// Every key in one table: it is obeyed and it is shown as help.
import { dialog, h } from "./dom";

/** Key is one act. help stands in the list of keys in place of keys and text, so that
 *  several alike take one line; an empty list leaves the act out. */
export interface Key { keys: string[]; text: string; run: (e: KeyboardEvent) => void; group: string; help?: string[] }

/** nameOf writes a key as the table does: modifiers in order, then the key. Digits go by
 *  their place on the keyboard, since with shift they give other signs. */
export function nameOf(e: KeyboardEvent): string {
  const digit = /^(?:Digit|Numpad)([0-9])$/.exec(e.code);
  const key = digit ? digit[1]! : e.key.length === 1 ? e.key.toLowerCase() : e.key;
  const shifted = e.shiftKey && (e.key.length > 1 || digit || /[a-z]/i.test(e.key));
  return [e.ctrlKey || e.metaKey ? "Ctrl" : "", e.altKey ? "Alt" : "", shifted ? "Shift" : "", key === " " ? "Space" : key].filter(Boolean).join("+");
}

/** typing says that keys belong to a field. */
function typing(e: KeyboardEvent): boolean {
  const t = e.target as HTMLElement;
  return t.isContentEditable || ["TEXTAREA", "SELECT"].includes(t.tagName) || (t.tagName === "INPUT" && !["checkbox", "radio", "file"].includes((t as HTMLInputElement).type));
}

/** obey runs what a key means; false where it means nothing. */
export function obey(table: Key[], e: KeyboardEvent): boolean {
  if (e.defaultPrevented || e.isComposing) return false;
  const name = nameOf(e);
  if (document.querySelector("dialog[open]")) return false;
  if (typing(e)) {
    if (name === "Escape") { (e.target as HTMLElement).blur(); document.querySelector<HTMLElement>(".score")?.focus(); return true; }
    return false;
  }
  if ((name === "Enter" || name === "Space") && (e.target as HTMLElement).closest("button, a, summary, [role=tab]")) return false;
  const k = table.find((x) => x.keys.includes(name));
  if (!k) return false;
  e.preventDefault();
  k.run(e);
  return true;
}

const shown: Record<string, string> = { ArrowLeft: "←", ArrowRight: "→", ArrowUp: "↑", ArrowDown: "↓", Space: "space" };
const caps = (name: string) => name.split("+").filter((p, i, all) => p !== "" || i === all.length - 1).map((p) => h("kbd", {}, shown[p] ?? (p === "" ? "+" : p.length === 1 ? p.toUpperCase() : p)));

export function help(table: Key[]): void {
  const groups = [...new Set(table.map((k) => k.group))];
  dialog("Keys", h("div", { class: "keys-help" }, groups.map((g) => h("section", {}, h("h3", {}, g),
    h("dl", {}, table.filter((k) => k.group === g && k.help?.length !== 0).flatMap((k) => [
      h("dt", {}, (k.help ?? k.keys).flatMap((n, i) => i ? [" or ", ...caps(n)] : caps(n))), h("dd", {}, k.text)]))))));
}
