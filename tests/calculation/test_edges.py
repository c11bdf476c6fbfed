"""Where a group ends is open between two keys that were read: the key halfway is asked for."""

import numpy as np
import pandas as pd

from balancekit.calculation.believed.name_groups import edge_keys
from balancekit.calculation.believed.runs import Run

KEYS = pd.RangeIndex(1, 89, name="key")


def table(every: int) -> pd.DataFrame:
    ratio = pd.Series(0.5, KEYS).where(np.arange(88) % every == 0)
    return pd.DataFrame({"key_ratio": ratio})


def test_the_key_halfway_is_asked_for_on_both_sides():
    runs = {"key_ratio": (Run(40, 60, False, 5.0),)}
    # Places 30 and 40, 60 and 70 were read; halfway are 35 and 65, keys 36 and 66.
    assert edge_keys(runs, table(10)) == {36: ("key_ratio",), 66: ("key_ratio",)}


def test_where_every_key_was_read_or_the_keyboard_ends_nothing_is_asked_for():
    assert edge_keys({"key_ratio": (Run(40, 60, False, 5.0),)}, table(1)) == {}
    assert list(edge_keys({"key_ratio": (Run(0, 20, False, 5.0),)}, table(10))) == [26]


def test_a_ratio_that_is_solved_has_no_reading_of_its_own():
    assert edge_keys({"action_ratio": (Run(40, 60, False, 5.0),)}, table(10)) == {}
