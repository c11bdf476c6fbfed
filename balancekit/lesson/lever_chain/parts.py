"""The parts of an action by name, as the drawing and the glossary show them."""

from __future__ import annotations

from dataclasses import dataclass

from balancekit.calculation.words import escape


@dataclass(frozen=True)
class Part:
    """A part: its word, what it is for, and the term of the equation it stands behind, or ""."""

    word: str
    meaning: str
    term: str = ""


# Words of the trade; common practice, no source.
DRAWN_PARTS = {
    "weight": Part("weight", "Set on the measuring point; what holds the key level without "
                   "friction is the balance weight.", "balance_weight_g"),
    "measuring_point": Part("measuring point", "Where weights are set, the same place on every "
                            "key of a colour."),
    "stick": Part("key stick", "The long wooden lever; it turns on the balance pin."),
    "plug": Part("plug", "Lead let into the key. It counts by its mass and by its distance from "
                 "the balance pin.", "front_weight_g"),
    "balance_pin": Part("balance pin", "The key's centre. Distances along the key count from it."),
    "capstan": Part("capstan", "The round screw that lifts the wippen. Its distance from the "
                    "balance pin over the arm is the key ratio.", "key_ratio"),
    "heel": Part("heel", "The cushion under the wippen on which the capstan presses."),
    "wippen": Part("wippen", "The middle lever. What it presses on the capstan is the wippen "
                   "weight.", "wippen_weight_g"),
    "jack": Part("jack", "Stands on the wippen and pushes the knuckle, until let-off turns it "
                 "away."),
    "flange": Part("flange", "Holds a centre: that of the wippen, that of the shank."),
    "spring": Part("support spring", "Lifts the wippen and so carries a part of the load.",
                   "spring_relief_g"),
    "knuckle": Part("knuckle", "The round cushion under the shank. Nearer to the shank's centre it "
                    "makes the action ratio higher.", "action_ratio"),
    "shank": Part("shank", "The hammer's lever. It turns in its flange."),
    "hammer": Part("hammer", "Felt on wood. With its shank on a scale it gives the strike weight.",
                   "strike_weight_g"),
    "let_off": Part("let-off", "The point shortly before the string where the jack leaves the "
                    "knuckle and the hammer flies on."),
    "string": Part("string", "What the hammer strikes."),
    "damper": Part("damper", "Lies on the string and is lifted by the key's end. Weigh with "
                   "dampers lifted; the equation leaves them out."),
}  # fmt: skip
"""Every part that the drawing names."""

WEIGHING_WORDS = {
    "scatter": "How far the same reading, or the same quantity on neighbouring keys, lies apart "
    "without a cause that can be named.",
    "standard uncertainty": "The usual size of a miss, up or down. Two thirds of all misses are "
    "smaller, one in twenty is more than twice as large.",
    "steady": "Of a scale: what it shows does not change any more.",
    "tare": "What a scale leaves out, such as the rest that a key lies on; it is set to zero with "
    "that on it.",
    "trend": "The smooth course of a quantity over the keyboard, once scatter and weighing error "
    "are taken off.",
}
"""Words of weighing that are no quantity."""


def parts_list_html() -> str:
    """Return the named parts as a list; each lights up in the drawing beside it.

    >>> parts_list_html().count("data-part") == len(DRAWN_PARTS)
    True
    """
    chips = "".join(
        f'<span class="lesson-chip" tabindex="0" role="button" data-part="{name}">'
        f"{escape(part.word)}</span>"
        for name, part in DRAWN_PARTS.items()
    )
    return f'<div class="lesson-parts">{chips}</div>'
