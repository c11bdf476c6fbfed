// The drawing of the levers is made of its scene, and of nothing else.

import assert from "node:assert/strict";
import { test } from "node:test";
import { readFileSync, readdirSync } from "node:fs";
import { page } from "./page.js";

test("lever_view.js makes its shapes as SVG", () => {
  const at = page("", ["lesson/lever_chain/lever_view.js"], ["make"]);
  const line = at.make("line", { x1: 3 });
  assert.equal(line.namespaceURI, "http://www.w3.org/2000/svg");
  assert.equal(line.getAttribute("x1"), "3");
  assert.equal(typeof at.view.render, "function");
});

// Scripts that only the browser tests open so far.
const IN_THE_BROWSER = ["part_pictures.js", "piano.js"];

test("every script of the package has a test of its own", () => {
  const root = new URL("../../balancekit/", import.meta.url), here = new URL("./", import.meta.url);
  const scripts = readdirSync(root, { recursive: true }).map(String).filter((name) => name.endsWith(".js"));
  const tests = readdirSync(here).filter((name) => name.endsWith(".test.js"))
    .map((name) => readFileSync(new URL(name, here), "utf8")).join("\n");
  assert.ok(scripts.length > 15);
  const titles = [...tests.matchAll(/test\("([^"]+)"/g)].map((found) => found[1]).join(" ");
  const untested = scripts.map((name) => name.split("/").pop()).filter((name) => !titles.includes(name));
  assert.deepEqual(untested.sort(), IN_THE_BROWSER);
});
