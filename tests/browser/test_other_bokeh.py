"""Charts live on in a Bokeh that has renamed what we reach for inside it; only speed is lost.

In each test one name is renamed throughout BokehJS, as a new release may do. A slider in the page
then asks for values, and the chart shows them: patches as a kernel makes them, in a real browser.
"""

from __future__ import annotations

import base64
import json
import re
from typing import Any

import bokeh
import numpy as np
import pytest
from bokeh.models import ColumnDataSource

from balancekit.charts.look import Chart, keys_figure, legend_above, mark_key
from balancekit.panels.chart_view import ChartView, _bokeh_script

NAMES = {
    "_get_css_value": "VisualProperties _get_css_value",
    "base_font_size": "PlotView base_font_size",
    "InlineStyleSheet": "core/dom InlineStyleSheet",
    "_render_items": "LegendView _render_items",
    "_should_rerender_items": "LegendView _should_rerender_items",
    "_paint_glyphs": "LegendView _paint_glyphs",
    "get_pattern": "core/visuals/patterns get_pattern",
    "build_glyph_view": "GlyphRendererView build_glyph_view",
    "_update_masked_indices": "GlyphRendererView _update_masked_indices",
    "after_visuals": "GlyphView after_visuals",
    "after_lazy_visuals": "GlyphView after_lazy_visuals",
    "schedule_paint": "PlotView schedule_paint",
    "repaint": "PlotView repaint",
    "is_paused": "PlotView is_paused",
    "PlotView": "PlotView",
    "core/visuals/visual": "core/visuals/visual",
    "models/glyphs/glyph": "models/glyphs/glyph",
    "canvas_view": "no place over a figure",
    "shadow_el": "no place over a figure",
    "child_views": "",
}
"""Each name, and what the one warning of the page says when it is gone; "" for nothing."""

SPLIT = "<\\/script"
"""The end of a script, written so that it ends none."""

PAGE = """
<body><input type="range" min="0" max="5" value="0"><div id="place" style="width:600px"></div>
<script type="module">
const kernel = JSON.parse(document.getElementById("kernel").textContent);
const heard = {};
const model = {
  get: () => "a chart",
  on: (name, call) => { heard[name] = call; },
  off() {},
  send({ kind, token }) {
    if (kind === "open") heard["msg:custom"]({ ...kernel.open, token, script: kernel.script }, []);
  },
};
const code = document.getElementById("view").textContent;
const module = await import(URL.createObjectURL(new Blob([code], { type: "text/javascript" })));
module.default.render({ model, el: document.getElementById("place") });
document.querySelector("input").addEventListener("input", (event) => {
  for (const { content, buffers } of kernel.moves[event.target.value]) {
    const views = buffers.map((text) => new DataView(
      Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0)).buffer));
    heard["msg:custom"](content, views);
  }
});
</script></body>
"""

PAINTED = """() => {
  const painted = window.balancekitBokeh && window.balancekitBokeh.documents.length;
  if (!painted) return null;
  const found = [];
  const within = (root) => {
    for (const node of root.querySelectorAll("*")) {
      if (node.tagName === "CANVAS") found.push(node.toDataURL());
      if (node.shadowRoot) within(node.shadowRoot);
    }
  };
  within(document.getElementById("place"));
  return found.join("");
}"""

STEADY, COLOURED = 3, 5
"""The move after which the legend keeps its words, and that which colours its mark anew."""

MARK = """() => {
  const found = [];
  const within = (root) => {
    for (const node of root.querySelectorAll("*")) {
      if (node.tagName === "CANVAS" && node.clientWidth === 20) found.push(node);
      if (node.shadowRoot) within(node.shadowRoot);
    }
  };
  within(document.getElementById("place"));
  const [mark] = found;
  const middle = [mark.width / 2, mark.height / 2];
  const [red, , blue] = mark.getContext("2d").getImageData(...middle, 1, 1).data;
  return [found.length, red > blue];
}"""

