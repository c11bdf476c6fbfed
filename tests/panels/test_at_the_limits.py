"""Every panel and file on the largest and the smallest keyboard, and on hardly any readings."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace

import pandas as pd
import pytest

from balancekit import lesson, panels
from balancekit.calculation.generator import Recipe, invent, weigh
from balancekit.instrument.bench import Bench
from balancekit.instrument.demo import one_key_model
from balancekit.instrument.model import BenchSettings, Instrument, Section, Visit
from balancekit.sharing.batch import report_files
from balancekit.sharing.story import Story
from tests.panels.shown import all_words, ends_of, inside, misprints, text_of


def largest() -> Instrument:
    """Ninety-seven keys from C0, every one of them read, twice."""
    made = invent(7, Recipe(key_count=97, first_note="C0"))
    instrument = Instrument(
        title="Ninety-seven keys",
        settings=BenchSettings(key_count=97, first_note="C0"),
        sections=(Section("bass", 1), Section("treble", 60)),
    )
    instrument = instrument.with_table("leads", made.leads)
    return read_again(instrument.with_readings(weigh(made.truth, 8)), weigh(made.truth, 9))


def smallest() -> Instrument:
    """One key, read twice."""
    model = one_key_model()
    return read_again(model, model.visits[0].readings)


def read_again(instrument: Instrument, readings: pd.DataFrame) -> Instrument:
    """Add a second set of readings."""
    return instrument.with_visit(Visit("again", "2026-06-01"), 1).with_readings(readings, 1)


def one_reading() -> Instrument:
    """Eighty-eight keys, of which a single weight was read."""
    rows = pd.DataFrame({"key": [40], "down_weight_g": [51.0]})
    return Instrument(title="One reading").with_readings(rows)


def one_key_read() -> Instrument:
    """Eighty-eight keys, of which one was read, in full."""
    readings = one_key_model().visits[0].readings.assign(key=40)
    return Instrument(title="One key read").with_readings(readings)


def nothing_read() -> Instrument:
    """Eighty-eight keys and no reading."""
    return Instrument(title="Nothing read")


def nothing_read_on_one_key() -> Instrument:
    """One key and no reading."""
    return Instrument(title="Nothing", settings=BenchSettings(key_count=1, first_note="C4"))


def upright() -> Instrument:
    """An upright, whose hammers do not hang on the key in the same way."""
    settings = BenchSettings(action="upright")
    rows = weigh(invent(9).truth, 10)[["key", "down_weight_g", "up_weight_g"]]
    return replace(Instrument(title="An upright"), settings=settings).with_readings(rows)


LIMITS: dict[str, Callable[[], Instrument]] = {
    "97 keys": largest,
    "1 key": smallest,
    "one reading": one_reading,
    "one key read": one_key_read,
    "nothing read": nothing_read,
    "nothing read on one key": nothing_read_on_one_key,
    "upright": upright,
}


def panel_of(name: str, bench: Bench):
    more = ("readings",) if name == "note_panel" else ()
    return getattr(panels, name)(bench, *more)


@pytest.fixture(scope="module", params=list(LIMITS))
def bench(request, tmp_path_factory):
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("BALANCEKIT_HOME", str(tmp_path_factory.mktemp("home")))
        yield Bench(LIMITS[request.param]())


@pytest.mark.parametrize("name", panels.__all__)
def test_every_panel_says_something_that_a_person_can_read(bench, name):
    panel = panel_of(name, bench)
    assert text_of(panel).strip()
    assert misprints(all_words(panel)) == []


@pytest.mark.parametrize("name", lesson.__all__)
def test_every_panel_of_the_lesson_says_something_that_a_person_can_read(name, home):
    panel = getattr(lesson, name)()
    assert text_of(panel).strip()
    assert misprints(all_words(panel)) == []


def test_every_control_goes_from_end_to_end(home):
    """Even on one key no place of a slider is an error."""
    held = smallest()
    for name in panels.__all__:
        if name == "weigh_next_panel":
            continue  # its narrowest goal plans for seconds
        bench = Bench(held)
        panel = panel_of(name, bench)
        for control in list(inside(panel)):
            for value in ends_of(control):
                control.value = value
            if ends_of(control):
                words = misprints(all_words(panel))
                assert words == [], f"{name}, {control.description}: {words}"


def test_a_level_that_no_slider_shows_starts_at_its_end(home):
    """One key's hammer tells so little of the last key that its level comes out below 2 g."""
    bench = Bench(one_key_read())
    panel = panels.hammer_target_panel(bench)
    (target,) = [each for each in inside(panel) if getattr(each, "description", "") == "Target"]
    target.value = "levels"
    assert target.value == "levels"


def test_the_report_and_the_sheets_are_written(bench):
    files = report_files(Story(bench.instrument))
    assert {"keys.csv", "work.xlsx", "bench_sheets.pdf", "report.html"} <= set(files)
    assert all(files.values())
    for name, data in files.items():
        if name.endswith(".html"):
            page = re.sub(r"<(script|style).*?</\1>|<[^>]*>", " ", data.decode(), flags=re.DOTALL)
            assert bench.instrument.title in page
            assert misprints([page]) == []
        if name.endswith(".csv"):
            assert misprints([data.decode()]) == []
