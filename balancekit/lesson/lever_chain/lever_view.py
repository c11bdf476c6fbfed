"""What the lessons draw: the levers, grams as stacks, and the equation in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import anywidget
import traitlets

from balancekit.calculation.quantities import QUANTITIES
from balancekit.lesson.lever_chain.levers import lever_scene
from balancekit.lesson.lever_chain.one_key import LessonKey
from balancekit.lesson.lever_chain.parts import DRAWN_PARTS


def lesson_asset(name: str) -> str:
    """Return the text of a file beside this module."""
    return (Path(__file__).parent / name).read_text(encoding="utf-8")


class LeverView(anywidget.AnyWidget):
    """The levers as a drawing that moves.

    Traits
    ------
    scene : what to draw; see ``key_scene``.
    move : ``{"number", "from", "to", "seconds", "back"}``, key travel in mm. The drawing
        moves each time it changes; with 0 seconds at once, with ``back`` there and back.
    parts : word, meaning and term of each named part.
    holds : parts that can be taken hold of: ``{"along", "step", "value", "text"}`` by name.
    dragged : ``{"name", "from", "by", "number"}``, how far such a part was moved from where.
    pictures : ``{"name", "word", "meaning"}`` of parts that get a small picture each below.
    """

    _esm = lesson_asset("part_pictures.js") + lesson_asset("lever_view.js")
    _css = lesson_asset("lesson.css")
    scene = traitlets.Dict().tag(sync=True)
    parts = traitlets.Dict().tag(sync=True)
    holds = traitlets.Dict().tag(sync=True)
    dragged = traitlets.Dict().tag(sync=True)
    move = traitlets.Dict().tag(sync=True)
    pictures = traitlets.List(traitlets.Dict()).tag(sync=True)

    def __init__(self, scene: Mapping[str, Any], travel_mm: float = 0.0) -> None:
        super().__init__(
            scene=dict(scene),
            move=_move(0, travel_mm, travel_mm, 0.0, False),
            parts={
                name: {"word": part.word, "meaning": part.meaning, "term": part.term}
                for name, part in DRAWN_PARTS.items()
            },
        )

    @property
    def travel_mm(self) -> float:
        """Where the key is, or will be when its movement ends [mm]."""
        return float(self.move["from" if self.move["back"] else "to"])

    def put_key(self, travel_mm: float) -> None:
        """Put the key at a travel at once [mm]."""
        self.run_key(travel_mm, 0.0)

    def run_key(self, travel_mm: float, seconds: float, *, back: bool = False) -> None:
        """Let the key run to a travel [mm] in so many seconds, with ``back`` there and back."""
        self.move = _move(self.move["number"] + 1, self.travel_mm, travel_mm, seconds, back)


def _move(number: int, start: float, end: float, seconds: float, back: bool) -> dict[str, Any]:
    return {"number": number, "from": start, "to": end, "seconds": seconds, "back": back}


class LessonStyle(anywidget.AnyWidget):
    """Draws nothing; brings the style of the lessons to a panel without a drawing."""

    _esm = "export default { render({ el }) { el.style.display = 'none'; } };"
    _css = lesson_asset("lesson.css")


class Stacks(anywidget.AnyWidget):
    """Grams as stacks.

    Traits
    ------
    bars : ``{"name", "total", "parts"}`` each; a part is ``{"name", "text", "size", "look"}``.
    zone : from and to of a band across all bars, or empty.
    marks : ``{"at", "text", "side"}`` under the bars.
    most : right end of the scale.
    words : the same as a sentence, for a screen reader.
    """

    _esm = lesson_asset("stacks.js")
    _css = lesson_asset("lesson.css")
    bars = traitlets.List(traitlets.Dict()).tag(sync=True)
    zone = traitlets.List(traitlets.Float()).tag(sync=True)
    marks = traitlets.List(traitlets.Dict()).tag(sync=True)
    most = traitlets.Float(80.0).tag(sync=True)
    words = traitlets.Unicode("").tag(sync=True)

    def show(self, stacks: Mapping[str, Any]) -> None:
        """Show other stacks, as one change."""
        with self.hold_sync():
            for name, value in stacks.items():
                setattr(self, name, value)


_EDGES_MM = {"key": (-46.0, 66.0), "wippen": (10.0, 160.0), "hammer": (98.0, 236.0)}
"""Lower and upper edge of the picture where a lever is the lowest, or highest, shown [mm]."""


def grams(value: float, decimals: int = 1) -> str:
    """Return grams as a person reads them.

    >>> grams(-2.04), grams(-0.04)
    ('−2.0 g', '0.0 g')
    """
    return f"{round(value, decimals) + 0.0:.{decimals}f} g".replace("-", "−")


def key_scene(
    key: LessonKey,
    *,
    show: Sequence[str] = ("key", "wippen", "hammer"),
    weight_g: float | None = None,
    weight_word: str = "balance weight",
    scale: str | None = None,
    hidden: bool = False,
) -> dict[str, Any]:
    """Return what the drawing shows of a key.

    Parameters
    ----------
    key : the parts.
    show : which levers.
    weight_g : what stands on the measuring point; none if left out [g].
    weight_word : what that weight is called.
    scale : "key", "wippen" or "hammer": that part lies on a scale instead.
    hidden : leave out every number that an apprentice is to find.
    """
    on_scale = {
        "key": key.front_weight_g,
        "wippen": key.wippen_weight_g,
        "hammer": key.strike_weight_g,
    }
    forces: dict[str, float] = {} if hidden else {"front": key.front_weight_g}
    if "wippen" in show and not hidden:
        forces |= {"wippen": key.wippen_weight_g, "spring": key.spring_relief_g}
    if "hammer" in show and not hidden:
        forces["strike"] = key.strike_weight_g
    if weight_g is not None:
        forces["weight"] = weight_g
    capstan_mm = key.key_ratio * key.arm_mm
    return {
        "levers": lever_scene(key.linkage),
        "show": list(show),
        "hidden": hidden,
        "top": max(_EDGES_MM[part][1] for part in show),
        "floor": _EDGES_MM[scale][0] if scale else -80.0,
        "plugs": [] if hidden else [list(plug) for plug in key.plugs],
        "weight": weight_g or 0.0,
        "grams": forces,
        "scale": {"part": scale, "text": grams(on_scale[scale])} if scale else None,
        "texts": {
            **{name: grams(value) for name, value in forces.items()},
            "weight_word": weight_word,
            "lead": f"{grams(key.lead_g)} at {key.lead_mm:.0f} mm".replace("-", "−"),
            "capstan": "capstan arm" if hidden else f"capstan {capstan_mm:.0f} mm",
            "arm": "arm" if hidden else f"arm {key.arm_mm:.0f} mm",
        },
        "words": "Drawing of the levers. "
        + ", ".join(f"{name} {grams(value)}" for name, value in forces.items()),
    }


def balance_stacks(
    key: LessonKey, *, weight_g: float | None = None, weight_word: str = "balance weight"
) -> dict[str, Any]:
    """Return what presses and what lifts, as stacks, with the reach of friction across them.

    Parameters
    ----------
    key : the parts.
    weight_g : what stands on the measuring point; the balance weight if left out [g].
    weight_word : what that weight is called.
    """
    weight = key.balance_weight_g if weight_g is None else weight_g
    presses = [
        ("front weight", key.front_weight_g, "front"),
        ("spring relief", key.spring_relief_g, "spring"),
        (weight_word, weight, "balance"),
    ]
    lifts = [("hammer", key.hammer_lifts_g, "hammer"), ("wippen", key.wippen_lifts_g, "wippen")]
    # A front that is light lifts, and a key that falls by itself would need lifting.
    swapped = [(name, -size, look) for name, size, look in presses if size < 0]
    presses = [part for part in presses if part[1] > 0]
    lifts += swapped
    pressed, lifted = (sum(part[1] for part in parts) for parts in (presses, lifts))
    level = lifted - sum(size for name, size, _ in swapped if name == weight_word)
    reach = [max(0.0, level - key.friction_g), level + key.friction_g]
    return {
        "bars": [_bar("lifts the front", lifts), _bar("presses it down", presses)],
        "zone": reach,
        "marks": [
            {"at": reach[0], "side": "left", "text": f"lifts up to\n{grams(key.up_weight_g)}"},
            {"at": reach[1], "side": "right", "text": f"sinks from\n{grams(key.down_weight_g)}"},
        ],
        "most": _scale_end(max(pressed, lifted, reach[1])),
        "words": f"Lifts the front: {grams(lifted)}. Presses it down: {grams(pressed)}. "
        f"Friction holds it within {grams(key.friction_g)} to both sides.",
    }


def inertia_stacks(keys: Mapping[str, LessonKey]) -> dict[str, Any]:
    """Return the inertia of keys, part by part, as stacks; by the name of each bar."""
    looks = {"hammer": "hammer", "wippen": "wippen", "key stick": "stick", "lead": "lead"}
    bars = []
    for name, key in keys.items():
        parts = [(part, size, looks[part]) for part, size in key.inertia_parts_g.items()]
        bars.append(_bar(name, parts, decimals=0))
    most = max(key.inertia_g for key in keys.values())
    return {
        "bars": bars,
        "zone": [],
        "marks": [],
        "most": 50.0 * (int(most / 50) + 1),
        "words": "Inertia at the finger. "
        + " ".join(f"{name}: {grams(key.inertia_g, 0)}." for name, key in keys.items()),
    }


def _bar(name: str, parts: Sequence[tuple[str, float, str]], decimals: int = 1) -> dict[str, Any]:
    return {
        "name": name,
        "total": grams(sum(size for _, size, _ in parts), decimals),
        "parts": [
            {"name": part, "text": grams(size, decimals), "size": size, "look": look}
            for part, size, look in parts
            if size > 0
        ],
    }


def _scale_end(most: float) -> float:
    """Return the right end of the scale: the next 20 g with some room for words."""
    return 20.0 * (int((most + 16) / 20) + 1)


def term_html(name: str, text: str, *, asked: bool = False) -> str:
    """Return one term of the equation; solid if it is weighed or measured, dashed if computed."""
    quantity = QUANTITIES[name]
    how = "computed" if quantity.reading_u is None else "weighed" if quantity.unit else "measured"
    looks = f"lesson-term{' computed' if how == 'computed' else ''}{' asked' if asked else ''}"
    return (
        f'<div class="{looks}" data-term="{name}" tabindex="0">'
        f"<span>{quantity.label.lower()}</span><b>{text}</b><small>{how}</small></div>"
    )


def equation_html(values: Mapping[str, float], asked: str = "") -> str:
    """Return the balance equation in words with its numbers.

    Parameters
    ----------
    values : the seven terms by name.
    asked : the term that is solved for, marked; none if left out.
    """
    term = {
        name: term_html(name, QUANTITIES[name].text(values[name]), asked=name == asked)
        for name in values
    }
    return (
        '<div class="lesson-equation">'
        f"{term['balance_weight_g']} + {term['front_weight_g']} + {term['spring_relief_g']} = "
        f'<div class="lesson-product">{term["wippen_weight_g"]} × {term["key_ratio"]}</div> + '
        f'<div class="lesson-product">{term["strike_weight_g"]} × {term["action_ratio"]}</div>'
        "</div>"
    )
