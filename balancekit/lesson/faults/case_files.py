"""A case as a file: chosen by a teacher to be opened, or worked on and handed in."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from balancekit.lesson.faults.case import Case, CaseResult, judge, make_case, plant
from balancekit.lesson.practice.handed_in import HandedIn

CASE_FILE = HandedIn("balancekit lesson case", "case", "Save it from its panel anew.")
MOST_CASE_BYTES = 50_000


@dataclass(frozen=True)
class WorkedCase:
    """A case, and what someone named in it; judged anew when it is read."""

    case: Case
    named: Mapping[int, str]
    name: str

    @property
    def result(self) -> CaseResult:
        """What was found, missed and accused."""
        return judge(self.case, self.named)


def case_text(case: Case, named: Mapping[int, str] | None = None, name: str = "") -> str:
    """Return a case as a text (JSON), with what was named in it and by whom.

    >>> case = plant(3, {40: "tight"})
    >>> read_case(case_text(case, {40: "tight"}, "A. Prentice")).result.found
    (40,)
    """
    kept = CASE_FILE.head(case.seed, name)
    if case.drawn:
        kept["faults"] = len(case.planted)
    else:
        kept["planted"] = {str(key): kind for key, kind in case.planted.items()}
        kept["sizes"] = {str(key): size for key, size in case.sizes.items()}
    if named is not None:
        kept["named"] = {str(key): kind for key, kind in sorted(named.items())}
        kept["summary"] = judge(case, named).words
    return json.dumps(kept, indent=1, ensure_ascii=False)


def read_case(text: str) -> WorkedCase:
    """Read a case; what was named is judged anew.

    Raises
    ------
    BalancekitError : the text is not a case, or not whole.
    """
    read = CASE_FILE.read(text)
    seed = CASE_FILE.whole_number(read, "seed")
    if "faults" in read:
        case = make_case(seed, CASE_FILE.whole_number(read, "faults"))
    else:
        case = plant(seed, _by_key(read.get("planted")), _by_key(read.get("sizes", {})))
    worked = WorkedCase(case, _by_key(read.get("named", {})), str(read.get("name", "")))
    worked.result  # noqa: B018  refuses keys and faults that are not there
    return worked


def _by_key(kept: Any) -> dict[int, str]:
    try:
        return {int(key): str(kind) for key, kind in kept.items()}
    except (AttributeError, TypeError, ValueError):
        raise CASE_FILE.refuse("A list of keys and faults is missing.") from None
