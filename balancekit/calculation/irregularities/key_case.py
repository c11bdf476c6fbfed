"""One key judged as a whole: what its readings, taken together, are best explained by."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from balancekit.calculation.irregularities import pen_slips
from balancekit.calculation.irregularities.advice import where_to_look
from balancekit.calculation.irregularities.causes import (
    effects,
    independent,
    likely_cause,
    results_of,
)
from balancekit.calculation.irregularities.setting_aside import STANDS_OUT_AT
from balancekit.calculation.irregularities.trend import Trend
from balancekit.calculation.quantities import QUANTITIES, READING_COLUMNS

FITS = 2.5
"""Standard units within which a value with two digits exchanged is said to fit."""
# Our own choice: 99 of 100 true readings lie within 2.58 (standard normal table). Closer than
# ``STANDS_OUT``, because among so many ways to exchange digits one may fit by chance.

_MOST_CAUSES = 3
# Our own choice: more than three causes on one key are not told apart.

_MARGIN = 9.0
# Our own choice: a slip of the pen has nothing left to choose, where a cause has its size. So
# it may leave more by the square of one normal deviate: below 9 in 997 of 1,000.


@dataclass(frozen=True)
class Flag:
    """One reading or result that the others do not believe, or that is missing.

    Attributes
    ----------
    key : key number.
    quantity : name in the register.
    kind : "slip", "stands-out" or "missing".
    read, expected : what was read, and what the other keys lead one to expect.
    expected_u : standard uncertainty of a reading about what is expected.
    fits : the value that was probably meant; NaN unless a slip.
    advice : the likely cause and what to do.
    """

    key: int
    quantity: str
    kind: str
    read: float
    expected: float
    expected_u: float
    fits: float
    advice: str


class KeyCase:
    """One key, judged as a whole."""

    def __init__(
        self, key: int, trends: Mapping[str, Trend], read: Mapping[str, float] | None = None
    ) -> None:
        self.key, self.trends = key, trends
        found = read or {name: float(trend.reading[key]) for name, trend in trends.items()}
        self.read = {name: value for name, value in found.items() if value == value}

    def off(self, name: str, value: float) -> float:
        """Standard units between a value and what the other keys lead one to expect."""
        trend = self.trends[name]
        known = float(trend.deviation[self.key])
        if value == trend.reading[self.key] and known == known:
            return known
        away = (value - float(trend.expected[self.key])) / self.spread(name)
        return away if away == away else 0.0

    def spread(self, name: str) -> float:
        """Standard uncertainty of a reading about what is expected, weighed as others are.

        A key's own weighing error is left out of it: with a strike weight that is ten times
        too high, that of the action ratio is ten times too small.
        """
        trend = self.trends[name]
        own = float(trend.reading_u[self.key])
        own = own if own == own else trend.weighing
        total = float(trend.expected_u[self.key]) ** 2 - own**2 + trend.weighing**2
        return float(total**0.5)

    def up_above_down(self) -> bool:
        """Whether the key would lift more than makes it sink."""
        lift, sink = self.read.get("up_weight_g"), self.read.get("down_weight_g")
        return lift is not None and sink is not None and lift > sink

    # What to say.

    def _flag(self, name: str, kind: str, fits: float, advice: str) -> Flag:
        trend = self.trends.get(name)
        expected = float(trend.expected[self.key]) if trend else float("nan")
        spread = float(trend.expected_u[self.key]) if trend else float("nan")
        return Flag(self.key, name, kind, self.read[name], expected, spread, fits, advice)

    def slip(self, name: str, fits: float, cause: str) -> Flag:
        """Name a slip, its likely cause and the value that fits."""
        text = QUANTITIES[name].text
        advice = f"Perhaps {cause}: {text(fits)} would fit. Look at the paper, or read again."
        return self._flag(name, "slip", fits, advice)

    def stands_out(self, name: str) -> Flag:
        """Name what stands out, and where to look."""
        above = self.read[name] > self.trends[name].expected[self.key]
        return self._flag(name, "stands-out", float("nan"), where_to_look(name, bool(above)))

    def misread(self, name: str, by: float) -> Flag:
        """Name a reading that is off for no cause that shows on paper."""
        text = QUANTITIES[name].text
        advice = (
            "This one reading seems off: all else on the key fits with "
            f"{text(self.read[name] - by)}. Read again before anything is done to the action."
        )
        return self._flag(name, "slip", self.read[name] - by, advice)

    # Slips of the pen.

    def _fitting(self, name: str, meant: Iterator[pen_slips.Meant], within: float) -> Flag | None:
        """The nearest of the values that may have been meant, if it fits."""
        near = [(abs(self.off(name, each.value)), each) for each in meant]
        near = [pair for pair in near if pair[0] <= within]
        if not near:
            return None
        _, best = min(near, key=lambda pair: pair[0])
        return self.slip(name, best.value, best.cause)

    def exchanged(self, name: str) -> str | None:
        """Name the column beside it whose reading fits here, and this one there."""
        for pair in pen_slips.column_pairs([*self.read]):
            if name not in pair:
                continue
            other = pair[1 - pair.index(name)]
            known = name in self.trends and other in self.trends
            if known and self.read[name] != self.read[other]:
                here, there = self.off(name, self.read[other]), self.off(other, self.read[name])
                if abs(here) <= STANDS_OUT_AT and abs(there) <= STANDS_OUT_AT:
                    return other
        return None

    def pen_slip(self, name: str) -> Flag | None:
        """Find what was probably meant by one reading, or None."""
        value, trend = self.read[name], self.trends[name]
        other = self.exchanged(name)
        if other:
            return self.slip(name, self.read[other], pen_slips.exchange_words(other))
        flag = self._fitting(name, pen_slips.moved_points(value), STANDS_OUT_AT)
        flag = flag or self._fitting(name, pen_slips.exchanged_digits(value), FITS)
        if flag:
            return flag
        believed = trend.deviation.abs() <= STANDS_OUT_AT
        beside = dict(zip(trend.reading.index[believed], trend.reading[believed], strict=True))
        cause = pen_slips.repeated_neighbour(value, self.key, beside)
        return self.slip(name, float(trend.expected[self.key]), cause) if cause else None

    # The key as a whole.

    def flags(self) -> Iterator[Flag]:
        """Name the causes of what is off on this key, slips of the pen first."""
        mended = dict(self.read)
        for name in self._worst_first():
            flag = self.pen_slip(name) if mended[name] == self.read[name] else None
            other = self.exchanged(name)
            changed = {} if flag is None else {name: flag.fits}
            if other:
                changed[other] = self.read[name]
            if flag and self._explains(changed):
                yield flag
                if other:
                    yield self.slip(other, self.read[name], pen_slips.exchange_words(name))
                mended.update(changed)
        if mended == self.read and self.up_above_down():
            down, up = "down_weight_g", "up_weight_g"
            for name, other in ((down, up), (up, down)):
                yield self.slip(name, self.read[other], pen_slips.exchange_words(other))
                mended[name] = self.read[other]
        found = mended != self.read
        yield from self._with(mended).causes(at_least_one=not found)

    def _with(self, changed: Mapping[str, float]) -> KeyCase:
        """The key with some readings changed, and its results worked out anew."""
        read = {**self.read, **changed}
        read.update((k, v) for k, v in results_of(read).items() if k in self.read)
        return KeyCase(self.key, self.trends, read)

    def _independent(self) -> dict[str, float]:
        """Standard units by which each quantity that varies on its own is off."""
        names = [name for name in independent(self.read) if name in self.trends]
        return {name: self.off(name, self.read[name]) for name in names}

    def _spread(self) -> dict[str, float]:
        return {name: self.spread(name) for name in self.trends}

    def _explains(self, changed: Mapping[str, float]) -> bool:
        """Whether a slip explains the key about as well as the best cause there is."""
        left = sum(each**2 for each in self._with(changed)._independent().values())
        off = self._independent()
        best = sum(e**2 for e in off.values()) - likely_cause(off, self._spread(), self.read).gain
        return left <= best + _MARGIN or self.up_above_down()

    def _worst_first(self) -> list[str]:
        off = {
            name: abs(self.off(name, value))
            for name, value in self.read.items()
            if name in READING_COLUMNS and name in self.trends
        }
        beyond = [name for name in off if off[name] > STANDS_OUT_AT]
        return sorted(beyond, key=lambda name: -off[name])

    def causes(self, at_least_one: bool) -> Iterator[Flag]:
        """Explain what is beyond belief, one cause after the other."""
        off, spread = self._independent(), self._spread()
        balance = "balance_weight_g"
        beyond = any(abs(each) > STANDS_OUT_AT for each in off.values()) or self._worst_first()
        if at_least_one and not beyond and balance in self.trends:
            yield self.stands_out(balance)
            return
        for count in range(_MOST_CAUSES):
            worst = max((abs(each) for each in off.values()), default=0.0)
            if worst <= STANDS_OUT_AT and not (at_least_one and count == 0):
                return
            cause = likely_cause(off, spread, self.read)
            if cause.misread:
                yield self.misread(cause.name, cause.by)
                moved = effects(cause.name, self.read)
                off = {q: off[q] - cause.by * moved.get(q, 0.0) / spread[q] for q in off}
                off = {q: each for q, each in off.items() if q != cause.name}
            else:
                yield self.stands_out(cause.name)
                off = {q: each for q, each in off.items() if q != cause.name}
