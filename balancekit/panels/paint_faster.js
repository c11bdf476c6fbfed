// Bokeh does much for every new number that the charts here do not need. This leaves it out, once
// for a page. It reaches into Bokeh, so a new version of Bokeh is a reason to look at it again.

function paintFaster(Bokeh) {
  styleLess(Bokeh);
  makeLess(Bokeh);
  lookTheSame(Bokeh);
  paintAtOnce(Bokeh);
}

// Whatever asks for a style, or writes one, in the middle of a repaint makes the page work out
// its styles again, each time. That was two thirds of the time of a repaint.
function styleLess(Bokeh) {
  // No chart here is coloured by CSS variables.
  Bokeh.require("core/visuals/visual").VisualProperties.prototype._get_css_value = () => "";
  // The letters around a figure never change their size here.
  const { PlotView } = Bokeh.require("models/plots/plot_canvas");
  const { get } = Object.getOwnPropertyDescriptor(PlotView.prototype, "base_font_size");
  Object.defineProperty(PlotView.prototype, "base_font_size", {
    get() { return (this.lettersAround ??= get.call(this)); },
  });
  // Every part of a figure writes where it lies at each repaint, mostly the same place again.
  Bokeh.require("core/dom").InlineStyleSheet.prototype._update = function (css) {
    if (this.el.textContent !== css) this.el.textContent = css;
  };
}

// A legend is made when its words are new, not at each new number; and a hatch once.
function makeLess(Bokeh) {
  const { LegendView } = Bokeh.require("models/annotations/legend");
  const makeLegend = LegendView.prototype._render_items;
  LegendView.prototype._render_items = function () {
    if (!this.entries.length || this._should_rerender_items) makeLegend.call(this);
  };
  const patterns = Bokeh.require("core/visuals/patterns");
  const makeHatch = patterns.get_pattern, hatches = new Map();
  patterns.get_pattern = (layer, ...look) => {
    const name = `${layer.backend} ${look}`;
    if (!hatches.has(name)) hatches.set(name, makeHatch(layer, ...look));
    return hatches.get(name);
  };
}

// A point looks the same whether it is chosen or not. Bokeh makes four copies of it for other
// looks, and feeds all of them.
function lookTheSame(Bokeh) {
  const { GlyphRendererView } = Bokeh.require("models/renderers/glyph_renderer");
  const view = GlyphRendererView.prototype, makeGlyph = view.build_glyph_view;
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
function paintAtOnce(Bokeh) {
  const { PlotView } = Bokeh.require("models/plots/plot_canvas");
  const later = PlotView.prototype.schedule_paint;
  let changed = null;
  PlotView.prototype.schedule_paint = function () {
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
