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
// Returns a function that moves it to another key.
function markKey(view) {
  const mark = document.createElement("div");
  mark.style.cssText = "position:absolute; pointer-events:none; box-sizing:border-box; " +
    "background:rgba(34,48,60,0.13); border:1px solid rgba(34,48,60,0.5); z-index:1;";
  view.canvas_view.shadow_el.append(mark);
  let [what, key] = view.model.tags;
  const place = () => {
    const { start, end } = view.model.x_range;
    const frame = (view.frame_view ?? view.frame).bbox;
    const left = (key - 0.5 - start) / (end - start), width = 1 / (end - start);
    const seen = what === "key in hand" && left > -width && left < 1;
    mark.style.display = seen ? "block" : "none";
    if (!seen) return;
    mark.dataset.key = String(key);
    mark.style.left = `${frame.left + Math.max(left, 0) * frame.width}px`;
    mark.style.width = `${Math.max(width * frame.width, 3)}px`;
    mark.style.top = `${frame.top}px`;
    mark.style.height = `${frame.height}px`;
  };
  const later = () => setTimeout(place, 0);
  view.model.x_range.change.connect(later);
  for (const name of ["inner_width", "inner_height"]) {
    view.model.properties[name].change.connect(later);
  }
  place();
  return (other) => { what = "key in hand"; key = other; place(); };
}

function figuresIn(view) {
  if (view.canvas_view) return [view];
  return (view.child_views ?? []).flatMap(figuresIn);
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
    window.balancekitBokeh.balancekitChange(() => shown.apply_json_patch(patch, held));
  }
  function tapped(event) {
    if (event.kind !== "ModelChanged" || event.attr !== "indices" || !event.value.length) return;
    for (const source of shown.all_models ?? shown._all_models.values()) {
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
    for (const view of (views.roots ?? views).flatMap(figuresIn)) {
      marks.set(view.model.id, markKey(view));
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
  };
}

export default { render };
