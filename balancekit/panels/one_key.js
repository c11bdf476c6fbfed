// One reading at a time in large digits, for hands that are busy.
// Type the weight and press Enter: it is taken, and the next reading is asked for.

function render({ model, el }) {
  const place = element("div", { class: "bench-one-place" });
  const asked = element("div", { class: "bench-one-asked" });
  const input = element("input", { class: "bench-one-input", type: "text", inputmode: "decimal",
    autocomplete: "off" });
  const unit = element("span", { class: "bench-one-unit" });
  const hint = element("div", { class: "bench-one-hint" });
  const said = element("div", { class: "bench-one-said", role: "status", "aria-live": "polite" });
  const root = element("div", { class: "bench-one", "data-lm-suppress-shortcuts": "true" },
    place, asked, element("div", { class: "bench-one-line" }, input, unit), hint, said);
  el.appendChild(root);

  const row = () => model.get("rows").find((each) => each.key === model.get("key"));
  const column = () => model.get("columns")[model.get("column")];

  function show() {
    const held = row(), wanted = column();
    if (!held || !wanted) return;
    place.textContent = `Key ${held.key} · ${held.note_name} · ${held.colour}`;
    asked.textContent = wanted.label;
    unit.textContent = wanted.unit;
    input.setAttribute("aria-label", `${wanted.label}, key ${held.key}`);
    input.value = shown(held.values[model.get("column")]);
    const expected = model.get("expected");
    hint.textContent = expected ? `The neighbours suggest ${expected}.` : "";
    const mark = model.get("marks")[`${held.id}:${wanted.name}`];
    input.classList.toggle("doubted", Boolean(mark));
    if (document.activeElement === input) input.select();
  }
  function step(by) {
    const count = model.get("columns").length, keys = model.get("rows").map((each) => each.key);
    const places = [...new Set(keys)];
    let key = places.indexOf(model.get("key")), wanted = model.get("column");
    if (model.get("order") === "key by key") {
      wanted += by;
      if (wanted >= count) { wanted = 0; key += 1; }
      if (wanted < 0) { wanted = count - 1; key -= 1; }
    } else key += by;
    if (key < 0 || key >= places.length) { said.textContent = "That was the last key."; return; }
    model.set("key", places[key]);
    model.set("column", wanted);
    model.save_changes();
  }
  function take() {
    const held = row(), wanted = column();
    const read = readCell(input.value, wanted);
    if (read.reason) {
      said.textContent = read.reason;
      said.classList.add("bad");
      input.select();
      return;
    }
    said.classList.remove("bad");
    said.textContent = read.value === null ? "" :
      `Taken: key ${held.key}, ${wanted.label.toLowerCase()} ${read.value} ${wanted.unit}.`;
    if (shown(read.value) !== shown(held.values[model.get("column")])) {
      held.values[model.get("column")] = read.value;
      model.send({ kind: "cells", cells: [{ row: held.id, column: wanted.name, value: read.value }] });
    }
    step(1);
  }
  root.addEventListener("keydown", (event) => {
    event.stopPropagation();
    const command = event.ctrlKey || event.metaKey;
    if (command && event.key.toLowerCase() === "z") {
      event.preventDefault();
      model.send({ kind: "undo" });
    } else if (event.key === "Enter") { event.preventDefault(); if (event.shiftKey) step(-1); else take(); }
    else if (event.key === "ArrowDown") { event.preventDefault(); step(1); }
    else if (event.key === "ArrowUp") { event.preventDefault(); step(-1); }
  });
  input.addEventListener("focus", () => input.select());
  const onMarks = () => {
    const latest = model.get("latest");
    if (latest) { said.textContent = `◆ ${latest}`; said.classList.add("bad"); }
    show();
  };
  show();
  for (const name of ["rows", "key", "column", "expected", "columns"]) model.on(`change:${name}`, show);
  for (const name of ["marks", "latest"]) model.on(`change:${name}`, onMarks);
  return () => {
    for (const name of ["rows", "key", "column", "expected", "columns"]) model.off(`change:${name}`, show);
    for (const name of ["marks", "latest"]) model.off(`change:${name}`, onMarks);
  };
}

export default { render };
