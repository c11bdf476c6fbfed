// The lever chain: key, wippen and hammer as levers, drawn to one scale in mm.
// Python sends pivots, turns and grams; here they are only drawn and moved.

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
// What rises with a point of the action: so many mm for one mm of key travel.
const follow = (rise, node) => { node.classList.add("lesson-follow"); node.dataset.rise = rise; return node; };
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
  group.append(box(-13, 0, 410, h.key, { rx: 2.5, ...stick }),
    box(-14.5, h.key - 3.5, 152, 4.5, { rx: 1.6, fill: "#fffdf6", stroke: "#9aa7b1", "stroke-width": 0.8 }),
    box(-14.5, 3, 3, h.key - 4, { rx: 1, fill: "#fffdf6", stroke: "#9aa7b1", "stroke-width": 0.8 }));
  for (const [mass, place] of scene.plugs) {
    const r = Math.sqrt(mass / (Math.PI * 9.5 * 0.01134));
    group.append(disc(arm - place, h.key / 2, r, { fill: "#7b8792", stroke: "#3c4852", "stroke-width": 1.2 }),
      make("path", { d: `M${arm - place - r * 0.5} ${up(h.key / 2)}h${r}m${-r / 2} ${-r / 2}v${r}`,
        stroke: "#c7ced4", "stroke-width": 1, fill: "none" }));
  }
  if (scene.show.includes("wippen")) {
    group.append(box(it.capstan - 2, h.key, 4, h.capstan - h.key - 5, { fill: "#a57c1b" }),
      shape([[it.capstan - 6, h.capstan - 7], [it.capstan + 6, h.capstan - 7],
        [it.capstan + 4, h.capstan - 1], [it.capstan, h.capstan], [it.capstan - 4, h.capstan - 1]],
      { fill: "#d9b24a", stroke: "#7c5c10", "stroke-width": 0.8 }));
  }
  const stack = make("g", { class: "lesson-weight" });
  if (scene.weight > 0) {
    const high = Math.min(6 + scene.weight * 0.55, 56);
    stack.append(box(-11, h.key + 1, 22, high, { rx: 3, fill: "url(#lesson-brass)", stroke: "#7c5c10",
      "stroke-width": 1 }), box(-3.5, h.key + 1 + high, 7, 5, { rx: 2, fill: "#d9b24a", stroke: "#7c5c10" }));
  }
  group.append(stack, disc(0, h.key, 0.4, { class: "lesson-point measuring_point", fill: "none" }));
  return group;
}
function wippenParts(scene, it) {
  const h = it.heights, [x, y] = it.pivots.wippen, group = make("g", { class: "lesson-wippen" });
  const wood = { fill: WOOD, stroke: DARK, "stroke-width": 1, "stroke-linejoin": "round" };
  const top = it.pivots.shank[1] - h.knuckle_drop - h.knuckle_radius;
  group.append(
    shape([[it.top - 17, y + 4], [it.top - 17, y - 4], [it.capstan - 12, y - 8], [x + 4, y - 5],
      [x + 4, y + 5], [it.capstan, y + 8]], wood),
    shape([[it.capstan - 10, y - 7], [it.capstan + 10, y - 7], [it.capstan + 7, h.capstan + 3],
      [it.capstan - 7, h.capstan + 3]], wood),
    box(it.capstan - 8, h.capstan, 16, 3.6, { rx: 1.2, fill: "#8c1c2c" }),
    box(it.top - 5, y + 2, 10, top - y - 7, { rx: 2, ...wood }),
    box(it.top - 17, top - 6, 34, 6, { rx: 2.5, ...wood }),
    disc(it.top, top, 0.4, { class: "lesson-point jack_top", fill: "none" }));
  return group;
}
function hammerParts(scene, it) {
  const h = it.heights, [x, y] = it.pivots.shank, group = make("g", { class: "lesson-shank" });
  const wood = { fill: WOOD, stroke: DARK, "stroke-width": 1, "stroke-linejoin": "round" };
  const tip = y + h.strike, lean = -Math.tan(it.let_off / 2 * it.turns.shank * Math.PI / 180);
  const at = (along, high) => [it.hammer + (h.strike - high) * lean + along, y + high];
  group.append(
    shape([[x - 4, y + 4], [x - 4, y - 4], [it.hammer + lean * h.strike + 4, y - 3], [it.hammer + lean * h.strike + 4, y + 3]], wood),
    disc(it.top, y - h.knuckle_drop, h.knuckle_radius, { fill: "#c9a27e", stroke: "#7a4a22", "stroke-width": 1.4 }),
    shape([at(-6, -9), at(6, -9), at(6.5, 9), at(5.5, 20), at(0, 33), at(-5.5, 20), at(-6.5, 9)], wood));
  const felt = [at(-6.5, 8), at(-11, 13), at(-13.5, 20), at(-13.5, 27), at(-11, 34), at(-7, 40.5), at(-3, 44.8),
    at(0, 46), at(3, 44.8), at(7, 40.5), at(11, 34), at(13.5, 27), at(13.5, 20), at(11, 13), at(6.5, 8),
    at(5.5, 20), at(0, 32), at(-5.5, 20)];
  group.append(shape(felt, { fill: "#f7f3e8", stroke: "#6d6a60", "stroke-width": 1.1, "stroke-linejoin": "round" }),
    disc(it.hammer, tip, 0.4, { class: "lesson-point strike_point", fill: "none" }));
  return group;
}

