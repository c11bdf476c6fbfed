"""One key judged as a whole: what its readings, taken together, are best explained by."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from balancekit.calculation.believed.causes import KeyEvidence
from balancekit.calculation.believed.joint import STANDS_OUT_AT
from balancekit.calculation.irregularities import pen_slips
from balancekit.calculation.irregularities.advice import where_to_look
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
        away = (value - float(trend.expected[self.key])) / float(trend.expected_u[self.key])
        return away if away == away else 0.0

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

    def flags(self, evidence: KeyEvidence) -> Iterator[Flag]:
        """Name the causes of what is off on this key, slips of the pen first.

        Parameters
        ----------
        evidence : the readings of this key, held against those of all others.
        """
        mended = dict(self.read)
        for name in self._worst_first():
            flag = self.pen_slip(name) if mended[name] == self.read[name] else None
            other = self.exchanged(name)
            changed = {} if flag is None else {name: flag.fits}
            if other:
                changed[other] = self.read[name]
            if flag and self._explains(evidence, changed):
                yield flag
                if other:
                    yield self.slip(other, self.read[name], pen_slips.exchange_words(name))
                mended.update(changed)
        if mended == self.read and self.up_above_down():
            down, up = "down_weight_g", "up_weight_g"
            for name, other in ((down, up), (up, down)):
                yield self.slip(name, self.read[other], pen_slips.exchange_words(other))
                mended[name] = self.read[other]
        yield from self._causes(evidence.with_read(self._more(mended)), mended == self.read)

    def _more(self, changed: Mapping[str, float]) -> dict[str, float]:
        """By how much changed readings are larger than what was read."""
        return {name: value - self.read[name] for name, value in changed.items()}

    def _explains(self, evidence: KeyEvidence, changed: Mapping[str, float]) -> bool:
        """Whether a slip explains the key about as well as the best cause there is."""
        best, left = evidence.explained(), evidence.with_read(self._more(changed)).squares
        if best is None or self.up_above_down():
            return True
        return left <= evidence.squares - best[2] ** 2 + _MARGIN

    def _worst_first(self) -> list[str]:
        off = {
            name: abs(self.off(name, value))
            for name, value in self.read.items()
            if name in READING_COLUMNS and name in self.trends
        }
        beyond = [name for name in off if off[name] > STANDS_OUT_AT]
        return sorted(beyond, key=lambda name: -off[name])

    def _causes(self, evidence: KeyEvidence, at_least_one: bool) -> Iterator[Flag]:
        """Explain what is beyond belief, one cause after the other."""
        for count in range(_MOST_CAUSES):
            best = evidence.explained()
            if best is None:
                return
            cause, size, units = best
            if abs(units) <= cause.beyond and not (at_least_one and count == 0):
                return
            if cause.misread:
                yield self.misread(cause.name, size)
            else:
                yield self.stands_out(self._shown(cause.name))
            evidence = evidence.beside(cause)

    def _shown(self, name: str) -> str:
        """The quantity under which a real cause is shown: one that is known of this key."""
        if name in self.read and name in self.trends:
            return name
        if "balance_weight_g" in self.read:
            return "balance_weight_g"
        return max(
            (each for each in self.read if each in READING_COLUMNS),
            key=lambda each: abs(self.off(each, self.read[each])),
        )
