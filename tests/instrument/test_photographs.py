"""Photographs: scaled down, nothing in them but the picture, limited in all.

Exif tags are those of CIPA DC-008 (Exif 2.32): 271 the maker of the device, 274 orientation,
34853 the place.
"""

from __future__ import annotations

import io
from dataclasses import replace

import pytest
from PIL import Image

from balancekit.calculation.problems import BalancekitError
from balancekit.instrument import photographs
from balancekit.instrument.descriptor import from_files, to_files
from balancekit.instrument.merge import merge, news
from balancekit.instrument.model import Instrument
from balancekit.instrument.notes import Note
from balancekit.instrument.photographs import LARGEST_SIDE, check_kept, prepared
from balancekit.instrument.store import open_folder, save_folder


def picture(width: int = 2400, height: int = 1200, kind: str = "JPEG", shade: int = 90) -> bytes:
    out, exif = io.BytesIO(), Image.Exif()
    exif[271], exif[274] = "Somebody's telephone", 6
    exif.get_ifd(34853)[1] = "N"
    Image.new("RGB", (width, height), (shade, 40, 20)).save(out, kind, exif=exif)
    return out.getvalue()


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_a_picture_is_turned_scaled_and_stripped(kind):
    name, kept = prepared(picture(kind=kind), "camera")
    with Image.open(io.BytesIO(kept)) as shown:
        assert shown.format == "JPEG" and not shown.getexif()
        # Orientation 6: what was wide is held upright.
        assert shown.size == (LARGEST_SIDE // 2, LARGEST_SIDE)
    assert b"telephone" not in kept and b"Exif" not in kept
    assert prepared(picture(kind=kind), "again") == (name, kept)
    check_kept(name, kept)


@pytest.mark.parametrize(
    "data",
    [b"", b"<svg onload='x()'/>", b"\xff\xd8\xff\xe0 no picture", picture()[:400], b"GIF89a"],
)
def test_what_is_no_picture_is_refused(data):
    with pytest.raises(BalancekitError, match="not a picture"):
        prepared(data, "evil.jpg")


def test_a_picture_that_would_unpack_to_very_much_is_refused():
    out = io.BytesIO()
    Image.new("1", (20_000, 20_000)).save(out, "PNG")
    with pytest.raises(BalancekitError, match=r"not a picture|too many"):
        prepared(out.getvalue(), "bomb.png")


def test_it_goes_with_its_note_through_folder_and_merge(tmp_path):
    name, kept = prepared(picture(300, 200), "hammer.jpg")
    held = Instrument("Hall").with_photographs({name: kept})
    held = held.with_notes(Note("friction", "worn", first_key=40, photographs=(name,)))
    save_folder(held, tmp_path / "hall", None)
    assert (tmp_path / "hall" / name).read_bytes() == kept
    back, _ = open_folder(tmp_path / "hall")
    assert back.photographs == {name: kept} and to_files(back) == to_files(held)
    (found,) = news(Instrument("Hall"), back)
    assert merge(Instrument("Hall"), back, [found.name]).photographs == {name: kept}
    assert held.without_notes(held.notes[0].identity).photographs == {}


def test_more_than_fits_is_said_before_it_is_kept(monkeypatch):
    monkeypatch.setattr(photographs, "MOST_PICTURE_BYTES", 2_000)
    name, kept = prepared(picture(400, 400), "a.jpg")
    other, more = prepared(picture(400, 400, shade=200), "b.jpg")
    held = Instrument().with_photographs({name: kept})
    with pytest.raises(BalancekitError, match="would have"):
        held.with_photographs({other: more * 2})


def test_a_photograph_changed_outside_is_refused():
    name, kept = prepared(picture(300, 200), "hammer.jpg")
    held = replace(Instrument(), photographs={name: kept})
    files = to_files(held)
    for changed in (picture(300, 200), kept + b"<script>"):
        with pytest.raises(BalancekitError, match="changed outside"):
            from_files({**files, name: changed})
