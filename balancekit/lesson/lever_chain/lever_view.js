// The lever chain: key, wippen and hammer as levers, drawn to one scale in mm.
// Python sends pivots, turns along the stroke and grams; here they are only drawn and moved.

const TOP = 240, LEFT = -44, WIDE = 622, GRAM = 1.5;
const INK = "#22303c", LIFT = "#0072b2", PRESS = "#b36b00", SPRING = "#00785a";
const WOOD = "url(#lesson-wood)", DARK = "#8a6a3a";

function make(tag, attributes = {}, ...children) {
  const node = document.createElementNS("http://www.w3.org/2000/svg", tag);
  for (const [name, value] of Object.entries(attributes)) node.setAttribute(name, String(value));
  node.append(...children);
  return node;
}
const up = (y) => TOP - y;
const line = (x1, y1, x2, y2, extra = {}) => make("line",
  { x1, y1: up(y1), x2, y2: up(y2), stroke: "#5b6b79", "stroke-width": 1, ...extra });
const box = (x, y, width, height, extra = {}) => make("rect",
  { x, y: up(y + height), width, height, ...extra });
const disc = (x, y, r, extra = {}) => make("circle", { cx: x, cy: up(y), r, ...extra });
const shape = (points, extra = {}) => make("path",
  { d: "M" + points.map(([x, y]) => `${x} ${up(y)}`).join("L") + "Z", ...extra });

function text(x, y, words, extra = {}) {
  return make("text", { x, y: up(y), class: "lesson-label", ...extra }, words);
}
// Two lines: the word, and under it the number in bold.
function label(x, y, word, number, colour, anchor = "start") {
  return make("g", {}, text(x, y, word, { "text-anchor": anchor }),
    text(x, y, number, { dy: "1.15em", "text-anchor": anchor, class: "lesson-label number", fill: colour }));
}
// What rises with a point of the action: front, heel or strike.
const follow = (name, node) => { node.classList.add("lesson-follow"); node.dataset.rise = name; return node; };
// A value between the samples of the stroke.
function along(it, values, travel) {
  const last = it.travel.length - 1;
  let n = 1;
  while (n < last && it.travel[n] < travel) n += 1;
  const part = (travel - it.travel[n - 1]) / (it.travel[n] - it.travel[n - 1]);
  return values[n - 1] + (values[n] - values[n - 1]) * Math.min(1, Math.max(0, part));
}
// A part with its name: for the pointer, the list beside the drawing and the equation.
const part = (name, ...nodes) => {
  const group = make("g", { class: "lesson-part", "data-part": name });
  group.append(make("title"), ...nodes);
  return group;
};
// A force as an arrow whose length is its grams; it ends at (x, y) and points down or up.
function arrow(x, y, grams, colour, side = 1, from = "above") {
  const long = Math.max(Math.abs(grams) * GRAM, 7), head = 6;
  const tail = from === "above" ? y + side * long : y;
  const tip = from === "above" ? y : y - side * long;
  return make("g", {}, line(x, tail, x, tip + side * head * 0.8, { stroke: colour, "stroke-width": 3.2 }),
    shape([[x, tip], [x - 4.2, tip + side * head * 1.4], [x + 4.2, tip + side * head * 1.4]],
      { fill: colour }));
}
function pivot(x, y) {
  return make("g", {}, disc(x, y, 4.4, { fill: "white", stroke: INK, "stroke-width": 1.6 }),
    disc(x, y, 1.5, { fill: INK }));
}
function scaleUnder(x, y, words) {
  return make("g", {}, box(x - 31, y - 31, 62, 26, { rx: 4, fill: "#34424e" }),
    box(x - 25, y - 27, 50, 18, { rx: 2, fill: "#e6f2e9" }),
    box(x - 22, y - 4.6, 44, 3, { rx: 1.5, fill: "#9aa7b1", stroke: "#5b6b79", "stroke-width": 0.6 }),
    box(x - 2, y - 2, 4, 2, { fill: "#5b6b79" }),
    text(x, y - 22.5, words, { "text-anchor": "middle", class: "lesson-label number" }));
}
function dimension(x1, x2, y, words) {
  const grey = { stroke: "#5b6b79", "stroke-width": 0.9 };
  return make("g", {}, line(x1, y, x2, y, grey), line(x1, y - 3, x1, y + 3, grey),
    line(x2, y - 3, x2, y + 3, grey), text((x1 + x2) / 2, y - 2, words, { "text-anchor": "middle", dy: "0.95em" }));
}

