// What was typed and is not saved yet: one store for the page, whichever view it was typed in.
// Each view has one message on its way; what is typed meanwhile goes together with the next one.
// A message that is not answered is sent again with its number, and the kernel takes a number once.
// What a kernel left unanswered goes to the next view of the same readings, after a reload too.

const SENT_AGAIN_MS = 5000, SAID_AFTER_MS = 2000;
const KEPT_AS = "balancekit: typed and not saved";

/**
 * @typedef {{row: string, column: string, value: any}} Cell
 * @typedef {{cells?: Cell[], undo?: boolean, redo?: boolean,
 *   keep?: {key: number, column: string}}} What
 * @typedef {{place: string, what: What, owner: Owner | null, since: number, refused?: string}} Entry
 * @typedef {{send: (content: any) => void, place: () => string,
 *   flight?: {number: number, entries: Entry[], timer: any} | null}} Owner
 */

class Outbox {
  /** @param {Pick<Storage, "getItem" | "setItem"> | null} storage */
  constructor(storage) {
    this.storage = storage;
    this.page = Math.random().toString(36).slice(2);
    this.number = 0;
    /** @type {Entry[]} */
    this.entries = this.recalled();
    /** @type {Set<() => void>} */
    this.watchers = new Set();
  }

  /** Keep something until the kernel has it. @param {Owner} owner @param {string} place @param {What} what */
  put(owner, place, what) {
    for (const { row, column } of what.cells ?? []) this.giveUp(place, row, column);
    this.entries.push({ place, what, owner, since: Date.now() });
    this.send(owner);
    this.changed();
  }

  /** Take over what nobody sends any more. @param {Owner} owner */
  adopt(owner) {
    let taken = 0;
    for (const entry of this.entries) {
      if (entry.owner || entry.place !== owner.place()) continue;
      entry.owner = owner;
      delete entry.refused;
      taken += 1;
    }
    if (taken) this.send(owner);
    return taken;
  }

  /** A view is gone: what it did not bring to the kernel waits for the next. @param {Owner} owner */
  leave(owner) {
    clearTimeout(owner.flight?.timer);
    owner.flight = null;
    this.entries = this.entries.filter((entry) => entry.owner !== owner || entry.what.cells);
    for (const entry of this.entries) if (entry.owner === owner) entry.owner = null;
  }

  /** Forget a refused text of a cell. @param {string} place @param {string} row @param {string} column */
  giveUp(place, row, column) {
    this.entries = this.entries.filter((entry) => !(entry.refused && entry.place === place &&
      entry.what.cells?.some((cell) => cell.row === row && cell.column === column)));
  }

  /** @param {Owner} owner @param {any} answer of the kernel */
  heard(owner, answer) {
    const flight = owner.flight;
    if (answer.kind !== "taken" || answer.page !== this.page || answer.number !== flight?.number) return;
    clearTimeout(flight.timer);
    owner.flight = null;
    const done = new Set(flight.entries);
    flight.entries.forEach((entry, place) => {
      const reason = answer.refused?.[String(place)];
      if (!reason || !entry.what.cells) return;
      done.delete(entry);
      entry.refused = reason;
      if (entry.place !== owner.place()) entry.owner = null;
    });
    this.entries = this.entries.filter((entry) => !done.has(entry));
    this.send(owner);
    this.changed();
  }

  /** The last value typed into a cell that the kernel has not saved, or undefined.
   * @param {string} place @param {string} row @param {string} column
   * @returns {{value: any, refused?: string} | undefined} */
  typed(place, row, column) {
    for (let at = this.entries.length - 1; at >= 0; at -= 1) {
      const { place: of, what, refused } = this.entries[at];
      if (of !== place || !what.cells) continue;
      const cell = what.cells.findLast((each) => each.row === row && each.column === column);
      if (cell) return { value: cell.value, refused };
    }
    return undefined;
  }

  /** What to say about readings that wait, "" when there is nothing. @param {string} place */
  words(place) {
    const old = Date.now() - SAID_AFTER_MS;
    const cells = this.entries.filter((entry) => entry.place === place && entry.since < old)
      .flatMap((entry) => entry.what.cells ?? []);
    if (!cells.length) return "";
    const refused = this.entries.find((entry) => entry.place === place && entry.refused)?.refused;
    const count = cells.length === 1 ? "1 entry is" : `${cells.length} entries are`;
    return `${count} not saved yet. ` + (refused ?? "What you typed is kept here and sent again " +
      "until the kernel answers. After a restart of the kernel: Run All Cells.");
  }

