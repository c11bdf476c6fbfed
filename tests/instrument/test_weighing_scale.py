"""A scale's lines, where it is found, and what is taken of it and when.

Units: NIST Special Publication 811 (2008), appendix B.8. Forms of lines: common practice, no
source.
"""

from __future__ import annotations

import time
from decimal import Decimal

import pytest

from balancekit.instrument.weighing_scale.line import GRAMS, SentLines, read_line
from balancekit.instrument.weighing_scale.listener import Listener
from balancekit.instrument.weighing_scale.steady import (
    BY_HAND,
    BY_ITS_KEY,
    BY_ITSELF,
    OnTheScale,
)
from balancekit.instrument.weighing_scale.wire import SPEEDS
from tests.instrument.scale_on_a_wire import (
    ScaleOnAWire,
    in_ounces,
    plain,
    with_comma,
    with_marks,
    with_parity,
    without_unit,
)


@pytest.mark.parametrize(
    ("raw", "number", "unit", "steady", "net"),
    [
        (b"12.3 g", "12.3", "g", None, None),
        (b"ST,GS,+  12.3 g", "12.3", "g", True, False),
        (b"US,NT,-   0.05kg", "-0.05", "kg", False, True),
        (b"?   12,34 G", "12.34", "g", False, None),
        (b"\x02+00012.3  ct\x03", "12.3", "ct", None, None),
        (b"STABLE GROSS: .5 oz", "0.5", "oz", True, False),
        (b"12.3 g NET", "12.3", "g", None, True),
        (b"-7", "-7.0", "", None, None),
        (b"12.3 ozt", "12.3", "ozt", None, None),
    ],
)
def test_common_lines_are_read(raw, number, unit, steady, net):
    line = read_line(raw)
    assert (line.number, line.unit, line.steady, line.net) == (Decimal(number), unit, steady, net)


@pytest.mark.parametrize("raw", [b"OL", b"ST,GS,  OL  g", b"-----", b"EEEE g", b"+OVER", b"H"])
def test_what_shows_no_weight_is_no_number(raw):
    line = read_line(raw)
    assert line is not None and line.number is None


@pytest.mark.parametrize(
    "raw",
    [b"", b"   ", b"1 2.3 g", b"12.3.4 g", b"12,3 4 g", b"S#,GS,+ 12.3 g", b"12.3 g 4", b"- -3 g",
     b"ST,US,12.3 g", b"12.\x803 g", b"--12.3 g", b"1e5 g", b"12.3 g +", b"TR 5.0 g", b"nan g"],
)  # fmt: skip
def test_what_is_not_understood_as_a_whole_is_no_reading(raw):
    assert read_line(raw) is None


def test_units_are_exact():
    assert {unit: str(value) for unit, value in GRAMS.items()} == {
        "g": "1", "kg": "1000", "oz": "28.349523125", "ct": "0.2",
    }  # fmt: skip
    assert GRAMS["oz"] * 16 == Decimal("453.59237")


def test_no_lost_character_makes_another_number():
    """Each character of a padded line lost in turn, and each of a plain one but a whole digit."""
    for whole in (with_marks(112.3).strip(), with_marks(12.3).strip()):
        for at in range(len(whole)):
            lines = SentLines()
            assert lines.read(with_marks(2.3).strip()) is not None
            line = lines.read(whole[:at] + whole[at + 1 :])
            assert line is None, whole[:at] + whole[at + 1 :]


def test_a_scale_set_to_another_unit_is_followed_after_some_lines():
    lines = SentLines()
    assert lines.read(b"12.30 g") is not None
    read = [lines.read(b"0.434 oz") is not None for _ in range(6)]
    assert read == [False, False, False, False, True, True]


def fed(scale: OnTheScale, raw: list[tuple[float, bytes]]) -> list[str]:
    """Lines at their times; return what was taken."""
    taken = [scale.line(read_line(one), at) for at, one in raw]
    return [text for text in taken if text is not None]


