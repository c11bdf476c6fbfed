// One key drawn from the side, to scale: click into it to record a plug, click a plug to take it out.
// Arrows move a line along the key, Enter puts a plug there or takes it out, a digit is a count.

const SVG = "http://www.w3.org/2000/svg";

function drawn(name, attributes, text) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  if (text !== undefined) made.textContent = text;
  return made;
}

function render({ model, el }) {
  const root = document.createElement("div");
  root.className = "bench-record";
  root.tabIndex = 0;
  root.setAttribute("role", "application");
  root.setAttribute("data-lm-suppress-shortcuts", "true");
  const said = document.createElement("div");
  said.className = "bench-record-said";
  said.setAttribute("role", "status");
  said.setAttribute("aria-live", "polite");
  el.append(root, said);
  let cursor = 100;

  const far = (plug, place) => Math.abs(plug.place - place);
  const near = (place) => model.get("plugs")
    .filter((plug) => far(plug, place) <= Math.max(plug.diameter / 2, 2))
    .sort((one, other) => far(one, place) - far(other, place))[0];
  function press(place) {
    const rounded = Math.round(place * 2) / 2, plug = near(rounded);
    model.send(plug ? { kind: "take", place: plug.place } : { kind: "put", place: rounded });
  }
  function draw() {
    const stick = model.get("stick"), plugs = model.get("plugs");
    if (!stick.length) return;
    const length = stick.length, height = stick.height;
    cursor = Math.min(cursor, length);  // the key before may have been longer
    const svg = drawn("svg", { viewBox: `-8 -16 ${length + 16} ${height + 56}`, width: "100%",
      "aria-hidden": "true" });
    svg.append(drawn("rect", { x: 0, y: 0, width: length, height, class: "wood" }));
    for (const zone of stick.zones) {
      svg.append(drawn("rect", { x: zone.from, y: 0, width: zone.to - zone.from, height, class: "zone" }));
    }
    svg.append(drawn("line", { x1: stick.pin, x2: stick.pin, y1: -2, y2: height + 2, class: "pin" }));
    svg.append(drawn("text", { x: stick.pin, y: -5, class: "word middle" }, "balance pin"));
    svg.append(drawn("text", { x: 0, y: -5, class: "word" }, "front edge"));
    for (let mm = 0; mm <= length; mm += 10) {
      const long = mm % 50 === 0;
      svg.append(drawn("line", { x1: mm, x2: mm, y1: height + 2, y2: height + (long ? 8 : 5), class: "tick" }));
      if (long) svg.append(drawn("text", { x: mm, y: height + 17, class: "word middle" }, String(mm)));
    }
    let before = -Infinity, low = false;
    for (const plug of plugs) {
      // Words of neighbours that would touch stand in two rows.
      low = plug.place - before < 24 && !low;
      before = plug.place;
      svg.append(drawn("circle", { cx: plug.place, cy: height / 2, r: plug.diameter / 2, class: "plug" }));
      svg.append(drawn("text", { x: plug.place, y: height + (low ? 38 : 26), class: "place middle" },
        String(Math.round(plug.place * 10) / 10)));
    }
    svg.append(drawn("line", { x1: cursor, x2: cursor, y1: -12, y2: height + 12, class: "cursor" }));
    root.replaceChildren(svg);
    root.setAttribute("aria-label", `${model.get("name")}: ${model.get("state")}. ` +
      `Line at ${cursor} mm from the front edge.`);
    said.textContent = model.get("said");
    svg.addEventListener("click", (event) => {
      const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
      if (point.x < 0 || point.x > length || point.y < -6 || point.y > height + 6) return;
      cursor = Math.round(point.x);
      root.focus({ preventScroll: true });
      press(point.x);
    });
  }
  root.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey || event.key === "Tab" || event.key === "Escape") return;
    event.stopPropagation();
    const length = model.get("stick").length ?? 0, step = event.shiftKey ? 10 : 1;
    const moves = { ArrowLeft: -step, ArrowRight: step, PageUp: -10, PageDown: 10 };
    if (event.key in moves) {
      cursor = Math.max(0, Math.min(length, cursor + moves[event.key]));
      draw();
    } else if (event.key === "Enter" || event.key === " ") press(cursor);
    else if (/^[0-9]$/.test(event.key)) model.send({ kind: "count", count: Number(event.key) });
    else if (event.key.toLowerCase() === "c") model.send({ kind: "copy" });
    else if (event.key === "ArrowDown") model.send({ kind: "step", by: 1 });
    else if (event.key === "ArrowUp") model.send({ kind: "step", by: -1 });
    else return;
    event.preventDefault();
  });
  const watched = ["stick", "plugs", "state", "said", "name"].map((name) => `change:${name}`);
  for (const name of watched) model.on(name, draw);
  draw();
  return () => { for (const name of watched) model.off(name, draw); };
}

export default { render };
