"""The one register of quantities.

Validation of files, axis labels, the glossary and the table schema of an
instrument are all made from it.
"""

from __future__ import annotations

from dataclasses import dataclass

from balancekit.calculation.problems import refuse, shown
from balancekit.calculation.words import nearest

COMMON = "common practice, no source"
MEMORY = "from memory"


@dataclass(frozen=True)
class Quantity:
    """One quantity of the trade.

    Attributes
    ----------
    name : the name in arguments, columns and headings; its ending is the unit.
    label : the full words on a screen.
    unit : the unit as printed; "" for a ratio.
    ucum : the unit's UCUM code; "1" for a ratio.
    minimum, maximum : what is possible at all; a reading outside is refused.
    usual_low, usual_high : what is usual, for warnings and never as targets; None if unsaid.
    decimals : digits after the point on a screen.
    reading_u : standard uncertainty of one reading if the user states none; None if not read.
    meaning : one sentence for the glossary.
    source : where the limits come from.
    """

    name: str
    label: str
    unit: str
    ucum: str
    minimum: float
    maximum: float
    usual_low: float | None
    usual_high: float | None
    decimals: int
    reading_u: float | None
    meaning: str
    source: str

    @property
    def axis_label(self) -> str:
        """The label with its unit, for an axis or a heading.

        >>> QUANTITIES["friction_g"].axis_label
        'Friction (g)'
        """
        return f"{self.label} ({self.unit})" if self.unit else self.label

    @property
    def uncertainty_name(self) -> str:
        """Name of the column with the standard uncertainty.

        >>> QUANTITIES["friction_g"].uncertainty_name, QUANTITIES["key_ratio"].uncertainty_name
        ('friction_u_g', 'key_ratio_u')
        """
        return uncertainty_name(self.name)

    def text(self, value: float) -> str:
        """The value as a person reads it, with its unit; words where there is none.

        >>> QUANTITIES["friction_g"].text(11.26), QUANTITIES["key_ratio"].text(float("nan"))
        ('11.3 g', 'not known')
        >>> QUANTITIES["friction_g"].text(-0.04)
        '0.0 g'
        """
        if value != value:
            return "not known"
        # Adding 0 takes the sign off a nothing that is left after rounding.
        number = f"{round(value, self.decimals) + 0.0:.{self.decimals}f}".replace("-", "\u2212")
        return f"{number} {self.unit}".strip()


_UNITS = ("g_mm2", "g", "mm", "m_s", "mj", "n", "hz")


def uncertainty_name(name: str) -> str:
    """Put ``_u`` before the unit at the end of a name.

    >>> uncertainty_name("down_weight_g"), uncertainty_name("action_ratio")
    ('down_weight_u_g', 'action_ratio_u')
    """
    for unit in _UNITS:
        if name.endswith("_" + unit):
            return f"{name[: -len(unit)]}u_{unit}"
    return f"{name}_u"


