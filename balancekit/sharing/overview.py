"""One page over many instruments: the least even first, each with a link to its report."""

from __future__ import annotations

from collections.abc import Sequence

from balancekit.calculation.quantities import QUANTITIES
from balancekit.calculation.words import escape
from balancekit.sharing.markup import page_asset, policy
from balancekit.sharing.outcome import REPORT, Outcome

RANKED_BY = "down_weight_g"
"""The step that ranks the instruments: what a finger meets first, and uprights have it too."""

_SHOWN = (RANKED_BY, "friction_g", "balance_weight_g", "strike_weight_g", "inertia_g")


def ranked(outcomes: Sequence[Outcome]) -> list[Outcome]:
    """Return the outcomes that could be used, the least even first, those not known last."""

    def place(outcome: Outcome) -> tuple[bool, float, str]:
        step = outcome.evenness.get(RANKED_BY, float("nan"))
        return step != step, -step if step == step else 0.0, outcome.title

    return sorted((o for o in outcomes if not o.problems), key=place)


def overview_html(outcomes: Sequence[Outcome]) -> str:
    """Return the overview page.

    Parameters
    ----------
    outcomes : of all sources, in any order.
    """
    good, bad = ranked(outcomes), [outcome for outcome in outcomes if outcome.problems]
    headings = ["Rank", "Instrument", "Folder or file"]
    headings += [f"{QUANTITIES[name].label} ({QUANTITIES[name].unit})" for name in _SHOWN]
    headings += ["Slips", "Stand out"]
    head = "".join(f'<th scope="col">{escape(heading)}</th>' for heading in headings)
    rows = "".join(_row(rank, outcome) for rank, outcome in enumerate(good, start=1))
    broken = "".join(_broken(outcome) for outcome in bad)
    trouble = f"<h2>Could not be used</h2>{broken}" if bad else ""
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        f'<meta http-equiv="Content-Security-Policy" content="{policy([])}">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>Overview of {len(outcomes)} instruments</title>"
        f"<style>{page_asset('page.css')}</style></head><body><main>"
        f"<h1>Overview of {len(outcomes)} instruments</h1>"
        "<p>The least even first, by the step of the down weight from key to key. Each figure is "
        "the piano's own root mean square step; what weighing makes is taken out.</p>"
        '<div class="table-box" role="region" tabindex="0" aria-label="Instruments by evenness">'
        f"<table><caption>Instruments by evenness</caption><thead><tr>{head}</tr></thead>"
        f"<tbody>{rows}</tbody></table></div>{trouble}</main></body></html>\n"
    )


def _row(rank: int, outcome: Outcome) -> str:
    link = escape(f"{outcome.folder}/{REPORT}" if outcome.folder else REPORT)
    cells = [_figure(name, outcome.evenness.get(name, float("nan"))) for name in _SHOWN]
    cells += [f"{outcome.flags.get(kind, 0)}" for kind in ("slip", "stands-out")]
    numbers = "".join(f'<td class="number">{cell}</td>' for cell in cells)
    return (
        f'<tr><td class="number">{rank}</td><th scope="row"><a href="{link}">'
        f"{escape(outcome.title.strip() or outcome.source)}</a></th>"
        f"<td>{escape(outcome.source)}</td>{numbers}</tr>"
    )


def _figure(name: str, value: float) -> str:
    return "not known" if value != value else f"{value:.{max(QUANTITIES[name].decimals, 1)}f}"


def _broken(outcome: Outcome) -> str:
    problems = "".join(f"<li>{escape(problem)}</li>" for problem in outcome.problems[:20])
    more = len(outcome.problems) - 20
    tail = f"<li>and {more} more</li>" if more > 0 else ""
    return f"<h3>{escape(outcome.source)}</h3><ul>{problems}{tail}</ul>"
