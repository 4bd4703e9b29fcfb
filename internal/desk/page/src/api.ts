// What the server gives and takes. Every act but reading carries a header that no
// other site can set.

export interface PieceLine {
  id: string; title: string; part: string; instrument: string;
  bars: number; notes: number; revision: number; changed: string;
}
export interface Measure {
  index: number; number: string; pickup?: boolean; key?: string; chord?: string;
  tension?: number; difficulty: number; locked?: boolean;
}
export type Finger = "0" | "1" | "2" | "3" | "4" | "thumb";
export interface NoteFacts {
  ref: string; pitch: string; string?: number; finger?: string;
  decided?: Record<string, unknown>; printed?: Record<string, unknown>; reason?: string;
  says?: Record<string, string>; voice?: number;
}
export interface Event_ {
  id: number; measure: number; beat: string; rest?: boolean; notes: NoteFacts[];
  bow?: string; stroke?: number; follows?: string; position?: number; why?: string;
  crossing?: { text?: string; load?: number } | null;
  difficulty?: number; chord?: string; key?: string; voice?: string; locked?: boolean;
}
export interface Finding {
  kind: string; grade: string; place: string; measure: number; to_measure?: number;
  text: string; why?: string; suggestion?: string;
}
export interface Spot { place: string; measure: number; first_event: number; last_event: number; text?: string; score?: number }
export interface Parallel { first: number; last: number; other_first: number; other_last: number; text?: string }
export interface Piece {
  id: string; revision: number; title: string; part: string; instrument: string;
  measures: Measure[]; events: Event_[]; findings: Finding[]; spots?: Spot[]; hard?: Spot[];
  parallels?: Parallel[]; locks?: { from: number; to: number }[]; plans?: { id: string; name: string }[];
  open_strings?: string[]; can_undo: boolean; can_redo: boolean;
  /** only the events that changed after this revision are given. */
  since?: number;
}
export interface Pages { revision: number; count: number; pages?: { first: number; last: number; width: number; height: number }[] }
export type Settings = {
  finger?: string | null; string?: number | null; bow?: string | null; slur?: string | null;
  link?: boolean | null; retake?: boolean | null; breath?: boolean | null; dynamic?: string | null; words?: string | null;
};
export interface Decided {
  revision: number; changed?: number[]; costs?: { before: number; after: number };
  consequences?: { text: string; measure?: number }[]; events?: Event_[]; can_undo?: boolean; can_redo?: boolean;
}
export interface HistoryLine { n: number; who: string; when: string; text: string; reason?: string; undone?: boolean; measure?: number; ref?: string }
export interface Alternative {
  id: string; text: string; cost: number; why?: string; excerpt?: string;
  changes?: { event: number; text: string; measure?: number }[];
}
export interface Reading { text?: string; svg?: string; excerpt?: string }
export interface Comparison { with?: { id: string; name: string }; bars: { measure: number; number: string; same: boolean; here: Reading; there: Reading }[] }
export interface Witness { id: string; name: string; differences?: number; chosen?: number }
export interface Difference { n: number; measure: number; number?: string; kind: string; here: Reading; there: Reading; chosen?: string; reason?: string }
export interface Apparatus { sources?: string[]; entries?: { place?: string; text: string; reason?: string }[]; text?: string }
export interface LessonPlace { from: number; to: number; note: string }

/** Sight is what of the music can be seen, so that the answer to an act brings it anew. */
export interface Sight { look: string; pages: number[] }
/** Marks are pages in sight after an act: the place of each system, and those drawn anew.
 *  asked: drawn as it was asked, while the plan is still being made. */
export interface Marks {
  revision: number; asked?: boolean;
  pages: { n: number; width: number; height: number; systems: { key: string; y: number; body?: string }[] }[];
}
export type OnMarks = (m: Marks) => Promise<void>;
/** Eye is who shows marks, and says what is in sight. */
export interface Eye { sight(): Sight | undefined; marks: OnMarks }

/** Refused is a clear answer of the server that is no success. */
export class Refused extends Error {
  constructor(readonly status: number, message: string, readonly revision?: number) { super(message); }
}

async function ask(path: string, init: RequestInit = {}): Promise<Response> {
  let r: Response;
  try {
    r = await fetch(path, { credentials: "same-origin", cache: "no-cache", ...init });
  } catch (e) {
    if (e instanceof DOMException && e.name === "AbortError") throw e;
    throw new Error("The desk does not answer. Is the program still running? What you decided before is kept.");
  }
  if (r.ok) return r;
  const body = await r.json().catch(() => ({})) as { error?: string; revision?: number };
  throw new Refused(r.status, body.error ?? `The desk answered ${r.status} to ${path}.`, body.revision);
}

async function get<T>(path: string): Promise<T> {
  return (await ask(path)).json();
}

async function send<T>(method: string, path: string, body?: unknown): Promise<T> {
  const raw = body instanceof Blob;
  const r = await ask(path, {
    method,
    headers: { "X-Pochette": "1", ...(raw ? {} : { "Content-Type": "application/json" }) },
    body: raw ? body : body === undefined ? undefined : JSON.stringify(body),
  });
  const text = await r.text();
  return (text ? JSON.parse(text) : {}) as T;
}

