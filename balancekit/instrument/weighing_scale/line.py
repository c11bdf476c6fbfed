"""One line of an electronic scale: a number and its unit, whether it is steady, or no weight.

What scales commonly send as plain text, a weighing a line: marks in front, a sign, digits with a
point or a comma, a unit, marks behind. The list is our own, from common practice, no source. A
line that is not understood as a whole is garbled, and no reading.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal

GRAMS = {
    "g": Decimal(1),
    "kg": Decimal(1000),
    "oz": Decimal("28.349523125"),
    "ct": Decimal("0.2"),
}
# NIST Special Publication 811 (2008), appendix B.8: avoirdupois ounce and metric carat. The ounce
# is a sixteenth of the pound of 0.453 592 37 kg, so all are exact.

_STEADY = {"ST": True, "STABLE": True, "US": False, "UNSTABLE": False, "?": False, "~": False}
_NET = {"GS": False, "G": False, "GROSS": False, "NT": True, "N": True, "NET": True}

_NUMBER = re.compile(
    r"(?P<before>[^\d+.-]*)(?P<sign>[+-]?) *(?P<digits>\d{1,7}([.,]\d{1,5})?|\.\d{1,5})"
    r"(?![\d.,]*\d) *(?P<unit>[A-Za-z]*)(?P<after>[^\d+-]*)"
)
_NO_WEIGHT = re.compile(
    r"[+-]?(O-?L|OVER(LOAD)?|U-?L|UNDER(LOAD)?|H+|L+|E+|ERR(OR)?)|-{2,}|={2,}|_{2,}|\^{2,}"
)
_PADDED = re.compile(r" {2,}|(?<![\d.,])0\d")
_ENDS = "\x00\x02\x03\r\n"


@dataclass(frozen=True)
class SentLine:
    """What one line says.

    Attributes
    ----------
    text : the line as it came, without what ends it.
    number : what is shown, in the scale's own unit; None where no weight is shown.
    unit : "g", "kg", "oz", "ct", another word of the scale's, or "" for none.
    decimals : digits behind the point.
    steady : whether the scale calls it steady; None if it does not say.
    net : whether a tare is taken off; None if it does not say.
    """

    text: str
    number: Decimal | None
    unit: str = ""
    decimals: int = 0
    steady: bool | None = None
    net: bool | None = None

    @property
    def shape(self) -> tuple[object, ...]:
        """What all lines of a scale have in common."""
        return self.unit, self.decimals, self.steady is None, self.net is None

    @property
    def padded(self) -> bool:
        """Whether the number is filled up to one length, as then all lines of the scale are."""
        return bool(_PADDED.search(self.text))


def read_line(raw: bytes) -> SentLine | None:
    """Read one line; None if it is garbled, or tells a tare and no weighing.

    >>> line = read_line(b"ST,GS,+  12,34 g")
    >>> line.number, line.unit, line.steady, line.net
    (Decimal('12.34'), 'g', True, False)
    >>> read_line(b"? -0.5 oz").steady, read_line(b"12.3g").steady
    (False, None)
    >>> read_line(b"ST,GS,   OL  g").number is None
    True
    >>> [read_line(raw) for raw in (b"ST,G#,+ 12.3 g", b"12.3.4 g", b"1 2.3 g", b"TR 5.0 g")]
    [None, None, None, None]
    """
    text = _plain(raw)
    if text is None or not text.strip():
        return None
    found = _NUMBER.fullmatch(text.strip())
    if found is None:
        return _without_number(text)
    marks = _marks(f"{found['before']} {found['after']}")
    if marks is None:
        return None
    digits = found["digits"].replace(",", ".")
    whole, _, part = digits.partition(".")
    number = Decimal(f"{found['sign']}{whole or '0'}.{part or '0'}")
    unit = found["unit"]
    known = unit.lower() if unit.lower() in GRAMS else unit
    return SentLine(text, number, known, len(part), *marks)


def _plain(raw: bytes) -> str | None:
    """Return the characters of a line, a parity bit taken off; None for what is no plain text.

    Seven bits with parity take the time of eight without: where a highest bit is set, all
    characters must have the same parity.
    """
    if any(byte & 0x80 for byte in raw):
        if len({byte.bit_count() % 2 for byte in raw}) > 1:
            return None
        raw = bytes(byte & 0x7F for byte in raw)
    text = raw.decode("ascii").strip(_ENDS)
    return text if text.isprintable() else None


def _marks(text: str) -> tuple[bool | None, bool | None] | None:
    """Return what marks say of steady and net; None if there is one that is not known."""
    steady: set[bool] = set()
    net: set[bool] = set()
    for mark in re.findall(r"[?~]|[^\s,;:=?~]+", text.upper()):
        if mark in _STEADY:
            steady.add(_STEADY[mark])
        elif mark in _NET:
            net.add(_NET[mark])
        else:
            return None
    if len(steady) > 1 or len(net) > 1:
        return None
    return next(iter(steady), None), next(iter(net), None)


def _without_number(text: str) -> SentLine | None:
    """Return a line that shows no weight: too much or too little on the scale, or an error."""
    words = [word for word in re.split(r"[\s,;:]+", text.upper()) if word]
    known = {*_STEADY, *_NET, *(unit.upper() for unit in GRAMS), "+"}
    left = [word for word in words if word not in known]
    return SentLine(text, None) if len(left) == 1 and _NO_WEIGHT.fullmatch(left[0]) else None


class SentLines:
    """Reads the lines of one scale: one that is not of the shape of the others is garbled.

    A lost character leaves a line that can be read, and a wrong number. Where the scale is set to
    another unit, its lines are of a new shape from then on.

    >>> lines = SentLines()
    >>> [lines.read(raw) is None for raw in (b"+  12.3 g", b"+ 112.3 g", b"+ 12.3 g", b"+  12 g")]
    [False, False, True, True]
    """

    def __init__(self) -> None:
        self._shape: tuple[object, ...] = ()
        self._other: tuple[object, ...] = ()
        self._others = 0

    def read(self, raw: bytes) -> SentLine | None:
        """Return what a line says; None if it is garbled."""
        line = read_line(raw)
        if line is None or line.number is None:
            return line
        if not self._shape:
            self._shape = self._of(line, line.padded)
        shape = self._of(line, bool(self._shape[-1]) or line.padded)
        if shape == self._shape or (not self._shape[-1] and shape[:-1] == self._shape[:-1]):
            self._shape, self._others = shape, 0
            return line
        self._others = self._others + 1 if shape == self._other else 1
        self._other = shape
        if self._others < NEW_SHAPE_LINES:
            return None
        self._shape, self._others = self._of(line, line.padded), 0
        return line

    @staticmethod
    def _of(line: SentLine, padded: bool) -> tuple[object, ...]:
        return (*line.shape, len(line.text) if padded else 0)


NEW_SHAPE_LINES = 5
# Our own choice: lines of a new shape, one after the other, until it is the scale's.
