// Desk is one open piece: what the server said of it last, what is pointed at, and the
// acts upon it. Views listen to it; it knows no view.
import { api, Refused, type Decided, type Event_, type Eye, type Marks, type NoteFacts, type Piece, type Settings } from "./api";
import { failed, notice, say } from "./dom";
import { noteSentence, settingWords } from "./words";

export type Topic = "piece" | "select" | "view" | "decided";
type Listener = () => void | Promise<void>;
export interface At { event: number; note: number } // indices into events and their notes

export class Desk {
  at: At | null = null;
  /** the other end of a chosen span: an index into events; null where one note is chosen. */
  from: number | null = null;
  /** what the last decision brought with it. */
  last: Decided | null = null;
  /** the music that is in sight; null in views that show none. */
  eye: Eye | null = null;
  /** when the act was asked for whose marks are still to be shown. */
  since: number | null = null;
  private listeners = new Map<Topic, Set<Listener>>();
  private source: EventSource | null = null;
  private byRef = new Map<string, At>();
  private byEvent = new Map<number, number>();
  private queue: Promise<unknown> = Promise.resolve();
  private mine = 0; // the newest revision that this window made or has read
  private shut = false;
  private resting = 0;

  private eventsAt: number; // the revision of which the events are

  private constructor(public piece: Piece) {
    this.eventsAt = piece.revision;
    this.index();
  }

  static async open(id: string): Promise<Desk> {
    const desk = new Desk(await api.piece(id));
    desk.listen();
    return desk;
  }

  close(): void {
    this.shut = true;
    clearTimeout(this.resting);
    this.source?.close();
    this.listeners.clear();
  }

  /** quiet lets go of the views that listened; a new view follows. */
  quiet(): void { this.listeners.clear(); this.eye = null; }

  /** seeing passes new marks on to the music, and notes what revision they are of. */
  private seeing(): Eye | undefined {
    const eye = this.eye;
    return eye ? { sight: () => eye.sight(), marks: (m: Marks) => {
      if (!m.asked) this.reached(m.revision);
      return eye.marks(m);
    } } : undefined;
  }

  private reached(revision: number): void {
    this.piece.revision = revision;
    this.mine = Math.max(this.mine, revision);
  }

  on(topic: Topic, run: Listener): void {
    let set = this.listeners.get(topic);
    if (!set) this.listeners.set(topic, set = new Set());
    set.add(run);
  }

  /** emit tells the views; what it gives is settled when they have done what is waited for. */
  emit(topic: Topic): Promise<unknown> {
    return Promise.all([...this.listeners.get(topic) ?? []].map((run) => run()));
  }

  private index(): void {
    this.mine = Math.max(this.mine, this.piece.revision);
    this.byRef.clear();
    this.byEvent.clear();
    this.piece.events.forEach((e, i) => {
      this.byEvent.set(e.id, i);
      e.notes.forEach((n, k) => this.byRef.set(n.ref, { event: i, note: k }));
    });
    if (this.at && !this.piece.events[this.at.event]) this.at = null;
  }

  get event(): Event_ | null { return this.at ? this.piece.events[this.at.event] ?? null : null; }
  get note(): NoteFacts | null { return this.event?.notes[this.at?.note ?? 0] ?? null; }
  get measure(): number { return this.event?.measure ?? 0; }
  where(ref: string): At | undefined { return this.byRef.get(ref); }
  indexOf(eventID: number): number { return this.byEvent.get(eventID) ?? -1; }

  /** span is the chosen measures, first and last. */
  get span(): [number, number] {
    const a = this.measure;
    const b = this.from === null ? a : this.piece.events[this.from]?.measure ?? a;
    return [Math.min(a, b), Math.max(a, b)];
  }

  select(at: At | null, extend = false): void {
    if (extend && this.at && at) this.from ??= this.at.event;
    else this.from = null;
    this.at = at;
    this.last = null;
    if (this.event) {
      const [a, b] = this.span;
      const spanText = this.from === null ? "" : ` Chosen: ${a === b ? "this measure" : `${b - a + 1} measures`}.`;
      say(noteSentence(this.piece, this.event, this.note ?? undefined) + spanText);
    }
    void this.emit("select");
  }

  /** step goes to the next struck note (by 1) or the one before (-1). */
  step(by: number, extend = false): void {
    let i = this.at ? this.at.event : by > 0 ? -1 : this.piece.events.length;
    do i += by; while (this.piece.events[i] && this.piece.events[i]!.notes.length === 0);
    if (this.piece.events[i]) this.select({ event: i, note: 0 }, extend);
  }

  /** other goes to another note of the same chord. */
  other(by: number): void {
    const n = this.event?.notes.length ?? 0;
    if (this.at && n > 1) this.select({ event: this.at.event, note: (this.at.note + by + n) % n });
  }

  /** goTo points at the first note of a measure. */
  goTo(measure: number, extend = false): void {
    const last = this.piece.measures.length - 1;
    const want = Math.min(Math.max(measure, 0), last);
    let i = this.piece.events.findIndex((e) => e.measure === want && e.notes.length > 0);
    if (i < 0) i = this.piece.events.findIndex((e) => e.measure >= want);
    if (i >= 0) this.select({ event: i, note: 0 }, extend);
  }

  stepMeasure(by: number, extend = false): void { this.goTo(this.at ? this.measure + by : 0, extend); }

