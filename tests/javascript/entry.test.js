// Entry: reading a cell, what waits for the kernel, the grid, one key at a time, fields.

import assert from "node:assert/strict";
import { test } from "node:test";
import { drawn, model, page, press, until } from "./page.js";

const DOWN = { name: "down_weight_g", label: "Down weight", unit: "g", minimum: 0, maximum: 150, kind: "number" };
const NOTE = { name: "note", label: "Note", unit: "", kind: "words" };
const ENTRY = ["panels/cells.js", "panels/outbox.js"];

test("cells.js reads numbers as people write them, and says why it refuses", () => {
  const { readCell, element, shown } = page("", ["panels/cells.js"], ["readCell", "element", "shown"]);
  assert.equal(readCell(" 51,5 ", DOWN).value, 51.5);
  assert.equal(readCell("", DOWN).value, null);
  assert.match(readCell("5l", DOWN).reason, /is not a number/);
  assert.match(readCell("−3", DOWN).reason, /not possible: Down weight is 0 to 150 g/);
  assert.equal(readCell(" loose ", NOTE).value, "loose");
  assert.equal(shown(null), "");
  assert.equal(element("b", { text: "<i>", class: "x" }).outerHTML, '<b class="x">&lt;i&gt;</b>');
});

function box(kept = null) {
  const store = { kept, getItem() { return this.kept; }, setItem(_, text) { this.kept = text; } };
  const at = page("", ENTRY, ["Outbox"]);
  return { store, outbox: new at.Outbox(store) };
}
const owner = (place = "p") => ({ sent: [], send(content) { this.sent.push(content); }, place: () => place });
const cell = (value) => ({ cells: [{ row: "1-0", column: "down_weight_g", value }] });

test("outbox.js has one message on its way, and sends the rest together after the answer", () => {
  const { outbox } = box(), mine = owner();
  outbox.put(mine, "p", cell(51));
  outbox.put(mine, "p", cell(52));
  outbox.put(mine, "p", { undo: true });
  assert.equal(mine.sent.length, 1);
  assert.equal(outbox.typed("p", "1-0", "down_weight_g").value, 52);
  assert.equal(outbox.typed("p", "1-0", "up_weight_g"), undefined);
  assert.equal(outbox.typed("other", "1-0", "down_weight_g"), undefined);
  outbox.leave(mine);
});

test("outbox.js keeps what was not saved over a reload, for the same readings alone", () => {
  const { outbox, store } = box(), mine = owner();
  outbox.put(mine, "p", cell(51));
  outbox.leave(mine);
  const after = box(store.kept).outbox, other = owner("q"), again = owner("p");
  after.adopt(other);
  assert.equal(other.sent.length, 0);
  after.adopt(again);
  assert.equal(again.sent[0].entries[0].cells[0].value, 51);
  assert.match(after.words("p"), /1 entry is not saved yet/);
  after.leave(again);
});

const rows = [1, 2].map((key) => ({ id: `${key}-0`, key, note_name: "A0", colour: "natural", heads: [String(key), "A0"],
  values: [50 + key, ""] }));
const bench = (more = {}) => model({
  rows, columns: [DOWN, NOTE], place: "p", marks: {}, fits: {}, unsaved: [], go: { key: 1, column: 0 }, key: 1,
  heads: ["Key", "Note"], name: "Readings", order: "key by key", expected: { key: 1, name: "down_weight_g", text: "49.0 g ± 2.0 g" }, ...more,
});

test("one_key.js takes a weight with Enter, asks for the next, and refuses what is no number", () => {
  const at = page("", [...ENTRY, "panels/one_key_scale.js", "panels/one_key.js"]), kernel = bench();
  const { el, close } = drawn(at, at.view(), kernel);
  const input = el.querySelector("input");
  assert.match(el.textContent, /Key 1 · A0 · natural/);
  assert.match(el.textContent, /The neighbours suggest 49.0 g/);
  const type = (text) => {
    input.value = text;
    input.dispatchEvent(new at.window.Event("input", { bubbles: true }));
    press(at, input, "Enter");
  };
  type("fifty");
  assert.match(el.querySelector(".bench-one-said").textContent, /is not a number/);
  type("53.5");
  const sent = kernel.sent.find((each) => each.kind === "entries");
  assert.deepEqual(JSON.parse(JSON.stringify(sent.entries[0].cells)), [{ row: "1-0", column: "down_weight_g", value: 53.5 }]);
  assert.match(el.textContent, /Note/);
  close();
});