function rails(scene, it) {
  const group = make("g"), [px] = it.pivots.key;
  if (scene.show.includes("key")) {
    group.append(box(px - 26, -24, 52, 15, { fill: "#b9c3cb", stroke: "#5b6b79", rx: 2 }),
      shape([[px - 9, -9], [px + 9, -9], [px, 0]], { fill: "#5b6b79" }),
      line(px, 0, px, it.heights.key + 7, { stroke: "#9aa7b1", "stroke-width": 3 }));
  }
  if (scene.show.includes("wippen")) {
    const [x, y] = it.pivots.wippen;
    group.append(box(x + 1, y - 9, 26, 18, { rx: 3, fill: "#b9c3cb", stroke: "#5b6b79" }));
  }
  if (scene.show.includes("hammer")) {
    const [x, y] = it.pivots.shank;
    group.append(box(x - 27, y - 9, 26, 18, { rx: 3, fill: "#b9c3cb", stroke: "#5b6b79" }));
    if (!scene.scale) {
      for (const high of [0, 1.6, 3.2]) {
        group.append(line(it.hammer - 60, it.string + 0.8 + high, it.hammer + 70, it.string + 0.8 + high,
          { stroke: "#5b6b79", "stroke-width": 0.9 }));
      }
      group.append(text(it.hammer + 73, it.string - 2, "string"));
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
    group.append(follow(-1, arrow(0, back ? -4 - Math.abs(grams.front) * GRAM : -4, grams.front, PRESS,
      back ? -1 : 1, "below")), label(9, -15, "front weight", scene.texts.front, PRESS));
  }
  if (grams.weight > 0) group.append(label(16, h.key + 27, scene.texts.weight_word, scene.texts.weight, PRESS));
  if ("wippen" in grams) {
    group.append(follow((it.capstan - it.arm) / it.arm * 0.6, arrow(it.capstan + 26, it.pivots.wippen[1] + 9, grams.wippen, LIFT)),
      label(it.pivots.wippen[0] + 31, it.pivots.wippen[1] + 6, "wippen weight", scene.texts.wippen, LIFT));
  }
  if ("strike" in grams) {
    group.append(follow(it.ratio, arrow(it.hammer, it.pivots.shank[1] - 12, grams.strike, LIFT, 1, "below")),
      label(it.hammer + 22, it.pivots.shank[1] + 6, "strike weight", scene.texts.strike, LIFT));
  }
  if (grams.spring > 0) {
    group.append(arrow(it.capstan + 36, it.pivots.wippen[1] - 9, grams.spring, SPRING, -1),
      label(it.capstan + 46, it.pivots.wippen[1] - 28, "spring relief", scene.texts.spring, SPRING));
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
  svg.append(forces(scene, it));
  if (!scene.scale) svg.append(lengths(scene, it));
  const said = [0, 1].map((row) => text(34, 190, "", { dy: `${row * 1.3}em`, class: "lesson-label travel" }));
  if (scene.show.includes("hammer") && !scene.scale && !scene.hidden) svg.append(...said);
  return { groups, said, following: svg.querySelectorAll(".lesson-follow") };
}
function turn(model, drawn, travel) {
  const it = model.get("scene").levers, away = travel - it.let_off / 2;
  for (const [name, group] of Object.entries(drawn.groups)) {
    const [x, y] = it.pivots[name], sign = name === "wippen" ? 1 : -1;
    const degrees = model.get("scene").scale ? 0 : sign * it.turns[name] * away;
    group.setAttribute("transform", `rotate(${degrees} ${x} ${up(y)})`);
  }
  for (const node of drawn.following) {
    node.setAttribute("transform", `translate(0 ${-node.dataset.rise * away})`);
  }
  drawn.said[0].textContent = `key down ${travel.toFixed(1)} mm of ${it.let_off.toFixed(1)} mm`;
  drawn.said[1].textContent = `hammer up ${(travel * it.ratio).toFixed(1)} mm, ${it.ratio.toFixed(2)} times as far`;
}

function render({ model, el }) {
  const svg = make("svg", { role: "img", class: "lesson-levers" });
  el.appendChild(svg);
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
  const redraw = () => { drawn = draw(model, svg); place(Math.min(shown, model.get("scene").levers.let_off)); };
  place(shown);
  model.on("change:scene", redraw);
  model.on("change:move", move);
  // Words stay readable where the page is narrow.
  const fit = new ResizeObserver(() => {
    const scale = svg.clientWidth / WIDE;
    if (scale > 0) svg.style.setProperty("--label", `${Math.max(11, 12.6 / scale)}px`);
  });
  fit.observe(svg);
  return () => {
    fit.disconnect();
    cancelAnimationFrame(frame);
    model.off("change:scene", redraw);
    model.off("change:move", move);
  };
}
export default { render };
