"""Slow work is done beside the kernel, and what comes of it belongs to what was asked."""

import asyncio
import gc
import sys

from balancekit.panels.frame import beside
from balancekit.panels.leads import lead_desk as desk_module
from balancekit.panels.leads.lead_desk import lead_desk


def test_a_search_that_fails_is_not_taken_for_the_other_one(bench, monkeypatch):
    desk, failed = lead_desk(bench), []
    monkeypatch.setattr(desk_module, "beside", lambda work, done, said: failed.append(said))
    desk.get_ready(print)
    desk.lay_lines()
    no_layout, no_lines = failed
    no_lines("A flaw.")
    assert not desk.laying and desk.said == "A flaw."
    desk.get_ready(print)
    assert len(failed) == 2  # the layout is still being sought
    desk.lay_lines()
    no_layout("Another flaw.")
    assert desk.laying and desk.said == "Another flaw."
    desk.get_ready(print)
    assert len(failed) == 4


def test_slow_work_leaves_the_loop_free():
    seen = []

    async def run():
        beside(lambda: sum(range(1000)), seen.append, seen.append)
        assert seen == []
        for _ in range(200):
            await asyncio.sleep(0.01)
            if seen:
                break

    asyncio.run(run())
    assert seen == [499500]


def test_what_was_imported_is_not_looked_through_for_litter_while_a_slider_moves():
    modules = [sys.modules[name] for name in ("bokeh.models", "pandas", "balancekit.panels")]
    looked_through = {id(each) for each in gc.get_objects()}
    assert not any(id(vars(module)) in looked_through for module in modules)
