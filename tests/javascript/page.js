// A page for one test: the scripts run in it as the browser runs them, joined in the same order.

import { readFileSync } from "node:fs";
import { afterEach } from "node:test";
import { JSDOM } from "jsdom";

const PACKAGE = new URL("../../balancekit/", import.meta.url);

// A page that is left open would wait for its own timers.
const open = [];
afterEach(() => { for (const each of open.splice(0)) each.close(); });

/** A page with some HTML, in which scripts of the package have run; `names` are handed out. */
export function page(html, scripts, names = [], before = () => {}) {
  const dom = new JSDOM(`<!doctype html><html data-report="r1"><body>${html}</body></html>`, {
    runScripts: "outside-only", pretendToBeVisual: true, url: "http://localhost/",
  });
  const { window } = dom;
  open.push(window);
  window.ResizeObserver = class { observe() {} disconnect() {} };
  window.matchMedia = () => ({ matches: true });
  before(window);
  const source = scripts.map((name) => readFileSync(new URL(name, PACKAGE), "utf8")).join("\n");
  const offered = names.map((name) => `${name}: typeof ${name} === "undefined" ? undefined : ${name}`);
  const found = window.eval(
    `(() => { let view; ${source.replace(/export default/, "view =")}\n; return { view, ${offered} }; })()`,
  );
  return { window, document: window.document, ...found };
}

/** The kernel's side of a widget: traits, what was sent, and a way to send something back. */
export function model(traits) {
  const calls = new Map();
  const at = (name) => calls.get(name) ?? calls.set(name, []).get(name);
  return {
    sent: [],
    saved: 0,
    get: (name) => traits[name],
    set(name, value) { traits[name] = value; for (const call of [...at(`change:${name}`)]) call(); },
    save_changes() { this.saved += 1; },
    send(content, _, buffers) { this.sent.push(buffers ? { ...content, buffers } : content); },
    on(names, call) { for (const name of names.split(" ")) at(name).push(call); },
    off(names, call) {
      for (const name of names.split(" ")) calls.set(name, call ? at(name).filter((each) => each !== call) : []);
    },
    receive(content, buffers) { for (const call of [...at("msg:custom")]) call(content, buffers); },
    listeners: () => [...calls.values()].reduce((sum, each) => sum + each.length, 0),
  };
}

/** Draw a widget into an element of its own. */
export function drawn(at, view, kernel) {
  const el = at.document.createElement("div");
  at.document.body.append(el);
  const close = view.render({ model: kernel, el });
  return { el, close };
}

export const press = (at, node, key, more = {}) =>
  node.dispatchEvent(new at.window.KeyboardEvent("keydown", { key, bubbles: true, cancelable: true, ...more }));

export const turn = (milliseconds = 0) => new Promise((done) => { setTimeout(done, milliseconds); });

/** Wait until something holds; a busy machine may take its time. */
export async function until(holds) {
  for (let tries = 0; tries < 400 && !holds(); tries += 1) await turn(5);
}