// The three levers, each in its own group that turns about its pivot.
function keyParts(scene, it) {
  const { arm, heights: h } = it, group = make("g", { class: "lesson-key" });
  const stick = { fill: WOOD, stroke: DARK, "stroke-width": 1 };
  group.append(part("stick", box(-13, 0, 410, h.key, { rx: 2.5, ...stick }),
    box(-14.5, h.key - 3.5, 152, 4.5, { rx: 1.6, fill: "#fffdf6", stroke: "#9aa7b1", "stroke-width": 0.8 }),
    box(-14.5, 3, 3, h.key - 4, { rx: 1, fill: "#fffdf6", stroke: "#9aa7b1", "stroke-width": 0.8 })));
  const plugs = part("plug");
  for (const [mass, place] of scene.plugs) {
    const r = Math.sqrt(mass / (Math.PI * 9.5 * 0.01134));
    plugs.append(disc(arm - place, h.key / 2, r, { fill: "#7b8792", stroke: "#3c4852", "stroke-width": 1.2 }),
      make("path", { d: `M${arm - place - r * 0.5} ${up(h.key / 2)}h${r}m${-r / 2} ${-r / 2}v${r}`,
        stroke: "#c7ced4", "stroke-width": 1, fill: "none" }));
  }
  group.append(plugs);
  if (scene.show.includes("wippen")) {
    group.append(part("capstan", box(it.capstan - 2, h.key, 4, h.capstan - h.key - 5, { fill: "#a57c1b" }),
      shape([[it.capstan - 6, h.capstan - 7], [it.capstan + 6, h.capstan - 7],
        [it.capstan + 4, h.capstan - 1], [it.capstan, h.capstan], [it.capstan - 4, h.capstan - 1]],
      { fill: "#d9b24a", stroke: "#7c5c10", "stroke-width": 0.8 })));
  }
  const stack = part("weight");
  if (scene.weight > 0) {
    const high = Math.min(6 + scene.weight * 0.55, 56);
    stack.append(box(-11, h.key + 1, 22, high, { rx: 3, fill: "url(#lesson-brass)", stroke: "#7c5c10",
      "stroke-width": 1 }), box(-3.5, h.key + 1 + high, 7, 5, { rx: 2, fill: "#d9b24a", stroke: "#7c5c10" }));
  }
  group.append(stack, part("measuring_point", shape([[0, h.key], [-3, h.key + 5], [3, h.key + 5]], { fill: INK, opacity: 0.55 })),
    disc(0, h.key, 0.4, { class: "lesson-point measuring_point", fill: "none" }));
  return group;
}
function wippenParts(scene, it) {
  const h = it.heights, [x, y] = it.pivots.wippen, group = make("g", { class: "lesson-wippen" });
  const wood = { fill: WOOD, stroke: DARK, "stroke-width": 1, "stroke-linejoin": "round" };
  const top = it.pivots.shank[1] - h.knuckle_drop - h.knuckle_radius;
  group.append(
    part("wippen", shape([[it.top - 17, y + 4], [it.top - 17, y - 4], [it.capstan - 12, y - 8], [x + 4, y - 5],
      [x + 4, y + 5], [it.capstan, y + 8]], wood)),
    part("heel", shape([[it.capstan - 10, y - 7], [it.capstan + 10, y - 7], [it.capstan + 7, h.capstan + 3],
      [it.capstan - 7, h.capstan + 3]], wood), box(it.capstan - 8, h.capstan, 16, 3.6, { rx: 1.2, fill: "#8c1c2c" })),
    part("jack", box(it.top - 5, y + 2, 10, top - y - 7, { rx: 2, ...wood }),
      box(it.top - 17, top - 6, 34, 6, { rx: 2.5, ...wood })),
    disc(it.top, top, 0.4, { class: "lesson-point jack_top", fill: "none" }));
  if (scene.grams.spring > 0) {
    group.append(part("spring", make("path", { d: `M${x - 4} ${up(y + 14)}a6 6 0 1 0 -8 -6l${it.capstan - x + 18} 4`,
      stroke: SPRING, "stroke-width": 2, fill: "none" })));
  }
  return group;
}
function hammerParts(_scene, it) {
  const h = it.heights, [x, y] = it.pivots.shank, group = make("g", { class: "lesson-shank" });
  const wood = { fill: WOOD, stroke: DARK, "stroke-width": 1, "stroke-linejoin": "round" };
  const tip = y + h.strike, lean = -Math.tan(it.turns.shank.at(-1) * Math.PI / 180);
  const at = (along, high) => [it.hammer + (h.strike - high) * lean + along, y + high];
  group.append(
    part("shank", shape([[x - 4, y + 4], [x - 4, y - 4], [it.hammer + lean * h.strike + 4, y - 3], [it.hammer + lean * h.strike + 4, y + 3]], wood)),
    part("knuckle", disc(it.top, y - h.knuckle_drop, h.knuckle_radius, { fill: "#c9a27e", stroke: "#7a4a22", "stroke-width": 1.4 })));
  const head = part("hammer", shape([at(-6, -9), at(6, -9), at(6.5, 9), at(5.5, 20), at(0, 33), at(-5.5, 20), at(-6.5, 9)], wood));
  group.append(head);
  const felt = [at(-6.5, 8), at(-11, 13), at(-13.5, 20), at(-13.5, 27), at(-11, 34), at(-7, 40.5), at(-3, 44.8),
    at(0, 46), at(3, 44.8), at(7, 40.5), at(11, 34), at(13.5, 27), at(13.5, 20), at(11, 13), at(6.5, 8),
    at(5.5, 20), at(0, 32), at(-5.5, 20)];
  head.append(shape(felt, { fill: "#f7f3e8", stroke: "#6d6a60", "stroke-width": 1.1, "stroke-linejoin": "round" }));
  group.append(disc(it.hammer, tip, 0.4, { class: "lesson-point strike_point", fill: "none" }));
  return group;
}

