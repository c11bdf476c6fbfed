"""What a panel shows in words."""

from __future__ import annotations

import re
from collections.abc import Iterable

from balancekit import panels
from balancekit.instrument.bench import Bench


def text_of(widget: object) -> str:
    """All words that a panel shows, without tags and previews."""
    own = str(getattr(widget, "value", "")) if type(widget).__name__ == "HTML" else ""
    own = re.sub("<[^>]*>", " ", re.sub("<iframe.*</iframe>", " ", own, flags=re.S))
    return " ".join([own, *(text_of(child) for child in getattr(widget, "children", ()))])


def look_at(bench: Bench, names: Iterable[str]) -> None:
    """Open panels: all say something, none shows a NaN, and the instrument stays as it was."""
    before = bench.instrument
    for name in names:
        text = text_of(getattr(panels, name)(bench)).lower()
        assert text.strip() and "nan" not in text.split(), f"{name}: {text}"
    assert bench.instrument is before