_REGISTER = (
    Quantity(
        "down_weight_g", "Down weight", "g", "g", 0, 300, 45, 58, 1, 0.7,
        "The least weight on the measuring point that makes the key sink slowly and steadily, "
        "dampers lifted, before let-off.", MEMORY,
    ),
    Quantity(
        "up_weight_g", "Up weight", "g", "g", 0, 300, 18, 32, 1, 0.7,
        "The greatest weight on the measuring point that the key still lifts back slowly.", MEMORY,
    ),
    Quantity(
        "front_weight_g", "Front weight", "g", "g", -150, 150, 0, 45, 1, 0.3,
        "What the key stick alone, tipped on its balance pin, presses on a scale under the "
        "measuring point; negative for a key that is heavy behind the pin.", MEMORY,
    ),
    Quantity(
        "strike_weight_g", "Strike weight", "g", "g", 0.5, 40, 4, 14, 1, 0.1,
        "What hammer and shank, pivoting at the shank's flange with the shank level, press on a "
        "scale under the hammer's strike point.", MEMORY,
    ),
    Quantity(
        "wippen_weight_g", "Wippen weight", "g", "g", 1, 60, 14, 24, 1, 0.2,
        "What the wippen, pivoting at its flange, presses on a scale where the capstan meets it.",
        MEMORY,
    ),
    Quantity(
        "key_ratio", "Key ratio", "", "1", 0.2, 0.9, 0.42, 0.58, 3, 0.005,
        "Distance from the balance pin to the capstan line over the distance from the balance pin "
        "to the measuring point.", MEMORY,
    ),
    Quantity(
        "spring_relief_g", "Spring relief", "g", "g", 0, 60, 0, 20, 1, 0.7,
        "Grams at the measuring point that a support spring on the wippen carries; 0 without one.",
        MEMORY,
    ),
    Quantity(
        "balance_weight_g", "Balance weight", "g", "g", -50, 300, 34, 42, 1, None,
        "Half of down weight plus up weight: what would hold the key level without friction.",
        MEMORY,
    ),
    Quantity(
        "friction_g", "Friction", "g", "g", 0, 150, 7, 18, 1, None,
        "Half of down weight minus up weight, at the measuring point.", MEMORY,
    ),
    Quantity(
        "action_ratio", "Action ratio", "", "1", 2, 12, 4.5, 6.8, 2, None,
        "How many grams at the measuring point one gram of strike weight costs; also how far the "
        "hammer travels for each unit of key travel there.", MEMORY,
    ),
    Quantity(
        "inertia_g", "Inertia at the finger", "g", "g", 0, 2000, None, None, 0, None,
        "The mass that the finger feels it accelerates at the measuring point: the inertia of all "
        "moving parts, carried there.", COMMON,
    ),
    Quantity(
        "arm_mm", "Arm", "mm", "mm", 80, 400, None, None, 0, None,
        "Distance from the balance pin to the measuring point.", COMMON,
    ),
    Quantity(
        "key_dip_mm", "Key dip", "mm", "mm", 5, 15, 9.5, 10.5, 1, 0.1,
        "Travel of the key at the measuring point.", MEMORY,
    ),
    Quantity(
        "blow_distance_mm", "Blow distance", "mm", "mm", 20, 70, 44, 48, 1, 0.5,
        "Distance from the hammer at rest to the string.", MEMORY,
    ),
    Quantity(
        "aftertouch_mm", "Aftertouch", "mm", "mm", 0, 4, None, None, 1, 0.1,
        "Key travel that is left after let-off.", MEMORY,
    ),
    Quantity(
        "diameter_mm", "Plug diameter", "mm", "mm", 1, 30, 9.5, 12.7, 1, None,
        "Diameter of a plug, and of the hole it sits in.", MEMORY,
    ),
    Quantity(
        "mass_g", "Mass", "g", "g", 0, 200, None, None, 1, None,
        "Mass of one piece, as a scale shows it.", COMMON,
    ),
    Quantity(
        "distance_mm", "Distance from the balance pin", "mm", "mm", -400, 400, None, None, 0, None,
        "Distance along the key from the balance pin, positive towards the front edge, negative "
        "behind the pin.", COMMON,
    ),
    Quantity(
        "capstan_arm_mm", "Capstan arm", "mm", "mm", 20, 300, None, None, 1, 0.5,
        "Distance from the balance pin to the capstan line, where the capstan meets the wippen.",
        MEMORY,
    ),
    Quantity(
        "hammer_rise_mm", "Hammer rise", "mm", "mm", 5, 80, None, None, 1, 0.5,
        "Travel of the hammer's strike point for a given travel of the key.", MEMORY,
    ),
    Quantity(
        "known_mass_g", "Known mass", "g", "g", 0.5, 200, None, None, 2, 0.02,
        "A mass whose value is known, added to see what it does at the measuring point.", MEMORY,
    ),
    Quantity(
        "length_mm", "Plug length", "mm", "mm", 1, 30, 9.5, 12.7, 1, None,
        "Length of a plug, and the depth of its hole across the key.", MEMORY,
    ),
    Quantity(
        "front_edge_mm", "Measuring point to front edge", "mm", "mm", 0, 60, None, None, 1, None,
        "Distance from the measuring point to the front edge of the same key stick.", MEMORY,
    ),
    Quantity(
        "stick_length_mm", "Length of the key stick", "mm", "mm", 150, 700, None, None, 0, None,
        "Length of the whole key stick, from the front edge to the back end.", MEMORY,
    ),
    Quantity(
        "stick_height_mm", "Height of the key stick", "mm", "mm", 8, 50, None, None, 1, None,
        "Height of the key stick where the plugs go.", MEMORY,
    ),
    Quantity(
        "stick_width_mm", "Width of the key stick", "mm", "mm", 5, 40, None, None, 1, None,
        "Width of the key stick where the plugs go.", MEMORY,
    ),
    Quantity(
        "wood_density_g_cm3", "Density of the wood", "g/cm3", "g/cm3", 0.2, 1.2, 0.35, 0.5, 3,
        None, "Mass of the key stick's wood for each cubic centimetre.", MEMORY,
    ),
    Quantity(
        "balance_free_mm", "Kept free at the balance pin", "mm", "mm", 1, 60, None, None, 0, None,
        "How far to each side of the balance pin the key stays clear of holes.", MEMORY,
    ),
    Quantity(
        "front_free_mm", "Kept free at the front edge", "mm", "mm", 1, 150, None, None, 0, None,
        "How far behind its front edge the key stays clear of holes, for the front mortise.",
        MEMORY,
    ),
    Quantity(
        "back_free_mm", "Kept free at the back end", "mm", "mm", 1, 150, None, None, 0, None,
        "How far before its back end the key stays clear of holes, for the back check.", MEMORY,
    ),
    Quantity(
        "capstan_mm", "Capstan from the balance pin", "mm", "mm", -300, 0, None, None, 0, None,
        "Distance from the balance pin to the capstan; negative, because it is behind the pin.",
        COMMON,
    ),
    Quantity(
        "covering_g", "Covering of the key", "g", "g", 0, 40, None, None, 1, None,
        "Mass of what covers the key: top and front of a natural, the cap of a sharp.", MEMORY,
    ),
    Quantity(
        "covering_mm", "Middle of the covering", "mm", "mm", 1, 200, None, None, 0, None,
        "How far behind the key's front edge the middle of its covering lies.", MEMORY,
    ),
    Quantity(
        "capstan_g", "Capstan", "g", "g", 0, 40, None, None, 1, None,
        "Mass of the capstan, with what it stands on.", MEMORY,
    ),
    Quantity(
        "back_check_g", "Back check", "g", "g", 0, 40, None, None, 1, None,
        "Mass of the back check with its wire.", MEMORY,
    ),
    Quantity(
        "back_check_mm", "Back check from the back end", "mm", "mm", 0, 150, None, None, 0, None,
        "How far before the key's back end the back check stands.", MEMORY,
    ),
    Quantity(
        "from_mm", "From", "mm", "mm", -400, 400, None, None, 0, None,
        "Where a place without holes begins: distance from the balance pin, negative behind it.",
        COMMON,
    ),
    Quantity(
        "to_mm", "To", "mm", "mm", -400, 400, None, None, 0, None,
        "Where a place without holes ends: distance from the balance pin, negative behind it.",
        COMMON,
    ),
    Quantity(
        "ceiling_g", "Ceiling by leverage", "g", "g", 0.5, 40, None, None, 1, None,
        "The heaviest strike weight that leverage carries with the wanted balance weight and the "
        "highest front weight allowed.", COMMON,
    ),
    Quantity(
        "target_strike_weight_g", "Target strike weight", "g", "g", 0.5, 40, None, None, 1, None,
        "The strike weight that a hammer is to have: a smooth, falling curve.", COMMON,
    ),
    Quantity(
        "planned_strike_weight_g", "Planned strike weight", "g", "g", 0.5, 40, None, None, 1, None,
        "The strike weight that a hammer will have after the work that is planned.", COMMON,
    ),
    Quantity(
        "trimmed_g", "Trim", "g", "g", 0, 40, None, None, 1, None,
        "What is to come off a hammer, as strike weight.", COMMON,
    ),
    Quantity(
        "added_g", "Add", "g", "g", 0, 40, None, None, 1, None,
        "What is to go on a hammer, as strike weight.", COMMON,
    ),
    Quantity(
        "heel_arm_mm", "Wippen centre to capstan", "mm", "mm", 20, 150, None, None, 1, 0.5,
        "Distance from the wippen's centre to where the capstan meets its heel.", MEMORY,
    ),
    Quantity(
        "top_arm_mm", "Wippen centre to knuckle", "mm", "mm", 30, 200, None, None, 1, 0.5,
        "Distance along the wippen from its centre to the contact under the knuckle.", MEMORY,
    ),
    Quantity(
        "knuckle_arm_mm", "Shank centre to knuckle", "mm", "mm", 8, 40, None, None, 1, 0.3,
        "Distance from the shank's centre to the contact of the knuckle.", MEMORY,
    ),
    Quantity(
        "hammer_arm_mm", "Shank centre to strike point", "mm", "mm", 60, 250, None, None, 1, 0.5,
        "Distance from the shank's centre to the hammer's strike point.", MEMORY,
    ),
    Quantity(
        "hammer_velocity_m_s", "Hammer velocity", "m/s", "m/s", 0, 15, None, None, 1, None,
        "Speed of the hammer when it reaches the string.", COMMON,
    ),
    Quantity(
        "nominal_g", "Check weight", "g", "g", 1, 500, None, None, 0, None,
        "The mass that is written on a check weight.", "OIML R 111-1:2004, table 1",
    ),
    Quantity(
        "reading_g", "Scale reading", "g", "g", 0, 600, None, None, 2, None,
        "What the scale shows for a check weight.", COMMON,
    ),
    Quantity(
        "capstan_mass_g", "Known mass over the capstan", "g", "g", 0.5, 200, None, None, 2, 0.02,
        "A mass that is known and set over the capstan line of the key stick.", COMMON,
    ),
    Quantity(
        "front_weight_with_mass_g", "Front weight with that mass", "g", "g", -150, 150, None, None,
        1, 0.3, "Front weight while the known mass stands over the capstan line.", COMMON,
    ),
    Quantity(
        "strike_mass_g", "Known mass at the hammer", "g", "g", 0.5, 200, None, None, 2, 0.02,
        "A mass that is known and hung at the hammer's strike point.", COMMON,
    ),
    Quantity(
        "down_weight_with_mass_g", "Down weight with that mass", "g", "g", 0, 300, None, None, 1,
        0.7, "Down weight while the known mass hangs at the strike point.", COMMON,
    ),
    Quantity(
        "up_weight_with_mass_g", "Up weight with that mass", "g", "g", 0, 300, None, None, 1, 0.7,
        "Up weight while the known mass hangs at the strike point.", COMMON,
    ),
    Quantity(
        "down_weight_within_g", "Down weight within", "g", "g", 0, 20, None, None, 2, None,
        "The down weight lies anywhere up to this far from its reading: half of the step between "
        "the largest weight that was too light and the smallest that was enough; the reading is "
        "their middle.", COMMON,
    ),
    Quantity(
        "up_weight_within_g", "Up weight within", "g", "g", 0, 20, None, None, 2, None,
        "The up weight lies anywhere up to this far from its reading: half of the step between the "
        "largest weight that was lifted and the smallest that was not; the reading is their "
        "middle.", COMMON,
    ),
    Quantity(
        "bench_time_min", "Bench time", "min", "min", 0, 600, None, None, 0, None,
        "How long one operation takes at the bench, each time it is done.", COMMON,
    ),
    Quantity(
        "parts_money", "Money for parts", "", "1", 0, 10000, None, None, 2, None,
        "What the parts of one operation cost, in your own currency.", COMMON,
    ),
)  # fmt: skip


