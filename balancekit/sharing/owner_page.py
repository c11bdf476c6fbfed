"""One page for the owner, in plain words: what will be done, what cannot be undone, what it costs.

No word of the trade stands here that a player would not know.
"""

from __future__ import annotations

import numpy as np

from balancekit.calculation.plan.knowledge import wanted_line
from balancekit.calculation.plan.work_costs import USUAL
from balancekit.calculation.words import escape, plural
from balancekit.instrument.choices.whole_plan import WholePlan
from balancekit.sharing.markup import bullets, page_asset, paragraph, policy
from balancekit.sharing.sheet_html import PAPERS, check_paper

HOURS_WITHIN = 0.2
# Our own choice: hours of handwork are said to a fifth.

_HEIGHT, _WIDTH, _REACH_G = 120, 640, 8.0


def owner_page(plan: WholePlan, number: int, paper: str = "A4") -> str:
    """Return the page as HTML that needs nothing else.

    Parameters
    ----------
    plan : of the instrument.
    number : of the way.
    paper : "A4" or "Letter".

    Raises
    ------
    BalancekitError : another paper.
    """
    check_paper(paper)
    way, told = plan.way(number), plan.told(number)
    title = escape(plan.occasion.instrument.title)
    line = wanted_line(plan.treatments, way)
    before = plan.piano.balance_weight_g - _own_line(plan)
    after = told.balance_weight_g.to_numpy() - line
    pictures = _picture(before, "How heavy each key is now, against an even keyboard") + _picture(
        after, "How heavy each key is expected to be after the work"
    )
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        f'<meta http-equiv="Content-Security-Policy" content="{policy([])}">'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<title>{title}: for the owner</title><style>@page {{ size: {PAPERS[paper]}; "
        f"margin: 14mm; }}\n{page_asset('page.css')}</style></head>"
        f'<body class="sheets"><main><h1>{title}: what is to be done</h1>'
        f"{paragraph(_outcome(plan, number, before))}{pictures}"
        f"<h2>What will be done</h2>{bullets(_done(plan, number))}"
        f"<h2>What cannot be undone</h2>{bullets(_not_undone(plan, number))}"
        f"<h2>Hours and price</h2>{paragraph(_price(plan, number))}"
        "<h2>Agreed</h2><p>Date, name and signature of the owner:</p>"
        '<p style="border-bottom:1px solid; height:3em"></p></main></body></html>\n'
    )


def _own_line(plan: WholePlan) -> np.ndarray:
    places, found = plan.piano.places, plan.piano.balance_weight_g
    return np.asarray(np.polyval(np.polyfit(places, found, min(1, len(found) - 1)), places))


def _outcome(plan: WholePlan, number: int, before: np.ndarray) -> str:
    """Say how many keys are off now and, by all that is not known, will be after the work."""
    off = int((np.abs(before) > plan.tolerance_g).sum())
    left = round((1 - plan.sure(number).keys_percent / 100) * len(before))
    then = f"about {plural(left, 'key')}" if left else "hardly any key"
    return (
        f"Now {plural(off, 'key')} of {len(before)} are clearly heavier or lighter under the "
        f"finger than they should be. After the work {then} should still be so."
    )


def _picture(off_g: np.ndarray, title: str) -> str:
    """Draw how far each key is off: up is heavier, down is lighter."""
    count, middle = len(off_g), _HEIGHT / 2
    step = _WIDTH / count
    bars = []
    for place, off in enumerate(off_g.tolist()):
        size = min(abs(off), _REACH_G) / _REACH_G * (middle - 4)
        top = middle - size if off > 0 else middle
        color = "#d55e00" if abs(off) > 2.0 else "#0072b2"
        bars.append(
            f'<rect x="{place * step:.1f}" y="{top:.1f}" width="{0.8 * step:.1f}" '
            f'height="{max(size, 0.8):.1f}" fill="{color}"/>'
        )
    return (
        f"<figure><figcaption>{escape(title)} (up: heavier, down: lighter)</figcaption>"
        f'<svg viewBox="0 0 {_WIDTH} {_HEIGHT}" role="img" aria-label="{escape(title)}" '
        f'style="width:100%;max-width:{_WIDTH}px"><line x1="0" x2="{_WIDTH}" y1="{middle}" '
        f'y2="{middle}" stroke="#5b6b79"/>{"".join(bars)}</svg></figure>'
    )


def _done(plan: WholePlan, number: int) -> list[str]:
    told, way = plan.told(number), plan.way(number)
    trimmed, added = int((told.strike_g < 0).sum()), int((told.strike_g > 0).sum())
    lead, fitted = int((told.front_g != 0).sum()), _fitted(plan, number)
    springs = int((told.relief_g != 0).sum()) - fitted
    moved = [plan.piano.shifts[each] for each in way.decision.shifts]
    said = [
        f"The contact points of keys {shift.first_key} to {shift.last_key} inside the piano are "
        "moved to where they belong."
        for shift in moved
    ]
    for count, words in (
        (len(told.eased), "are freed where they rub, or made a little firmer."),
        (springs, "have their helping spring set anew."),
        (fitted, "get a new helping spring."),
        (added, "get a slightly heavier hammer."),
        (trimmed, "get a slightly lighter hammer."),
        (lead, "get their small balancing weights of lead changed."),
    ):
        if count:
            said.append(f"{plural(count, 'key')} {words}")
    return said or ["Nothing: the piano stays as it is."]


def _not_undone(plan: WholePlan, number: int) -> list[str]:
    told, way, t = plan.told(number), plan.way(number), plan.treatments
    holes = int(t.new_holes[way.chosen[: plan.piano.count]].sum())
    trimmed = int((told.strike_g < 0).sum())
    said = [
        f"{_MOVED[shift.lever]} of keys {shift.first_key} to {shift.last_key}."
        for shift in (plan.piano.shifts[each] for each in way.decision.shifts)
        if not USUAL[f"move {shift.lever}"].undone
    ]
    fitted = _fitted(plan, number)
    if fitted:
        said.append(f"New springs are set into {plural(fitted, 'key')}.")
    if trimmed:
        said.append(f"What is taken off {plural(trimmed, 'hammer')} does not grow again.")
    if holes:
        said.append(f"{plural(holes, 'new hole')} in the wood of the keys stay.")
    return said or ["Everything in this plan can be undone."]


_MOVED = {
    "capstan": "The old holes of the moved contact points stay in the wood",
    "knuckle": "Small parts are glued in another place: those",
}


def _fitted(plan: WholePlan, number: int) -> int:
    """Return how many keys get a new spring."""
    own = plan.way(number).chosen[: plan.piano.count]
    return int(plan.treatments.fitted[own].sum())


def _price(plan: WholePlan, number: int) -> str:
    way, hour = plan.way(number), plan.costs.price("hour of work")
    hours = way.minutes / 60
    low, high = hours * (1 - HOURS_WITHIN), hours * (1 + HOURS_WITHIN)
    text = f"{low:.1f} to {high:.1f} hours of work, and {way.money:.2f} for parts."
    if hour:
        text += f" Together {low * hour + way.money:.0f} to {high * hour + way.money:.0f}."
    else:
        text += " Price of one hour: ____________  Together: ____________"
    return text
