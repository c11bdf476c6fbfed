// The drawn keyboard under a chart: click a key or use the arrows.
// Key sticks are evenly spaced, so every key has the same width, as under the chart.

function draw(model, root) {
  const keys = model.get("sticks");
  const left = model.get("left"), right = model.get("right");
  root.style.paddingLeft = left + "px";
  root.style.paddingRight = right + "px";
  const board = document.createElement("div");
  board.className = "bench-keyboard";
  board.tabIndex = 0;
  board.setAttribute("role", "slider");
  board.setAttribute("aria-label", "Key in hand");
  board.setAttribute("aria-valuemin", "1");
  board.setAttribute("aria-valuemax", String(keys.length));
  board.setAttribute("data-lm-suppress-shortcuts", "true");
  keys.forEach((key, place) => {
    const stick = document.createElement("div");
    stick.className = "bench-stick " + key.colour;
    stick.dataset.key = String(place + 1);
    stick.title = `key ${place + 1}, ${key.note_name}`;
    board.appendChild(stick);
  });
  root.appendChild(board);
  return board;
}

function render({ model, el }) {
  const root = document.createElement("div");
  root.className = "bench-keyboard-frame";
  el.appendChild(root);
  let board = null;

  function showMarks() {
    const marks = model.get("marks");
    for (const stick of board.children) {
      const mark = marks[stick.dataset.key];
      stick.classList.toggle("marked", Boolean(mark));
      const key = model.get("sticks")[Number(stick.dataset.key) - 1];
      stick.title = `key ${stick.dataset.key}, ${key.note_name}` + (mark ? `: ${mark}` : "");
    }
  }
  function showKey() {
    const key = model.get("key");
    for (const stick of board.children) {
      stick.classList.toggle("in-hand", Number(stick.dataset.key) === key);
    }
    const held = model.get("sticks")[key - 1];
    if (!held) return;
    const mark = model.get("marks")[String(key)];
    board.setAttribute("aria-valuenow", String(key));
    board.setAttribute("aria-valuetext",
      `key ${key}, ${held.note_name}, ${held.colour}` + (mark ? `, ${mark}` : ""));
  }
  function take(key) {
    const count = model.get("sticks").length;
    model.set("key", Math.max(1, Math.min(count, key)));
    model.save_changes();
  }
  function build() {
    root.replaceChildren();
    board = draw(model, root);
    board.addEventListener("click", (event) => {
      const stick = event.target.closest(".bench-stick");
      if (stick) take(Number(stick.dataset.key));
      board.focus();
    });
    board.addEventListener("keydown", (event) => {
      const marked = Object.keys(model.get("marks")).map(Number).sort((a, b) => a - b);
      const key = model.get("key");
      const steps = {
        ArrowRight: key + 1, ArrowLeft: key - 1, ArrowUp: key + 12, ArrowDown: key - 12,
        PageUp: key + 12, PageDown: key - 12, Home: 1, End: model.get("sticks").length,
        n: marked.find((k) => k > key) ?? key,
        p: marked.reverse().find((k) => k < key) ?? key,
      };
      if (event.key in steps && !event.ctrlKey && !event.metaKey && !event.altKey) {
        event.preventDefault();
        event.stopPropagation();
        take(steps[event.key]);
      }
    });
    showMarks();
    showKey();
  }
  build();
  model.on("change:sticks", build);
  model.on("change:key", showKey);
  model.on("change:marks", () => { showMarks(); showKey(); });
  return () => {
    model.off("change:sticks", build);
    model.off("change:key", showKey);
    model.off("change:marks");
  };
}

export default { render };
