// A scale's number goes into the field as a typed one, and what is asked for is said aloud.

import assert from "node:assert/strict";
import { test } from "node:test";
import { drawn, model, page } from "./page.js";

const SCRIPTS = ["panels/cells.js", "panels/outbox.js", "panels/one_key_scale.js", "panels/one_key.js"];
const FRONT = { name: "front_weight_g", label: "Front weight", unit: "g", minimum: -150, maximum: 150, kind: "number" };
const RATIO = { name: "key_ratio", label: "Key ratio", unit: "", minimum: 0.2, maximum: 0.9, kind: "number" };
const rows = [1, 2, 3].map((key) => ({ id: `${key}-0`, key, note_name: "A0", colour: "natural", heads: [], values: [null, null] }));

function talking(more = {}, before = () => {}) {
  const at = page("", SCRIPTS, [], before);
  const kernel = model({ rows, columns: [FRONT, RATIO], place: "p", marks: {}, unsaved: [], expected: {}, latest: "",
    go: { key: 1, column: 0, heard: 0 }, order: "weight by weight", scale: {}, ...more });
  const view = at.view();
  const { el, close } = drawn(at, view, kernel);
  const said = (kind) => kernel.sent.filter((each) => each.kind === kind);
  const offer = (id, text, key, whose = said("here")[0].page) =>
    kernel.receive({ kind: "offer", page: whose, id, text, at: { key, column: 0 } });
  return { at, kernel, view, el, close, said, offer, input: el.querySelector(".bench-one-input") };
}
const cells = (entries) => JSON.parse(JSON.stringify(entries.flatMap((each) => each.entries.map((entry) => entry.cells[0]))));

test("one_key_scale.js puts a number into the field, and the next key is asked for", () => {
  const { el, said, offer, close } = talking();
  offer("a", "12.3", 1);
  assert.deepEqual(cells(said("entries")), [{ row: "1-0", column: "front_weight_g", value: 12.3 }]);
  assert.match(el.textContent, /Key 2/);
  assert.deepEqual(said("offered").map(({ id, why }) => [id, why]), [["a", ""]]);
  close();
});

test("one_key_scale.js takes a number once, whichever view of the page, and only if this page is meant", () => {
  const { at, kernel, view, said, offer, close } = talking();
  const second = drawn(at, view, kernel);
  offer("a", "12.3", 1);
  offer("b", "9.9", 1, "another page");
  assert.equal(said("entries").length, 1);
  assert.equal(said("offered").length, 1);
  second.close();
  close();
});

test("one_key_scale.js never overwrites what is being typed, and takes nothing for another reading", () => {
  const { at, input, said, offer, close } = talking();
  offer("a", "12.3", 3);
  input.value = "5";
  input.dispatchEvent(new at.window.Event("input", { bubbles: true }));
  offer("b", "12.3", 1);
  assert.equal(input.value, "5");
  assert.equal(said("entries").length, 0);
  assert.deepEqual(said("offered").map((each) => each.why),
    ["another reading is asked for now.", "something is typed in the field."]);
  close();
});

test("one_key_scale.js refuses what is not possible as if it was typed", () => {
  const { el, said, offer, close } = talking();
  offer("a", "520.0", 1);
  assert.equal(said("entries").length, 0);
  assert.match(said("offered")[0].why, /520.0 is not possible: Front weight is -150 to 150 g/);
  assert.match(el.textContent, /Key 1/);
  close();
});

test("one_key_scale.js shows the scale when there is one, and its button asks for the number", () => {
  const { kernel, el, said, close } = talking();
  const scale = el.querySelector(".bench-one-scale");
  assert.equal(scale.hidden, true);
  kernel.set("scale", { text: "12.3", state: "steady", words: "Take it off.", loss: "" });
  assert.equal(scale.hidden, false);
  assert.match(scale.textContent, /12.3 gsteadyTake itTake it off\./);
  el.querySelector(".bench-one-take").click();
  assert.equal(said("take").length, 1);
  close();
  assert.equal(kernel.listeners(), 0);
});

function speaking(window) {
  window.spoken = [];
  window.SpeechSynthesisUtterance = class { constructor(text) { this.text = text; } };
  window.speechSynthesis = { cancel() {}, speak: ({ text }) => window.spoken.push(text) };
}

test("one_key_scale.js says aloud what is asked for and every loss, off at first, each once", () => {
  const { at, kernel, el, offer, close } = talking({}, speaking);
  const aloud = el.querySelector("input[type=checkbox]");
  assert.equal(aloud.checked, false);
  offer("a", "12.3", 1);
  assert.deepEqual([...at.window.spoken], []);
  aloud.click();
  assert.deepEqual([...at.window.spoken], ["Key 2, front weight."]);
  offer("b", "11.3", 2);
  kernel.set("rows", rows);
  assert.deepEqual([...at.window.spoken], ["Key 2, front weight.", "Key 3, front weight."]);
  for (let times = 0; times < 2; times += 1) {
    kernel.set("scale", { text: "", state: "lost", words: "The cable is lost.", loss: "The cable is lost." });
  }
  assert.equal(at.window.spoken.at(-1), "The cable is lost.");
  assert.equal(at.window.spoken.length, 3);
  aloud.click();
  offer("c", "10.3", 3);
  assert.equal(at.window.spoken.length, 3);
  close();
});

test("one_key_scale.js offers no voice where the browser has none", () => {
  const { el, close } = talking();
  assert.equal(el.querySelector(".bench-one-aloud").hidden, true);
  close();
});
