// Bokeh does much for every new number that the charts here do not need. This leaves it out, once
// for a page. It reaches into Bokeh: each part looks first whether all the names it needs are there
// and stays away otherwise. Then Bokeh paints in its own way, and only speed is lost.

const FASTER = [styleLess, writeLess, makeLegendsLess, paintMarksLess, hatchOnce, lookTheSame, paintAtOnce];

/** @param {any} Bokeh */
function paintFaster(Bokeh) {
  const missing = [];
  for (const part of FASTER) {
    try {
      part((name, ...methods) => needed(Bokeh, name, methods), Bokeh);
    } catch (error) {
      if (!(error instanceof MissingName)) throw error;
      missing.push(error.message);
    }
  }
  if (missing.length) {
    console.warn(`balancekit: this Bokeh (${Bokeh.version}) lacks ${missing.join(", ")}. ` +
      "Charts are painted in Bokeh's own way, only slower.");
  }
}

class MissingName extends Error {}

// Returns what a part of Bokeh holds under the last name of a path, if the methods are there.
function needed(Bokeh, path, methods) {
  const [module, ...names] = path.split(":");
  let found;
  try {
    found = Bokeh.require(module);
  } catch {
    throw new MissingName(module);  // Bokeh has no other way to ask
  }
  for (const name of names) {
    found = found?.[name];
    if (found === undefined || found === null) throw new MissingName(`${module} ${name}`);
  }
  for (const method of methods) {
    if (!(method in (found.prototype ?? found))) throw new MissingName(`${path} ${method}`);
  }
  return found.prototype ?? found;
}

// Whatever asks for a style in the middle of a repaint makes the page work out its styles again,
// each time. That was two thirds of the time of a repaint.
function styleLess(needs) {
  const visual = needs("core/visuals/visual:VisualProperties", "_get_css_value");
  const plot = needs("models/plots/plot_canvas:PlotView", "base_font_size");
  const size = Object.getOwnPropertyDescriptor(plot, "base_font_size")?.get;
  if (!size) throw new MissingName("PlotView base_font_size");
  // No chart here is coloured by CSS variables.
  visual._get_css_value = () => "";
  // The letters around a figure never change their size here.
  Object.defineProperty(plot, "base_font_size", {
    get() { return (this.lettersAround ??= size.call(this)); },
  });
}

// Every part of a figure writes where it lies at each repaint, mostly the same place again.
function writeLess(needs) {
  const sheet = needs("core/dom:InlineStyleSheet", "_update");
  const write = sheet._update;
  sheet._update = function (css) {
    if (!this.el) write.call(this, css);
    else if (this.el.textContent !== css) this.el.textContent = css;
  };
}

// A legend is made when its words are new, not at each new number.
function makeLegendsLess(needs) {
  const legend = needs("models/annotations/legend:LegendView", "_render_items",
    "_should_rerender_items");
  const makeLegend = legend._render_items;
  legend._render_items = function () {
    if (!this.entries?.length || this._should_rerender_items) makeLegend.call(this);
  };
}

// Each mark in a legend is a canvas of its own. It is painted anew when its look is new.
function paintMarksLess(needs) {
  const legend = needs("models/annotations/legend:LegendView", "_paint_glyphs");
  const paintMarks = legend._paint_glyphs;
  legend._paint_glyphs = function () {
    const look = this.entries && lookOfMarks(this);
    if (look && look === this.marksLook && this.entries === this.marksPainted) return;
    this.marksLook = look;
    this.marksPainted = this.entries;
    paintMarks.call(this);
  };
}
const LOOK = /^(line|fill|hatch)_|color|alpha|marker|size/;
// Returns all that the marks of a legend are painted by, in a text; "" where data decides on it.
function lookOfMarks({ entries, model, plot_view: plot }) {
  const look = [plot?.canvas?.pixel_ratio, model.glyph_width, model.glyph_height];
  for (const renderer of new Set(entries.flatMap(({ item }) => item.renderers))) {
    if (!plot?.views?.find_one?.(renderer)) return "";  // not there yet
    look.push(renderer.id, renderer.visible, renderer.muted);
    for (const [name, property] of Object.entries(renderer.glyph?.properties ?? {})) {
      if (!LOOK.test(name)) continue;
      const value = property.get_value();
      if (value?.field !== undefined || value?.expr !== undefined) return "";
      look.push(JSON.stringify(value));
    }
  }
  return look.join(" ");
}

function hatchOnce(needs) {
  const patterns = needs("core/visuals/patterns", "get_pattern");
  if (!Object.getOwnPropertyDescriptor(patterns, "get_pattern")?.writable) {
    throw new MissingName("core/visuals/patterns get_pattern, to be replaced");
  }
  const makeHatch = patterns.get_pattern, hatches = new Map();
  patterns.get_pattern = (layer, ...look) => {
    const name = `${layer.backend} ${look}`;
    if (!hatches.has(name)) hatches.set(name, makeHatch(layer, ...look));
    return hatches.get(name);
  };
}

// A point looks the same whether it is chosen or not. Bokeh makes four copies of it for other
// looks, and feeds all of them.
function lookTheSame(needs) {
  const view = needs("models/renderers/glyph_renderer:GlyphRendererView", "build_glyph_view",
    "set_data", "set_visuals", "map_data", "_update_masked_indices");
  needs("models/glyphs/glyph:GlyphView", "set_data", "set_visuals", "after_visuals",
    "after_lazy_visuals", "map_data");
  const makeGlyph = view.build_glyph_view;
  view.build_glyph_view = async function (glyph) {
    return this.glyph ?? makeGlyph.call(this, glyph);
  };
  view.set_data = async function (indices) {
    this.all_indices = this.decimated = this.model.view.indices;
    await this.glyph.set_data(this.model.data_source, this.all_indices, indices);
    await this.set_visuals();
    this._update_masked_indices();
    this.plot_view.invalidate_dataranges = true;
  };
  view.set_visuals = async function () {
    this.glyph.set_visuals(this.model.data_source, this.all_indices);
    this.glyph.after_visuals();
    await this.glyph.after_lazy_visuals();
  };
  view.map_data = function () { this.glyph.map_data(); };
}

// What the kernel changed is painted when all of it is in, so that the next frame shows it, and
// not the next but one.
function paintAtOnce(needs, Bokeh) {
  const plot = needs("models/plots/plot_canvas:PlotView", "schedule_paint", "repaint", "is_paused");
  const later = plot.schedule_paint;
  let changed = null;
  plot.schedule_paint = function () {
    if (changed && !this.is_paused) changed.add(this);
    else later.call(this);
  };
  function paint() {
    const figures = changed;
    changed = null;
    for (const figure of figures) if (!figure.is_destroyed) figure.repaint();
  }
  Bokeh.balancekitChange = (change) => {
    if (!changed) {
      changed = new Set();
      setTimeout(paint, 0);
    }
    change();
  };
}
