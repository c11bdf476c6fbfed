"""What to look at on the action when a quantity stands out, in the order to look.

Common practice, no source. Whatever stands out is weighed again first; then the most
likely and least invasive place comes first.
"""

from __future__ import annotations

from balancekit.calculation.quantities import QUANTITIES

ABOVE: dict[str, tuple[str, ...]] = {
    "friction_g": (
        "shank centre", "wippen centre", "key bushings front and balance", "balance hole",
        "capstan and heel", "knuckle",
    ),
    "down_weight_g": (
        "friction (take the up weight too)", "leads missing in the key", "hammer heavier than "
        "its neighbours", "support spring weak",
    ),
    "up_weight_g": (
        "loose centres or bushings (take the down weight too)", "leads missing in the key",
        "hammer heavier than its neighbours", "support spring weak",
    ),
    "balance_weight_g": (
        "leads missing or moved in the key", "hammer heavy (strike weight)",
        "support spring weak", "capstan line",
    ),
    "front_weight_g": ("one lead more than the neighbours, or further out", "key stick repaired"),
    "strike_weight_g": (
        "hammer not trimmed or tapered as its neighbours", "shank thicker", "hammer hung long",
        "hammer from another set",
    ),
    "wippen_weight_g": ("wippen replaced or of another make", "heel rebuilt", "spring rubbing"),
    "key_ratio": (
        "capstan set further from the balance pin", "balance hole worn or moved",
        "place of the weight on the key",
    ),
    "spring_relief_g": ("spring bent stronger", "spring of another gauge"),
    "action_ratio": (
        "knuckle nearer to the shank centre", "capstan line", "hammer hung long",
        "place of the weight on the key",
    ),
}  # fmt: skip
"""Places to look at when a reading is higher than the others lead one to expect."""

BELOW: dict[str, tuple[str, ...]] = {
    "friction_g": ("loose shank centre", "loose wippen centre", "worn key bushings"),
    "down_weight_g": (
        "loose centres or bushings (take the up weight too)", "one lead too many",
        "hammer lighter than its neighbours", "support spring strong",
    ),
    "up_weight_g": (
        "friction (take the down weight too)", "one lead too many",
        "hammer lighter than its neighbours", "support spring strong",
    ),
    "balance_weight_g": (
        "one lead too many", "hammer light (strike weight)", "support spring strong",
        "capstan line",
    ),
    "front_weight_g": ("lead missing, loose or nearer to the pin", "key stick repaired"),
    "strike_weight_g": (
        "hammer worn or filed more than its neighbours", "shank thinner or repaired",
        "hammer from another set",
    ),
    "wippen_weight_g": ("wippen replaced or of another make", "part missing from the wippen"),
    "key_ratio": (
        "capstan set nearer to the balance pin", "balance hole worn or moved",
        "place of the weight on the key",
    ),
    "spring_relief_g": ("spring tired or out of its slot", "spring of another gauge"),
    "action_ratio": (
        "knuckle further from the shank centre", "capstan line", "hammer hung short",
        "place of the weight on the key",
    ),
}  # fmt: skip
"""Places to look at when a reading is lower than the others lead one to expect."""


def where_to_look(quantity: str, above: bool) -> str:
    """Say what to look at, in order, when a quantity stands out.

    Parameters
    ----------
    quantity : a quantity that is read or computed for every key.
    above : whether it is higher than expected.

    >>> where_to_look("spring_relief_g", True)
    'Weigh again first. If it stays: spring bent stronger; spring of another gauge.'
    """
    places = (ABOVE if above else BELOW)[quantity]
    again = "Measure" if QUANTITIES[quantity].unit == "" else "Weigh"
    return f"{again} again first. If it stays: {'; '.join(places)}."
