"""Every panel and file on the largest and the smallest keyboard, and on hardly any readings."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace

import pandas as pd
import pytest

from balancekit import panels
from balancekit.calculation.generator import Recipe, invent, weigh
from balancekit.instrument.bench import Bench
from balancekit.instrument.demo import one_key_model
from balancekit.instrument.model import BenchSettings, Instrument, Section
from balancekit.panels.share import sheet_files
from balancekit.sharing.report import build_report
from balancekit.sharing.work import work_from
from tests.panels.shown import text_of

NO_NUMBER = re.compile(r"\b(NaN|nan|inf|NaT|None)\b")


def largest() -> Instrument:
    """Ninety-seven keys from C0, every one of them read."""
    made = invent(7, Recipe(key_count=97, first_note="C0"))
    instrument = Instrument(
        title="Ninety-seven keys",
        settings=BenchSettings(key_count=97, first_note="C0"),
        sections=(Section("bass", 1), Section("treble", 60)),
    )
    return instrument.with_table("leads", made.leads).with_readings(weigh(made.truth, 8))


def one_reading() -> Instrument:
    """Eighty-eight keys, of which a single weight was read."""
    rows = pd.DataFrame({"key": [40], "down_weight_g": [51.0]})
    return Instrument(title="One reading").with_readings(rows)


def nothing_read() -> Instrument:
    """Eighty-eight keys and no reading."""
    return Instrument(title="Nothing read")


def upright() -> Instrument:
    """An upright, whose hammers do not hang on the key in the same way."""
    settings = BenchSettings(action="upright")
    rows = weigh(invent(9).truth, 10)[["key", "down_weight_g", "up_weight_g"]]
    return replace(Instrument(title="An upright"), settings=settings).with_readings(rows)


LIMITS: dict[str, Callable[[], Instrument]] = {
    "97 keys": largest,
    "1 key": one_key_model,
    "one reading": one_reading,
    "nothing read": nothing_read,
    "upright": upright,
}


@pytest.fixture(scope="module", params=list(LIMITS))
def bench(request, tmp_path_factory):
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("BALANCEKIT_HOME", str(tmp_path_factory.mktemp("home")))
        yield Bench(LIMITS[request.param]())


@pytest.mark.parametrize("name", panels.__all__)
def test_every_panel_says_something_that_a_person_can_read(bench, name):
    more = ("readings",) if name == "note_panel" else ()
    text = text_of(getattr(panels, name)(bench, *more))
    assert text.strip() and not NO_NUMBER.search(text), text


def test_the_report_and_the_sheets_are_written(bench):
    page = build_report(bench.instrument)
    words = re.sub(r"<(script|style).*?</\1>|<[^>]*>", " ", page, flags=re.DOTALL)
    assert bench.instrument.title in words
    assert not NO_NUMBER.search(words)
    work = work_from(bench.instrument)
    for kind in ("page", "pdf", "csv", "xlsx"):
        assert all(sheet_files(work, kind, "A4", "2026-01-01").values())