def shows(grams: float, begin: float, end: float, form=with_marks, rate=10):
    count = round((end - begin) * rate)
    return [(begin + at / rate, form(grams).strip(b"\r\n")) for at in range(count)]


def test_a_load_is_taken_once_when_it_was_steady_for_a_second():
    scale = OnTheScale(BY_ITSELF)
    assert fed(scale, shows(0, 0, 1)) == []
    assert fed(scale, [(1.1, with_marks(5, False).strip()), *shows(12.3, 1.2, 2.2)]) == []
    assert fed(scale, shows(12.3, 2.2, 2.4)) == ["12.3"]
    assert fed(scale, shows(12.3, 2.4, 9)) == []
    assert fed(scale, shows(0, 9, 10) + shows(12.3, 10, 12)) == ["12.3"], "the same weight again"


def test_without_a_mark_it_is_steady_when_it_does_not_change():
    scale = OnTheScale(BY_ITSELF)
    swinging = [(1 + at / 10, plain(12 + (at % 3)).strip()) for at in range(40)]
    assert fed(scale, shows(0, 0, 1, plain) + swinging) == []
    assert fed(scale, shows(12.31, 5, 6.2, plain)) == ["12.31"]


@pytest.mark.parametrize(
    ("between", "why"),
    [
        (shows(-12.3, 3, 4), "less than nothing"),
        ([(3.1, b"ST,NT,+    0.0 g")], "tare was changed"),
        ([], "Take it off"),
        ([(3.1, b"ST,GS,+    0.0 g")], "Take it off"),
    ],
    ids=["negative", "tare", "not emptied", "emptied for a blink"],
)
def test_after_a_load_the_scale_must_have_been_empty(between, why):
    scale = OnTheScale(BY_ITSELF)
    assert fed(scale, shows(0, 0, 1) + shows(12.3, 1, 3)) == ["12.3"]
    assert fed(scale, between) == [] and why in scale.why_not
    net = any(b"NT" in raw for _, raw in between)
    after = [(4 + at / 10, b"ST,%s,+    9.9 g" % (b"NT" if net else b"GS")) for at in range(30)]
    assert fed(scale, after) == []
    assert fed(scale, [(at + 3, raw.replace(b"9.9", b"0.0")) for at, raw in after]) == []
    assert fed(scale, [(at + 6, raw) for at, raw in after]) == ["9.9"]


def test_overload_and_unsteady_are_never_taken():
    for trigger in (BY_HAND, BY_ITSELF, BY_ITS_KEY):
        scale = OnTheScale(trigger)
        fed(scale, shows(0, 0, 1))
        assert fed(scale, [(2 + at / 10, b"ST,GS,     OL g") for at in range(30)]) == []
        assert scale.when_asked(5)[0] is None and "no weight" in scale.when_asked(5)[1]
        assert fed(scale, [(9 + at / 10, with_marks(12, False).strip()) for at in range(30)]) == []
        assert scale.quiet() is None and scale.when_asked(12)[0] is None


def test_when_asked_it_takes_what_rests_and_is_not_old():
    scale = OnTheScale(BY_HAND)
    assert scale.when_asked(0) == (None, "The scale has sent nothing yet.")
    fed(scale, shows(12.3, 0, 0.1))
    assert "still moves" in scale.when_asked(0.1)[1]
    fed(scale, shows(12.3, 0.1, 1))
    assert scale.when_asked(1.1) == ("12.3", "")
    assert "silent" in scale.when_asked(9)[1]
    fed(scale, shows(-3, 9, 10))
    assert "less than nothing" in scale.when_asked(10)[1]


def test_a_scale_that_sends_at_a_press_of_its_key_is_taken_line_by_line():
    scale = OnTheScale(BY_ITS_KEY)
    assert fed(scale, [(0, b"ST,GS,+   12.3 g")]) == [] and scale.quiet() == "12.3"
    assert scale.quiet() is None
    assert fed(scale, shows(9.9, 5, 6)) == [] and scale.quiet() is None, "it sends all the time"


