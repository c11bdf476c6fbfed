"""A bare page to measure against: one slider, one Bokeh figure of 88 points, nothing of ours.

What a machine, a browser, JupyterLab and BokehJS take by themselves, from a key press on the
slider to changed pixels, is what no panel can be faster than. Ratios to it hold on any machine.
"""

from __future__ import annotations

import json
from pathlib import Path

NAME = "bare_page.ipynb"

CODE = '''
import anywidget, ipywidgets as widgets, numpy as np, traitlets
from bokeh.embed import json_item
from bokeh.models import ColumnDataSource
from bokeh.plotting import figure
from bokeh.resources import Resources

source = ColumnDataSource({"x": np.arange(88), "y": np.linspace(0, 5, 88)}, name="bare")
chart = figure(height=380, sizing_mode="stretch_width", y_range=(0, 16), toolbar_location=None)
chart.scatter("x", "y", source=source, size=7)


class Bare(anywidget.AnyWidget):
    script, item = traitlets.Unicode().tag(sync=True), traitlets.Dict().tag(sync=True)
    y = traitlets.List().tag(sync=True)
    _esm = """
    export default { async render({ model, el }) {
      const script = document.createElement("script");
      script.textContent = model.get("script");
      document.head.append(script);
      const box = document.createElement("div");
      el.append(box);
      await new Promise((go) => setTimeout(go, 300));
      await window.Bokeh.embed.embed_item(model.get("item"), box);
      const source = window.Bokeh.documents.at(-1).get_model_by_name("bare");
      model.on("change:y", () => { source.data = { ...source.data, y: model.get("y") }; });
    } };
    """


bare = Bare(script="\\n".join(Resources(mode="inline", components=["bokeh"]).js_raw),
            item=json_item(chart))
slider = widgets.FloatSlider(value=5, min=0, max=10, step=0.1, description="bare",
                             layout=widgets.Layout(width="640px"))
line = np.linspace(0, 5, 88)
slider.observe(lambda change: setattr(bare, "y", (line + change["new"]).tolist()), "value")
box = widgets.VBox([slider, bare])
box.add_class("bench-panel")
box
'''


def write_bare_page(folder: Path) -> str:
    """Write the notebook into a folder, and return its name."""
    cell = {"cell_type": "code", "id": "bare", "metadata": {}, "outputs": [],
            "execution_count": None, "source": CODE.strip()}  # fmt: skip
    kernel = {"name": "python3", "display_name": "Python 3", "language": "python"}
    book = {"cells": [cell], "metadata": {"kernelspec": kernel}, "nbformat": 4,
            "nbformat_minor": 5}  # fmt: skip
    (folder / NAME).write_text(json.dumps(book), encoding="utf-8")
    return NAME
