"""Two things are the same if all that they hold is the same, tables and missing values too."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields, is_dataclass

import numpy as np
import pandas as pd


class ByValue:
    """A frozen dataclass that is compared by what it holds; declare it with ``eq=False``.

    What was worked out from the fields since does not count, nor does a field that is
    declared with ``compare=False``.
    """

    def __eq__(self, other: object) -> bool:
        if type(self) is not type(other):
            return NotImplemented
        return self is other or _same_fields(self, other)

    def __hash__(self) -> int:
        plain = (
            vars(self).get(item.name)
            for item in fields(self)  # type: ignore[arg-type]
            if item.compare
        )
        return hash((type(self), *(each for each in plain if isinstance(each, str | int))))


def same(one: object, other: object) -> bool:
    """Whether two values are the same; a missing value is the same as a missing one.

    Parameters
    ----------
    one, other : numbers, words, tables, Series, arrays, and what holds them: tuples, lists,
        mappings and dataclasses.

    >>> nan = float("nan")
    >>> same({"a": (1.0, nan)}, {"a": (1.0, nan)}), same([1.0, 2.0], [1.0, nan])
    (True, False)
    >>> same(pd.Series([1.0, nan]), pd.Series([1.0, nan]))
    True
    """
    if one is other:
        return True
    if isinstance(one, pd.DataFrame):
        return isinstance(other, pd.DataFrame) and one.equals(other)
    if isinstance(one, pd.Series):
        return isinstance(other, pd.Series) and one.equals(other)
    if isinstance(one, pd.Index):
        return isinstance(other, pd.Index) and one.equals(other)
    if isinstance(one, np.ndarray):
        return isinstance(other, np.ndarray) and _same_arrays(one, other)
    if isinstance(one, Mapping):
        return (
            isinstance(other, Mapping)
            and one.keys() == other.keys()
            and all(same(one[name], other[name]) for name in one)
        )
    if isinstance(one, tuple | list):
        return type(one) is type(other) and len(one) == len(other) and all(map(same, one, other))
    if is_dataclass(one) and not isinstance(one, type):
        return type(one) is type(other) and _same_fields(one, other)
    if isinstance(one, float) and isinstance(other, float) and one != one:
        return other != other
    return bool(one == other)


def _same_fields(one: object, other: object) -> bool:
    return all(
        same(getattr(one, item.name), getattr(other, item.name))
        for item in fields(one)  # type: ignore[arg-type]
        if item.compare
    )


def _same_arrays(one: np.ndarray, other: np.ndarray) -> bool:
    if one.shape != other.shape or one.dtype != other.dtype:
        return False
    if one.dtype == object:
        return all(map(same, one.ravel().tolist(), other.ravel().tolist()))
    return bool(np.array_equal(one, other, equal_nan=one.dtype.kind == "f"))