def test_units_are_converted_with_the_digits_that_the_scale_has():
    for raw, grams in ((b"0.434 oz", "12.30"), (b"61.50 ct", "12.300"), (b"0.012 kg", "12")):
        scale = OnTheScale(BY_HAND)
        fed(scale, [(at / 10, raw) for at in range(10)])
        assert scale.when_asked(1)[0] == grams, raw
    scale = OnTheScale(BY_HAND)
    fed(scale, [(at / 10, b"12.3") for at in range(10)])
    assert "names no unit" in scale.when_asked(1)[1]
    scale.unit = "ct"
    fed(scale, [(1 + at / 10, b"12.3") for at in range(10)])
    assert scale.when_asked(2)[0] == "2.46"
    fed(scale, [(2 + at / 10, b"12.3 ozt") for at in range(10)])
    assert "sends ozt" in scale.when_asked(3)[1]


@pytest.fixture
def wired(tmp_path):
    """Make scales and listeners, and end all of them."""
    made = []

    def make(*arguments, **options):
        scale = ScaleOnAWire(tmp_path / "scale", *arguments, **options)
        listener = Listener([scale.name], lambda: None)
        made.extend((listener, scale))
        listener.start()
        return scale, listener

    yield make
    for each in made:
        each.close()


def heard(listener: Listener, kind: str, seconds: float = 25.0, also=lambda event: True):
    """Wait until something of a kind is heard."""
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        events = listener.taken()
        for at, event in enumerate(events):
            if event.kind == kind and also(event):
                listener._events.extendleft(reversed(events[at + 1 :]))
                return event
        time.sleep(0.02)
    raise AssertionError(f"'{kind}' was not heard.")


@pytest.mark.slow
@pytest.mark.parametrize(
    ("form", "speed", "number"),
    [
        (with_marks, 9600, "12.3"),
        (with_comma, 2400, "12.3"),
        (with_parity(with_marks), 4800, "12.3"),
        (in_ounces, 1200, "0.434"),
        (without_unit, 9600, "12.3"),
        (plain, 9600, "12.30"),
    ],
    ids=["9600", "2400", "4800 parity", "1200", "no unit", "no mark"],
)
def test_speed_and_form_are_found_by_trying(wired, form, speed, number):
    scale, listener = wired(form, speed=speed)
    assert speed in SPEEDS
    scale.load_g = 12.3
    assert f"{speed} bits a second" in heard(listener, "found").words
    line = heard(listener, "line", also=lambda e: e.line and e.line.number == Decimal(number))
    assert line.line.steady is (True if form is with_marks else line.line.steady)


def test_a_lost_cable_is_said_and_found_again(wired):
    scale, listener = wired()
    heard(listener, "found")
    scale.unplug()
    assert scale.name in heard(listener, "lost").words
    scale.plug_in()
    heard(listener, "back")
    assert heard(listener, "line").line.number == 0


@pytest.mark.slow
def test_a_silent_scale_is_said_and_a_port_is_let_go(wired):
    scale, listener = wired()
    heard(listener, "found")
    scale.sends = False
    heard(listener, "quiet")
    heard(listener, "silent")
    second = Listener([scale.name], lambda: None)
    second.start()
    scale.sends = True
    heard(second, "found")
    second.close()


def test_a_port_that_is_not_there_is_said():
    listener = Listener(["no port of this name"], lambda: None)
    listener.start()
    looked = heard(listener, "looking")
    assert "cannot be opened" in looked.words
    heard(listener, "not found")
    listener.close()


def test_garbled_lines_are_heard_as_such(wired):
    scale, listener = wired()
    heard(listener, "found")
    scale.say(b"ST,G\xff7.1 g\r\n")
    assert r"\xff7.1 g" in heard(listener, "line", also=lambda e: e.line is None).words
