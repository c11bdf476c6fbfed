"""The bench settings: arms, regulation, uncertainties, section breaks."""

from __future__ import annotations

from dataclasses import replace

import ipywidgets as widgets

from balancekit.calculation.problems import BalancekitError
from balancekit.calculation.quantities import QUANTITIES, READING_COLUMNS
from balancekit.instrument.bench import Bench
from balancekit.instrument.model import Section
from balancekit.panels.frame import button, escape, panel, row, words
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


class Settings(widgets.VBox):
    """Fields for the bench settings, taken together."""

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

    def refresh(self) -> None:
        """Show the settings of the instrument on the bench."""
        settings = self.bench.instrument.settings
        for name, field in self.lengths.items():
            field.value = getattr(settings, name)
        for name, field in self.spreads.items():
            field.value = settings.reading_u[name]
        self.sections.value = ", ".join(
            f"{section.name} {section.first_key}" for section in self.bench.instrument.sections
        )

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
            self.said.value = f'<span class="bench-bad">{escape(error)}</span>'
            return
        self.bench.change(replace(instrument, settings=settings, sections=sections))
        self.said.value = "Taken."


def settings_panel(bench: Bench) -> widgets.VBox:
    """The bench settings."""
    return panel("How this instrument is measured", Settings(bench), Saving(bench))
