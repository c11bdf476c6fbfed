// The report: its charts, sliders, keys, ticks and answers, without Python.

import assert from "node:assert/strict";
import { test } from "node:test";
import { page, press, turn, until } from "./page.js";

const STORE = "sharing/answers_file.js";
const plain = (value) => JSON.parse(JSON.stringify(value));

test("answers_file.js keeps by report, and goes on where the browser keeps nothing", () => {
  const at = page("<p>as read</p>", [STORE], ["balancekitFile", "balancekitStore"]);
  assert.match(at.balancekitFile, /^<!doctype html>[\s\S]*<p>as read<\/p>/);
  assert.equal(at.balancekitStore.read("ticks", 3), 3);
  assert.equal(at.balancekitStore.write("ticks", { a: true }), true);
  assert.deepEqual(plain(at.balancekitStore.read("ticks", {})), { a: true });
  at.document.documentElement.dataset.report = "r2";
  assert.equal(at.balancekitStore.read("ticks", null), null);
  at.window.localStorage.setItem("balancekit r2 ticks", "{broken");
  assert.equal(at.balancekitStore.read("ticks", 7), 7);
});

test("report_ticks.js counts what is done, and unfolds for paper", () => {
  const at = page('<section class="sheet" id="s"><div class="table-box"><label class="tick"><input type="checkbox"></label>' +
    '<label class="tick"><input type="checkbox"></label></div></section><details id="d"></details>', [STORE, "sharing/report_ticks.js"]);
  const [first] = at.document.querySelectorAll("input");
  assert.match(at.document.body.textContent, /0 of 2 done/);
  first.checked = true;
  first.dispatchEvent(new at.window.Event("change"));
  assert.match(at.document.body.textContent, /1 of 2 done/);
  assert.equal(at.window.localStorage.getItem("balancekit r1 ticks"), '{"s 0":true}');
  const fold = at.document.getElementById("d");
  at.window.dispatchEvent(new at.window.Event("beforeprint"));
  assert.equal(fold.open, true);
  at.window.dispatchEvent(new at.window.Event("afterprint"));
  assert.equal(fold.open, false);
});

const block = (id, value) => `<script type="application/json" id="${id}">${JSON.stringify(value)}</script>`;
const slider = (name, value) => `<label><span>${name}</span><input id="slider-${name}" value="${value}"></label><b id="slider-${name}-value"></b>`;

test("report.js works the front weight out by the balance equation", async () => {
  // 18 x 0.5 + 10 x 5.5 - 38 = 26 g by hand; the other key has no ratio.
  const given = { keys: [1, 2], wippen_weight_g: [18, 18], key_ratio: [0.5, 0.5], strike_weight_g: [10, 10],
    action_ratio: [5.5, null], spring_relief_g: [0, 0], front_weight_g: [20, 20], highest_g: 25 };
  const at = page(block("charts", { roots: {}, document: {} }) + block("what-if", given) + slider("balance", 38) +
    slider("relief", 0) + slider("hammer", 0) + '<p id="what-if-answer"></p><p id="slider-state"></p><button id="what-if-back"></button>' +
    '<table id="what-if-table"><tbody><tr><td></td><td></td><td></td><td></td></tr><tr><td></td><td></td><td></td><td></td></tr></tbody></table>',
  ["charts/pass_by.js", "sharing/report.js"], [], (window) => {
    window.Bokeh = { documents: [], embed: { embed_items: async () => [] } };
  });
  await until(() => at.window.balancekitNeeded);
  assert.deepEqual(plain(at.window.balancekitNeeded), [26, null]);
  const relief = at.document.getElementById("slider-relief");
  relief.value = "4";
  relief.dispatchEvent(new at.window.Event("input"));
  assert.deepEqual(plain(at.window.balancekitNeeded), [22, null]);
  const hammer = at.document.getElementById("slider-hammer");
  hammer.value = "1";
  hammer.dispatchEvent(new at.window.Event("input"));
  assert.deepEqual(plain(at.window.balancekitNeeded), [27.5, null]);
  assert.match(at.document.getElementById("what-if-answer").textContent, /27\.5 g on average, 7\.5 g more than as found/);
  at.document.getElementById("what-if-back").click();
  assert.deepEqual(plain(at.window.balancekitNeeded), [26, null]);
});

