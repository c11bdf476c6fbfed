"""Exercises on down weight, up weight, friction and the balance equation."""

from __future__ import annotations

from numpy.random import Generator

from balancekit.calculation import balance
from balancekit.lesson.lever_chain.one_key import LessonKey
from balancekit.lesson.practice.exercise import GRAM, RATIO, Exercise, Mistake


def _weights(draw: Generator) -> tuple[float, float]:
    down = float(draw.integers(44, 62))
    return down, down - 2 * float(draw.integers(11, 33)) / 2


def friction(draw: Generator) -> Exercise:
    """Friction from down weight and up weight."""
    down, up = _weights(draw)
    given = {"down_weight_g": down, "up_weight_g": up}
    answer = balance.find_friction(**given)
    return Exercise(
        "friction",
        f"A key sinks under {down:.0f} g and still lifts {up:.0f} g. How much friction is there?",
        given, answer, "g", 1, GRAM,
        (
            Mistake("the whole gap instead of half", down - up,
                    "Friction counts twice in the gap: once on the way down, once on the way up."),
            Mistake("balance weight instead of friction",
                    balance.find_balance_weight(**given),
                    "Half of the sum is the balance weight. Friction is half of the difference."),
            Mistake("the sum of both weights", down + up,
                    "Take the difference of the two, then half of it."),
        ),
        (
            "friction = (down weight − up weight) / 2",
            f"= ({down:.0f} g − {up:.0f} g) / 2 = {down - up:.0f} g / 2 = {answer:.1f} g",
        ),
    )  # fmt: skip


def balance_weight(draw: Generator) -> Exercise:
    """Balance weight from down weight and up weight."""
    down, up = _weights(draw)
    given = {"down_weight_g": down, "up_weight_g": up}
    answer = balance.find_balance_weight(**given)
    return Exercise(
        "balance weight",
        f"A key sinks under {down:.0f} g and still lifts {up:.0f} g. What is its balance weight?",
        given, answer, "g", 1, GRAM,
        (
            Mistake("the sum instead of half of it", down + up,
                    "The balance weight is the middle of the two: take half of the sum."),
            Mistake("friction instead of balance weight", balance.find_friction(**given),
                    "Half of the difference is friction. The balance weight is half of the sum."),
            Mistake("friction taken for weight", down,
                    "The down weight carries friction too. Take the middle of down and up weight."),
        ),
        (
            "balance weight = (down weight + up weight) / 2",
            f"= ({down:.0f} g + {up:.0f} g) / 2 = {down + up:.0f} g / 2 = {answer:.1f} g",
        ),
    )  # fmt: skip


def down_weight(draw: Generator) -> Exercise:
    """Down weight from balance weight and friction."""
    level, rub = float(draw.integers(68, 84)) / 2, float(draw.integers(14, 34)) / 2
    given = {"balance_weight_g": level, "friction_g": rub}
    answer = balance.find_down_weight(**given)
    return Exercise(
        "down weight",
        f"A key has a balance weight of {level:.1f} g and {rub:.1f} g of friction. Which weight "
        "just makes it sink?",
        given, answer, "g", 1, GRAM,
        (
            Mistake("up weight instead of down weight", balance.find_up_weight(**given),
                    "On the way down friction works against the finger: it is added."),
            Mistake("friction counted twice", level + 2 * rub,
                    "On the way down friction counts once. Twice of it is the gap to the up "
                    "weight."),
            Mistake("half of the friction", level + rub / 2,
                    "Friction is already half of the gap: add all of it."),
            Mistake("friction left out", level,
                    "The balance weight holds the key level. To sink, it must overcome friction."),
        ),
        (
            "down weight = balance weight + friction",
            f"= {level:.1f} g + {rub:.1f} g = {answer:.1f} g",
        ),
    )  # fmt: skip


def _key(draw: Generator, spring: bool) -> LessonKey:
    """Invent a key whose numbers are as a scale shows them."""
    return LessonKey(
        strike_weight_g=round(draw.uniform(6.5, 12.0), 1),
        wippen_weight_g=round(draw.uniform(15.5, 21.0), 1),
        key_ratio=round(draw.uniform(0.46, 0.54), 2),
        action_ratio=round(draw.uniform(5.0, 6.2), 2),
        spring_relief_g=float(draw.integers(6, 13)) if spring else 0.0,
        friction_g=float(draw.integers(18, 32)) / 2,
    )


def _half(grams: float) -> float:
    return round(2 * grams) / 2


def _equation(given: dict[str, float], key: str) -> str:
    """Return one side of the equation with its numbers."""
    if key == "pressed":
        spring = given.get("spring_relief_g", 0.0)
        text = f"{given['balance_weight_g']:.1f} g + {given['front_weight_g']:.1f} g"
        return text + (f" + {spring:.1f} g" if spring else "")
    return f"{given['wippen_weight_g']:.1f} g × {given['key_ratio']:.2f}"