class Register(dict[str, Quantity]):
    """Quantities by name; a name that is not there is refused with the nearest that is."""

    def __missing__(self, name: str) -> Quantity:
        message = f"'{shown(str(name))}' is not a quantity of the register."
        raise refuse(message, nearest(name, self) or "The glossary lists them.")


QUANTITIES = Register({quantity.name: quantity for quantity in _REGISTER})

READING_COLUMNS: tuple[str, ...] = (
    "down_weight_g",
    "up_weight_g",
    "front_weight_g",
    "strike_weight_g",
    "wippen_weight_g",
    "key_ratio",
    "spring_relief_g",
)
"""What is read at the bench, in the order of the columns; spring relief is optional."""

OPTIONAL_COLUMNS: frozenset[str] = frozenset({"spring_relief_g"})
"""Reading columns that a file may leave out."""

NEEDED_COLUMNS: tuple[str, ...] = tuple(
    name for name in READING_COLUMNS if name not in OPTIONAL_COLUMNS
)
"""Reading columns that every table of readings has."""

TOUCH_COLUMNS: tuple[str, ...] = ("down_weight_g", "up_weight_g")
"""What is read on the key as it moves, in any action."""

WITHIN_COLUMNS: dict[str, str] = {
    "down_weight_g": "down_weight_within_g",
    "up_weight_g": "up_weight_within_g",
}
"""By reading, the optional column that says how far from it the truth may lie, either way."""

PARTS_COLUMNS: tuple[str, ...] = tuple(
    name for name in READING_COLUMNS if name not in TOUCH_COLUMNS
)
"""What is read of key, hammer, wippen and spring: it makes the balance weight of a grand."""