const chart = '<section><h2>Friction</h2><figure class="chart" data-quantity="friction_g"><div class="plot"></div><details><table>' +
  "<thead><tr><th>Key</th><th>Note</th><th>Friction</th></tr></thead><tbody><tr><td>1</td><td>A0</td><td>12</td></tr>" +
  "<tr><td>2</td><td>A#0</td><td>-3</td></tr><tr><td>3</td><td>B0</td><td></td></tr></tbody></table></details></figure>" +
  '<div class="answers" data-chapter="friction"></div></section>';
const withCharts = (window) => {
  window.Bokeh = { index: {} };
  window.balancekitCharts = Promise.resolve([]);
};

test("report_keys.js walks a chart from key to key, says its numbers, and marks a range", async () => {
  const at = page(chart, ["charts/pass_by.js", "sharing/report_keys.js"], [], withCharts);
  await until(() => at.document.querySelector(".key-in-hand"));
  const told = at.document.querySelector(".key-in-hand");
  assert.equal(told.textContent, "Key 2, A#0: Friction \u22123");
  press(at, told, "ArrowLeft");
  assert.equal(told.getAttribute("aria-valuenow"), "1");
  press(at, told, "End", { shiftKey: true });
  assert.equal(told.textContent, "Key 3, B0: not read; keys 1 to 3 marked");
});

test("answers.js writes a note as words, keeps it in this browser, and takes it back", async () => {
  const at = page(`${chart}<script type="application/json" id="answers">[]</script>`,
    [STORE, "charts/pass_by.js", "sharing/report_keys.js", "sharing/answers.js"], [], withCharts);
  await turn(5);
  const button = (text) => [...at.document.querySelectorAll("button")].find((each) => each.textContent.startsWith(text));
  at.document.documentElement.dataset.keys = "88";
  button("Write a note on: Friction").click();
  const form = at.document.querySelector(".answer-form");
  form.querySelector("textarea").value = "<b>tight</b> at the pin";
  button("Add the note").click();
  await until(() => at.window.localStorage.getItem("balancekit r1 notes"));
  const kept = JSON.parse(at.window.localStorage.getItem("balancekit r1 notes"));
  assert.equal(kept.length, 1);
  assert.equal(kept[0].chapter, "friction");
  assert.match(at.document.querySelector(".answers").textContent, /<b>tight<\/b> at the pin/);
  assert.match(at.document.querySelector(".answer-bar").textContent, /1 note is not in a file yet/);
});

test("answers.js keeps a note that is being written when a picture is dropped", async () => {
  const at = page(`${chart}<script type="application/json" id="answers">[]</script>`,
    [STORE, "charts/pass_by.js", "sharing/report_keys.js", "sharing/answers.js"], [], withCharts);
  await turn(5);
  const drop = (place) => {
    const event = new at.window.Event("drop", { bubbles: true, cancelable: true });
    event.dataTransfer = { types: ["Files"], files: [{ name: "pin.jpg" }] };
    place.dispatchEvent(event);
  };
  drop(at.document.querySelector("section"));
  const form = at.document.querySelector(".answer-form");
  form.querySelector("textarea").value = "tight at the pin";
  for (const place of ["section", "figure"]) {
    const said = form.querySelector("[role=status]");
    said.textContent = "";
    drop(at.document.querySelector(place));
    await until(() => said.textContent);
    // Here is no painter, so the picture cannot be read; it went to the note all the same.
    assert.match(said.textContent, /pin\.jpg/);
    assert.equal(at.document.querySelectorAll(".answer-form").length, 1);
    assert.equal(at.document.querySelector(".answer-form textarea").value, "tight at the pin");
  }
});
