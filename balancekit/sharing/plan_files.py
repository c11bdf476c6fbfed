"""What a plan writes: ways side by side, the order of work, sheets, and the owner's page."""

from __future__ import annotations

import pandas as pd

from balancekit.instrument.choices.chosen_way import with_way
from balancekit.instrument.choices.whole_plan import WholePlan
from balancekit.sharing.owner_page import owner_page
from balancekit.sharing.sheet_html import sheet_html
from balancekit.sharing.sheet_pdf import sheet_pdf
from balancekit.sharing.sheets import bench_sheets, sheet_pictures
from balancekit.sharing.tables import keys_table, to_csv
from balancekit.sharing.work import work_from

_ROUNDED = {
    "hours": 2, "money": 2, "capstan_mm": 2, "spring_relief_g": 1, "balance_step_g": 2,
    "inertia_step_percent": 1, "sure_percent": 0, "gap_percent": 2,
}  # fmt: skip


def way_numbers(plan: WholePlan) -> list[int]:
    """Return the ways that a table names: every one that does something else than its neighbour."""
    names = [plan.name(n) for n in range(len(plan.front.ways))]
    kept: list[int] = []
    for number, name in enumerate(names):
        if not kept or name != names[kept[-1]] or number in (plan.default, len(names) - 1):
            kept.append(number)
    return kept


def ways_csv(plan: WholePlan) -> bytes:
    """Return the ways as ``ways.csv``; see ``telling.WAYS_COLUMNS`` for its columns."""
    return to_csv(plan.table(way_numbers(plan)).round(_ROUNDED))


def plan_files(plan: WholePlan, number: int, paper: str = "A4") -> dict[str, bytes]:
    """Return everything that a plan writes, by file name.

    Parameters
    ----------
    plan : of the instrument.
    number : of the way that the sheets are for.
    paper : "A4" or "Letter".
    """
    occasion = plan.occasion
    instrument = with_way(occasion.instrument, plan.chosen(number))
    work = work_from(instrument, occasion.visit, occasion=occasion)
    sheets = bench_sheets(work, sheet_pictures(instrument))
    order: pd.DataFrame = plan.order(number).drop(columns=["gain_g2"], errors="ignore")
    return {
        "ways.csv": ways_csv(plan),
        "order_of_work.csv": to_csv(order.round(2)),
        "expected.csv": to_csv(keys_table(work.expected)),
        "bench_sheets.html": sheet_html(work, sheets, paper).encode(),
        "bench_sheets.pdf": sheet_pdf(work, sheets, paper),
        "owner_page.html": owner_page(plan, number, paper).encode(),
    }