def action_ratio(draw: Generator) -> Exercise:
    """Action ratio from all that can be weighed, spring or not."""
    key = _key(draw, spring=bool(draw.integers(0, 2)))
    level = float(draw.integers(70, 82)) / 2
    lifted = key.wippen_lifts_g + key.hammer_lifts_g
    given = {
        "balance_weight_g": level,
        "front_weight_g": round(lifted - level - key.spring_relief_g, 1),
        "wippen_weight_g": key.wippen_weight_g,
        "key_ratio": key.key_ratio,
        "strike_weight_g": key.strike_weight_g,
        "spring_relief_g": key.spring_relief_g,
    }
    answer = balance.solve_for_action_ratio(**given)
    strike, wippen = key.strike_weight_g, key.wippen_lifts_g
    pressed = level + given["front_weight_g"] + key.spring_relief_g
    spring = f", spring relief {key.spring_relief_g:.1f} g" if key.spring_relief_g else ""
    mistakes = [
        Mistake("the ratio upside down", strike / (pressed - wippen),
                "Grams at the finger for one gram of strike weight: divide by the strike weight."),
        Mistake("the wippen left out", pressed / strike,
                "First take off what the wippen lifts: wippen weight × key ratio."),
        Mistake("the wippen without its lever", (pressed - key.wippen_weight_g) / strike,
                "The wippen acts over the key's lever: wippen weight × key ratio."),
        Mistake("the front weight left out", (pressed - given["front_weight_g"] - wippen) / strike,
                "The lead presses too: add the front weight to the balance weight."),
        Mistake("the down weight taken for the balance weight",
                answer + key.friction_g / strike,
                "The down weight carries friction. The equation wants the balance weight."),
    ]  # fmt: skip
    if key.spring_relief_g:
        mistakes.append(
            Mistake("the spring left out", answer - key.spring_relief_g / strike,
                    "What the spring carries presses as the lead does: add it.")
        )  # fmt: skip
    return Exercise(
        "action ratio",
        f"Balance weight {level:.1f} g (down weight {level + key.friction_g:.1f} g), front weight "
        f"{given['front_weight_g']:.1f} g, wippen weight {key.wippen_weight_g:.1f} g, key ratio "
        f"{key.key_ratio:.2f}, strike weight {strike:.1f} g{spring}. What is the action ratio?",
        given, answer, "", 2, RATIO, tuple(mistakes),
        (
            "strike weight × action ratio = what presses − wippen weight × key ratio",
            f"{_equation(given, 'pressed')} − {_equation(given, 'lifted')} = "
            f"{pressed - wippen:.2f} g",
            f"action ratio = {pressed - wippen:.2f} g / {strike:.1f} g = {answer:.2f}",
        ),
    )  # fmt: skip


def front_weight(draw: Generator) -> Exercise:
    """Front weight for a wanted balance weight."""
    key = _key(draw, spring=bool(draw.integers(0, 2)))
    wanted = float(draw.integers(35, 41))
    given = {
        "balance_weight_g": wanted,
        "wippen_weight_g": key.wippen_weight_g,
        "key_ratio": key.key_ratio,
        "strike_weight_g": key.strike_weight_g,
        "action_ratio": key.action_ratio,
        "spring_relief_g": key.spring_relief_g,
    }
    answer = balance.solve_for_front_weight(**given)
    wippen, hammer = key.wippen_lifts_g, key.hammer_lifts_g
    spring = f", spring relief {key.spring_relief_g:.1f} g" if key.spring_relief_g else ""
    less = f" − {key.spring_relief_g:.1f} g" if key.spring_relief_g else ""
    mistakes = [
        Mistake("the balance weight left out", answer + wanted,
                "The finger is to carry a part: take off the wanted balance weight."),
        Mistake("the wippen left out", answer - wippen,
                "The wippen lifts too: add wippen weight × key ratio."),
        Mistake("the wippen without its lever", answer - wippen + key.wippen_weight_g,
                "The wippen acts over the key's lever: wippen weight × key ratio."),
        Mistake("the hammer without its lever", answer - hammer + key.strike_weight_g,
                "Each gram of strike weight costs as many grams as the action ratio says."),
    ]  # fmt: skip
    if key.spring_relief_g:
        mistakes.append(
            Mistake("the spring left out", answer + key.spring_relief_g,
                    "The spring carries a part of it: take off the spring relief.")
        )  # fmt: skip
    return Exercise(
        "front weight",
        f"Wippen weight {key.wippen_weight_g:.1f} g, key ratio {key.key_ratio:.2f}, strike weight "
        f"{key.strike_weight_g:.1f} g, action ratio {key.action_ratio:.2f}{spring}. Which front "
        f"weight gives a balance weight of {wanted:.0f} g?",
        given, answer, "g", 1, GRAM, tuple(mistakes),
        (
            f"What lifts: {_equation(given, 'lifted')} + {key.strike_weight_g:.1f} g × "
            f"{key.action_ratio:.2f} = {wippen + hammer:.2f} g",
            f"front weight = {wippen + hammer:.2f} g − {wanted:.0f} g{less} = {answer:.1f} g",
        ),
    )  # fmt: skip


