"""The exact layout of plugs: the least work that brings each key to its front weight.

This is the one door to the folder. `bench` says what is in the keys and what may be done,
`sets` lists all that can be put in or taken out, `search` finds the best of them and says why
no other is better, `find` does so for a keyboard, `rows` with the plugs on few lines,
`on_lines` for other front weights with the same lines.
"""

from balancekit.calculation.leads.layout.bench import (
    LayoutBench,
    LayoutRules,
    prepare_layout,
    read_leads,
)
from balancekit.calculation.leads.layout.find import PLUG_ACTIONS, PUT_IN, Layout, find_layout
from balancekit.calculation.leads.layout.on_lines import layout_on_lines
from balancekit.calculation.leads.layout.rows import KeyLines, RowLayout, find_rows
from balancekit.calculation.leads.layout.sets import KEEP, TAKE_OUT

__all__ = [
    "KEEP",
    "PLUG_ACTIONS",
    "PUT_IN",
    "TAKE_OUT",
    "KeyLines",
    "Layout",
    "LayoutBench",
    "LayoutRules",
    "RowLayout",
    "find_layout",
    "find_rows",
    "layout_on_lines",
    "prepare_layout",
    "read_leads",
]
