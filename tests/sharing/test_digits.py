"""No table or sheet has digits that nobody knows; a target that steps says why.

The rule is that of JCGM 100:2008, 7.2.6: at most two significant digits of an uncertainty, and the
value with as many digits after the point.
"""

from __future__ import annotations

import io
import re
from math import floor, log10

import openpyxl
import pandas as pd
import pytest

from balancekit.instrument.demo import one_key_model, sampled_grand, studio_grand
from balancekit.instrument.in_hand import data_folder
from balancekit.sharing.batch import report_files
from balancekit.sharing.receive import receive
from balancekit.sharing.sheets import bench_sheets
from balancekit.sharing.story import Story
from balancekit.sharing.tables import rounded, to_csv
from balancekit.sharing.target_steps import MOST_TOLD, front_steps, hammer_steps

LONG = re.compile(r"(?<![\w.])[-−]?\d+\.\d{5,}(?![\w])")
"""A number with five digits or more after its point."""

DEMOS = {
    "studio": studio_grand,
    "sampled": sampled_grand,
    "one key": one_key_model,
    "chapel": lambda: receive(data_folder() / "chapel_grand.xlsx").instrument,
}


@pytest.fixture(scope="module", params=DEMOS)
def files(request) -> dict[str, bytes]:
    return report_files(Story(DEMOS[request.param]()))


def test_no_csv_page_or_sheet_has_a_long_number(files):
    for name, data in files.items():
        if name.endswith((".csv", ".html")):
            text = re.sub(r"<script.*?</script>|<style.*?</style>", "", data.decode(), flags=re.S)
            assert LONG.findall(text) == [], name


def test_the_workbook_has_no_long_number(files):
    book = openpyxl.load_workbook(io.BytesIO(files["work.xlsx"]))
    numbers = [
        cell.value
        for sheet in book
        for row in sheet.iter_rows()
        for cell in row
        if isinstance(cell.value, float)
    ]
    assert numbers and [each for each in numbers if LONG.search(repr(each))] == []


def test_digits_follow_the_uncertainty(files):
    table = pd.read_csv(io.BytesIO(files["keys.csv"]), dtype=str)
    for name in ("down_weight_g", "strike_weight_g", "action_ratio"):
        unit = "_g" if name.endswith("_g") else ""
        spread = table[f"{name.removesuffix('_g')}_u{unit}"].dropna().astype(float)
        least = spread[spread > 0].min()
        after_point = table[name].dropna().str.partition(".")[2].str.len().max()
        assert after_point <= 1 - floor(log10(least)), name


def test_rounding_is_that_of_the_guide():
    # JCGM 100:2008, 7.2.6: y = 10.05762 ohm with u = 27 milliohm is rounded to 10.058 ohm.
    table = pd.DataFrame({"action_ratio": [10.05762], "action_ratio_u": [0.027]})
    assert to_csv(table) == b"action_ratio,action_ratio_u\r\n10.058,0.027\r\n"
    odd = pd.DataFrame({"planned_strike_weight_g": [11.840000000000002], "distance_mm": [-0.04]})
    assert rounded(odd).iloc[0].tolist() == [11.84, 0.0]


def test_a_target_that_steps_says_why():
    work = Story(studio_grand()).work
    told = hammer_steps(work)
    target = work.expected["strike_weight_g"]
    assert target[62] - target[61] < -0.7
    (line,) = [each for each in told if each.startswith("From key 61 to 62")]
    by = f"falls by {target[61] - target[62]:.1f} g"
    assert by in line and "key 61" in line and "weighed again" in line
    assert set(told) <= {line for sheet in bench_sheets(work) for line in sheet.totals}
    (line,) = [each for each in front_steps(work) if each.startswith("From key 43 to 44")]
    # The section begins at key 44; its levers are other ones (the demo's plan of faults).
    assert "action ratio" in line and "lower" in line
    told = front_steps(work)
    assert len(told) == MOST_TOLD + 1 and "smaller steps" in told[-1]
    front = work.expected["front_weight_g"]
    greatest = sorted(front.diff().dropna().abs().nlargest(MOST_TOLD).index)
    named = [int(line.split()[4]) for line in told[:-1]]
    assert named == greatest


def test_every_large_step_of_a_target_is_told():
    work = Story(studio_grand()).work
    target = work.expected["strike_weight_g"]
    steps = target.diff().dropna()
    large = [key for key, step in steps.items() if abs(step - steps.median()) >= 0.7]
    assert large and all(any(f"to {key} " in line for line in hammer_steps(work)) for key in large)
