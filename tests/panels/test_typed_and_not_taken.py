"""What is typed and not taken yet outlives a change of the instrument, and lands on its own key."""

from __future__ import annotations

from dataclasses import replace

import ipywidgets as widgets
import pytest
from traitlets import Float, Int, List, Tuple, Unicode

from balancekit import lesson, panels
from balancekit.instrument.bench import Bench, open_bench
from balancekit.instrument.model import Instrument
from balancekit.panels.key_in_hand import KeyInHand
from balancekit.panels.leads.spring_check import SpringCheck
from balancekit.panels.settings import SettingsForm
from tests.panels.shown import inside, text_of, type_note


@pytest.fixture
def settings(bench: Bench) -> SettingsForm:
    settings = SettingsForm(bench)
    settings.lengths["key_dip_mm"].value = 9.7
    settings.sections.value = "bass 1, treble 40"
    return settings


def elsewhere(bench: Bench) -> None:
    """Save something in another window, and take it here."""
    bench.save()
    other = open_bench(bench.folder)
    changed = replace(other.instrument.settings, blow_distance_mm=45.5)
    other.change(replace(other.instrument, settings=changed))
    bench.take_from_disk()


def taken_back(bench: Bench) -> None:
    changed = replace(bench.instrument.settings, blow_distance_mm=45.5)
    bench.change(bench.instrument.with_key_note(5, "rubs"))
    bench.undo()
    bench.change(replace(bench.instrument, settings=changed))


@pytest.mark.parametrize("changed", [elsewhere, taken_back], ids=lambda call: call.__name__)
def test_settings_that_are_typed_stay_while_the_instrument_changes(bench, settings, changed):
    changed(bench)
    assert settings.lengths["key_dip_mm"].value == 9.7
    assert settings.sections.value == "bass 1, treble 40"
    assert settings.lengths["blow_distance_mm"].value == 45.5
    said = text_of(settings)
    assert "Typed and not taken yet: Key dip (mm) 9.7; Sections bass 1, treble 40." in said
    settings.take()
    held = bench.instrument
    assert (held.settings.key_dip_mm, held.settings.blow_distance_mm) == (9.7, 45.5)
    assert [section.name for section in held.sections] == ["bass", "treble"]
    assert "not taken" not in text_of(settings)


def test_settings_that_are_refused_stay_and_are_named(bench, settings):
    settings.lengths["key_dip_mm"].value = -1.0
    settings.take()
    assert "key_dip_mm" in settings.not_taken and settings.lengths["key_dip_mm"].value == -1.0
    bench.change(bench.instrument.with_key_note(5, "rubs"))
    assert "Typed and not taken yet: Key dip (mm) -1.0" in text_of(settings)


def test_settings_typed_for_one_instrument_never_reach_another(bench, settings):
    bench.start(Instrument(title="Another piano"))
    assert "typed for another instrument: Key dip (mm) 9.7" in text_of(settings)
    settings.take()
    assert bench.instrument.settings.key_dip_mm == Instrument().settings.key_dip_mm
    assert bench.instrument.sections == ()


def test_a_note_is_taken_for_the_key_it_was_typed_for(bench):
    hand = KeyInHand(bench)
    bench.key = 40
    hand.show()
    row = hand.note.row
    bench.key = 41
    hand.show()
    assert type_note(hand.note, row, "rubs") == {}
    assert bench.instrument.key_notes == {40: "rubs"}
    assert (hand.note.row, hand.note.row_name, hand.note.text) == ("41", "Note on key 41", "")


def test_a_note_typed_for_another_instrument_is_refused_with_its_place(bench):
    hand = KeyInHand(bench)
    hand.show()
    place = hand.note.place
    title = bench.instrument.title
    bench.start(Instrument(title="Another piano"))
    hand.show()
    (refused,) = type_note(hand.note, "40", "rubs", place).values()
    assert f"typed for notes on keys of {title}, 88 keys; notes on keys of Another" in refused
    bench.start(Instrument(title=title))
    hand.show()
    (refused,) = type_note(hand.note, "40", "rubs", place).values()
    assert "in another instrument of the same name" in refused
    assert bench.instrument.key_notes == {}


def test_a_note_that_is_too_long_is_refused_and_kept_on_the_page(bench):
    hand = KeyInHand(bench)
    hand.show()
    (refused,) = type_note(hand.note, "40", "x" * 200_000).values()
    assert "100000" in refused
    assert bench.instrument.key_notes == {}


def test_readings_of_a_spring_stay_with_their_key(bench):
    check = SpringCheck(bench)
    first = next(iter(check.fields.values()))
    here = bench.key
    first.value = 51.5
    bench.key = here + 1
    assert first.value == 0.0
    first.value = 49.0
    bench.key = here
    assert first.value == 51.5


KEPT_BY_THE_PAGE = (
    widgets.FloatText, widgets.IntText, widgets.BoundedFloatText, widgets.BoundedIntText,
    widgets.Text, widgets.Textarea, widgets.FloatSlider, widgets.IntSlider,
)  # fmt: skip
"""``keep_typed.js`` keeps what is typed into these; a browser test types into each of them."""

ONLY_SHOWN = (widgets.HTML, widgets.Label, widgets.IntProgress, widgets.FloatProgress)


def can_be_typed_in(widget: widgets.Widget) -> bool:
    """Tell whether a person types the value of a widget."""
    text = isinstance(getattr(type(widget), "value", None), (Unicode, Float, Int, List, Tuple))
    lists = (widgets.ToggleButtons, widgets.Dropdown, widgets.RadioButtons, widgets.Select)
    return text and not isinstance(widget, (*ONLY_SHOWN, *lists))


def test_the_kinds_of_fields_are_told_apart():
    typed = (*KEPT_BY_THE_PAGE, widgets.Combobox, widgets.TagsInput, widgets.FloatLogSlider,
             widgets.IntRangeSlider)  # fmt: skip
    assert all(can_be_typed_in(kind()) for kind in typed)
    assert not any(can_be_typed_in(kind()) for kind in (*ONLY_SHOWN, widgets.Button, widgets.VBox))


@pytest.mark.parametrize("name", [*panels.__all__, *lesson.__all__])
def test_nothing_is_typed_into_a_field_that_the_page_does_not_keep(looked_at, name):
    if name in lesson.__all__:
        panel = getattr(lesson, name)(*["friction"] * (name == "text_exercise"))
    else:
        panel = getattr(panels, name)(looked_at, *["readings"] * (name == "note_panel"))
    framed = {each for box in inside(panel) if "bench-panel" in box._dom_classes
              for each in inside(box)}  # fmt: skip
    for each in inside(panel):
        if can_be_typed_in(each):
            assert isinstance(each, KEPT_BY_THE_PAGE) and each in framed, type(each).__name__
