"""The invented spreadsheet: in ``data`` as it is made here, understood, and its slips found."""

import pandas as pd

from balancekit.instrument.bench import Bench
from balancekit.instrument.bring_in.import_readings import understand
from balancekit.instrument.demo_spreadsheet import (
    AFTER,
    LOST_POINT_KEY,
    NOT_READ_KEY,
    SHEET_EXCHANGED_KEY,
    WORKBOOK,
    chapel_readings,
    spreadsheet_after_the_work,
    workbook,
)
from balancekit.instrument.in_hand import data_folder
from balancekit.instrument.model import Instrument


def test_the_data_folder_holds_what_is_made_here():
    """A workbook carries the time of its making, so what it says is compared."""
    kept = understand((data_folder() / WORKBOOK).read_bytes(), WORKBOOK)
    made = understand(workbook(), WORKBOOK)
    assert kept.headings == made.headings and kept.rows_left_out == made.rows_left_out
    pd.testing.assert_frame_equal(kept.readings, made.readings)
    assert (data_folder() / AFTER).read_bytes() == spreadsheet_after_the_work()


def test_the_spreadsheet_is_understood():
    found = understand(workbook(), WORKBOOK)
    assert found.questions == () and found.rows_used == 88
    told = " ".join(f"{out.text} {out.why}" for out in found.rows_left_out)
    assert "Average" in told and "Chapel grand" in told
    names = ["down_weight_g", "up_weight_g", "front_weight_g", "strike_weight_g",
             "wippen_weight_g", "key_ratio"]  # fmt: skip
    expected = chapel_readings().reset_index(drop=True)
    pd.testing.assert_frame_equal(found.readings[names], expected[names])
    assert understand(spreadsheet_after_the_work(), AFTER).rows_used == 88


def test_the_slips_on_the_paper_are_found():
    bench = Bench(Instrument().with_readings(chapel_readings().reset_index(drop=True)))
    slips = {(flag.key, flag.quantity) for flag in bench.findings.flags if flag.kind == "slip"}
    assert slips == {
        (SHEET_EXCHANGED_KEY, "down_weight_g"),
        (SHEET_EXCHANGED_KEY, "up_weight_g"),
        (LOST_POINT_KEY, "wippen_weight_g"),
    }
    real = {flag.key for flag in bench.findings.flags if flag.kind == "stands-out"}
    assert {9, 71} <= real
    assert bench.table.at[NOT_READ_KEY, "estimated"] == "strike_weight_g"
