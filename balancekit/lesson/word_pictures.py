"""A small picture of each word of weighing, drawn from invented readings."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable

import numpy as np

from balancekit.calculation.words import escape
from balancekit.charts.look import DOUBT, INK, NATURAL
from balancekit.lesson.lever_chain.parts import WEIGHING_WORDS

_WIDE, _HIGH = 150, 100
_MIDDLE = _HIGH / 2

_BAND = "#d9e6ee"

_COUNT = 14
# Our own choice: enough points to see a cloud, few enough to see each.


def _places() -> tuple[list[float], list[float]]:
    """Return where readings lie across, and how far each lies off."""
    off = np.random.default_rng(7).normal(0.0, 11.0, _COUNT)
    return np.linspace(12.0, _WIDE - 12.0, _COUNT).tolist(), off.tolist()


def _path(points: Iterable[tuple[float, float]], more: str) -> str:
    return f'<polyline points="{" ".join(f"{x:.1f},{y:.1f}" for x, y in points)}" {more}/>'


def _dots(points: Iterable[tuple[float, float]]) -> str:
    return "".join(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="3" fill="{NATURAL}"/>' for x, y in points)


def _text(x: float, y: float, words: str, size: int = 11) -> str:
    return (
        f'<text x="{x:.0f}" y="{y:.0f}" font-size="{size}" text-anchor="middle" '
        f'fill="{INK}">{escape(words)}</text>'
    )


def _stroke(colour: str, wide: float = 2.0) -> str:
    return f'fill="none" stroke="{colour}" stroke-width="{wide}"'


def _scatter() -> str:
    """Readings of one thing, and how far each lies from their middle."""
    across, off = _places()
    level = _path([(4, _MIDDLE), (_WIDE - 4, _MIDDLE)], _stroke(INK, 1.2))
    ways = "".join(
        _path([(x, _MIDDLE), (x, _MIDDLE - y)], _stroke(DOUBT, 1.5))
        for x, y in zip(across, off, strict=True)
    )
    return level + ways + _dots((x, _MIDDLE - y) for x, y in zip(across, off, strict=True))


def _uncertainty() -> str:
    """The bell of many misses; its dark part holds those up to one standard uncertainty."""
    grid = np.linspace(-3.0, 3.0, 61)
    bell = np.exp(-(grid**2) / 2)
    floor, scale = _HIGH - 22.0, 62.0
    curve = [(_WIDE / 2 + 22 * x, floor - scale * y) for x, y in zip(grid, bell, strict=True)]
    inside = [point for point, x in zip(curve, grid, strict=True) if abs(x) <= 1 + 1e-9]
    corners = [(inside[0][0], floor), *inside, (inside[-1][0], floor)]
    share = math.erf(1 / math.sqrt(2))
    marks = _text(_WIDE / 2 - 22, _HIGH - 8, "−u") + _text(_WIDE / 2 + 22, _HIGH - 8, "+u")
    return (
        _path(corners, f'fill="{_BAND}" stroke="none"')
        + _path(curve, _stroke(INK))
        + _path([(4, floor), (_WIDE - 4, floor)], _stroke(INK, 1.2))
        + _text(_WIDE / 2, floor - 14, f"{100 * share:.0f} %", 13)
        + marks
    )


def _trend() -> str:
    """Readings over the keyboard, and the smooth course through them."""
    across, off = _places()
    course = [22 + 0.32 * x + 0.0009 * x**2 for x in across]
    points = [(x, y - 0.6 * o) for x, y, o in zip(across, course, off, strict=True)]
    return _dots(points) + _path(zip(across, course, strict=True), _stroke(DOUBT, 2.6))


def _steady() -> str:
    """What a scale shows, from the moment the part lies on it."""
    time = np.linspace(0.0, 1.0, 80)
    shown = _MIDDLE - 34 * np.exp(-5 * time) * np.cos(28 * time)
    points = list(zip((10 + 130 * time).tolist(), shown.tolist(), strict=True))
    still = [point for point, t in zip(points, time, strict=True) if t > 0.7]
    return _path(points, _stroke(NATURAL)) + _path(still, _stroke(DOUBT, 3.4))


def _tare() -> str:
    """A rest lies on the scale, and the scale shows nothing."""
    return (
        '<rect x="30" y="52" width="90" height="34" rx="5" fill="#2f3d49"/>'
        '<rect x="46" y="59" width="58" height="20" rx="2" fill="#eaf4ee"/>'
        + _text(75, 74, "0.0 g", 14)
        + '<rect x="36" y="46" width="78" height="5" rx="2" fill="#7d8b97"/>'
        + f'<rect x="56" y="24" width="38" height="21" fill="#ecd5a6" stroke="{DOUBT}"/>'
    )


_DRAWN: dict[str, Callable[[], str]] = {
    "scatter": _scatter,
    "standard uncertainty": _uncertainty,
    "steady": _steady,
    "tare": _tare,
    "trend": _trend,
}


def word_pictures_html() -> str:
    """Return the words of weighing as cards, each with its picture and its meaning.

    >>> word_pictures_html().count("<figure>") == len(WEIGHING_WORDS)
    True
    """
    cards = "".join(
        f'<figure><svg class="lesson-picture" viewBox="0 0 {_WIDE} {_HIGH}" role="img" '
        f'aria-label="Picture: {escape(word)}">{_DRAWN[word]()}</svg>'
        f"<figcaption><b>{escape(word)}</b> {escape(meaning)}</figcaption></figure>"
        for word, meaning in sorted(WEIGHING_WORDS.items())
    )
    return f'<div class="lesson-pictures">{cards}</div>'