function rails(scene, it) {
  const group = make("g"), [px] = it.pivots.key;
  if (scene.show.includes("key")) {
    group.append(part("balance_pin", box(px - 26, -24, 52, 15, { fill: "#b9c3cb", stroke: "#5b6b79", rx: 2 }),
      shape([[px - 9, -9], [px + 9, -9], [px, 0]], { fill: "#5b6b79" }),
      line(px, 0, px, it.heights.key + 7, { stroke: "#9aa7b1", "stroke-width": 3 })));
  }
  if (scene.show.includes("wippen")) {
    const [x, y] = it.pivots.wippen;
    group.append(part("flange", box(x + 1, y - 9, 26, 18, { rx: 3, fill: "#b9c3cb", stroke: "#5b6b79" })));
  }
  if (scene.show.includes("hammer")) {
    const [x, y] = it.pivots.shank;
    group.append(part("flange", box(x - 27, y - 9, 26, 18, { rx: 3, fill: "#b9c3cb", stroke: "#5b6b79" })));
    if (!scene.scale) {
      const strings = part("string");
      for (const high of [0, 1.6, 3.2]) {
        strings.append(line(it.hammer - 60, it.string + 0.8 + high, it.hammer + 70, it.string + 0.8 + high,
          { stroke: "#5b6b79", "stroke-width": 0.9 }));
      }
      group.append(strings, text(it.hammer + 73, it.string - 2, "string"),
        part("let_off", line(it.hammer - 34, it.string - it.gap, it.hammer - 14, it.string - it.gap,
          { stroke: PRESS, "stroke-width": 1.6, "stroke-dasharray": "4 2" })),
        part("damper", box(it.hammer - 58, it.string + 4.4, 14, 6, { rx: 1.5, fill: "#f7f3e8", stroke: "#6d6a60" }),
          line(it.hammer - 51, it.string + 10, it.hammer - 51, it.string + 18, { stroke: "#6d6a60", "stroke-width": 2 })));
    }
  }
  return group;
}
function forces(scene, it) {
  const group = make("g"), grams = scene.grams, h = it.heights;
  if (scene.scale) {
    const at = { key: [0, 0], wippen: [it.capstan, h.capstan], hammer: [it.hammer, it.pivots.shank[1] - 9] };
    group.append(scaleUnder(...at[scene.scale.part], scene.scale.text));
    return group;
  }
  if (Math.abs(grams.front ?? 0) > 0.05) {
    const back = grams.front < 0;
    group.append(follow("front", arrow(0, back ? -4 - Math.abs(grams.front) * GRAM : -4, grams.front, PRESS,
      back ? -1 : 1, "below")), label(9, -15, "front weight", scene.texts.front, PRESS));
  }
  if (grams.weight > 0) group.append(label(16, h.key + 27, scene.texts.weight_word, scene.texts.weight, PRESS));
  if ("wippen" in grams) {
    group.append(follow("heel", arrow(it.capstan, it.heights.capstan, grams.wippen, LIFT)),
      label(it.capstan + 13, h.capstan - 14, "wippen weight", scene.texts.wippen, LIFT));
  }
  if ("strike" in grams) {
    group.append(follow("strike", arrow(it.hammer, it.pivots.shank[1] - 12, grams.strike, LIFT, 1, "below")),
      label(it.hammer + 22, it.pivots.shank[1] + 6, "strike weight", scene.texts.strike, LIFT));
  }
  if (grams.spring > 0) {
    // The spring turns the wippen up: it carries at the heel.
    group.append(follow("heel", arrow(it.capstan + 13, it.heights.capstan + 4 + grams.spring * GRAM, grams.spring, SPRING, -1)),
      label(it.pivots.wippen[0] + 33, it.pivots.wippen[1] + 3, "spring relief", scene.texts.spring, SPRING));
  }
  return group;
}
function lengths(scene, it) {
  const group = make("g");
  const places = scene.plugs.map(([, place]) => place);
  if (places.length) {
    const middle = places.reduce((sum, place) => sum + place, 0) / places.length;
    group.append(dimension(it.arm - middle, it.arm, -32, scene.texts.lead));
  }
  if (scene.show.includes("wippen")) group.append(dimension(it.arm, it.capstan, -56, scene.texts.capstan));
  group.append(dimension(0, it.arm, -56, scene.texts.arm));
  return group;
}

