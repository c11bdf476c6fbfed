// Views: the keyboard, lists, files, charts and lessons.

import assert from "node:assert/strict";
import { test } from "node:test";
import { drawn, model, page, press, turn, until } from "./page.js";

const plain = (value) => JSON.parse(JSON.stringify(value));

test("keyboard.js walks by arrows and octaves, stays on the keyboard, and jumps to marks", () => {
  const at = page("", ["panels/keyboard.js"]);
  const sticks = Array.from({ length: 20 }, () => ({ colour: "natural", note_name: "C" }));
  const kernel = model({ sticks, left: 1, right: 2, marks: { 7: "friction" }, key: 3 });
  const { el, close } = drawn(at, at.view, kernel);
  const board = el.querySelector("[role=slider]");
  const after = (key, more) => { press(at, board, key, more); return kernel.get("key"); };
  assert.equal(after("ArrowRight"), 4);
  assert.equal(after("ArrowDown"), 1);
  assert.equal(after("PageUp"), 13);
  assert.equal(after("PageUp"), 20);
  assert.equal(after("p"), 7);
  assert.equal(after("ArrowRight", { ctrlKey: true }), 7);
  assert.equal(board.getAttribute("aria-valuetext"), "key 7, C, natural, friction");
  board.children[4].dispatchEvent(new at.window.MouseEvent("click", { bubbles: true }));
  assert.equal(kernel.get("key"), 5);
  close();
  assert.equal(kernel.listeners(), 0);
});

test("files.js asks for a file by its number and offers it under its name", () => {
  const at = page("", ["panels/files.js"], [], (window) => {
    window.URL.createObjectURL = () => "blob:x";
    window.HTMLAnchorElement.prototype.click = function click() { window.saved = this.download; };
  });
  const kernel = model({ files: [{ name: "keys.csv", size: "2 kB", state: "new" }, { name: "report.html", size: "1 MB", state: "new" }] });
  const { el, close } = drawn(at, at.view, kernel);
  const words = [...el.querySelectorAll("button")].map((each) => each.getAttribute("aria-label"));
  assert.deepEqual(words, ["Save a copy: keys.csv", "Open: report.html", "Save a copy: report.html"]);
  el.querySelector("button").click();
  assert.deepEqual(plain(kernel.sent), [{ kind: "read", number: 0 }]);
  kernel.receive({ kind: "file", number: 0, name: "keys.csv" }, [new Uint8Array([1])]);
  assert.equal(at.window.saved, "keys.csv");
  close();
});

test("file_drop.js sends the bytes of a dropped file, and refuses one that is too large", async () => {
  const at = page("", ["panels/file_drop.js"]);
  const kernel = model({ several: false, text: "Drop here", most_bytes: 5e6, low: false });
  const { el, close } = drawn(at, at.view, kernel), button = el.querySelector("button");
  const drop = async (...files) => {
    const event = new at.window.Event("drop", { bubbles: true, cancelable: true });
    event.dataTransfer = { files };
    button.dispatchEvent(event);
    await turn(5);
  };
  await drop({ name: "large.csv", size: 6e6 });
  assert.match(button.textContent, /large.csv is larger than 5 MB/);
  const bytes = new ArrayBuffer(4_500_000);
  await drop({ name: "a.csv", size: 4.5e6, arrayBuffer: async () => bytes }, { name: "b.csv", size: 1 });
  await until(() => kernel.sent.length === 2);
  assert.deepEqual(kernel.sent.map((each) => [each.name, each.part, each.parts, each.buffers[0].byteLength]),
    [["a.csv", 0, 2, 4_000_000], ["a.csv", 1, 2, 500_000]]);
  close();
});

test("lead_record.js sends the plug at its line, and takes out the one that is there", () => {
  const at = page("", ["panels/leads/lead_record.js"]);
  const stick = { length: 380, height: 25, pin: 220, zones: [{ from: 0, to: 20 }] };
  const kernel = model({ stick, plugs: [{ place: 110, diameter: 12.7 }], name: "Key 4", state: "one plug", said: "" });
  const { el, close } = drawn(at, at.view, kernel), root = el.querySelector(".bench-record");
  assert.equal(el.querySelectorAll("circle.plug").length, 1);
  press(at, root, "Enter");
  press(at, root, "ArrowRight", { shiftKey: true });
  press(at, root, "Enter");
  press(at, root, "3");
  assert.deepEqual(plain(kernel.sent), [{ kind: "put", place: 100 }, { kind: "take", place: 110 }, { kind: "count", count: 3 }]);
  assert.match(root.getAttribute("aria-label"), /Key 4: one plug. Line at 110 mm/);
  close();
  assert.equal(kernel.listeners(), 0);
});

