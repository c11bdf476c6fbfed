"""Exercises on levers, lead and inertia."""

from __future__ import annotations

from numpy.random import Generator

from balancekit.calculation.inertia import hammer_inertia_g, plug_inertia_g
from balancekit.calculation.levers import find_dip_mm
from balancekit.lesson.practice.exercise import GRAM, Exercise, Mistake

FRONT_EDGE_MM = 13
# Common practice, no source: the measuring point lies about 13 mm behind the front edge.


def _arms(draw: Generator) -> tuple[str, float, float]:
    """Draw which colour the key has, its arm, and the arm of the other colour [mm]."""
    natural, sharp = float(draw.integers(230, 256)), float(draw.integers(186, 208))
    is_sharp = bool(draw.integers(0, 2))
    return ("sharp", sharp, natural) if is_sharp else ("natural", natural, sharp)


def _arm_words(colour: str, arm: float, other: float) -> str:
    natural, sharp = (arm, other) if colour == "natural" else (other, arm)
    return (
        f"From the balance pin to the measuring point it is {natural:.0f} mm on naturals and "
        f"{sharp:.0f} mm on sharps."
    )


def _wrong_colour(colour: str, value: float) -> Mistake:
    taken = "natural" if colour == "sharp" else "sharp"
    return Mistake(
        f"a {colour} taken for a {taken}", value,
        f"This key is a {colour}: use the arm of the {colour}s.",
    )  # fmt: skip


def key_ratio(draw: Generator) -> Exercise:
    """Key ratio from two distances."""
    colour, arm, other = _arms(draw)
    capstan = float(round(arm * draw.uniform(0.46, 0.55)))
    answer = capstan / arm
    return Exercise(
        "key ratio",
        f"{_arm_words(colour, arm, other)} On a {colour} the capstan line lies {capstan:.0f} mm "
        "behind the pin. What is its key ratio?",
        {"capstan_arm_mm": capstan, "arm_mm": arm}, answer, "", 3, 0.003,
        (
            Mistake("the ratio upside down", arm / capstan,
                    "The capstan's distance goes on top: it is the shorter of the two."),
            _wrong_colour(colour, capstan / other),
            Mistake("the front edge taken for the measuring point",
                    capstan / (arm + FRONT_EDGE_MM),
                    "Measure to where the weights stand, not to the edge of the key."),
            Mistake("the whole length taken for the arm", capstan / (arm + capstan),
                    "Divide by the distance from the pin to the measuring point only."),
        ),
        (
            "key ratio = pin to capstan line / pin to measuring point",
            f"= {capstan:.0f} mm / {arm:.0f} mm = {answer:.3f}",
        ),
    )  # fmt: skip


def lead(draw: Generator) -> Exercise:
    """What a plug adds to the front weight."""
    colour, arm, other = _arms(draw)
    mass, place = round(draw.uniform(7.0, 15.0), 1), float(draw.integers(60, 171))
    answer = mass * place / arm
    return Exercise(
        "lead",
        f"{_arm_words(colour, arm, other)} A plug of {mass:.1f} g sits in a {colour}, "
        f"{place:.0f} mm in front of the balance pin. What does it add to the front weight?",
        {"mass_g": mass, "distance_mm": place, "arm_mm": arm}, answer, "g", 1, GRAM,
        (
            Mistake("the lever left out", mass,
                    "The plug is nearer to the pin than the finger: multiply by its lever."),
            Mistake("the lever upside down", mass * arm / place,
                    "A plug near the pin counts less, not more: distance / arm."),
            _wrong_colour(colour, mass * place / other),
            Mistake("counted from the front edge", mass * (arm + FRONT_EDGE_MM - place) / arm,
                    "Distances count from the balance pin."),
            Mistake("the lever taken twice", mass * (place / arm) ** 2,
                    "The square is for inertia. For grams on the scale the lever counts once."),
        ),
        (
            "front weight of a plug = mass × distance / arm",
            f"= {mass:.1f} g × {place:.0f} mm / {arm:.0f} mm = {answer:.1f} g",
        ),
    )  # fmt: skip


def place_of_lead(draw: Generator) -> Exercise:
    """Where a plug must sit."""
    colour, arm, other = _arms(draw)
    mass = round(draw.uniform(9.0, 15.0), 1)
    wanted = round(draw.uniform(3.0, 8.0), 1)
    answer = wanted * arm / mass
    return Exercise(
        "place of lead",
        f"{_arm_words(colour, arm, other)} A {colour} needs {wanted:.1f} g more front weight. "
        f"Your plug has {mass:.1f} g. How far in front of the balance pin does it go?",
        {"mass_g": mass, "front_weight_g": wanted, "arm_mm": arm}, answer, "mm", 0, 1.0,
        (
            _wrong_colour(colour, wanted * other / mass),
            Mistake("counted from the measuring point", arm - answer,
                    "The place counts from the balance pin."),
            Mistake("counted from the front edge", arm + FRONT_EDGE_MM - answer,
                    "The place counts from the balance pin. A bench sheet turns it round later."),
            Mistake("the lever upside down", arm * mass / wanted,
                    "A light wish lies near the pin: wanted grams / mass of the plug × arm."),
        ),
        (
            "distance = wanted front weight × arm / mass of the plug",
            f"= {wanted:.1f} g × {arm:.0f} mm / {mass:.1f} g = {answer:.0f} mm",
        ),
    )  # fmt: skip


