"""What lead buys and what it costs, and the equation solved for each of its terms."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

import ipywidgets as widgets

from balancekit.calculation import balance
from balancekit.calculation.quantities import QUANTITIES
from balancekit.lesson.lever_chain.controls import CONTROLS, LABEL_WIDTH, TWO_COLUMNS, KeyControls
from balancekit.lesson.lever_chain.lever_view import (
    LessonStyle,
    Stacks,
    equation_html,
    grams,
    inertia_stacks,
)
from balancekit.lesson.lever_chain.one_key import LessonKey
from balancekit.panels.frame import panel, words, wrong

SOLVERS: Mapping[str, Callable[..., Any]] = {
    "balance_weight_g": balance.solve_for_balance_weight,
    "front_weight_g": balance.solve_for_front_weight,
    "spring_relief_g": balance.solve_for_spring_relief,
    "wippen_weight_g": balance.solve_for_wippen_weight,
    "key_ratio": balance.solve_for_key_ratio,
    "strike_weight_g": balance.solve_for_strike_weight,
    "action_ratio": balance.solve_for_action_ratio,
}
"""The function that solves the equation for each of its terms."""

_IN_WORDS = {
    "balance_weight_g": "wippen weight × key ratio + strike weight × action ratio "
    "− front weight − spring relief",
    "front_weight_g": "wippen weight × key ratio + strike weight × action ratio "
    "− balance weight − spring relief",
    "spring_relief_g": "wippen weight × key ratio + strike weight × action ratio "
    "− balance weight − front weight",
    "wippen_weight_g": "(balance weight + front weight + spring relief "
    "− strike weight × action ratio) / key ratio",
    "key_ratio": "(balance weight + front weight + spring relief "
    "− strike weight × action ratio) / wippen weight",
    "strike_weight_g": "(balance weight + front weight + spring relief "
    "− wippen weight × key ratio) / action ratio",
    "action_ratio": "(balance weight + front weight + spring relief "
    "− wippen weight × key ratio) / strike weight",
}


def solve(unknown: str, values: Mapping[str, float]) -> float:
    """Solve the balance equation for one of its terms.

    >>> solve("front_weight_g", dict(balance_weight_g=37.0, spring_relief_g=0.0,
    ...       wippen_weight_g=18.0, key_ratio=0.5, strike_weight_g=10.0, action_ratio=5.5))
    27.0
    """
    given = {name: values[name] for name in balance.TERMS if name != unknown}
    return float(SOLVERS[unknown](**given))


def solved_u(unknown: str, values: Mapping[str, float]) -> float:
    """Return the standard uncertainty of a solved term with usual weighing.

    The action ratio is never exact: it was itself solved from weighings such as these, and it
    brings its doubt along. A balance weight that is solved for or wished has its own.

    >>> values = dict(balance_weight_g=37.0, front_weight_g=27.0, spring_relief_g=0.0,
    ...               wippen_weight_g=18.0, key_ratio=0.5, strike_weight_g=10.0, action_ratio=5.5)
    >>> round(solved_u("action_ratio", values), 2), round(solved_u("front_weight_g", values), 1)
    (0.08, 1.1)
    """
    doubts = {name: QUANTITIES[name].reading_u or 0.0 for name in balance.TERMS}
    doubts["balance_weight_g"] = float(
        balance.find_half_sum_uncertainty(
            down_weight_u_g=QUANTITIES["down_weight_g"].reading_u,
            up_weight_u_g=QUANTITIES["up_weight_g"].reading_u,
        )
    )
    if not values["spring_relief_g"]:
        doubts["spring_relief_g"] = 0.0
    ratio_u = float(balance.uncertainty_of("action_ratio", values, doubts))
    if unknown == "action_ratio":
        return ratio_u
    return float(balance.uncertainty_of(unknown, values, doubts | {"action_ratio": ratio_u}))


_REACH = {
    "balance_weight_g": (20.0, 60.0, 0.5),
    "front_weight_g": (-10.0, 60.0, 0.5),
    **{name: (control.low, control.high, control.step) for name, control in CONTROLS.items()},
}


class SolveDesk(widgets.VBox):
    """Six terms on sliders; the seventh is solved for."""

    def __init__(self) -> None:
        start = LessonKey()
        self.unknown = widgets.Dropdown(
            options=[(QUANTITIES[name].label, name) for name in balance.TERMS],
            value="action_ratio",
            description="Solve for",
            style={"description_width": LABEL_WIDTH},
            layout=widgets.Layout(width="auto", max_width="24em"),
        )
        self.sliders: dict[str, widgets.FloatSlider] = {}
        for name in balance.TERMS:
            low, high, step = _REACH[name]
            self.sliders[name] = widgets.FloatSlider(
                value=getattr(start, name), min=low, max=high, step=step,
                description=QUANTITIES[name].axis_label, style={"description_width": LABEL_WIDTH},
                layout=widgets.Layout(width="100%", max_width="640px"),
                readout_format=f".{QUANTITIES[name].decimals}f",
            )  # fmt: skip
            self.sliders[name].observe(lambda _: self.refresh(), "value")
        self.unknown.observe(lambda _: self.refresh(), "value")
        self.said = words()
        grid = widgets.GridBox(
            list(self.sliders.values()),
            layout=widgets.Layout(
                grid_template_columns=TWO_COLUMNS, grid_gap="0 16px", width="100%"
            ),
        )
        super().__init__([self.unknown, self.said, grid, LessonStyle()])
        self.refresh()

    def refresh(self) -> None:
        """Solve, and say how."""
        unknown = self.unknown.value
        values = {name: float(made.value) for name, made in self.sliders.items()}
        values[unknown] = result = solve(unknown, values)
        for name, made in self.sliders.items():
            made.layout.display = "none" if name == unknown else ""
        spread = solved_u(unknown, values)
        quantity = QUANTITIES[unknown]
        self.said.value = (
            f"{equation_html(values, asked=unknown)}"
            f"<p><b>{quantity.label.lower()} = {_IN_WORDS[unknown]}</b><br>"
            f"= <b>{quantity.text(result)}</b>, known to about {quantity.text(spread)} with usual "
            "weighing.</p>"
        )


def solve_panel() -> widgets.VBox:
    """The balance equation, solved for the term that is not known."""
    return panel(
        "Solve for each term",
        words("Choose what is not known. Set the six others."),
        SolveDesk(),
    )


class LeadAndHammer(widgets.VBox):
    """One balance weight, kept by lead: what it costs in inertia."""

    wanted_g = 37.0

    def __init__(self) -> None:
        self.start = LessonKey()
        self.stacks, self.said = Stacks(), words()
        names = ["strike_weight_g", "knuckle_mm", "lead_mm"]
        self.controls = KeyControls(self.start, names, self.refresh)
        self.controls.sliders["lead_mm"].min = 60
        super().__init__([self.stacks, self.said, self.controls])
        self.refresh()

    @property
    def leaded(self) -> LessonKey:
        """The key with as much lead at the chosen place as the balance weight asks for."""
        key = self.controls.key
        wanted = {
            name: getattr(key, name) for name in balance.TERMS if name != "balance_weight_g"
        } | {"balance_weight_g": self.wanted_g}
        need_g = (solve("front_weight_g", wanted) - key.bare_front_weight_g) * key.arm_mm
        return replace(key, lead_g=min(max(need_g / key.lead_mm, 0.0), 60.0))

    def refresh(self) -> None:
        """Lead the key anew and show what the finger sets going."""
        key, start = self.leaded, self.start
        self.stacks.show(inertia_stacks({"at the start": start, "now": key}))
        hammer = key.inertia_parts_g["hammer"] / key.inertia_g
        off = abs(key.balance_weight_g - self.wanted_g)
        short = f"Lead cannot hold {grams(self.wanted_g)} here: it stays {grams(off)} away."
        short = f"{wrong(short)} " if off > 0.05 else ""
        more = key.inertia_g - start.inertia_g
        change = f"{more:+.0f} g from the start".replace("-", "−")
        change = "as at the start" if abs(more) < 0.5 else change
        parts = " · ".join(f"{name} {grams(size, 0)}" for name, size in key.inertia_parts_g.items())
        self.said.value = (
            f"Now: {parts}.<br>Balance weight {grams(key.balance_weight_g)}, held by "
            f"{grams(key.lead_g)} of lead "
            f"({len(key.plugs)} plugs) at {key.lead_mm:.0f} mm. {short}The finger sets "
            f"<b>{grams(key.inertia_g, 0)}</b> going, {change}. "
            f"<b>{100 * hammer:.0f} %</b> of it is the hammer."
        )


def inertia_panel() -> widgets.VBox:
    """What lead buys and costs, and why the hammer is most of the inertia."""
    return panel(
        "What the finger sets going",
        words(
            f"The lead is always set so that the balance weight stays {LeadAndHammer.wanted_g:.0f} "
            "g. So the key is the same on the scale. Is it the same under the hands?"
        ),
        LeadAndHammer(),
    )
