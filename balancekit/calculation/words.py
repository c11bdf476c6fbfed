"""Counts, keys and names in words, for sentences and messages."""

from __future__ import annotations

import difflib
import html
from collections.abc import Iterable


def plural(count: int, word: str) -> str:
    """Return a count with its word.

    >>> plural(1, "line"), plural(2, "line")
    ('1 line', '2 lines')
    """
    return f"{count:,} {word}" if count == 1 else f"{count:,} {word}s"


def escape(text: object) -> str:
    """Return text that is safe inside HTML, and inside a quoted attribute there.

    >>> escape('a < "b"')
    'a &lt; &quot;b&quot;'
    """
    return html.escape(str(text))


def in_words(keys: Iterable[int]) -> str:
    """Name keys in words, runs drawn together.

    >>> in_words([3, 4, 5, 9]), in_words([7])
    ('keys 3 to 5, 9', 'key 7')
    """
    named = numbers_in_words(keys)
    return f"key {named}" if named.isdecimal() else f"keys {named}"


def numbers_in_words(keys: Iterable[int]) -> str:
    """Return the numbers of keys, runs drawn together.

    >>> numbers_in_words([3, 4, 5, 9]), numbers_in_words([7, 8])
    ('3 to 5, 9', '7, 8')
    """
    runs: list[list[int]] = []
    for key in sorted(keys):
        if runs and key == runs[-1][1] + 1:
            runs[-1][1] = key
        else:
            runs.append([key, key])
    return ", ".join(
        f"{a}" if a == b else f"{a}, {b}" if b == a + 1 else f"{a} to {b}" for a, b in runs
    )


def run_in_words(first: int, last: int, members: str = "keys") -> str:
    """Name a run of keys, or the sharps of a run.

    >>> run_in_words(27, 43), run_in_words(1, 13, "sharps")
    ('keys 27 to 43', 'the sharps of keys 1 to 13')
    """
    return f"{'the sharps of ' if members == 'sharps' else ''}keys {first} to {last}"


def moment_in_words(read_at: object) -> str:
    """Return day and minute of a time as it is kept.

    >>> moment_in_words("2026-05-20T10:03:27")
    '2026-05-20 10:03'
    """
    return str(read_at)[:16].replace("T", " ")


def listed(words: Iterable[str]) -> str:
    """Return words as a list in a sentence.

    >>> listed(["hammers", "leads", "springs"]), listed(["leads"])
    ('hammers, leads and springs', 'leads')
    """
    *before, last = words
    return f"{', '.join(before)} and {last}" if before else last


def nearest(name: str, known: Iterable[str]) -> str:
    """Name what was perhaps meant by a name that is not known; "" if nothing is near.

    Parameters
    ----------
    name : as it was written.
    known : every name that there is.

    >>> nearest("strike_wieght", ["down_weight_g", "strike_weight_g"])
    "Did you mean 'strike_weight_g'?"
    >>> nearest("colour of the cat", ["down_weight_g"])
    ''
    """
    near = difflib.get_close_matches(str(name).lower(), list(known), n=1)
    return f"Did you mean '{near[0]}'?" if near else ""
