"""Words of another person are shown as words: whatever they hold, no page ever runs it."""

from __future__ import annotations

from dataclasses import replace

import pandas as pd
import pytest
import traitlets

from balancekit import panels
from balancekit.instrument.bench import Bench
from balancekit.instrument.demo import studio_grand
from balancekit.instrument.model import Instrument

BAIT = "<img src=x onerror=alert(1)>"


def hostile() -> Instrument:
    """The invented grand, received with bait in every place that holds words."""
    grand = studio_grand()
    stock = pd.DataFrame(
        {"name": [BAIT, f"{BAIT} 2", f"{BAIT} 3"], "metal": ["lead", "lead", "lead"],
         "diameter_mm": [9.5, 11.1, 12.7], "length_mm": [9.5, 9.5, 9.5]}
    )  # fmt: skip
    zones = pd.DataFrame({"colour": [""], "from_mm": [10.0], "to_mm": [12.0], "note": [BAIT]})
    readings = grand.visits[0].readings.assign(note=BAIT)
    visits = tuple(replace(visit, title=BAIT) for visit in grand.visits)
    dressed = replace(
        grand,
        title=BAIT,
        visits=visits,
        sections=tuple(replace(part, name=BAIT) for part in grand.sections),
        chapter_notes={name: BAIT for name in ("readings", "friction", "hammer_mass")},
    ).with_readings(readings)
    notes = pd.DataFrame({"key": [40], "note": [BAIT]})
    tables = {"plug_stock": stock, "hole_zones": zones, "key_notes": notes}
    for kind, table in tables.items():
        dressed = dressed.with_table(kind, table)
    return dressed


def pages_of(widget: object) -> list[str]:
    """Return every piece of HTML that a panel puts on the page."""
    own = [str(widget.value)] if type(widget).__name__ in ("HTML", "HTMLMath") else []
    for child in getattr(widget, "children", ()):
        own += pages_of(child)
    return own


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("BALANCEKIT_HOME", str(tmp_path_factory.mktemp("home")))
        bench = Bench(hostile())
        bench.key = 40
        yield bench


@pytest.mark.parametrize("name", panels.__all__)
def test_no_panel_puts_the_words_of_another_on_the_page_as_html(bench, name):
    more = ("readings",) if name == "note_panel" else ()
    shown = getattr(panels, name)(bench, *more)
    assert isinstance(shown, traitlets.HasTraits)
    pages = pages_of(shown)
    assert pages
    assert [page for page in pages if BAIT in page] == []