DATA = """() => {
  const [root] = window.balancekitBokeh.documents[0].roots();
  const all = [...root.references()];
  const column = (type) => all.find((each) => each.type === type);
  return [[...column("ColumnDataSource").data.y], JSON.stringify(column("Legend").items[0].label)];
}"""


class Kernel:
    """A chart as a kernel shows it, and the messages that it sends for some moves."""

    def __init__(self) -> None:
        figure = keys_figure(3, "Grams (g)", title="Some")
        figure.y_range.end = 10.0
        source = ColumnDataSource({"key": np.array([1, 2, 3]), "y": np.array([1.0, 2.0, 3.0])})
        figure.line("key", "y", source=source, legend_label="first", line_width=4)
        figure.vbar("key", 0.5, "y", source=source, hatch_pattern="/")
        legend_above(figure)
        chart, view = Chart(figure, {"points": source}), ChartView(figure)
        sent: list[tuple[dict[str, Any], list[bytes]]] = []
        view.send = lambda content, buffers=(): sent.append((content, list(buffers)))
        view._received(None, {"kind": "open", "token": "", "script": False}, [])
        self.open = sent[0][0]
        self.moves, self.values = [], []
        for move in range(COLOURED + 1):
            sent.clear()
            values = np.array([1.0, 2.0, 3.0]) + move + 0.5
            with view.one_change():
                chart.show({"points": {"key": np.array([1, 2, 3]), "y": values}})
                figure.legend[0].items[0].label = f"move {min(move, STEADY)}"
                if move == COLOURED:
                    figure.renderers[0].glyph.line_color = "red"
            mark_key(figure, move % 3 + 1)
            self.values.append(list(values))
            self.moves.append(
                [{"content": content, "buffers": [base64.b64encode(one).decode() for one in many]}
                 for content, many in sent]
            )  # fmt: skip


@pytest.fixture(scope="module")
def kernel() -> Kernel:
    return Kernel()


def show(page, kernel: Kernel, script: str) -> None:
    """Open a page with the chart, BokehJS being the given one."""
    held = {"open": kernel.open, "script": script, "moves": kernel.moves}
    parts = {"kernel": json.dumps(held), "view": str(ChartView._esm)}
    inert = "".join(
        f'<script type="text/plain" id="{name}">{text.replace("</script", SPLIT)}</script>'
        for name, text in parts.items()
    )
    page.set_content(f"<!doctype html>{inert}{PAGE}")
    page.wait_for_function(PAINTED)
    page.wait_for_timeout(150)


@pytest.mark.parametrize("name", ["", *NAMES])
def test_a_slider_moves_a_chart_though_a_name_of_bokeh_is_gone(page, seen, kernel, name):
    warnings: list[str] = []
    page.on("console", lambda said: warnings.append(said.text) if said.type == "warning" else None)
    script = re.sub(rf"\b{name}\b", f"{name}_anew", _bokeh_script()) if name else _bokeh_script()
    if name:
        assert script != _bokeh_script(), f"Bokeh {bokeh.__version__} has no {name}"
    show(page, kernel, script)
    before = page.evaluate(PAINTED)
    slider = page.get_by_role("slider")
    slider.focus()
    for move in range(1, 4):
        page.keyboard.press("ArrowRight")
        page.wait_for_timeout(120)
        data, label = page.evaluate(DATA)
        assert data == kernel.values[move] and f"move {move}" in label
        after = page.evaluate(PAINTED)
        assert after != before, "the chart was not painted anew"
        before = after
    ours = [text for text in warnings if text.startswith("balancekit")]
    expected = NAMES.get(name, "")
    assert len(ours) == bool(expected) and all(expected in text for text in ours)
    assert seen.console_errors == []


def test_the_mark_in_a_legend_has_the_colour_of_its_line(page, seen, kernel):
    show(page, kernel, _bokeh_script())
    page.get_by_role("slider").focus()
    coloured = []
    for _ in range(COLOURED):
        page.keyboard.press("ArrowRight")
        page.wait_for_timeout(120)
        coloured.append(page.evaluate(MARK))
    assert coloured == [[1, False]] * (COLOURED - 1) + [[1, True]]
    assert seen.console_errors == []
