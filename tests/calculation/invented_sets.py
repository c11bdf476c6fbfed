"""Invented sets of hammers for the demo: made up from a seed, no maker's.

The files in ``data/hammer_sets`` are written from here::

    for name, table in invented_sets().items():
        (folder / f"{name}.csv").write_text(as_csv(table), encoding="utf-8")
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

SEED = 4


@dataclass(frozen=True)
class SetRecipe:
    """What an invented set is like: weights at the two ends, scatter, and which keys are known."""

    bass_g: float
    treble_g: float
    scatter_g: float
    every: int = 1


RECIPES = {
    "light_even": SetRecipe(10.6, 5.2, 0.06),
    "heavy_scattered": SetRecipe(12.6, 6.6, 0.22),
    "middle_every_seventh_key": SetRecipe(11.7, 5.9, 0.10, every=7),
}
# Our own choice, within what is usual for strike weights (from memory).


def invented_sets(key_count: int = 88, seed: int = SEED) -> dict[str, pd.DataFrame]:
    """Make the invented sets.

    Returns
    -------
    by name, tables of ``key`` and ``strike_weight_g`` [g], to 0.1 g as a shop scale reads.

    >>> sorted(invented_sets())
    ['heavy_scattered', 'light_even', 'middle_every_seventh_key']
    """
    return {
        name: _make(recipe, key_count, np.random.default_rng([seed, number]))
        for number, (name, recipe) in enumerate(RECIPES.items())
    }


def _make(recipe: SetRecipe, key_count: int, generator: np.random.Generator) -> pd.DataFrame:
    keys = np.arange(1, key_count + 1)
    along = np.linspace(0.0, 1.0, key_count)
    # A little more fall in the treble than in the bass.
    fall = 0.7 * along + 0.3 * along**2
    mass_g = recipe.bass_g + (recipe.treble_g - recipe.bass_g) * fall
    mass_g = np.round(mass_g + generator.normal(0.0, recipe.scatter_g, key_count), 1)
    known = (keys - 1) % recipe.every == 0
    known[-1] = True
    return pd.DataFrame({"key": keys[known], "strike_weight_g": mass_g[known]})


def as_csv(table: pd.DataFrame) -> str:
    """Return a set as the text of a CSV file.

    >>> as_csv(pd.DataFrame(dict(key=[1], strike_weight_g=[11.0])))
    'key,strike_weight_g\\n1,11.0\\n'
    """
    return table.to_csv(index=False, lineterminator="\n", float_format="%.1f")
