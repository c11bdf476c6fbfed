"""A scale on a pseudo-terminal sends ten readings into the page, and a lost cable is seen there."""

from __future__ import annotations

import csv

import pytest
from keys import keep_picture, panel
from lab import open_notebook, ran_well, run_all, wait_idle
from playwright.sync_api import expect

from tests.instrument.scale_on_a_wire import ScaleOnAWire

pytestmark = [pytest.mark.usefixtures("demo_in_hand"), pytest.mark.slow]

FIRST = 40
"""The key in hand of the demo."""

PIXEL_MM = 25.4 / 96
# CSS Values and Units Module Level 3, 5.2: a pixel is 1/96 inch.

READ_FROM_MM, LEAST_MINUTES = 2000.0, 16.0
# ISO 9241-303:2011, 5.5.4: characters at least 16 minutes of arc high; from memory.

DIGIT_HEIGHT = """(node) => {
  const style = getComputedStyle(node), pen = document.createElement("canvas").getContext("2d");
  pen.font = `${style.fontWeight} ${style.fontSize} ${style.fontFamily}`;
  return pen.measureText("8").actualBoundingBoxAscent;
}"""


@pytest.fixture
def wire(tmp_path):
    scale = ScaleOnAWire(tmp_path / "scale", rate=10)
    yield scale
    scale.close()


def weighed(lab, key):
    folder = max(lab.home.glob("*/datapackage.json"), key=lambda path: path.stat().st_mtime).parent
    with open(folder / "readings.csv", newline="") as lines:
        return next(float(row["front_weight_g"]) for row in csv.DictReader(lines)
                    if row["key"] == str(key))  # fmt: skip


def test_ten_readings_come_from_a_scale_into_the_page(lab, page, seen, wire, tmp_path):
    open_notebook(page, lab, "notebooks/01_readings.ipynb")
    run_all(page)
    one = panel(page, "One key at a time")
    one.get_by_role("button", name="weight by weight").click()
    one.get_by_label("Reading", exact=True).select_option("Front weight")
    one.get_by_text("A scale that sends its number").click()
    one.get_by_label("Port", exact=True).fill(wire.name)
    one.get_by_role("button", name="Find the scale").click()
    expect(one.get_by_text("Found:")).to_be_visible(timeout=30_000)
    one.get_by_role("button", name="when steady", exact=True).click()
    one.locator(".bench-one").scroll_into_view_if_needed()
    key, scale = one.locator(".bench-one-key"), one.locator(".bench-one-scale")
    expect(scale).to_contain_text("steady")
    expect(scale).not_to_contain_text("Take everything off")
    weights = [round(24.3 + at * 0.6, 1) for at in range(10)]
    for at, grams in enumerate(weights, start=FIRST):
        expect(key).to_have_text(f"Key {at}")
        wire.load_g = grams
        expect(scale).to_contain_text(f"{grams} g")
        if at == FIRST + 3:
            keep_picture(page, tmp_path, "scale_moving")
        expect(one.locator(".bench-one")).to_contain_text(f"Key {at + 1} ·", timeout=15_000)
        wire.load_g = 0.0
        expect(scale).to_contain_text("0.0 g", timeout=15_000)
        expect(scale).not_to_contain_text("Take it off", timeout=15_000)
    wait_idle(page)
    assert [weighed(lab, FIRST + at) for at in range(10)] == weights
    expect(one.locator(".bench-one-said").first).to_contain_text(
        "Key 49: front weight 29.7 g, expected"
    )
    keep_picture(page, tmp_path, "scale")

    lowest = READ_FROM_MM * 2.9089e-4 * LEAST_MINUTES
    for name in (".bench-one-key", ".bench-one-digits", ".bench-one-input", ".bench-one-asked"):
        height_mm = one.locator(name).evaluate(DIGIT_HEIGHT) * PIXEL_MM
        assert height_mm >= lowest, name

    before = weighed(lab, 50)
    wire.load_g = 99.0
    expect(scale).to_contain_text("99.0 g")
    wire.unplug()
    expect(scale).to_contain_text("cable is lost")
    keep_picture(page, tmp_path, "scale_lost")
    wire.plug_in()
    expect(scale).to_contain_text("The scale is back")
    expect(scale).to_contain_text("99.0 g")
    expect(scale).to_contain_text("steady")
    expect(key).to_have_text("Key 50")
    one.get_by_role("button", name="by hand").click()
    expect(scale).to_contain_text("steady")
    one.get_by_role("button", name="Take it").click()
    expect(key).to_have_text("Key 51", timeout=15_000)
    expect(one.locator(".bench-one-said").first).to_contain_text("Key 50: front weight 99.0 g")
    one.locator(".bench-one-input").click()
    page.keyboard.press("Control+z")
    wait_idle(page)
    assert weighed(lab, 50) == before
    one.get_by_role("button", name="Let it go").click()
    expect(scale).to_be_hidden()
    ran_well(page, seen)
