// The list of what is doubted, where a panel has one.

import assert from "node:assert/strict";
import { test } from "node:test";
import { drawn, model, page } from "./page.js";

const plain = (value) => JSON.parse(JSON.stringify(value));

test("doubt_list.js sends what is chosen for which line", () => {
  const at = page("", ["panels/doubt_list.js"]);
  const line = { id: "a", key: "key 4", words: "down weight 500 g", advice: "Weigh again.", take: "take 50 g", keep: true };
  const kernel = model({ lines: [line] }), { el, close } = drawn(at, at.view, kernel);
  for (const button of el.querySelectorAll("button")) button.click();
  assert.deepEqual(plain(kernel.sent), [{ kind: "take", id: "a" }, { kind: "keep", id: "a" }]);
  kernel.set("lines", []);
  assert.equal(el.querySelectorAll("li").length, 0);
  close();
});
