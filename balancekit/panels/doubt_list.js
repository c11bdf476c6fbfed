// What is doubted, one line each: take what would fit, keep what was read, or show the key.

function render({ model, el }) {
  const list = document.createElement("ul");
  list.className = "bench-doubts";
  list.setAttribute("data-lm-suppress-shortcuts", "true");

  const action = (line, kind, text) => {
    const button = document.createElement("button");
    button.type = "button";
    button.className = kind;
    button.dataset.line = `${kind} ${line.id}`;
    button.textContent = text;
    button.setAttribute("aria-label", `${text}: ${line.key}, ${line.words}`);
    button.addEventListener("click", () => model.send({ kind, id: line.id }));
    return button;
  };
  const draw = () => {
    const focused = list.contains(document.activeElement) ? document.activeElement : null;
    const at = focused ? [...list.querySelectorAll("button")].indexOf(/** @type {any} */ (focused)) : -1;
    list.replaceChildren(...model.get("lines").map((line) => {
      const item = document.createElement("li");
      const key = document.createElement("b");
      key.textContent = `${line.key} `;
      const said = document.createElement("span");
      said.className = "said";
      said.textContent = `${line.words}.`;
      const actions = document.createElement("span");
      actions.className = "actions";
      if (line.take) actions.append(action(line, "take", line.take));
      if (line.keep) actions.append(action(line, "keep", "keep it"));
      if (line.show) actions.append(action(line, "show", "show this key"));
      item.append(key, said, ` ${line.advice}`, actions);
      return item;
    }));
    if (!focused) return;
    const buttons = [...list.querySelectorAll("button")];
    const same = buttons.find((each) => each.dataset.line === focused.dataset.line);
    (same ?? buttons[Math.min(at, buttons.length - 1)])?.focus({ preventScroll: true });
  };
  draw();
  model.on("change:lines", draw);
  el.append(list);
  return () => model.off("change:lines", draw);
}

export default { render };
