"""What can go into a key, listed: sets of new plugs in every order, and what to do with old ones.

These lists are what ``layout.search`` searches through. They are plain arrays.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from itertools import combinations_with_replacement, permutations

import numpy as np
from numpy.typing import NDArray

from balancekit.calculation.leads.plugs import cylinder_cm3
from balancekit.calculation.problems import refuse

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

KEEP, TAKE_OUT = -2, -1
"""What is done with an old plug; 0 and above is the plug its hole is bored out for."""

MOST_WAYS = 200_000
"""Ways to treat the old plugs of one key; beyond it a search would be slow."""


@dataclass(frozen=True)
class Stock:
    """The plugs that may go in, as arrays of shape (s,)."""

    diameter_mm: Floats
    length_mm: Floats
    mass_g: Floats

    def net_mass_g(self, wood_density_g_cm3: float) -> Floats:
        """Return plug less wood [g]."""
        wood: Floats = cylinder_cm3(self.diameter_mm, self.length_mm) * wood_density_g_cm3
        return self.mass_g - wood

    def net_own_g_mm2(self, wood_density_g_cm3: float) -> Floats:
        """Return each plug's moment of inertia about its own axis, less the wood's [g mm2]."""
        return self.net_mass_g(wood_density_g_cm3) * self.diameter_mm**2 / 8


@dataclass(frozen=True)
class Sequences:
    """Every set of at most n plugs, in every order from back to front.

    Sequences of one set stand together, sets of few plugs first; the empty set is set 0.

    Attributes
    ----------
    size : shape (q, n), which plug, -1 beyond the last.
    count : shape (q,), how many plugs.
    first : shape (sets + 1,), where each set begins.
    mass_g, own_g_mm2 : shape (w, q), of the whole set, for each density of wood.
    spread_g_mm2 : shape (w, q), least moment of inertia about the set's own centre of mass.
    """

    size: Ints
    count: Ints
    first: Ints
    mass_g: Floats
    own_g_mm2: Floats
    spread_g_mm2: Floats


def gaps_mm(diameter_mm: Floats, hole_clearance_mm: float) -> Ints:
    """Return the least whole distance between the centres of two new holes, shape (s, s) [mm].

    >>> gaps_mm(np.array([9.5, 12.7]), 3.0).tolist()
    [[13, 15], [15, 16]]
    """
    apart = (diameter_mm[:, None] + diameter_mm[None, :]) / 2 + hole_clearance_mm
    whole: Ints = np.ceil(apart - 1e-9).astype(np.int64)
    return whole


@cache
def _orders(kinds: int, most: int) -> tuple[Ints, Ints]:
    """Return ``size`` and ``first`` of ``Sequences``; the same for every key and slider."""
    rows: list[tuple[int, ...]] = []
    first = [0]
    for count in range(most + 1):
        for chosen in combinations_with_replacement(range(kinds), count):
            rows += sorted(set(permutations(chosen)))
            first.append(len(rows))
    size = np.full((len(rows), max(most, 1)), -1, dtype=np.int64)
    for number, row in enumerate(rows):
        size[number, : len(row)] = row
    return size, np.array(first, dtype=np.int64)


def list_sequences(
    stock: Stock, most_plugs_in: int, hole_clearance_mm: float, wood_densities: Floats
) -> Sequences:
    """List every set of at most ``most_plugs_in`` plugs in every order.

    >>> stock = Stock(np.array([9.5, 12.7]), np.array([9.5, 9.5]), np.array([7.6, 13.6]))
    >>> list_sequences(stock, 2, 3.0, np.array([0.4])).count.tolist()
    [0, 1, 1, 2, 2, 2, 2]
    """
    size, first = _orders(len(stock.mass_g), most_plugs_in)
    longest = size.shape[1]
    there = size >= 0
    gap = gaps_mm(stock.diameter_mm, hole_clearance_mm)
    offset = np.zeros_like(size)
    for place in range(1, longest):
        step = gap[size[:, place - 1], size[:, place]]
        offset[:, place] = offset[:, place - 1] + np.where(there[:, place], step, 0)
    mass, own, spread = [], [], []
    for density in wood_densities:
        each = np.where(there, stock.net_mass_g(density)[size], 0.0)
        total = each.sum(axis=1)
        centre = (each * offset).sum(axis=1) / np.where(total > 0, total, 1.0)
        mass.append(total)
        own.append(np.where(there, stock.net_own_g_mm2(density)[size], 0.0).sum(axis=1))
        spread.append((each * (offset - centre[:, None]) ** 2).sum(axis=1))
    return Sequences(
        size,
        there.sum(axis=1).astype(np.int64),
        first,
        np.array(mass),
        np.array(own),
        np.array(spread),
    )


@dataclass(frozen=True)
class OldPlugs:
    """The plugs that are in one key, as arrays of shape (k,)."""

    distance_mm: Floats
    diameter_mm: Floats
    mass_g: Floats


@dataclass(frozen=True)
class Ways:
    """Every way to treat the old plugs of one key.

    Attributes
    ----------
    doing : shape (d, k): ``KEEP``, ``TAKE_OUT``, or the plug that its hole is bored out for.
    gain_g_mm : shape (d,), moment that the key gains [g mm].
    inertia_g_mm2 : shape (d,), of the leads that are then in the old holes [g mm2].
    operations, plugs_in : shape (d,), how many.
    """

    doing: Ints
    gain_g_mm: Floats
    inertia_g_mm2: Floats
    operations: Ints
    plugs_in: Ints


def list_ways(
    old: OldPlugs,
    stock: Stock,
    may_bore: NDArray[np.bool_],
    *,
    wood_density_g_cm3: float,
    most_plugs_in: int,
    hole_clearance_mm: float,
) -> Ways:
    """List every way to treat the old plugs of one key: keep, take out, bore larger.

    Boring an old hole larger is taking out and putting in, two operations, and no new hole.
    The old hole is taken to be as deep as the new plug is long.

    Parameters
    ----------
    may_bore : shape (k, s), which old holes may be bored for which plug.

    Raises
    ------
    BalancekitError : more ways than can be searched.
    """
    options = [[KEEP, TAKE_OUT, *np.nonzero(row)[0].tolist()] for row in may_bore]
    if np.prod([float(len(each)) for each in options]) > MOST_WAYS:
        raise refuse(
            f"A key with {len(options)} old plugs has too many ways to treat them.",
            "Forbid boring old holes larger, or take the plugs that must go out of the list.",
        )
    doing = (
        np.array(np.meshgrid(*options, indexing="ij"), dtype=np.int64).reshape(len(options), -1).T
        if options
        else np.zeros((1, 0), dtype=np.int64)
    )
    bored = doing >= 0
    plugs_in = bored.sum(axis=1)
    fits = plugs_in <= most_plugs_in
    x, larger = old.distance_mm, np.maximum(doing, 0)
    width = np.where(bored, stock.diameter_mm[larger], old.diameter_mm)
    for i in range(len(x)):
        for j in range(i + 1, len(x)):
            near = abs(x[i] - x[j]) < (width[:, i] + width[:, j]) / 2 + hole_clearance_mm - 1e-9
            fits &= ~(near & (bored[:, i] | bored[:, j]))
    doing, bored, plugs_in, larger = doing[fits], bored[fits], plugs_in[fits], larger[fits]
    wood = cylinder_cm3(stock.diameter_mm[larger], stock.length_mm[larger]) - cylinder_cm3(
        old.diameter_mm, stock.length_mm[larger]
    )
    new_mass = stock.mass_g[larger] - wood * wood_density_g_cm3
    mass = np.where(doing == KEEP, old.mass_g, np.where(bored, new_mass, 0.0))
    radius = np.where(bored, stock.diameter_mm[larger], old.diameter_mm) / 2
    return Ways(
        doing,
        ((mass - old.mass_g) * x).sum(axis=1),
        (mass * (x**2 + radius**2 / 2)).sum(axis=1),
        ((doing == TAKE_OUT) + 2 * bored).sum(axis=1).astype(np.int64),
        plugs_in.astype(np.int64),
    )
