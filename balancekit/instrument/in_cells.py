"""How an instrument, findings and plans show themselves at the end of a cell.

Only what is at hand is told: showing a thing never works anything out that takes long.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

import pandas as pd

from balancekit.calculation.problems import BalancekitError
from balancekit.calculation.words import escape

_MOST_ROWS = 12


def card(title: str, facts: Mapping[str, object], table: pd.DataFrame | None = None) -> str:
    """Return a title, facts in words and the first rows of a table, as HTML.

    Parameters
    ----------
    title : what it is.
    facts : by name; one that is empty is left out.
    table : of which the first rows are shown, or None.

    >>> card("Key <1>", {"Friction": "12 g", "Note": ""})
    '<div><strong>Key &lt;1&gt;</strong><p>Friction: 12 g</p></div>'
    """
    said = "<br>".join(
        f"{escape(name)}: {escape(fact)}" for name, fact in facts.items() if fact != ""
    )
    rows = "" if table is None or not len(table) else _rows(table)
    return f"<div><strong>{escape(title)}</strong>{f'<p>{said}</p>' if said else ''}{rows}</div>"


def _rows(table: pd.DataFrame) -> str:
    shown = table.head(_MOST_ROWS).to_html(border=0, float_format="{:.2f}".format, na_rep="")
    left = len(table) - _MOST_ROWS
    return f"{shown}<p>and {left} more</p>" if left > 0 else str(shown)


def or_problems(title: str, made: Callable[[], str]) -> str:
    """Return what a function makes, or a card of the problems that stand against it."""
    try:
        return made()
    except BalancekitError as error:
        numbered = {str(n): problem for n, problem in enumerate(error.problems, start=1)}
        return card(f"{title} cannot be worked out", numbered)
