"""Photographs dropped on a chapter's or a key's note, and who wrote a note and when."""

from __future__ import annotations

import io
from datetime import date

import numpy as np
from hostile_files import telephone_picture as picture
from PIL import Image

from balancekit.instrument import photographs
from balancekit.instrument.person import own_name, remember_name
from balancekit.instrument.store import open_folder
from balancekit.panels.key_in_hand import KeyInHand
from balancekit.panels.notes import note_panel
from balancekit.panels.pictures import Pictures
from balancekit.sharing.sheet_html import sheet_html
from balancekit.sharing.sheet_pdf import sheet_pdf
from balancekit.sharing.sheets import bench_sheets, sheet_pictures
from balancekit.sharing.story import Story
from tests.panels.shown import text_of, type_note


def test_a_picture_goes_to_the_key_in_hand_and_into_its_folder(bench):
    remember_name("Ada")
    bench.key = 12
    hand = KeyInHand(bench)
    hand.pictures.take("hammer.jpg", picture())
    (note,) = bench.instrument.notes
    assert (note.author, note.first_key, note.chapter) == ("Ada", 12, "readings")
    assert note.day == date.today().isoformat()
    (name,) = note.photographs
    kept = (bench.folder / name).read_bytes()
    assert b"telephone" not in kept and b"Exif" not in kept
    with Image.open(io.BytesIO(kept)) as shown:
        assert shown.size == (1600, 800)
    assert open_folder(bench.folder)[0].photographs == {name: kept}
    assert "1 photograph of this instrument, 0.0 of 20 MB" in text_of(hand.pictures)
    bench.key = 13
    assert hand.pictures.shown.children == ()
    bench.key = 12
    hand.pictures.shown.children[1].click()
    assert bench.instrument.notes == () and not (bench.folder / name).exists()


def test_what_is_no_picture_or_too_much_is_said_and_changes_nothing(bench, monkeypatch):
    view = Pictures(bench, "friction")
    view.take("notes.txt", b"no picture")
    assert "not a picture" in view.said.value
    view.take("a.jpg", picture())
    before = bench.instrument
    monkeypatch.setattr(photographs, "MOST_PICTURE_BYTES", 12_000)
    view.take("b.jpg", picture(200))
    assert "would have" in view.said.value and bench.instrument is before


def test_the_last_megabyte_is_said_before_it_is_exceeded(bench):
    """Real pictures of nothing but noise, which no JPEG makes small, up to the true bound."""
    draw = np.random.default_rng(3)

    def noise() -> bytes:
        out = io.BytesIO()
        pixels = draw.integers(0, 256, (1600, 1600, 3), dtype=np.uint8)
        Image.fromarray(pixels).save(out, "BMP")
        return out.getvalue()

    fits = photographs.MOST_PICTURE_BYTES // len(photographs.prepared(noise(), "n.bmp")[1])
    view = Pictures(bench, "friction")
    full = dict(photographs.prepared(noise(), "n.bmp") for _ in range(fits - 1))
    bench.change(bench.instrument.with_photographs(full), save=False)
    view.take("last.bmp", noise())
    held = bench.instrument.photographs
    assert len(held) == fits and "would have" not in view.said.value
    assert f"{sum(map(len, held.values())) / 1e6:.1f} of 20 MB" in text_of(view)
    before = bench.instrument
    view.take("one_more.bmp", noise())
    assert "With this the photographs would have 2" in view.said.value
    assert "Up to 20 MB are kept" in view.said.value
    assert bench.instrument is before


def test_sheets_show_the_photographs(bench):
    bench.key = 12
    KeyInHand(bench).pictures.take("hammer.jpg", picture())
    work = Story(bench.instrument).work
    sheets = bench_sheets(work, sheet_pictures(bench.instrument))
    assert sheets[-1].operation == "photographs"
    assert "Key 12" in sheets[-1].pictures[0].words
    assert sheet_html(work, sheets).count("data:image/jpeg") == 1
    plain, shown = sheet_pdf(work, bench_sheets(work)), sheet_pdf(work, sheets)
    assert shown.count(b"/DCTDecode") == 1 and plain.count(b"/DCTDecode") == 0


def test_the_name_is_asked_once_and_every_note_knows_it_and_the_day(bench):
    panel = note_panel(bench, "friction")
    name, box = panel.children[3], panel.children[4]
    assert name.value == own_name() == ""
    name.value = " Ada \n"
    type_note(box, "friction", "tight")
    day = date.today().isoformat()
    assert bench.instrument.signatures == {"chapter friction": f"Ada, {day}"}
    assert f"Written by Ada, {day}" in text_of(panel)
    again = note_panel(bench, "balance")
    assert again.children[3].value == "Ada"
    hand = KeyInHand(bench)
    bench.key = 5
    hand.show()
    type_note(hand.note, "5", "slow")
    assert bench.instrument.signatures["key 5"] == f"Ada, {day}"
    back, _ = open_folder(bench.folder)
    assert back.signatures == bench.instrument.signatures
    type_note(box, "friction", "")
    assert "chapter friction" not in bench.instrument.signatures


def test_an_empty_name_leaves_the_day(bench):
    panel = note_panel(bench, "friction")
    type_note(panel.children[4], "friction", "tight")
    assert bench.instrument.signatures == {"chapter friction": date.today().isoformat()}
