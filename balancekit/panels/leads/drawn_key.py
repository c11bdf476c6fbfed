"""One key drawn from the side, to scale, to click into."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import anywidget
import pandas as pd
import traitlets

from balancekit.calculation.leads.key_stick import front_end_mm
from balancekit.charts.key_picture import named_zones
from balancekit.instrument.leads_record import FoundPlug
from balancekit.instrument.model import Instrument
from balancekit.panels.frame import asset


class DrawnKey(anywidget.AnyWidget):
    """One key from the side; click into it.

    Traits
    ------
    stick : ``length, height, pin`` and ``zones`` (``from, to``), from the front edge [mm].
    plugs : ``place`` and ``diameter`` of each [mm].
    name, state, said : the key, what is on record of it, and what was just done, in words.

    ``on_press(content)`` is called with ``{"kind": "put" or "take", "place"}``,
    ``{"kind": "count", "count"}``, ``{"kind": "copy"}`` or ``{"kind": "step", "by"}``.
    """

    _esm = asset("leads/lead_record.js")
    _css = asset("leads/lead_record.css")
    stick = traitlets.Dict().tag(sync=True)
    plugs = traitlets.List(traitlets.Dict()).tag(sync=True)
    name = traitlets.Unicode("").tag(sync=True)
    state = traitlets.Unicode("").tag(sync=True)
    said = traitlets.Unicode("").tag(sync=True)

    def __init__(self, on_press: Callable[[dict[str, Any]], None]) -> None:
        super().__init__()
        self.on_msg(lambda _, content, __: on_press(content))


def draw_key(
    drawn: DrawnKey, instrument: Instrument, sticks: pd.DataFrame, key: int,
    plugs: Sequence[FoundPlug], state: str,
) -> None:  # fmt: skip
    """Show one key with its plugs.

    Parameters
    ----------
    sticks : see ``leads_record.key_sticks``.
    state : what is known of it, in words.
    """
    stick, front = sticks.loc[key].to_dict(), float(front_end_mm(sticks)[key])
    length = float(stick["stick_length_mm"])
    zones = [
        {"from": max(front - to, 0.0), "to": min(front - start, length)}
        for start, to, _ in named_zones(stick)
    ]
    with drawn.hold_sync():
        drawn.stick = {"length": length, "height": float(stick["stick_height_mm"]),
                       "pin": front, "zones": zones}  # fmt: skip
        drawn.plugs = [
            {"place": round(p.from_front_mm, 2), "diameter": p.diameter_mm} for p in plugs
        ]
        drawn.name, drawn.state = f"Key {key}, {instrument.keys['note_name'][key]}", state
        drawn.said = ""
