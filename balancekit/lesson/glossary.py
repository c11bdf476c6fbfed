"""The words of the trade, made from the one register of quantities."""

from __future__ import annotations

import ipywidgets as widgets
import pandas as pd

from balancekit.calculation.quantities import QUANTITIES, Quantity
from balancekit.lesson.lever_chain.lever_view import LeverView, key_scene
from balancekit.lesson.lever_chain.one_key import LessonKey
from balancekit.lesson.lever_chain.parts import DRAWN_PARTS, parts_list_html
from balancekit.lesson.word_pictures import word_pictures_html
from balancekit.panels.frame import panel, table_html, words

_COLUMNS = ("word", "meaning", "unit", "how", "usual")


def _how(quantity: Quantity) -> str:
    if quantity.reading_u is None:
        return "computed, set or given"
    return "weighed" if quantity.unit == "g" else "measured"


def _usual(quantity: Quantity) -> str:
    if quantity.usual_low is None or quantity.usual_high is None:
        return ""
    low, high = (f"{each:g}" for each in (quantity.usual_low, quantity.usual_high))
    return f"{low} to {high} {quantity.unit}".strip() + f" ({quantity.source})"


def glossary_table() -> pd.DataFrame:
    """Return every word of the register: ``word, meaning, unit, how, usual``, by name.

    >>> glossary_table().loc["friction_g", "word"]
    'Friction'
    """
    return pd.DataFrame.from_dict(
        {
            name: (
                quantity.label, quantity.meaning, quantity.unit or "–", _how(quantity),
                _usual(quantity),
            )
            for name, quantity in QUANTITIES.items()
        },
        orient="index", columns=list(_COLUMNS),
    )  # fmt: skip


def find_words(text: str) -> pd.DataFrame:
    """Return the words that hold a text in the word itself or in its meaning.

    >>> list(find_words("Up WEIGHT")["word"])[:1]
    ['Up weight']
    """
    table, wanted = glossary_table(), text.strip().lower()
    holds = table["word"].str.lower().str.contains(wanted, regex=False)
    return table[holds | table["meaning"].str.lower().str.contains(wanted, regex=False)]


def parts_panel() -> widgets.VBox:
    """Every part of an action in one drawing: choose a word, and it lights up."""
    key = LessonKey(spring_relief_g=6.0)
    view = LeverView(key_scene(key, weight_g=key.balance_weight_g))
    view.pictures = [
        {"name": name, "word": part.word, "meaning": part.meaning}
        for name, part in DRAWN_PARTS.items()
    ]
    return panel(
        "Parts of an action",
        words("Point at a part, or choose its word."),
        words(parts_list_html()),
        view,
        words("<b>Words of weighing</b>"),
        words(word_pictures_html()),
    )


def glossary_panel() -> widgets.VBox:
    """The words of the trade, with a box to find one."""
    box = widgets.Text(
        description="Find a word", placeholder="for example: strike",
        style={"description_width": "initial"},
    )  # fmt: skip
    shown = words()

    def show() -> None:
        table = find_words(box.value).sort_values("word")
        headings = ("Word", "Meaning", "Unit", "Where from", "Usual")
        shown.value = (
            table_html(headings, table.values.tolist())
            if len(table)
            else "No word holds this text."
        )

    box.observe(lambda _: show(), "value")
    show()
    return panel("Words", box, shown)
