"""Instruments and files made to trip a reader, for the tests of sharing."""

from __future__ import annotations

import io
import zipfile

import numpy as np
import pandas as pd
from PIL import Image

from balancekit.calculation.generator import Recipe, invent, weigh
from balancekit.instrument.model import BenchSettings, Instrument, Section, Visit

SCRIPT = "<script>document.title='run'</script>"
NASTY = (
    SCRIPT,
    "</script><script>document.title='run'</script>",
    "<img src=x onerror=\"document.title='run'\">",
    "[press](javascript:document.title='run')",
    "![picture](https://example.org/seen.png)",
    "=HYPERLINK(\"https://example.org\")",
    "+1+1", "-2+3", "@SUM(A1)", "'=1+1", "'", "\"quoted\", 'comma'; semicolon",
    "first line\nsecond line", "# heading\n\n* point", "Grüße, čeština, 日本語, العربية",
    "{{ template }} {% block %} ${literal}", "--> <!-- ]]> &amp; &#60;", "naïve − × ≤ ±",
    "\u202eright to left", "a" * 3000,
)  # fmt: skip


def random_instrument(seed: int) -> Instrument:
    """Return an instrument with anything in it that a user may give."""
    draw = np.random.default_rng(seed)

    def words() -> str:
        return str(draw.choice(NASTY))

    count = int(draw.choice([1, 2, 5, 12, 60, 88, 97]))
    first = "A0" if count < 90 else "F0"
    settings = BenchSettings(count, first, str(draw.choice(["grand", "grand", "upright"])))
    truth = invent(seed, Recipe(key_count=count, first_note=first)).truth
    instrument = Instrument(
        title=words()[:200],
        settings=settings,
        sections=(Section(words()[:200], 1),) if seed % 2 else (),
        choices={"hammer_mass": {"note": words(), "levels": [1.5, None, True, 1e-9]}},
        chapter_notes={"readings": words(), "friction": words(), "balance": words()},
    )
    for visit in range(int(draw.integers(1, 4))):
        repeats = {int(key): 3 for key in draw.integers(1, count + 1, 3)}
        readings = weigh(truth, seed + visit, repeats=repeats)
        readings["note"] = [words() if draw.random() < 0.1 else "" for _ in range(len(readings))]
        blank = pd.DataFrame(draw.random((len(readings), 6)) < 0.05, columns=readings.columns[1:7])
        readings[blank.columns] = readings[blank.columns].mask(blank.set_axis(readings.index))
        held = Visit(words()[:200], "2026-05-0" + str(visit + 1), confirmed=frozenset(
            {(1, "down_weight_g")} if visit else set()))  # fmt: skip
        instrument = instrument.with_visit(held, visit).with_readings(readings, visit)
    if seed % 3 == 0:
        instrument = instrument.with_key_note(1, words())
    if seed % 4 == 0:
        leads = pd.DataFrame({"key": [1], "diameter_mm": [12.7], "mass_g": [13.6],
                              "distance_mm": [-33.25]})  # fmt: skip
        instrument = instrument.with_table("leads", leads)
    return instrument


def telephone_picture(shade: int = 90) -> bytes:
    """Return a wide picture from a telephone that knows where it was.

    Exif tags of CIPA DC-008 (Exif 2.32): 271 the maker of the device, 34853 the place.
    """
    out, exif = io.BytesIO(), Image.Exif()
    exif[271] = "Somebody's telephone"
    exif.get_ifd(34853)[1] = "N"
    Image.new("RGB", (2400, 1200), (shade, 40, 20)).save(out, "JPEG", exif=exif)
    return out.getvalue()


def zip_of(files: dict[str, bytes], packing: int = zipfile.ZIP_DEFLATED) -> bytes:
    """Return a zip of some files."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", packing) as archive:
        for name, data in files.items():
            archive.writestr(name, data)
    return out.getvalue()
