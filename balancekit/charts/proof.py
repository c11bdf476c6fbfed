"""How often the readings lay in the band that was predicted, against what is to be expected."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from bokeh.models import ColumnDataSource, FactorRange, HoverTool, Range1d, Span

from balancekit.calculation.proof.meeting_plan import Coverage
from balancekit.calculation.quantities import QUANTITIES
from balancekit.charts.look import DOUBT, NATURAL, TREND, Chart, legend_above, plain_figure
from balancekit.charts.marks import OUTSIDE


def coverage_data(coverage: Mapping[str, Coverage]) -> dict[str, dict[str, Any]]:
    """Return the data of ``coverage_chart``, by source.

    Parameters
    ----------
    coverage : by quantity; see ``meeting_plan.band_coverage``.
    """
    rows: dict[str, list[Any]] = {
        name: [] for name in ("label", "low", "high", "share", "marker", "color", "text")
    }
    for name, found in coverage.items():
        rows["label"].append(QUANTITIES[name].label)
        rows["low"].append(100 * found.low / found.count)
        rows["high"].append(100 * found.high / found.count)
        rows["share"].append(100 * found.share)
        few = found.inside < found.low
        rows["marker"].append("x" if few else "circle")
        rows["color"].append(DOUBT if few else NATURAL)
        rows["text"].append(f"{found.inside} of {found.count}; {found.low} to {found.high}")
    return {"rows": rows}


def coverage_least(coverage: Mapping[str, Coverage]) -> float:
    """Return the lower end of the scale [%]: 60, or less where fewer lay inside."""
    return min([60.0, *(100 * found.share - 5 for found in coverage.values())])


def coverage_chart(coverage: Mapping[str, Coverage]) -> Chart:
    """Draw the share of keys inside their band, on the bar in which it should lie."""
    data = coverage_data(coverage)["rows"]
    source = ColumnDataSource(data)
    stated = 100 * next((found.stated for found in coverage.values()), 0.95)
    fig = plain_figure(
        title=f"Keys inside their {stated:.0f} % band",
        height=110 + 34 * max(len(coverage), 1),
        y_range=FactorRange(*reversed(data["label"])),
        x_range=Range1d(coverage_least(coverage), 101.0),
        x_axis_label="Share of the keys (%)",
        tools="save",
    )
    fig.ygrid.grid_line_color = None
    fig.yaxis.major_label_text_font_size = "14px"
    fig.add_layout(Span(location=stated, dimension="height", line_color=TREND, line_dash="dashed"))
    fig.hbar("label", 0.45, "high", "low", source=source, fill_color=TREND, fill_alpha=0.22,
             line_color=None, legend_label="to be expected")  # fmt: skip
    dots = fig.scatter("share", "label", source=source, marker="marker", size=13, color="color",
                       line_width=3)  # fmt: skip
    fig.scatter([OUTSIDE], [data["label"][0]] if data["label"] else [], marker="circle", size=11,
                color=NATURAL, legend_label="came out")  # fmt: skip
    fig.scatter([OUTSIDE], [data["label"][0]] if data["label"] else [], marker="x", size=11,
                color=DOUBT, line_width=3, legend_label="fewer than expected")  # fmt: skip
    legend_above(fig)
    fig.add_tools(HoverTool(renderers=[dots], tooltips=[("@label", "@text")]))
    return Chart(fig, {"rows": source})