function draw(model, svg) {
  const scene = model.get("scene"), it = scene.levers;
  svg.replaceChildren(make("defs", {},
    make("linearGradient", { id: "lesson-wood", x1: 0, y1: 0, x2: 0, y2: 1 },
      make("stop", { offset: 0, "stop-color": "#f3e2bd" }), make("stop", { offset: 1, "stop-color": "#dcbf8b" })),
    make("linearGradient", { id: "lesson-brass", x1: 0, y1: 0, x2: 1, y2: 0 },
      make("stop", { offset: 0, "stop-color": "#b98f2c" }), make("stop", { offset: 0.35, "stop-color": "#f2dc94" }),
      make("stop", { offset: 1, "stop-color": "#a97f20" }))));
  svg.setAttribute("aria-label", scene.words);
  svg.setAttribute("viewBox", `${LEFT} ${up(scene.top)} ${WIDE} ${scene.top - scene.floor}`);
  svg.append(rails(scene, it));
  const groups = {};
  const parts = { key: keyParts, wippen: wippenParts, hammer: hammerParts };
  for (const name of ["key", "wippen", "hammer"]) {
    if (!scene.show.includes(name)) continue;
    const lever = name === "hammer" ? "shank" : name;
    svg.append(groups[lever] = parts[name](scene, it), pivot(...it.pivots[lever]));
  }
  const words = model.get("parts"), holds = model.get("holds");
  const arrows = forces(scene, it);
  arrows.setAttribute("pointer-events", "none"); // what lies below can be taken hold of
  svg.append(arrows);
  for (const node of svg.querySelectorAll(".lesson-part")) {
    const name = node.dataset.part;
    node.querySelector("title").textContent = words[name]?.word ?? name;
    if (holds[name] && node.childElementCount > 1) {
      node.classList.add("held");
      for (const [attribute, value] of Object.entries({ tabindex: 0, role: "slider",
        "aria-label": `Move: ${words[name]?.word}`, "aria-valuenow": holds[name].value,
        "aria-valuetext": holds[name].text })) node.setAttribute(attribute, value);
    }
  }
  if (!scene.scale) svg.append(lengths(scene, it));
  const said = [0, 1].map((row) => text(34, 190, "", { dy: `${row * 1.3}em`, class: "lesson-label travel" }));
  if (scene.show.includes("hammer") && !scene.scale && !scene.hidden) svg.append(...said);
  return { groups, said, following: svg.querySelectorAll(".lesson-follow") };
}
function turn(model, drawn, travel) {
  const scene = model.get("scene"), it = scene.levers;
  for (const [name, group] of Object.entries(drawn.groups)) {
    const [x, y] = it.pivots[name];
    const degrees = scene.scale ? 0 : -along(it, it.turns[name], travel);
    group.setAttribute("transform", `rotate(${degrees} ${x} ${up(y)})`);
  }
  for (const node of drawn.following) {
    const rises = it.rises[node.dataset.rise];
    const rise = scene.scale ? 0 : along(it, rises, travel) - along(it, rises, it.let_off / 2);
    node.setAttribute("transform", `translate(0 ${-rise})`);
  }
  const way = along(it, it.way, travel), ratio = along(it, it.ratios, travel);
  drawn.said[0].textContent = `key down ${travel.toFixed(1)} mm of ${it.let_off.toFixed(1)} mm to let-off`;
  drawn.said[1].textContent = `hammer up ${way.toFixed(1)} mm; ratio here ${ratio.toFixed(2)}, at half stroke ${it.ratio.toFixed(2)}`;
}

