"""What lies on the scale, whether it has come to rest, and when a number may be taken.

Nothing is taken that is unsteady, less than nothing, or more than the scale can weigh. By itself a
number is taken once for each load: the scale must have shown nothing in between.
"""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal

from balancekit.instrument.weighing_scale.line import GRAMS, SentLine

STEADY_S = 1.0
"""A load that the scale has shown unchanged for so long is taken by itself."""

RESTING_S = 0.3
# Our own choice: unchanged for so long, it is taken when asked.

FEWEST_LINES = 3
# Our own choice: a number stands in so many lines, one after the other; two when asked.

GAP_S = 2.5
# Our own choice: after a longer silence nothing is known of what lies on the scale.

LEAST_G = Decimal("0.5")
# Our own choice: less is no load, but what an empty scale may show.

EMPTY_G = Decimal("0.2")
# Our own choice: an empty scale shows no more, or no more than its last digit.

BY_HAND, BY_ITSELF, BY_ITS_KEY = "by hand", "when steady", "by its own key"
TRIGGERS = (BY_HAND, BY_ITSELF, BY_ITS_KEY)
"""A number is taken when it is asked for, was steady for a second, or was sent alone."""


EMPTY_FIRST = "Take everything off the scale first."


@dataclass(frozen=True)
class Shown:
    """What the scale shows now.

    Attributes
    ----------
    text : the number in grams as it is taken, with no more digits than the scale has; "" for none.
    state : "steady", "moving", "less than nothing", "no weight", "unit" or "".
    words : what to do about it; "" for nothing.
    """

    text: str = ""
    state: str = ""
    words: str = ""


class OnTheScale:
    """Follows the lines of a scale.

    Attributes
    ----------
    trigger : one of ``TRIGGERS``.
    unit : what a number without a unit is in; "" if nobody said.
    shown : what the scale shows now.
    """

    def __init__(self, trigger: str = BY_HAND, unit: str = "") -> None:
        self.trigger, self.unit = trigger, unit
        self.begin()

    def begin(self, why: str = EMPTY_FIRST) -> None:
        """Forget what was on the scale: it must show nothing before a load is taken by itself."""
        self.shown = Shown()
        self._run: list[tuple[float, Decimal]] = []
        self._step = Decimal(1)
        self._net: bool | None = None
        self._ready, self._why = False, why
        self._waits: str | None = None
        self._last = float("-inf")

    @property
    def why_not(self) -> str:
        """Why nothing is taken by itself now; "" if the next load is."""
        return "" if self._ready else self._why

    def line(self, line: SentLine | None, at: float) -> str | None:
        """Follow one line, read at a time [s]; return a number to take, in grams, or None."""
        between, self._last = at - self._last, at
        if between > GAP_S:
            self._run.clear()
        self._waits = None
        if line is None:
            return None
        grams = self._grams(line)
        if grams is None:
            self._run.clear()
            return None
        if line.net is not None and self._net not in (None, line.net):
            self._run.clear()
            self.not_before_empty("The tare was changed: take everything off the scale first.")
        self._net = line.net if line.net is not None else self._net
        self._rest(line, grams, at)
        text = self._text(grams)
        if grams < -max(EMPTY_G, self._step):
            self.not_before_empty("It shows less than nothing: empty it and set it to zero.")
            self.shown = Shown(text, "less than nothing", self._why)
            return None
        steady = line.steady is not False and self._rested(RESTING_S, 2)
        self.shown = Shown(text, "steady" if steady else "moving")
        return self._by_trigger(text, grams, line, between)

    def quiet(self) -> str | None:
        """Return the number to take once a line has come alone, as at a press of its key."""
        text, self._waits = self._waits, None
        return text

    def when_asked(self, now: float) -> tuple[str | None, str]:
        """Return the number to take, or None and why there is none."""
        if self.shown.state in ("", "no weight", "unit", "less than nothing"):
            return None, self.shown.words or "The scale has sent nothing yet."
        if now - self._last > GAP_S:
            return None, "The scale is silent: what it shows here may be old."
        if self.shown.state == "moving":
            return None, "It still moves: press again when it rests."
        self.not_before_empty("Taken. Take it off the scale for the next one.")
        return self.shown.text, ""

    def _grams(self, line: SentLine) -> Decimal | None:
        if line.number is None:
            words = "Too much, too little, or an error: it shows no weight."
            self.shown = Shown("", "no weight", words)
            return None
        unit = line.unit or self.unit
        if unit not in GRAMS:
            words = (f"It sends {unit}, which is not known here: set it to grams." if unit else
                     "It names no unit: say beside which it is.")  # fmt: skip
            self.shown = Shown("", "unit", words)
            return None
        self._step = Decimal(1).scaleb(-line.decimals) * GRAMS[unit]
        return line.number * GRAMS[unit]

    def _rest(self, line: SentLine, grams: Decimal, at: float) -> None:
        """Go on with the numbers that agree, to the scale's last digit, or begin with this one."""
        among = [value for _, value in self._run] + [grams]
        if line.steady is False or max(among) - min(among) > self._step:
            self._run.clear()
        if line.steady is not False:
            self._run.append((at, grams))

    def _rested(self, seconds: float, lines: int) -> bool:
        return len(self._run) >= lines and self._run[-1][0] - self._run[0][0] >= seconds

    def _by_trigger(self, text: str, grams: Decimal, line: SentLine, between: float) -> str | None:
        if self.trigger == BY_ITS_KEY:
            alone = between > STEADY_S and line.steady is not False and grams >= LEAST_G
            self._waits = text if alone else None
            return None
        if abs(grams) <= max(EMPTY_G, self._step) and self._rested(RESTING_S, FEWEST_LINES):
            self._ready = True
        waits = self.trigger == BY_ITSELF and self._ready and grams >= LEAST_G
        if not waits or not self._rested(STEADY_S, FEWEST_LINES):
            return None
        self.not_before_empty("Taken. Take it off the scale for the next one.")
        return text

    def not_before_empty(self, why: str = EMPTY_FIRST) -> None:
        """Take nothing by itself until the scale has shown nothing."""
        self._ready, self._why = False, why

    def _text(self, grams: Decimal) -> str:
        """Write grams with the digits that the scale has: no step of it is lost, none invented."""
        places = max(0, -self._step.adjusted())
        rounded = grams.quantize(Decimal(1).scaleb(-places), ROUND_HALF_EVEN)
        return f"{rounded:f}"
