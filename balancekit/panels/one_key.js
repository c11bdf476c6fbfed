// One reading at a time in large digits, for hands that are busy.
// Type the weight and press Enter: it is taken, and the next reading is asked for.
// While something is typed the screen stays with the key and quantity of its first character.

export default () => {
  const views = new EntryViews(), { outbox } = views;
  const offered = { last: "" };

  function render({ model, el }) {
    const place = element("div", { class: "bench-one-place" });
    const asked = element("div", { class: "bench-one-asked" });
    const input = /** @type {HTMLInputElement} */ (element("input", { class: "bench-one-input",
      type: "text", inputmode: "decimal", autocomplete: "off" }));
    const unit = element("span", { class: "bench-one-unit" });
    const hint = element("div", { class: "bench-one-hint" });
    const said = element("div", { class: "bench-one-said", role: "status", "aria-live": "polite" });
    const waits = element("div", { class: "bench-not-saved", role: "status", "aria-live": "polite" });
    const root = element("div", { class: "bench-one", "data-lm-suppress-shortcuts": "true" },
      place, asked, element("div", { class: "bench-one-line" }, input, unit), hint, said, waits);
    el.appendChild(root);

    views.begin(model);
    const standing = new Standing(model, { key: model.get("go").key, column: model.get("go").column });
    // What is typed and not taken yet, with the reading it was typed for.
    let draft = null, latest = null, doubted = false;
    const scale = scaleLine(model, outbox.page, offered, put);
    root.append(...scale.nodes);

    const onScreen = () => draft?.at ?? standing.at;
    const row = () => draft?.row ?? model.get("rows").find((each) => each.key === standing.at.key);
    const column = () => draft?.column ?? model.get("columns")[standing.at.column];
    function value(held, wanted) {
      const typed = outbox.typed(model.get("place"), held.id, wanted.name);
      if (typed) return typed.value;
      const names = model.get("columns").map((each) => each.name);
      return (model.get("rows").find((each) => each.id === held.id) ?? held)
        .values[names.indexOf(wanted.name)];
    }
    function say(text, bad = false) {
      said.textContent = text;
      said.classList.toggle("bad", bad);
    }

    function show() {
      const held = row(), wanted = column();
      if (!held || !wanted) return;
      const { key, name } = model.get("expected");
      place.replaceChildren(element("span", { class: "bench-one-key", text: `Key ${held.key}` }),
        ` · ${held.note_name} · ${held.colour}`);
      scale.asks(`Key ${held.key}, ${wanted.label.toLowerCase()}.`);
      asked.textContent = wanted.label;
      unit.textContent = wanted.unit;
      input.setAttribute("aria-label", `${wanted.label}, key ${held.key}`);
      hint.textContent = key === held.key && name === wanted.name
        ? `The neighbours suggest ${model.get("expected").text}.` : "";
      const cell = `${held.id}:${wanted.name}`;
      const waiting = outbox.typed(model.get("place"), held.id, wanted.name);
      input.classList.toggle("doubted", Boolean(model.get("marks")[cell]));
      input.classList.toggle("not-saved", Boolean(waiting) || model.get("unsaved").includes(cell));
      root.toggleAttribute("data-typed", Boolean(draft));
      waits.textContent = outbox.words(model.get("place"));
      if (draft) return;
      const text = shown(value(held, wanted));
      if (input.value === text) return;
      input.value = text;
      if (document.activeElement === input) input.select();
    }
    function step(by) {
      const count = model.get("columns").length;
      const keys = [...new Set(model.get("rows").map((each) => each.key))];
      let { key, column: wanted } = onScreen();
      let at = keys.indexOf(key);
      if (model.get("order") === "key by key") {
        wanted += by;
        if (wanted >= count) { wanted = 0; at += 1; }
        if (wanted < 0) { wanted = count - 1; at -= 1; }
      } else at += by;
      draft = null;
      if (at < 0 || at >= keys.length) say("That was the last key.");
      else standing.step({ key: keys[at], column: wanted });
      show();
      if (document.activeElement === input) input.select();
    }
    function take() {
      const held = row(), wanted = column();
      const read = readCell(input.value, wanted);
      if (read.reason) {
        say(read.reason, true);
        input.select();
        return false;
      }
      latest = { place: draft?.place ?? model.get("place"), row: held.id, column: wanted.name,
        text: read.value === null ? "" :
          `Taken: key ${held.key}, ${wanted.label.toLowerCase()} ${read.value} ${wanted.unit}.` };
      if (shown(read.value) !== shown(value(held, wanted))) {
        const cell = { row: held.id, column: wanted.name, value: read.value };
        views.put(latest.place, { cells: [cell] });
      } else answered();
      return true;
    }
    // Only what the kernel has is called taken.
    function answered() {
      if (latest && !outbox.typed(latest.place, latest.row, latest.column)) {
        if (!doubted) say(latest.text);
        latest = null;
        doubted = false;
      }
      show();
    }
    function giveUp() {
      draft = null;
      say("");
      show();
    }

    function begin() {
      draft ??= { at: standing.at, row: row(), column: column(), place: model.get("place") };
      show();
    }
    // A number of the scale, for the reading that it was weighed for; returns why it is not taken.
    function put(text, at) {
      if (draft) return "something is typed in the field.";
      if (at.key !== standing.at.key || at.column !== standing.at.column) {
        return "another reading is asked for now.";
      }
      begin();
      input.value = text;
      const why = take() ? "" : said.textContent;
      if (why) giveUp();
      else step(1);
      return why;
    }

    input.addEventListener("input", begin);
    root.addEventListener("keydown", (event) => {
      event.stopPropagation();
      const command = event.ctrlKey || event.metaKey;
      if (command && event.key.toLowerCase() === "z" && !draft) {
        event.preventDefault();
        views.put(model.get("place"), { undo: true });
      } else if (event.key === "Escape" && draft) giveUp();
      else if (event.key === "Enter" || event.key === "ArrowDown" || event.key === "ArrowUp") {
        event.preventDefault();
        const back = event.key === "ArrowUp" || event.shiftKey;
        const taken = draft || (event.key === "Enter" && !back) ? take() : true;
        if (taken) step(back ? -1 : 1);
      }
    });
    input.addEventListener("focus", () => {
      scale.here();
      if (!draft) input.select();
    });

    const onGo = () => { if (standing.heard() && !draft) show(); };
    const onLatest = () => {
      doubted = Boolean(model.get("latest"));
      if (doubted) say(`◆ ${model.get("latest")}`, true);
    };
    const heard = { "change:go": onGo, "change:latest": onLatest };
    for (const name of ["rows", "expected", "columns", "marks", "unsaved"]) heard[`change:${name}`] = show;
    const end = views.follow(model, waits, heard, show, answered);
    return () => { end(); standing.end(); scale.end(); };
  }
  return { render };
};
