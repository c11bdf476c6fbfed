"""How even a series is from key to key: one figure, set against what weighing alone would make.

The step between two neighbours of the same colour is looked at, less the mean step of
that colour: a slow fall towards the treble is not unevenness, and neither is a sharp that
differs from a natural. Weighing error makes steps as well; its share is taken out.

Such a step does not see a plateau, a run of keys that stands off as a whole. So beside it stands
how far the plateau does that stands off most; see ``plateaus``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd

from balancekit.calculation.problems import refuse
from balancekit.calculation.proof.plateaus import Plateaus, highest, keys_of
from balancekit.calculation.quantities import uncertainty_name

EVENNESS_OF = (
    "down_weight_g",
    "up_weight_g",
    "balance_weight_g",
    "friction_g",
    "strike_weight_g",
    "action_ratio",
    "inertia_g",
)
"""The quantities whose evenness matters to the hand, or is decided on."""

FEWEST_STEPS = 5
"""With fewer steps no figure is given."""
# Our own choice: the figure is then uncertain by more than a third; see ``step_u``.


@dataclass(frozen=True)
class Evenness:
    """How even one series is, in the unit of the series.

    Attributes
    ----------
    step : root mean square step between neighbours of the same colour; NaN for too few.
    weighing : the step that weighing alone would make.
    real : what is left for the piano; 0 where the weighing explains it all.
    step_u : standard uncertainty of ``step``.
    ratio : step over weighing: 1 is as even as the weighing can show; NaN for exact readings.
    steps : how many steps there are to look at.
    """

    step: float
    weighing: float
    real: float
    step_u: float
    ratio: float
    steps: int


_NOT_KNOWN = Evenness(*(float("nan"),) * 5, 0)


def find_evenness(values: pd.Series, values_u: pd.Series, colours: pd.Series) -> Evenness:
    """Return the evenness of one series over the keyboard.

    With the steps d between neighbours of the same colour, m the mean step of the colour,
    and u the standard uncertainty of each of the two keys::

        step     = sqrt(mean of (d - m)^2)
        weighing = sqrt(mean of (u_left^2 + u_right^2))
        real     = sqrt(step^2 - weighing^2), or 0
        ratio    = step / weighing

    Neighbours are the next keys of the same colour. Where one of the two was not read,
    there is no step. Take out gross slips first: one of them outweighs the whole keyboard.

    Parameters
    ----------
    values, values_u : by key, in the order of the keys; a value of NaN was not read, an
        uncertainty of NaN counts as 0.
    colours : "natural" or "sharp" for every key, by the same index.

    Raises
    ------
    BalancekitError : colours for other keys, or a negative uncertainty.

    Notes
    -----
    The mean is taken over all steps and not over one less: the steps of a row add up to its
    last value less its first, so their mean is known far better than a usual mean. The
    uncertainty is that of the mean square successive difference of n values, whose relative
    variance is (3 n - 4) / (n - 1)^2 where they differ by chance; with s steps it is
    (3 s - 1) / s^2, and half of its root for the root.

    References
    ----------
    J. von Neumann, R. H. Kent, H. R. Bellinson and B. I. Hart, The mean square successive
    difference, Annals of Mathematical Statistics 12 (1941) 153, cited from memory.

    >>> keys = pd.RangeIndex(1, 8)
    >>> white = pd.Series("natural", keys)
    >>> found = find_evenness(pd.Series([9, 8, 9, 8, 9, 8, 9.0], keys),
    ...                       pd.Series(0.5, keys), white)
    >>> found.steps, found.step, round(found.weighing**2, 2), round(found.real**2, 2)
    (6, 1.0, 0.5, 0.5)
    """
    if not (values.index.equals(colours.index) and values_u.index.equals(colours.index)):
        raise refuse("Values and colours are not of the same keys.", "Give one of each a key.")
    if (values_u < 0).any():
        raise refuse("An uncertainty is negative.", "Give 0 or more.")
    squares: list[float] = []
    noise: list[float] = []
    for colour in ("natural", "sharp"):
        row = values[colours == colour].to_numpy(dtype=float)
        row_u = values_u[colours == colour].fillna(0.0).to_numpy(dtype=float)
        step = np.diff(row)
        known = np.isfinite(step)
        if known.any():
            squares.extend((step[known] - step[known].mean()) ** 2)
            noise.extend((row_u[:-1] ** 2 + row_u[1:] ** 2)[known])
    count = len(squares)
    if count < FEWEST_STEPS:
        return replace(_NOT_KNOWN, steps=count)
    square, weighing = float(np.mean(squares)), float(np.mean(noise)) ** 0.5
    step_size = square**0.5
    return Evenness(
        step=step_size,
        weighing=weighing,
        real=max(square - weighing**2, 0.0) ** 0.5,
        step_u=step_size * (3 * count - 1) ** 0.5 / (2 * count),
        ratio=step_size / weighing if weighing else float("nan"),
        steps=count,
    )


def evenness_table(table: pd.DataFrame, names: tuple[str, ...] = EVENNESS_OF) -> pd.DataFrame:
    """Return the evenness of each series of a table of keys.

    Parameters
    ----------
    table : indexed by key, with ``colour`` and, as far as known, the named columns and the
        columns of their uncertainties.
    names : quantities of the register; one that the table lacks is left out.

    Returns
    -------
    DataFrame indexed by ``quantity``: ``step, weighing, real, step_u, ratio, steps``, in the
    unit of each quantity.
    """
    rows = {}
    for name in names:
        if name in table:
            u = table.get(uncertainty_name(name), pd.Series(0.0, table.index))
            found = find_evenness(table[name].astype(float), u.astype(float), table["colour"])
            rows[name] = vars(found)
    columns = list(_NOT_KNOWN.__dataclass_fields__)
    return pd.DataFrame.from_dict(rows, orient="index", columns=columns).rename_axis("quantity")


def expected_evenness(
    values: pd.Series, values_u: pd.Series, weighing_u: pd.Series, colours: pd.Series
) -> Evenness:
    """Return the evenness that a prediction leads one to expect.

    A best estimate lies nearer to its neighbours than the truth does, and the piano will come
    out anywhere in its band. So here the uncertainty adds to the steps, where for readings,
    which lie further off than the truth, it is taken out::

        real = sqrt(step of the predicted values^2 + mean of (u_left^2 + u_right^2))
        step = sqrt(real^2 + weighing^2), what the next weighing will show

    Parameters
    ----------
    values, values_u : best estimates, of the trend and what is planned, and their standard
        uncertainties as far as they differ from key to key, by key.
    weighing_u : standard uncertainty of the next reading, by key.
    colours : "natural" or "sharp", by key.

    Raises
    ------
    BalancekitError : see ``find_evenness``.
    """
    found = find_evenness(values, values_u, colours)
    next_time = find_evenness(values, weighing_u, colours)
    if found.steps < FEWEST_STEPS:
        return found
    real = float(np.hypot(found.step, found.weighing))
    step = float(np.hypot(real, next_time.weighing))
    count = found.steps
    return Evenness(
        step=step,
        weighing=next_time.weighing,
        real=real,
        step_u=step * (3 * count - 1) ** 0.5 / (2 * count),
        ratio=step / next_time.weighing if next_time.weighing else float("nan"),
        steps=count,
    )


PLATEAU_COLUMNS = ("plateau", "plateau_u", "plateau_keys")


def with_plateaus(table: pd.DataFrame, plateaus: Plateaus, before: str = "") -> pd.DataFrame:
    """Add how far the plateau stands off that does so most.

    Parameters
    ----------
    table : indexed by quantity.
    plateaus : by quantity; see ``plateaus.plateaus_in``.
    before : what the names of the columns begin with.

    Returns
    -------
    the table with ``plateau`` (0 where none was found, NaN where none was sought), ``plateau_u``
    and ``plateau_keys``, which names its keys.
    """
    rows = {}
    for name in table.index:
        found = plateaus.get(str(name))
        most, unknown = highest(found), float("nan")
        shift = unknown if found is None else most.shift if most else 0.0
        rows[name] = (shift, most.shift_u if most else unknown, keys_of(most) if most else "")
    columns = [f"{before}{name}" for name in PLATEAU_COLUMNS]
    return table.join(pd.DataFrame.from_dict(rows, orient="index", columns=columns))


def compare_evenness(
    tables: Mapping[str, pd.DataFrame], plateaus: Mapping[str, Plateaus] | None = None
) -> pd.DataFrame:
    """Set the evenness of several occasions side by side.

    Parameters
    ----------
    tables : tables of keys by occasion, for example "as found" and "after the work".
    plateaus : of each occasion, where they were sought.

    Returns
    -------
    DataFrame with one row for each quantity and occasion: ``quantity, occasion`` and the
    columns of ``evenness_table`` and ``with_plateaus``.
    """
    found = plateaus or {}
    parts = [
        with_plateaus(evenness_table(table), found.get(name, {}))
        .reset_index()
        .assign(occasion=name)
        for name, table in tables.items()
    ]
    columns = ["quantity", "occasion", *_NOT_KNOWN.__dataclass_fields__, *PLATEAU_COLUMNS]
    if not parts:
        return pd.DataFrame(columns=columns)
    joined = pd.concat(parts, ignore_index=True)
    order = {name: place for place, name in enumerate(EVENNESS_OF)}
    rank = joined["quantity"].map(lambda name: order.get(name, len(order)))
    placed = joined.assign(rank=rank).sort_values("rank", kind="stable")
    return placed[columns].reset_index(drop=True)