def inertia_of_lead(draw: Generator) -> Exercise:
    """What a plug adds to the inertia at the finger."""
    colour, arm, other = _arms(draw)
    mass, place = round(draw.uniform(10.0, 15.0), 1), float(draw.integers(90, 171))
    answer = float(plug_inertia_g(mass_g=mass, distance_mm=place, arm_mm=arm))
    return Exercise(
        "inertia of lead",
        f"{_arm_words(colour, arm, other)} A plug of {mass:.1f} g sits in a {colour}, "
        f"{place:.0f} mm in front of the balance pin. How much inertia does it add at the "
        "finger? (Take the plug as a point.)",
        {"mass_g": mass, "distance_mm": place, "arm_mm": arm}, answer, "g", 1, GRAM,
        (
            Mistake("the lever taken once", mass * place / arm,
                    "That is its front weight. For inertia the lever counts twice: square it."),
            Mistake("the lever left out", mass,
                    "The plug moves less than the finger: multiply by (distance / arm)²."),
            _wrong_colour(colour, mass * (place / other) ** 2),
            Mistake("the lever upside down", mass * (arm / place) ** 2,
                    "A plug near the pin moves less, so it counts less."),
        ),
        (
            "inertia of a plug = mass × (distance / arm)²",
            f"= {mass:.1f} g × ({place:.0f} mm / {arm:.0f} mm)² = {mass:.1f} g × "
            f"{(place / arm) ** 2:.4f} = {answer:.1f} g",
        ),
    )  # fmt: skip


def inertia_of_hammer(draw: Generator) -> Exercise:
    """The hammer's inertia at the finger."""
    strike, ratio = round(draw.uniform(6.0, 12.0), 1), round(draw.uniform(5.0, 6.2), 1)
    answer = float(hammer_inertia_g(strike_weight_g=strike, action_ratio=ratio, shank_mass_g=0.0))
    return Exercise(
        "inertia of the hammer",
        f"A hammer has a strike weight of {strike:.1f} g, the action ratio is {ratio:.1f}. What "
        "is its inertia at the finger? (Leave out that the shank is spread along its "
        "length.)",
        {"strike_weight_g": strike, "action_ratio": ratio}, answer, "g", 0, 1.0,
        (
            Mistake("the ratio taken once", strike * ratio,
                    "That is what it weighs at the finger. It also moves faster by the ratio: "
                    "square it."),
            Mistake("the lever left out", strike,
                    "The hammer moves faster than the finger: multiply by the ratio squared."),
            Mistake("both squared", (strike * ratio) ** 2,
                    "Only the ratio is squared, not the mass."),
        ),
        (
            "inertia = strike weight × action ratio²",
            f"= {strike:.1f} g × {ratio:.1f}² = {strike:.1f} g × {ratio**2:.2f} = {answer:.0f} g",
        ),
    )  # fmt: skip


def hammer_travel(draw: Generator) -> Exercise:
    """How far the hammer travels for a part of the key's travel."""
    ratio, travel = round(draw.uniform(5.0, 6.3), 1), round(draw.uniform(2.0, 7.0), 1)
    answer = ratio * travel
    return Exercise(
        "hammer travel",
        f"The action ratio is {ratio:.1f}. You press the key {travel:.1f} mm down at the measuring "
        "point. How far does the hammer rise?",
        {"action_ratio": ratio, "travel_mm": travel}, answer, "mm", 1, 0.1,
        (
            Mistake("the ratio upside down", travel / ratio,
                    "The hammer moves more than the key: multiply."),
            Mistake("the ratio added", travel + ratio, "A ratio multiplies."),
        ),
        (
            "hammer travel = action ratio × key travel",
            f"= {ratio:.1f} × {travel:.1f} mm = {answer:.1f} mm",
        ),
    )  # fmt: skip


def dip(draw: Generator) -> Exercise:
    """Key dip that a blow distance needs."""
    ratio = round(draw.uniform(5.0, 6.2), 1)
    blow, after = float(draw.integers(44, 49)), round(draw.uniform(0.8, 1.4), 1)
    given = {"blow_distance_mm": blow, "action_ratio": ratio, "aftertouch_mm": after}
    answer = float(find_dip_mm(**given))
    return Exercise(
        "key dip",
        f"The blow distance is {blow:.0f} mm, the action ratio {ratio:.1f}, and {after:.1f} mm of "
        "aftertouch is wanted. Which key dip does it need?",
        given, answer, "mm", 1, 0.1,
        (
            Mistake("the aftertouch left out", blow / ratio,
                    "The key goes on after let-off: add the aftertouch."),
            Mistake("the aftertouch taken off", blow / ratio - after,
                    "Aftertouch comes on top of what the hammer needs."),
            Mistake("the ratio upside down", blow * ratio + after,
                    "The key moves less than the hammer: divide the blow by the ratio."),
        ),
        (
            "dip = blow distance / action ratio + aftertouch",
            f"= {blow:.0f} mm / {ratio:.1f} + {after:.1f} mm = {answer:.1f} mm",
        ),
    )  # fmt: skip