// Name the parts, and light up a part with its term of the equation and its place in the list.
function light(root, name) {
  const parts = root.parts ?? {};
  const term = parts[name]?.term;
  for (const node of root.panel.querySelectorAll("[data-part], [data-term]")) {
    node.classList.toggle("lit", name !== "" &&
      (node.dataset.part === name || (term && node.dataset.term === term)));
  }
  root.caption.textContent = parts[name] ? `${parts[name].word}: ${parts[name].meaning}` : "";
}
function listen(model, el, caption) {
  const root = { panel: el.closest(".bench-panel") ?? el, caption, parts: model.get("parts") };
  const named = (event) => {
    const node = event.target.closest?.("[data-part], [data-term]");
    if (!node) return "";
    return node.dataset.part ??
      Object.keys(root.parts).find((name) => root.parts[name].term === node.dataset.term) ?? "";
  };
  const on = (event) => light(root, named(event));
  const off = () => light(root, "");
  for (const kind of ["pointerover", "focusin"]) root.panel.addEventListener(kind, on);
  root.panel.addEventListener("pointerleave", off);
  return () => {
    for (const kind of ["pointerover", "focusin"]) root.panel.removeEventListener(kind, on);
    root.panel.removeEventListener("pointerleave", off);
  };
}

// Take hold of a part: by the pointer, or with the arrow keys.
function grasp(model, svg) {
  const holds = new Proxy({}, { get: (_, name) => model.get("holds")[name] });
  // The way since it was taken hold of is told, from where: a message may swallow those before it.
  let number = 0, start = null, keyed = null;
  const send = (name, from, by) => {
    model.set("dragged", { name, from, by, number: ++number });
    model.save_changes();
  };
  const find = (event) => event.target.closest?.(".lesson-part");
  const down = (event) => {
    const name = find(event)?.dataset.part;
    if (!holds[name]) return;
    event.preventDefault();
    start = { name, x: event.clientX, y: event.clientY, from: holds[name].value, by: 0 };
    svg.setPointerCapture(event.pointerId);
  };
  const move = (event) => {
    if (!start) return;
    const scale = svg.clientWidth / WIDE, { along: way, step } = holds[start.name];
    const far = way === "x" ? (event.clientX - start.x) / scale : (start.y - event.clientY) / scale;
    const by = Math.round(far * (way === "x" ? 1 : 0.1 * Math.max(1, step * 5)) / step) * step;
    if (by === start.by) return;
    start.by = by;
    send(start.name, start.from, by);
  };
  const stop = () => { start = null; };
  const key = (event) => {
    const name = find(event)?.dataset.part, sign = { ArrowRight: 1, ArrowUp: 1, ArrowLeft: -1, ArrowDown: -1 }[event.key];
    if (!holds[name] || !sign) return;
    event.preventDefault(); event.stopPropagation();
    const now = performance.now();
    if (keyed?.name !== name || now - keyed.time > 800) keyed = { name, from: holds[name].value, by: 0 };
    keyed.time = now;
    keyed.by += sign * holds[name].step;
    send(name, keyed.from, keyed.by);
  };
  svg.addEventListener("pointerdown", down);
  svg.addEventListener("pointermove", move);
  svg.addEventListener("pointerup", stop);
  svg.addEventListener("pointercancel", stop);
  svg.addEventListener("keydown", key);
}