  /** decide settles something on the note pointed at. Decisions go one after the other,
   *  each on the answer to the one before, so that quick keys never refuse each other. */
  decide(set: Settings, reason = ""): Promise<boolean> {
    const ref = this.note?.ref;
    if (!ref) { notice("Choose a note first: click it, or go there with the arrow keys.", "plain"); return Promise.resolve(false); }
    return this.act(() => api.decide(this.piece.id, this.piece.revision, ref, set, reason, this.seeing()), `Decided: ${settingWords(set)}.`,
      () => void this.decide(set, reason));
  }

  undo(): Promise<boolean> { return this.act(() => api.undo(this.piece.id, this.piece.revision, this.seeing()), "Undone."); }
  redo(): Promise<boolean> { return this.act(() => api.redo(this.piece.id, this.piece.revision, this.seeing()), "Done again."); }
  take(id: string, reason: string): Promise<boolean> {
    return this.act(() => api.take(this.piece.id, this.piece.revision, id, reason, this.seeing()), "Taken.");
  }
  lock(from: number, to: number, locked: boolean): Promise<boolean> {
    this.showLock(from, to, locked); // at once: the plan stays as it is
    return this.act(() => api.lock(this.piece.id, this.piece.revision, from, to, locked, this.seeing()), locked ? "Locked." : "Unlocked.");
  }
  private showLock(from: number, to: number, locked: boolean): void {
    this.piece.measures = this.piece.measures.map((m) => m.index >= from && m.index <= to ? { ...m, locked } : m);
    void this.emit("piece");
  }
  choose(w: string, n: number, reading: string, reason: string): Promise<boolean> {
    return this.act(() => api.choose(this.piece.id, w, this.piece.revision, n, reading, reason), "Reading chosen.");
  }

  /** act does one thing at the server and tells whether it was done. Where another window was faster nothing is done:
   *  the page says so, shows the newer state and offers the act again. */
  act(run: () => Promise<Decided | { revision: number }>, done: string, again?: () => void): Promise<boolean> {
    const at = Math.min(window.event?.timeStamp || performance.now(), performance.now()); // of the key or click itself, however long it waited to be heard
    const next = this.queue.then(async () => {
      if (this.shut) return false;
      this.since = at;
      try {
        const r: Decided = await run();
        this.reached(r.revision);
        this.last = r;
        await this.emit("decided"); // the music first: that is what the eye waits for
        if (r.events) this.patch(r);
        else await this.refresh(r.revision);
        say([done, ...(r.consequences ?? []).map((c) => c.text)].join(" "));
        return true;
      } catch (e) {
        if (e instanceof Refused && e.status === 409) {
          await this.reload();
          notice("Another window changed this piece before you did. What you just asked was not done; the page now shows the newer state.",
            "trouble", ...(again ? [{ text: "Do it all the same", run: again }] : []));
        } else {
          failed(e);
          await this.reload(); // what was shown as asked goes
        }
        return false;
      }
    });
    this.queue = next;
    return next;
  }

  /** patch takes over the events that the server says have changed; what follows from
   *  them (findings, difficulty) is asked for when the hand rests. */
  private patch(r: Decided): void {
    for (const e of r.events ?? []) {
      const i = this.indexOf(e.id);
      if (i >= 0) this.piece.events[i] = e;
    }
    this.eventsAt = r.revision;
    this.piece.can_undo = r.can_undo ?? this.piece.can_undo;
    this.piece.can_redo = r.can_redo ?? this.piece.can_redo;
    void this.emit("piece");
    clearTimeout(this.resting);
    this.resting = window.setTimeout(() => void this.refresh(r.revision).catch(failed), 400);
  }

  private async refresh(revision: number): Promise<void> {
    const full = await api.piece(this.piece.id, this.eventsAt);
    if (this.shut || full.revision < revision || full.revision < this.piece.revision) return;
    this.renew(full);
    void this.emit("piece");
  }

  async reload(): Promise<void> {
    this.renew(await api.piece(this.piece.id, this.eventsAt));
    void this.emit("decided");
    void this.emit("piece");
  }

  /** renew takes over a newer state; of the events, those that are others now. */
  private renew(full: Piece): void {
    if (full.since === undefined) {
      this.piece = full;
    } else if (full.since === this.eventsAt) {
      const events = this.piece.events;
      for (const e of full.events) {
        const i = this.indexOf(e.id);
        if (i >= 0) events[i] = e;
      }
      this.piece = { ...full, events };
    } else return; // more was heard meanwhile: what changed before it is not in this answer
    this.eventsAt = full.revision;
    this.index();
  }

  /** listen hears of what other windows do. */
  private listen(): void {
    this.source = api.listen(this.piece.id);
    let latest = 0, timer = 0, since = 0;
    const follow = () => {
      timer = 0;
      this.queue = this.queue.then(async () => {
        if (this.shut || latest <= this.mine) return;
        await this.reload();
        notice("Changed in another window; shown here now.", "plain");
      }).catch(failed);
    };
    this.source.onmessage = (m) => {
      try { latest = Math.max(latest, (JSON.parse(m.data) as { revision?: number }).revision ?? 0); } catch { return; }
      if (latest <= this.mine) return;
      // The window that is worked in goes first: this one follows when that one rests.
      if (!timer) since = performance.now();
      clearTimeout(timer);
      timer = window.setTimeout(follow, Math.max(0, Math.min(400, since + 2000 - performance.now())));
    };
  }
}