test("grid.js shows every reading, marks what is doubted, and refuses what is no number", () => {
  const at = page("", [...ENTRY, "panels/grid.js"]);
  const kernel = bench({ marks: { "2-0:down_weight_g": "down weight 52 g, expected 49 g" } });
  const { el, close } = drawn(at, at.view(), kernel);
  const cells = [...el.querySelectorAll("td")];
  assert.deepEqual(cells.map((each) => each.textContent), ["51", "", "52", ""]);
  assert.deepEqual(cells.map((each) => each.classList.contains("doubted")), [false, false, true, false]);
  cells[0].focus();
  press(at, cells[0], "Delete");
  const sent = kernel.sent.filter((each) => each.kind === "entries");
  assert.deepEqual(JSON.parse(JSON.stringify(sent[0].entries[0].cells)), [{ row: "1-0", column: "down_weight_g", value: null }]);
  press(at, cells[0], "x");
  const editor = el.querySelector("td input");
  editor.value = "fifty";
  press(at, editor, "Enter");
  const says = () => el.querySelector(".bench-grid-message").textContent;
  assert.match(says(), /is not a number/);
  kernel.set("marks", {});  // Marks come anew a little after an entry: the reason stays.
  assert.match(says(), /is not a number/);
  assert.match(cells[0].title, /is not a number/);
  const paste = (text) => {
    const event = new at.window.Event("paste", { bubbles: true, cancelable: true });
    cells[0].dispatchEvent(Object.assign(event, { clipboardData: { getData: () => text } }));
  };
  paste("sixty");
  assert.match(says(), /Nothing pasted. 1 cell cannot be read/);
  kernel.set("marks", {});
  assert.match(says(), /Nothing pasted/);
  paste("53\n54");  // Takes the place of the text that was refused, and stays said.
  assert.deepEqual(cells.map((each) => each.textContent), ["53", "", "54", ""]);
  assert.equal(cells[0].classList.contains("refused"), false);
  assert.equal(cells[0].title, "");
  kernel.set("marks", { "2-0:down_weight_g": "down weight 54 g, expected 49 g" });
  assert.equal(says(), "Pasted 2 cells.");
  close();
});

test("keep_typed.js keeps what is typed while the kernel writes, and gives it up on demand", () => {
  const at = page('<div class="bench-panel"><input id="f" value="10"></div><input id="out">',
    ["panels/keep_typed.js"], ["beginDraft", "endDraft", "giveUpDraft", "fieldOf", "drafts", "markUntilHeard"]);
  const field = at.document.getElementById("f");
  assert.equal(at.fieldOf(field), field);
  assert.equal(at.fieldOf(at.document.getElementById("out")), null);
  at.beginDraft(field);
  at.drafts.get(field).typed = true;
  field.value = "99";
  assert.equal(field.value, "10");
  assert.equal(at.giveUpDraft(field), true);
  assert.equal(field.value, "99");
  assert.equal(at.giveUpDraft(field), false);
  const heard = [];
  at.markUntilHeard(field, (call) => heard.push(call));
  at.markUntilHeard(field, (call) => heard.push(call));
  heard[0]();
  assert.equal(field.dataset.notSaved, "2");
  heard[1]();
  assert.equal(field.dataset.notSaved, undefined);
});

test("frame.js names sliders and choices, and says when the kernel does not answer", async () => {
  const at = page('<div class="bench-panel"><div class="widget-slider"><span class="widget-label">Bend</span>' +
    '<div class="noUi-handle"></div><div class="widget-readout">1</div></div>' +
    '<div class="widget-toggle-buttons"><button class="mod-active">a</button></div></div>',
  ["panels/keep_typed.js", "panels/frame.js"]);
  const panel = at.document.querySelector(".bench-panel"), kernel = model({}), el = at.document.createElement("div");
  panel.append(el);
  const close = at.view.render({ model: kernel, el });
  await until(() => panel.balancekitAsk);
  assert.equal(panel.querySelector(".noUi-handle").getAttribute("aria-label"), "Bend");
  assert.equal(panel.querySelector("button").getAttribute("aria-pressed"), "true");
  let answered = 0;
  panel.balancekitAsk(() => { answered += 1; });
  await until(() => kernel.sent.length);
  assert.deepEqual(JSON.parse(JSON.stringify(kernel.sent)), [{ ask: 1 }]);
  kernel.receive({ heard: 1 });
  assert.equal(answered, 1);
  close();
});

test("note_field.js stores a note on what it was typed for, whatever comes in hand meanwhile", () => {
  const at = page("", [...ENTRY, "panels/note_field.js"]);
  const kernel = model({
    place: "p", row: "40", row_name: "Note on key 40", label: "Note on this key", text: "", placeholder: "", lines: 1,
  });
  const { el, close } = drawn(at, at.view(), kernel);
  const field = el.querySelector("input");
  field.dispatchEvent(new at.window.Event("beforeinput", { bubbles: true }));
  field.value = "rubs";
  field.dispatchEvent(new at.window.Event("input", { bubbles: true }));
  kernel.set("row", "41");
  assert.equal(field.value, "rubs");
  press(at, field, "Enter");
  const sent = kernel.sent.find((each) => each.kind === "entries");
  assert.deepEqual(JSON.parse(JSON.stringify(sent.entries[0].cells)), [{ row: "40", column: "note", value: "rubs" }]);
  assert.equal(field.value, "");
  close();
});