test("lead_record.js takes out the nearest of two plugs in reach, and stays on a shorter key", () => {
  const at = page("", ["panels/leads/lead_record.js"]);
  const stick = { length: 380, height: 25, pin: 220, zones: [] };
  const plugs = [{ place: 94, diameter: 14 }, { place: 104, diameter: 14 }];
  const kernel = model({ stick, plugs, name: "Key 4", state: "two plugs", said: "" });
  const { el, close } = drawn(at, at.view, kernel), root = el.querySelector(".bench-record");
  press(at, root, "Enter");
  assert.deepEqual(plain(kernel.sent), [{ kind: "take", place: 104 }]);
  kernel.set("stick", { ...stick, length: 90 });
  assert.match(root.getAttribute("aria-label"), /Line at 90 mm/);
  close();
});

test("chart_table.js asks for the numbers only while its fold is open", async () => {
  const at = page("", ["panels/chart_table.js"]), kernel = model({}), { el, close } = drawn(at, at.view, kernel);
  assert.deepEqual(kernel.sent, []);
  el.querySelector("details").open = true;
  await until(() => kernel.sent.length);
  assert.deepEqual(plain(kernel.sent), [{ kind: "open", open: true }]);
  kernel.receive({ kind: "table", html: "<table><tr><td>7</td></tr></table>" });
  assert.equal(el.querySelector("td").textContent, "7");
  close();
  assert.equal(kernel.listeners(), 0);
});

test("pass_by.js takes what is drawn out of the way of Tab, shadows too", () => {
  const at = page('<div class="plot"><button id="b"></button><div id="host"></div></div><button id="c"></button>',
    ["charts/pass_by.js"], ["passByOnTab"]);
  const inner = at.document.createElement("button");
  at.document.getElementById("host").attachShadow({ mode: "open" }).append(inner);
  at.passByOnTab(".plot");
  press(at, at.document.body, "a");
  assert.equal(inner.tabIndex, 0);
  press(at, at.document.body, "Tab");
  assert.deepEqual([inner.tabIndex, at.document.getElementById("b").tabIndex, at.document.getElementById("c").tabIndex], [-1, -1, 0]);
});

test("paint_faster.js stays away from a Bokeh that lacks what it needs, and says so", () => {
  const at = page("", ["panels/paint_faster.js"], ["paintFaster", "needed", "MissingName"]);
  const said = [];
  at.window.console.warn = (text) => said.push(text);
  at.paintFaster({ version: "9.9", require() { throw new Error("none"); } });
  assert.equal(said.length, 1);
  assert.match(said[0], /this Bokeh \(9\.9\) lacks .*only slower/s);
  class View { paint() {} }
  const bokeh = { require: () => ({ View }) };
  assert.equal(at.needed(bokeh, "m:View", ["paint"]), View.prototype);
  assert.throws(() => at.needed(bokeh, "m:View", ["gone"]), /m:View gone/);
  assert.throws(() => at.needed(bokeh, "m:Other", []), /m Other/);
});

test("chart_view.js marks the key in hand within the figure where nothing can lie over it", () => {
  const at = page("", ["charts/pass_by.js", "panels/paint_faster.js", "panels/chart_view.js"], ["markWithin"]);
  class Box { constructor(given) { Object.assign(this, given); } setv(given) { Object.assign(this, given); } }
  const added = [];
  const mark = at.markWithin({ Models: { get: () => Box } }, { tags: ["key in hand", 4], add_layout: (box) => added.push(box) });
  assert.deepEqual([added[0].left, added[0].right, added[0].visible], [3.5, 4.5, true]);
  mark(9);
  assert.deepEqual([added[0].left, added[0].right], [8.5, 9.5]);
});

test("stacks.js draws every part as wide as its grams", () => {
  const at = page("", ["lesson/lever_chain/stacks.js"]);
  const kernel = model({ most: 100, zone: [30, 40], words: "65 g", marks: [],
    bars: [{ name: "pressed", total: "65 g", parts: [{ look: "a", size: 25, name: "front", text: "25 g" }, { look: "b", size: 40, name: "balance", text: "40 g" }] }] });
  const { el, close } = drawn(at, at.view, kernel);
  const widths = [...el.querySelectorAll(".lesson-block")].map((each) => each.style.width);
  assert.deepEqual(widths, ["25%", "40%"]);
  assert.equal(el.querySelector("[role=img]").getAttribute("aria-label"), "65 g");
  close();
  assert.equal(kernel.listeners(), 0);
});
