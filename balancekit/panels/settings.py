"""The bench settings: arms, regulation, uncertainties, section breaks."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import ipywidgets as widgets

from balancekit.calculation.problems import BalancekitError
from balancekit.calculation.quantities import QUANTITIES, READING_COLUMNS
from balancekit.instrument.bench import Bench
from balancekit.instrument.model import Section
from balancekit.panels.frame import button, panel, row, words, wrong
from balancekit.panels.saving import Saving

_LENGTHS = {
    "natural_arm_mm": "Arm of a natural (mm)",
    "sharp_arm_mm": "Arm of a sharp (mm)",
    "front_edge_mm": "Point to front edge (mm)",
    "key_dip_mm": "Key dip (mm)",
    "blow_distance_mm": "Blow distance (mm)",
    "aftertouch_mm": "Aftertouch (mm)",
}
_STYLE = {"description_width": "17em"}
_LAYOUT = widgets.Layout(width="25em")


class SettingsForm(widgets.VBox):
    """Fields for the bench settings, taken together.

    What is typed and not taken yet stays when the instrument changes meanwhile (an undo, another
    window), and is named. It is given up only when another instrument comes on the bench.
    """

    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        self.lengths = {
            name: widgets.FloatText(description=label, style=_STYLE, layout=_LAYOUT)
            for name, label in _LENGTHS.items()
        }
        self.spreads = {
            name: widgets.FloatText(
                description=f"± {QUANTITIES[name].axis_label}", style=_STYLE, layout=_LAYOUT
            )
            for name in READING_COLUMNS
        }
        self.sections = widgets.Text(
            description="Sections",
            placeholder="bass 1, tenor 21, treble 57",
            style=_STYLE,
            layout=widgets.Layout(width="100%", max_width="640px"),
        )
        self.said = words()
        self._fields = {**self.lengths, **self.spreads, "sections": self.sections}
        self._shown: dict[str, object] = {}
        self._shown_of = ""
        super().__init__(
            [
                row(*self.lengths.values()),
                words("Standard uncertainty of one reading (two thirds of readings fall within):"),
                row(*self.spreads.values()),
                words("Each section by name and first key:"),
                self.sections,
                row(button("Take these settings", self.take, main=True)),
                self.said,
            ]
        )
        bench.when_changed(self.refresh, "instrument")
        for field in self._fields.values():
            field.observe(lambda _: self._say_open(), "value")

    @property
    def not_taken(self) -> dict[str, str]:
        """What was typed and not taken yet, by field."""
        return {
            name: f"{field.description} {field.value}"
            for name, field in self._fields.items()
            if self._shown.get(name, field.value) != field.value
        }

    def refresh(self) -> None:
        """Show the settings of the instrument on the bench, beside what was typed for it."""
        instrument = self.bench.instrument
        typed = self.not_taken
        same = self._shown_of == instrument.identity
        kept = typed if same else {}
        self._shown, self._shown_of = self._of_the_instrument(), instrument.identity
        for name, field in self._fields.items():
            if name not in kept:
                field.value = self._shown[name]
        self._say_open()
        if typed and not same:
            self._say_bad(f"Not taken, for it was typed for another instrument: {_list(typed)}")

    def _of_the_instrument(self) -> dict[str, object]:
        settings = self.bench.instrument.settings
        sections = [f"{each.name} {each.first_key}" for each in self.bench.instrument.sections]
        return {
            **{name: getattr(settings, name) for name in self.lengths},
            **{name: settings.reading_u[name] for name in self.spreads},
            "sections": ", ".join(sections),
        }

    def _say_open(self) -> None:
        typed = self.not_taken
        if typed:
            self._say_bad(f"Typed and not taken yet: {_list(typed)}")
        else:
            self.said.value = ""

    def _say_bad(self, text: str) -> None:
        self.said.value = wrong(text)

    def take(self) -> None:
        """Take what stands in the fields, or say what is wrong with it."""
        instrument = self.bench.instrument
        try:
            settings = replace(
                instrument.settings,
                **{name: float(field.value) for name, field in self.lengths.items()},
                reading_u={name: float(field.value) for name, field in self.spreads.items()},
            )
            sections = Section.from_words(self.sections.value, settings.key_count)
        except BalancekitError as error:
            self._say_bad(str(error))
            return
        self._shown = {name: field.value for name, field in self._fields.items()}
        self.bench.change(replace(instrument, settings=settings, sections=sections))
        self.said.value = "Taken."


def _list(typed: Mapping[str, str]) -> str:
    return "; ".join(typed.values()) + "."


def settings_panel(bench: Bench) -> widgets.VBox:
    """The bench settings."""
    return panel("How this instrument is measured", SettingsForm(bench), Saving(bench))
