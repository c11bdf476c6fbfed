"""Which worker takes which module on several processors, and what is worked out once for all.

What opens a browser stands at the end and is taken from there, the longest module first, by some
of the workers; the others take the rest from its beginning, where the longest modules stand too.
So the processors have something to do while a page waits. The two meet at short modules, and no
worker is left alone with a long one.
"""

from __future__ import annotations

import hashlib
import pickle
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from balancekit.instrument import occasion
from balancekit.instrument.findings import Findings, find_all
from balancekit.instrument.usual_in_use import shop

HERE = Path(__file__).parent
BROWSER = HERE / "browser"

BROWSERS = 3
"""Workers that open browsers; with more, pages on two processors answer too late."""

LONGEST = (
    *("test_talking_scale", "test_notebooks", "test_at_the_limits", "test_front_door"),
    *("test_whole_plan", "test_start", "test_lead_panels", "test_hammer_panels"),
    *("test_plan_panels", "test_batch", "test_weighing_scale"),
)
"""Modules that take ten seconds or more, the longest first."""

LONGEST_IN_A_BROWSER = (
    *("test_every_notebook", "test_technician", "test_apprentice", "test_report", "test_class"),
    *("test_nothing_typed_is_lost", "test_answered_report", "test_colleague"),
    *("test_cut_connection", "test_peoples_files", "test_talking_scale", "test_plan"),
)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put the longest modules to both ends, those of the browser to the last."""
    items.sort(key=_turn)


def _turn(item: pytest.Item) -> int:
    name = item.path.stem
    if item.path.is_relative_to(BROWSER):
        return 2 if name not in LONGEST_IN_A_BROWSER else 100 - LONGEST_IN_A_BROWSER.index(name)
    return 1 if name not in LONGEST else LONGEST.index(name) - 100


FOUND: dict[bytes, Findings] = {}


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """Let the first workers begin at the end, with the browsers."""
    from xdist.scheduler import LoadScopeScheduling

    class FromBothEnds(LoadScopeScheduling):
        def _assign_work_unit(self, node: Any) -> None:
            at_the_end = int(node.gateway.id.removeprefix("gw")) < BROWSERS
            if at_the_end and not self.config.option.loadscopereorder:
                self.workqueue.move_to_end(next(reversed(self.workqueue)), last=False)
            super()._assign_work_unit(node)

    return FromBothEnds(config, log) if config.getvalue("dist") == "loadscope" else None


@pytest.fixture(scope="module", autouse=True)
def found_once(request: pytest.FixtureRequest) -> Iterator[None]:
    """Above ``instrument``, what is found in the same instrument is worked out once a process.

    Most tests there begin with the same demo, and look at something else.
    """
    if request.path.relative_to(HERE).parts[0] not in ("panels", "sharing", "lesson", "browser"):
        yield
        return

    def once(instrument: Any, visit: int, read: Any) -> Any:
        usual = shop().usual(instrument)
        place = hashlib.sha256(pickle.dumps((instrument, visit, read, usual))).digest()
        if place not in FOUND:
            FOUND[place] = find_all(instrument, visit, read, usual)
        return FOUND[place]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(occasion, "find_all", once)
        yield