def strike_weight(draw: Generator) -> Exercise:
    """The heaviest strike weight that leverage carries."""
    key = _key(draw, spring=False)
    level, front = float(draw.integers(35, 41)), float(draw.integers(20, 36))
    given = {
        "balance_weight_g": level,
        "front_weight_g": front,
        "wippen_weight_g": key.wippen_weight_g,
        "key_ratio": key.key_ratio,
        "action_ratio": key.action_ratio,
    }
    answer = balance.solve_for_strike_weight(**given)
    pressed, wippen, ratio = level + front, key.wippen_lifts_g, key.action_ratio
    return Exercise(
        "strike weight",
        f"You want a balance weight of {level:.0f} g and allow a front weight of {front:.0f} g. "
        f"Wippen weight {key.wippen_weight_g:.1f} g, key ratio {key.key_ratio:.2f}, action ratio "
        f"{ratio:.2f}. How heavy may the strike weight be?",
        given, answer, "g", 1, GRAM,
        (
            Mistake("the wippen left out", pressed / ratio,
                    "A part of it is spent on the wippen: take off wippen weight × key ratio."),
            Mistake("the wippen without its lever", (pressed - key.wippen_weight_g) / ratio,
                    "The wippen acts over the key's lever: wippen weight × key ratio."),
            Mistake("the front weight left out", (level - wippen) / ratio,
                    "The lead helps to carry the hammer: add the front weight."),
            Mistake("grams at the finger taken for grams at the hammer", pressed - wippen,
                    "Divide by the action ratio: the hammer has the longer lever."),
        ),
        (
            f"Left for the hammer: {_equation(given, 'pressed')} − {_equation(given, 'lifted')} = "
            f"{pressed - wippen:.2f} g at the finger",
            f"strike weight = {pressed - wippen:.2f} g / {ratio:.2f} = {answer:.1f} g",
        ),
    )  # fmt: skip


def spring_relief(draw: Generator) -> Exercise:
    """Spring relief as the trade checks it: balance weight without, minus with."""
    down, up = _weights(draw)
    relief = float(draw.integers(10, 26)) / 2
    rub = float(draw.integers(18, 28)) / 2
    level = (down + up) / 2
    with_down, with_up = _half(level - relief + rub), _half(level - relief - rub)
    given = {"down_without_g": down, "up_without_g": up, "down_with_g": with_down,
             "up_with_g": with_up}  # fmt: skip
    held = balance.find_balance_weight(down_weight_g=with_down, up_weight_g=with_up)
    answer = level - held
    return Exercise(
        "spring relief",
        f"Without its support spring a key has {down:.0f} g down and {up:.0f} g up; with the "
        f"spring {with_down:.1f} g down and {with_up:.1f} g up. How much does the spring carry?",
        given, answer, "g", 1, GRAM,
        (
            Mistake("the difference of the down weights", down - with_down,
                    "Friction may differ too. Compare the two balance weights."),
            Mistake("the difference of the sums", 2 * answer,
                    "Take half of each sum: compare the balance weights."),
            Mistake("the balance weight with the spring", held,
                    "That is what is left for the finger. The relief is the difference."),
        ),
        (
            f"balance weight without: ({down:.0f} g + {up:.0f} g) / 2 = {level:.2f} g",
            f"balance weight with: ({with_down:.1f} g + {with_up:.1f} g) / 2 = {held:.2f} g",
            f"spring relief = {level:.2f} g − {held:.2f} g = {answer:.1f} g",
        ),
    )  # fmt: skip


def doubt(draw: Generator) -> Exercise:
    """Standard uncertainty of a balance weight."""
    down_u, up_u = (round(float(each), 2) for each in draw.uniform(0.5, 1.4, 2))
    given = {"down_weight_u_g": down_u, "up_weight_u_g": up_u}
    answer = balance.find_half_sum_uncertainty(**given)
    return Exercise(
        "uncertainty",
        f"Your down weights have a standard uncertainty of {down_u:.2f} g, your up weights "
        f"{up_u:.2f} g, independent of each other. What is that of the balance weight?",
        given, answer, "g", 2, 0.02,
        (
            Mistake("the doubts simply added", (down_u + up_u) / 2,
                    "Independent doubts add in squares: sqrt(a² + b²), then half."),
            Mistake("not halved", 2 * answer,
                    "The balance weight is half of the sum, so its doubt is half as well."),
            Mistake("the root forgotten", answer * answer * 2,
                    "Squares add under a root."),
        ),
        (
            "u(balance weight) = sqrt(u(down)² + u(up)²) / 2",
            f"= sqrt({down_u**2:.4f} + {up_u**2:.4f}) g / 2 = {2 * answer:.3f} g / 2 = "
            f"{answer:.2f} g",
        ),
    )  # fmt: skip
