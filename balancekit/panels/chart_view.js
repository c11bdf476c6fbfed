// A Bokeh document in a notebook. The page asks for the document when it opens,
// so a page that is loaded again shows the present state. BokehJS comes from the
// kernel once for each page; no other machine is asked.

let asked = false;

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
}

function render({ model, el }) {
  const token = Math.random().toString(36).slice(2);
  const frame = document.createElement("div");
  frame.className = "bench-chart";
  frame.setAttribute("role", "img");
  const named = () => frame.setAttribute("aria-label", model.get("name"));
  named();
  el.append(frame);
  let shown = null, waiting = [], views = null;

  function apply(content, buffers) {
    const held = new Map(content.buffer_ids.map((id, place) => {
      const view = buffers[place];
      return [id, view.buffer.slice(view.byteOffset, view.byteOffset + view.byteLength)];
    }));
    shown.apply_json_patch(JSON.parse(content.patch), held);
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
    shown = fresh;
    fresh.on_change(tapped);
    for (const [patch, buffers] of waiting) apply(patch, buffers);
    waiting = [];
  }
  function heard(content, buffers) {
    if (content.kind === "document" && content.token === token) { opened = true; open(content); }
    if (content.kind === "patch" && shown) apply(content, buffers);
    else if (content.kind === "patch" && opened) waiting.push([content, buffers]);
  }
  let opened = false;
  function ask(again = false) {
    const script = again || (!window.balancekitBokeh && !asked);
    asked = asked || script;
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