function render({ model, el }) {
  const svg = make("svg", { role: "group", class: "lesson-levers", "data-lm-suppress-shortcuts": "true" });
  const caption = document.createElement("div");
  caption.className = "lesson-caption";
  el.append(svg, caption);
  let drawn = draw(model, svg), shown = model.get("move").to, frame = 0;
  const place = (travel) => { shown = travel; turn(model, drawn, travel); };
  const calm = window.matchMedia("(prefers-reduced-motion: reduce)");

  function move() {
    cancelAnimationFrame(frame);
    const order = model.get("move");
    if (order.seconds <= 0 || calm.matches) { place(order.back ? order.from : order.to); return; }
    const began = performance.now();
    const step = (now) => {
      let part = (now - began) / 1000 / order.seconds;
      const done = part >= (order.back ? 2 : 1);
      if (order.back && part > 1) part = Math.max(0, 2 - part);
      part = Math.min(part, 1);
      place(order.from + (order.to - order.from) * (order.back ? (1 - Math.cos(Math.PI * part)) / 2 : part * part));
      if (!done) frame = requestAnimationFrame(step);
    };
    frame = requestAnimationFrame(step);
  }
  const redraw = () => {
    const held = svg.contains(document.activeElement) ? document.activeElement.dataset.part : "";
    drawn = draw(model, svg);
    if (held) svg.querySelector(`.held[data-part="${held}"]`)?.focus({ preventScroll: true });
    place(Math.min(shown, model.get("scene").levers.let_off));
  };
  place(shown);
  grasp(model, svg);
  let quiet = () => {};
  // The panel around it is there only once this drawing stands in it.
  requestAnimationFrame(() => {
    showPictures(model.get("pictures"), svg, el);
    quiet = listen(model, el, caption);
  });
  model.on("change:scene change:holds", redraw);
  model.on("change:move", move);
  // Words stay readable where the page is narrow.
  const fit = new ResizeObserver(() => {
    const scale = svg.clientWidth / WIDE;
    if (scale > 0) svg.style.setProperty("--label", `${Math.max(11, 12.6 / scale)}px`);
  });
  fit.observe(svg);
  return () => {
    quiet();
    fit.disconnect();
    cancelAnimationFrame(frame);
    model.off("change:scene change:holds", redraw);
    model.off("change:move", move);
  };
}
export default { render };