/** act does something to a piece. The answer may come in lines: the new marks of what is
 *  in sight first, then the rest; what is read of it waits until they are shown. */
async function act<T extends object>(path: string, body: object, eye?: Eye): Promise<T> {
  const sight = eye?.sight();
  const r = await ask(path, { method: "POST", headers: { "X-Pochette": "1", "Content-Type": "application/json" }, body: JSON.stringify({ ...body, sight }) });
  if (!eye || !r.body || !r.headers.get("Content-Type")?.startsWith("application/x-ndjson")) return r.json();
  let last: T | null = null;
  for await (const line of lines(r.body)) {
    const v = JSON.parse(line) as { marks?: Marks; error?: string; status?: number; revision?: number };
    if (v.error !== undefined) throw new Refused(v.status ?? 500, v.error, v.revision);
    if (v.marks) await eye.marks(v.marks);
    else last = v as T;
  }
  if (!last) throw new Error("The desk broke off its answer. Load the page again: it then shows what was kept.");
  return last;
}

async function* lines(body: ReadableStream<Uint8Array>): AsyncGenerator<string> {
  const reader = body.pipeThrough(new TextDecoderStream() as unknown as TransformStream<Uint8Array, string>).getReader();
  let rest = "";
  for (;;) {
    const { value, done } = await reader.read();
    if (done) break;
    rest += value;
    for (let end = rest.indexOf("\n"); end >= 0; end = rest.indexOf("\n")) {
      yield rest.slice(0, end);
      rest = rest.slice(end + 1);
    }
  }
  if (rest.trim()) yield rest;
}

const p = (id: string, rest = "") => `/api/pieces/${encodeURIComponent(id)}${rest}`;
export const query = (q: Record<string, string | number | undefined>) =>
  Object.entries(q).filter(([, v]) => v !== undefined).map(([k, v]) => `${k}=${encodeURIComponent(String(v))}`).join("&");

export const api = {
  pieces: () => get<PieceLine[]>("/api/pieces"),
  add: (file: File) => send<{ id: string }>("POST", `/api/pieces?${query({ name: file.name })}`, file),
  restore: (file: File) => send<{ id: string }>("POST", `/api/import?${query({ name: file.name })}`, file),
  remove: (id: string) => send<unknown>("DELETE", p(id)),
  exportPath: (id: string) => p(id, "/export"),
  printPath: (id: string) => p(id, "/print"),
  musicxmlPath: (id: string) => p(id, "/part.musicxml"),
  piece: (id: string, since?: number) => get<Piece>(p(id, since === undefined ? "" : `?since=${since}`)),
  pages: (id: string, q: Record<string, string | number | undefined>) => get<Pages>(p(id, `/pages?${query(q)}`)),
  page: async (id: string, n: number, q: Record<string, string | number | undefined>, signal?: AbortSignal) =>
    (await ask(p(id, `/pages/${n}?${query(q)}`), { signal })).text(),
  excerpt: async (id: string, from: number, to: number, width: number, layers: string) =>
    (await ask(p(id, `/excerpt?${query({ from, to, width, layers })}`))).text(),
  decide: (id: string, base: number, note: string, set: Settings, reason: string, eye?: Eye) =>
    act<Decided>(p(id, "/decide"), { base, note, set, reason }, eye),
  undo: (id: string, base: number, eye?: Eye) => act<Decided>(p(id, "/undo"), { base }, eye),
  redo: (id: string, base: number, eye?: Eye) => act<Decided>(p(id, "/redo"), { base }, eye),
  history: (id: string) => get<HistoryLine[]>(p(id, "/history")),
  lock: (id: string, base: number, from: number, to: number, locked: boolean, eye?: Eye) =>
    act<Decided>(p(id, "/lock"), { base, from, to, locked }, eye),
  alternatives: (id: string, from: number, to: number) => get<Alternative[]>(p(id, `/alternatives?${query({ from, to })}`)),
  take: (id: string, base: number, alternative: string, reason: string, eye?: Eye) =>
    act<Decided>(p(id, "/alternatives/take"), { base, id: alternative, alternative, reason }, eye),
  compare: (id: string, other: string) => get<Comparison>(p(id, `/compare?${query({ with: other })}`)),
  keepPlan: (id: string, name: string) => send<{ id: string }>("POST", p(id, "/plans"), { name }),
  witnesses: (id: string) => get<Witness[]>(p(id, "/witnesses")),
  addWitness: (id: string, file: File) => send<Witness>("POST", p(id, `/witnesses?${query({ name: file.name })}`), file),
  differences: (id: string, w: string) => get<Difference[]>(p(id, `/witnesses/${encodeURIComponent(w)}/differences`)),
  choose: (id: string, w: string, base: number, n: number, reading: string, reason: string) =>
    send<{ revision: number }>("POST", p(id, `/witnesses/${encodeURIComponent(w)}/choose`), { base, witness: w, n, reading, reason }),
  apparatus: (id: string) => get<Apparatus>(p(id, "/apparatus")),
  places: (id: string) => get<LessonPlace[]>(p(id, "/places")),
  keepPlaces: (id: string, places: LessonPlace[]) => send<unknown>("PUT", p(id, "/places"), places),
  listen: (id: string) => new EventSource(`/api/events?${query({ piece: id })}`),
};