  /** @param {Owner} owner */
  send(owner) {
    if (owner.flight) return;
    const entries = this.entries.filter((entry) => entry.owner === owner && !entry.refused);
    if (!entries.length) return;
    this.number += 1;
    owner.flight = { number: this.number, entries, timer: null };
    this.transmit(owner);
  }
  /** @param {Owner} owner */
  transmit(owner) {
    const { flight } = owner;
    if (!flight) return;
    flight.timer = setTimeout(() => { this.transmit(owner); this.changed(); }, SENT_AGAIN_MS);
    owner.send({ kind: "entries", page: this.page, number: flight.number,
      entries: flight.entries.map((entry) => ({ place: entry.place, ...entry.what })) });
  }
  changed() {
    const kept = this.entries.filter((entry) => entry.what.cells && (!entry.refused || !entry.owner))
      .map(({ place, what }) => ({ place, what }));
    this.storage?.setItem(KEPT_AS, JSON.stringify(kept));
    for (const call of this.watchers) call();
  }
  /** @returns {Entry[]} */
  recalled() {
    const kept = JSON.parse(this.storage?.getItem(KEPT_AS) ?? "[]");
    return kept.map((/** @type {Entry} */ { place, what }) => ({ place, what, owner: null, since: 0 }));
  }
}

// Every view has this code for itself; what waits is one for the page.
function outboxOfThePage() {
  if (!window.balancekitOutbox) {
    const outbox = window.balancekitOutbox = new Outbox(window.sessionStorage);
    window.addEventListener("beforeunload", (event) => {
      if (outbox.entries.some((entry) => entry.what.cells)) event.preventDefault();
    });
  }
  return window.balancekitOutbox;
}

// What the views of one widget share: they are one owner of what is typed, until the last is gone.
class EntryViews {
  outbox = outboxOfThePage();
  count = 0;
  /** @type {Owner} */
  owner;
  /** One more view. @param {any} model */
  begin(model) {
    this.owner ??= { send: (content) => model.send(content), place: () => model.get("place") };
    this.count += 1;
  }
  /** @param {string} place @param {What} what */
  put(place, what) { this.outbox.put(this.owner, place, what); }
  /**
   * Follow the kernel and the outbox; returns what ends it.
   * @param {any} model
   * @param {HTMLElement} waits says what is not saved yet
   * @param {Record<string, (content?: any) => void>} heard what else is followed, by event
   * @param {() => void} show
   * @param {() => void} changed called when the outbox has changed
   */
  follow(model, waits, heard, show, changed = show) {
    const { outbox, owner } = this;
    const adopt = () => { outbox.adopt(owner); show(); };
    const calls = { ...heard, "change:place": adopt,
      "msg:custom": (/** @type {any} */ content) => outbox.heard(owner, content) };
    for (const [name, call] of Object.entries(calls)) model.on(name, call);
    outbox.watchers.add(changed);
    const timer = setInterval(() => { waits.textContent = outbox.words(model.get("place")); }, 1000);
    adopt();
    return () => {
      for (const [name, call] of Object.entries(calls)) model.off(name, call);
      clearInterval(timer);
      outbox.watchers.delete(changed);
      this.count -= 1;
      if (!this.count) outbox.leave(owner);
    };
  }
}

// Where a view stands: its own step counts at once. What the kernel says of the place is followed
// only if the kernel has heard of the last step; one step is on its way, the last one follows.
class Standing {
  /** @param {any} model @param {{key: number, column: number}} at */
  constructor(model, at) {
    this.model = model;
    this.at = at;
    this.steps = 0;
    this.sent = 0;
    this.timer = null;
  }
  /** @param {{key: number, column: number}} at */
  step(at) {
    this.at = at;
    this.steps += 1;
    if (this.sent <= (this.model.get("go").heard ?? 0)) this.tell();
  }
  tell() {
    clearTimeout(this.timer);
    this.sent = this.steps;
    this.model.send({ kind: "at", number: this.steps, ...this.at });
    this.timer = setTimeout(() => this.tell(), SENT_AGAIN_MS);
  }
  /** Take what the kernel says; returns whether it is followed. */
  heard() {
    const { heard, key, column } = this.model.get("go");
    if (heard >= this.sent) clearTimeout(this.timer);
    if (heard < this.steps) {
      if (heard >= this.sent) this.tell();
      return false;
    }
    this.at = { key, column };
    return true;
  }
  end() { clearTimeout(this.timer); }
}
