"""Instruments and days side by side: figures of each, on one scale, none carried along."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from balancekit.calculation.problems import BalancekitError
from balancekit.cli import main
from balancekit.instrument.demo import sampled_grand, studio_grand
from balancekit.instrument.descriptor import identified, to_files
from balancekit.instrument.occasion import Occasion
from balancekit.instrument.store import save_folder
from balancekit.sharing.carry import from_report
from balancekit.sharing.comparison import CHARTED, _differ, occasions, side_by_side
from balancekit.sharing.page import Page
from balancekit.sharing.report import build_report
from balancekit.sharing.report_charts import ChartBook
from balancekit.sharing.story import Story


@pytest.fixture(scope="module")
def story() -> Story:
    return Story(studio_grand())


@pytest.fixture(scope="module")
def hall() -> Occasion:
    return Occasion(replace(sampled_grand(), title="The other <hall>"))


def test_before_after_and_another_stand_beside_each_other(story, hall):
    page = Page(story, ChartBook([]))
    named = occasions(page, [hall])
    assert list(named) == [
        "This instrument: as found, 2026-03-09", "This instrument: after the work, 2026-05-18",
        f"The other <hall>: {hall.name}",
    ]  # fmt: skip
    text = side_by_side(page, [hall])
    assert "<hall>" not in text and "The other &lt;hall&gt;" in text
    row = re.search(r"Down weight</th>(.*?)</tr>", text).group(1)
    shown = [float(cell) for cell in re.findall(r">([\d.]+) g<", row)]
    # The middle by numpy, apart from the code under test.
    wanted = [np.nanmedian(each.without_slips["down_weight_g"]) for each in named.values()]
    assert shown == pytest.approx(wanted, abs=0.0501)


@pytest.mark.parametrize(
    ("steps", "said"),
    [
        # By hand: the larger weighing of two, 0.5 g, is what their difference must exceed.
        ((1.0, 1.2, 4.0), "Most even: a; b. Weighing cannot tell which of them."),
        ((1.0, 1.6, 4.0), "Most even: a."),
        ((4.0, 1.2, 1.0), "Most even: b; c. Weighing cannot tell which of them."),
        ((1.0, 1.2, 1.4), "No difference that can be weighed."),
        ((1.0, np.nan, 4.0), "Most even: a."),
        ((1.0, np.nan, np.nan), ""),
    ],
)
def test_the_most_even_must_be_so_against_all(steps, said):
    lines = {n: {"real": step, "weighing": 0.5} for n, step in zip("abc", steps, strict=True)}
    assert _differ(lines) == said


def test_charts_of_one_quantity_have_one_scale_and_each_its_table(story, hall):
    page = Page(story, ChartBook([]))
    text = side_by_side(page, [hall])
    figures = list(page.charts.figures.values())
    assert len(figures) == 3 * len(CHARTED) == text.count('class="plot"')
    for at in range(0, len(figures), 3):
        limits = [each["attributes"]["y_range"]["attributes"] for each in figures[at : at + 3]]
        assert len({(each["start"], each["end"]) for each in limits}) == 1
    assert text.count("The same numbers as a table") == len(figures)


def test_the_report_has_the_chapter_and_carries_only_its_own(story, hall):
    text = build_report(story.instrument, story=story, beside=[hall])
    assert '<section id="side_by_side"><h2>Side by side</h2>' in text
    assert to_files(from_report(text.encode())) == to_files(identified(story.instrument))
    assert "side_by_side" not in build_report(story.instrument, story=story)


def test_too_many_are_refused(story, hall):
    with pytest.raises(BalancekitError, match="too many"):
        build_report(story.instrument, story=story, beside=[hall] * 6)


def test_the_command_sets_folders_beside(hall, tmp_path):
    save_folder(hall.instrument, tmp_path / "hall", None)
    given = ["report", "data/studio_grand", "--to", str(tmp_path / "out"), "--beside"]
    assert main([*given, str(tmp_path / "hall")]) == 0
    assert "The other &lt;hall&gt;" in (tmp_path / "out" / "report.html").read_text()
    assert main([*given, str(tmp_path / "nowhere")]) == 2


def test_names_left_out_stay_out_of_what_stands_beside(hall, tmp_path):
    save_folder(hall.instrument, tmp_path / "hall", None)
    given = ["report", "data/studio_grand", "--to", str(tmp_path / "out"), "--leave-out", "names"]
    assert main([*given, "--beside", str(tmp_path / "hall")]) == 0
    assert "The other" not in (tmp_path / "out" / "report.html").read_text()
