"""Touch weight, friction, balance and hammer mass of a grand piano action.

The package is loaded in parts, each when it is first asked for, so that
``import balancekit`` costs almost nothing. ``__all__`` names what a cell or a
script of your own needs; ``open_bench`` is how the notebooks begin.
"""

import os
from importlib import import_module
from typing import TYPE_CHECKING, Any

# Our matrices are small: a second thread of the linear algebra gains nothing, and where the
# processors do other work it waits for its turn, at 15 times the processor time of the search for
# groups. It is read when numpy is loaded, so it stands before that; who sets it keeps it.
for _threads in ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_threads, "1")

if TYPE_CHECKING:
    from balancekit.calculation.problems import BalancekitError, Problem
    from balancekit.calculation.quantities import QUANTITIES
    from balancekit.front_door import (
        believe,
        compare,
        decide,
        evenness,
        findings,
        plan_hammers,
        plan_leads,
        plan_whole,
        predict,
        read,
        report,
        save,
        table,
    )
    from balancekit.instrument.believed import Believed
    from balancekit.instrument.bench import open_bench as open_bench
    from balancekit.instrument.choices.chosen_way import ChosenWay
    from balancekit.instrument.choices.hammer_choice import HammerChoice
    from balancekit.instrument.choices.hammer_plan import HammerPlan
    from balancekit.instrument.choices.lead_choice import LeadChoice
    from balancekit.instrument.choices.lead_plan import LeadPlan
    from balancekit.instrument.choices.whole_plan import WholePlan
    from balancekit.instrument.findings import Findings
    from balancekit.instrument.model import BenchSettings, Instrument, Section, Visit

__version__ = "0.1.0"

__all__ = [
    "QUANTITIES",
    "BalancekitError",
    "Believed",
    "BenchSettings",
    "ChosenWay",
    "Findings",
    "HammerChoice",
    "HammerPlan",
    "Instrument",
    "LeadChoice",
    "LeadPlan",
    "Problem",
    "Section",
    "Visit",
    "WholePlan",
    "believe",
    "compare",
    "decide",
    "evenness",
    "findings",
    "plan_hammers",
    "plan_leads",
    "plan_whole",
    "predict",
    "read",
    "report",
    "save",
    "table",
]

_PARTS = ("calculation", "instrument", "charts", "panels", "sharing", "lesson")
_FRONT_DOOR = "balancekit.front_door"
_NAMES = {
    "open_bench": "balancekit.instrument.bench",
    "QUANTITIES": "balancekit.calculation.quantities",
    "BalancekitError": "balancekit.calculation.problems",
    "Problem": "balancekit.calculation.problems",
    "Believed": "balancekit.instrument.believed",
    "BenchSettings": "balancekit.instrument.model",
    "Instrument": "balancekit.instrument.model",
    "Section": "balancekit.instrument.model",
    "Visit": "balancekit.instrument.model",
    "Findings": "balancekit.instrument.findings",
    "ChosenWay": "balancekit.instrument.choices.chosen_way",
    "HammerChoice": "balancekit.instrument.choices.hammer_choice",
    "HammerPlan": "balancekit.instrument.choices.hammer_plan",
    "LeadChoice": "balancekit.instrument.choices.lead_choice",
    "LeadPlan": "balancekit.instrument.choices.lead_plan",
    "WholePlan": "balancekit.instrument.choices.whole_plan",
}
"""Where each name stands; what is not listed stands in the front door itself."""


if not TYPE_CHECKING:  # a checker shall know no name but those above

    def __getattr__(name: str) -> Any:
        if name in _PARTS:
            return import_module(f"balancekit.{name}")
        if name in _NAMES or name in __all__:
            return getattr(import_module(_NAMES.get(name, _FRONT_DOOR)), name)
        near = ""
        if not name.startswith("_"):
            from difflib import get_close_matches

            found = get_close_matches(name, [*__all__, *_PARTS], n=1)
            near = f". Did you mean: '{found[0]}'?" if found else ""
        raise AttributeError(f"module 'balancekit' has no attribute {name!r}{near}")


def __dir__() -> list[str]:
    own = (name for name in globals() if name.startswith("__"))
    return sorted({*own, *__all__, *_PARTS, *_NAMES})
