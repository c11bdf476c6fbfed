"""Touch weight, friction, balance and hammer mass of a grand piano action.

The package is loaded in parts, each when it is first asked for, so that
``import balancekit`` costs almost nothing.
"""

from importlib import import_module
from types import ModuleType
from typing import Any

__version__ = "0.1.0"

_PARTS = ("calculation", "instrument", "charts", "panels", "sharing", "lesson")
_NAMES = {"open_bench": "balancekit.instrument.bench"}


def __getattr__(name: str) -> ModuleType | Any:
    if name in _PARTS:
        return import_module(f"balancekit.{name}")
    if name in _NAMES:
        return getattr(import_module(_NAMES[name]), name)
    raise AttributeError(f"module 'balancekit' has no attribute {name!r}")


def __dir__() -> list[str]:
    return sorted([*globals(), *_PARTS, *_NAMES])
