// A Bokeh document in a notebook. The page asks for the document when it opens,
// so a page that is loaded again shows the present state. BokehJS comes from the
// kernel once for each page; no other machine is asked.

async function until(test, milliseconds) {
  const end = performance.now() + milliseconds;
  while (!test() && performance.now() < end) await new Promise((go) => setTimeout(go, 30));
  return test();
}

function load(text) {
  const before = window.Bokeh;
  const script = document.createElement("script");
  script.textContent = text;
  document.head.append(script);
  window.balancekitBokeh = window.Bokeh;
  if (before) window.Bokeh = before;
  paintFaster(window.balancekitBokeh);
}

// The mark of the key in hand lies over a figure, so that the figure is not painted anew.
// Returns a function that moves it to another key; undefined where this Bokeh lacks a name.
function markOver(view) {
  const over = view?.canvas_view?.shadow_el, frame = view?.frame_view ?? view?.frame;
  const { x_range: range, properties } = view?.model ?? {};
  if (!over || !frame?.bbox || !range || !properties?.inner_width || !properties.inner_height) {
    return undefined;
  }
  const mark = document.createElement("div");
  mark.style.cssText = "position:absolute; pointer-events:none; box-sizing:border-box; " +
    "background:rgba(34,48,60,0.13); border:1px solid rgba(34,48,60,0.5); z-index:1;";
  over.append(mark);
  let [what, key] = view.model.tags;
  const place = () => {
    const { start, end } = range, { bbox } = view.frame_view ?? view.frame;
    const left = (key - 0.5 - start) / (end - start), width = 1 / (end - start);
    const seen = what === "key in hand" && left > -width && left < 1;
    mark.style.display = seen ? "block" : "none";
    if (!seen) return;
    mark.dataset.key = String(key);
    mark.style.left = `${bbox.left + Math.max(left, 0) * bbox.width}px`;
    mark.style.width = `${Math.max(width * bbox.width, 3)}px`;
    mark.style.top = `${bbox.top}px`;
    mark.style.height = `${bbox.height}px`;
  };
  const later = () => setTimeout(place, 0);
  range.change.connect(later);
  for (const name of ["inner_width", "inner_height"]) properties[name].change.connect(later);
  place();
  return (other) => { what = "key in hand"; key = other; place(); };
}

// Bokeh's own way: a box in the figure, which is painted anew with it.
function markWithin(Bokeh, model) {
  const Box = Bokeh.Models.get("BoxAnnotation"), [what, key] = model.tags;
  const beside = (other) => ({ left: other - 0.5, right: other + 0.5 });
  const box = new Box({ ...beside(key), visible: what === "key in hand",
    fill_color: "#22303c", fill_alpha: 0.13, line_color: "#22303c", line_alpha: 0.5 });
  model.add_layout(box);
  return (other) => { box.setv({ ...beside(other), visible: true }); };
}
let warned = false;
function markKey(Bokeh, model, view) {
  const over = markOver(view);
  if (over) return over;
  if (!warned) {
    console.warn(`balancekit: this Bokeh (${Bokeh.version}) has no place over a figure. ` +
      "The key in hand is marked within it, only slower.");
  }
  warned = true;
  return markWithin(Bokeh, model);
}

function figuresIn(view) {
  if (view.canvas_view) return [view];
  return (view.child_views ?? []).flatMap(figuresIn);
}
// Every model of a document, by way of what each root refers to.
function modelsOf(shown) {
  return new Set(shown.roots().flatMap((root) => [...root.references()]));
}

function render({ model, el }) {
  const token = Math.random().toString(36).slice(2);
  const frame = document.createElement("div");
  frame.className = "bench-chart";
  frame.setAttribute("role", "img");
  const named = () => frame.setAttribute("aria-label", model.get("name"));
  named();
  el.append(frame);
  passByOnTab(".bench-chart");
  let shown = null, waiting = [], views = null;
  const marks = new Map();

  function apply(content, buffers) {
    const held = new Map(content.buffer_ids.map((id, place) => {
      const view = buffers[place];
      return [id, view.buffer.slice(view.byteOffset, view.byteOffset + view.byteLength)];
    }));
    const patch = JSON.parse(content.patch);
    const change = () => shown.apply_json_patch(patch, held);
    (window.balancekitBokeh.balancekitChange ?? ((call) => call()))(change);
  }
  function tapped(event) {
    if (event.kind !== "ModelChanged" || event.attr !== "indices" || !event.value.length) return;
    for (const source of modelsOf(shown)) {
      if (source.selected !== event.model) continue;
      const data = source.get_column?.("key") ?? source.data.key ?? source.data.get?.("key");
      if (data) model.send({ kind: "key", key: Number(data[event.value[0]]) });
    }
  }
  async function open(content) {
    if (content.script && !window.balancekitBokeh) load(content.script);
    if (!(await until(() => window.balancekitBokeh, 5000))) { ask(true); return; }
    const Bokeh = window.balancekitBokeh;
    const { Document } = Bokeh.require("document");
    const fresh = Document.from_json(JSON.parse(content.document));
    views = await Bokeh.embed.add_document_standalone(fresh, frame);
    const seen = new Map([...(views.roots ?? views)].flatMap(figuresIn)
      .map((view) => [view.model.id, view]));
    for (const each of modelsOf(fresh)) {
      if (each.type === "Figure") marks.set(each.id, markKey(Bokeh, each, seen.get(each.id)));
    }
    shown = fresh;
    fresh.on_change(tapped);
    for (const [patch, buffers] of waiting) apply(patch, buffers);
    waiting = [];
  }
  function heard(content, buffers) {
    if (content.kind === "document" && content.token === token) { opened = true; open(content); }
    if (content.kind === "held") marks.get(content.figure)?.(content.key);
    if (content.kind === "patch" && shown) apply(content, buffers);
    else if (content.kind === "patch" && opened) waiting.push([content, buffers]);
  }
  let opened = false;
  function ask(again = false) {
    // Each chart has this code for itself; what the page has asked for, the page must know.
    const script = again || !(window.balancekitBokeh || window.balancekitAsked);
    window.balancekitAsked ||= script;
    model.send({ kind: "open", token, script });
  }
  model.on("msg:custom", heard);
  model.on("change:name", named);
  ask();
  return () => {
    model.off("msg:custom", heard);
    model.off("change:name", named);
    views?.clear?.();
    shown?.clear?.();
    const all = window.balancekitBokeh?.documents, at = all?.indexOf(shown) ?? -1;
    if (at >= 0) all.splice(at, 1);  // Bokeh itself would keep the document of every chart
  };
}

export default { render };
