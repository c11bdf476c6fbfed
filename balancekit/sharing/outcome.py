"""What became of one source of a batch of reports."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from balancekit.calculation.problems import Problem

OVERVIEW = "overview.html"
REPORT = "report.html"


@dataclass(frozen=True)
class Outcome:
    """What became of one source.

    Attributes
    ----------
    source : name of the folder or file.
    folder : where its files were written, below the folder of the overview; "" for itself.
    title : of the instrument; "" if it could not be used.
    problems : why it could not be used; empty if it could.
    evenness : the piano's own step from key to key, by quantity, in its unit; NaN if not known.
    flags : by kind, how many readings and results are flagged.
    remarks : what else to know, one sentence each.
    inside : what the report carries, one sentence each.
    before : whether it was there already, made from the same.
    """

    source: str
    folder: str = ""
    title: str = ""
    problems: tuple[Problem, ...] = ()
    evenness: Mapping[str, float] = field(default_factory=dict)
    flags: Mapping[str, int] = field(default_factory=dict)
    remarks: tuple[str, ...] = ()
    inside: tuple[str, ...] = ()
    before: bool = False
