"""An instrument goes through a zip and a report unchanged; a hostile file gives a sentence."""

from __future__ import annotations

import io
import json
import re
import zipfile
from base64 import b64encode

import numpy as np
import pytest
from hostile_files import NASTY, random_instrument, zip_of

from balancekit.calculation.problems import BalancekitError
from balancekit.instrument.demo import sampled_grand
from balancekit.instrument.descriptor import DESCRIPTOR, LARGEST_FILE, to_files
from balancekit.instrument.write_table import to_bytes as write_readings
from balancekit.sharing.carry import (
    MOST_ENTRIES,
    from_report,
    from_zip,
    open_anything,
    to_html_payload,
    to_zip,
)

DEMO = sampled_grand().with_visit(sampled_grand().visits[0], 1)
FILES = to_files(DEMO)


def page_with(payload: str) -> bytes:
    return f"<!doctype html><title>A report</title><body>{payload}</body>".encode()


@pytest.mark.parametrize("seed", range(100))
def test_every_instrument_comes_back_byte_for_byte(seed):
    instrument = random_instrument(seed)
    files = to_files(instrument)
    assert to_files(from_zip(to_zip(instrument))) == files
    assert to_files(from_report(page_with(to_html_payload(instrument)))) == files


def test_the_same_instrument_gives_the_same_bytes():
    assert to_zip(DEMO) == to_zip(DEMO)


def test_another_zip_program_reads_what_is_written():
    with zipfile.ZipFile(io.BytesIO(to_zip(DEMO))) as archive:
        assert archive.testzip() is None
        assert {name: archive.read(name) for name in archive.namelist()} == FILES


def test_no_word_of_the_user_can_end_the_block_of_data():
    for words in NASTY:
        payload = to_html_payload(DEMO.with_chapter_note("readings", words))
        inside = re.fullmatch(r"<script [^>]*>([A-Za-z0-9+/=]*)</script>", payload)
        assert inside, words


@pytest.mark.parametrize(
    "around", ["", "dance school/", "a/b/"], ids=["bare", "in a folder", "two folders deep"]
)
def test_a_zip_made_by_hand_is_taken_with_what_lies_beside_left_out(around):
    beside = {
        f"{around}versions/2026/{DESCRIPTOR}": b"old",
        f"{around}.lock": b"",
        f"{around}photo.jpg": b"\xff\xd8",
        f"__MACOSX/{around}._{DESCRIPTOR}": b"\0",
        f"__MACOSX/{DESCRIPTOR}": b"\0",
    }
    data = zip_of({**beside, **{around + name: content for name, content in FILES.items()}})
    assert to_files(from_zip(data)) == FILES


def without(name: str) -> dict[str, bytes]:
    return {other: data for other, data in FILES.items() if other != name}


def changed_descriptor(**changes) -> dict[str, bytes]:
    descriptor = json.loads(FILES[DESCRIPTOR])
    descriptor["balancekit"].update(changes)
    return {**FILES, DESCRIPTOR: json.dumps(descriptor).encode()}


def replaced(old: bytes, new: bytes) -> bytes:
    assert old in FILES[DESCRIPTOR]
    return zip_of({**FILES, DESCRIPTOR: FILES[DESCRIPTOR].replace(old, new)})


def with_password() -> bytes:
    data = bytearray(zip_of(FILES))
    with zipfile.ZipFile(io.BytesIO(bytes(data))) as archive:
        start = archive.start_dir
    # The first bit of the general flags, in each local and central heading: encrypted.
    for magic, place in ((b"PK\x03\x04", 6), (b"PK\x01\x02", 8)):
        at = data.find(magic, start if place == 8 else 0)
        while at >= 0:
            data[at + place] |= 1
            at = data.find(magic, at + 4)
    return bytes(data)


def twice() -> bytes:
    out = io.BytesIO(to_zip(DEMO))
    with zipfile.ZipFile(out, "a") as archive, pytest.warns(UserWarning, match="Duplicate"):
        archive.writestr("readings.csv", b"key\r\n")
    return out.getvalue()


def lying_about_its_size() -> bytes:
    data = bytearray(zip_of({**FILES, "readings.csv": b"0" * (LARGEST_FILE + 10)}))
    sizes = (LARGEST_FILE + 10).to_bytes(4, "little")
    return bytes(data.replace(sizes, (100).to_bytes(4, "little")))


DEEP = b'{"title": ' + b"[" * 100_000 + b"]" * 100_000 + b"}"

HOSTILE = {
    "climbs out": lambda: zip_of({**FILES, "../../evil.csv": b"x"}),
    "climbs out with backslashes": lambda: zip_of({**FILES, "a\\..\\..\\evil.csv": b"x"}),
    "absolute path": lambda: zip_of({**FILES, "/etc/evil.csv": b"x"}),
    "drive letter": lambda: zip_of({**FILES, "C:/evil.csv": b"x"}),
    "climbs out, descriptor": lambda: zip_of({f"../{n}": d for n, d in FILES.items()}),
    "large when unpacked": lambda: zip_of({**FILES, "readings.csv": b"0" * (LARGEST_FILE + 1)}),
    "lies about its size": lying_about_its_size,
    "many large files": lambda: zip_of(
        {**FILES, **{f"x{n}.csv": b"0" * (LARGEST_FILE - 1) for n in range(9)}}
    ),
    "many entries": lambda: zip_of({f"x{n}.csv": b"" for n in range(MOST_ENTRIES + 1)}),
    "nested": lambda: zip_of({"instrument.zip": to_zip(DEMO)}),
    "no descriptor": lambda: zip_of(without(DESCRIPTOR)),
    "a table missing": lambda: zip_of(without("readings_2.csv")),
    "a table twice": twice,
    "bzip2": lambda: zip_of(FILES, zipfile.ZIP_BZIP2),
    "password": with_password,
    "cut short": lambda: to_zip(DEMO)[:-200],
    "cut in half": lambda: to_zip(DEMO)[: len(to_zip(DEMO)) // 2],
    "empty": lambda: b"",
    "deep": lambda: zip_of({**FILES, DESCRIPTOR: DEEP}),
    "not JSON": lambda: zip_of({**FILES, DESCRIPTOR: b"\xff\xfe\0\0"}),
    "unknown format": lambda: zip_of(changed_descriptor(format=999)),
    "half a character": lambda: zip_of(changed_descriptor(chapter_notes={"x": "\ud800"})),
    "infinite": lambda: replaced(b'"choices": {', b'"choices": {"a": 1e999, '),
    "a path in the descriptor": lambda: replaced(b'"readings.csv"', b'"../readings.csv"'),
}  # fmt: skip


@pytest.mark.parametrize("name", HOSTILE)
def test_a_hostile_zip_gives_a_sentence(name):
    data = HOSTILE[name]()
    for read, whole in (
        (from_zip, data),
        (from_report, page_with(to_html_payload(DEMO).partition(">")[0] + ">"
                                + b64encode(data).decode() + "</script>")),
    ):  # fmt: skip
        with pytest.raises(BalancekitError) as caught:
            read(whole)
        for problem in caught.value.problems:
            assert problem.message and len(str(problem)) < 1000


@pytest.mark.parametrize(
    ("page", "said"),
    [
        (b"<html></html>", "No instrument"),
        (page_with(to_html_payload(DEMO) * 2), "More than one"),
        (page_with(to_html_payload(DEMO).replace("A", "!")), "damaged"),
        (page_with(to_html_payload(DEMO))[:4000], "No instrument"),
    ],
    ids=["none", "two", "bad letters", "cut short"],
)
def test_a_report_without_a_sound_instrument_gives_a_sentence(page, said):
    with pytest.raises(BalancekitError, match=said):
        from_report(page)


def test_bytes_changed_by_chance_raise_only_our_own_error():
    draw = np.random.default_rng(4)
    zipped, page = to_zip(DEMO), page_with(to_html_payload(DEMO))
    refused = 0
    for turn in range(300):
        read, source = ((from_zip, zipped), (from_report, page))[turn % 2]
        data = bytearray(source)
        for place in draw.integers(0, len(data), int(draw.integers(1, 8))):
            data[place] = int(draw.integers(0, 256))
        try:
            read(bytes(data))
        except BalancekitError:
            refused += 1
    assert refused > 250


def test_what_a_file_is_is_told_from_what_it_holds():
    instrument = DEMO
    report = page_with(to_html_payload(instrument))
    assert to_files(open_anything(report, "anything.txt")) == FILES
    assert to_files(open_anything(to_zip(instrument), "anything.csv")) == FILES
    readings = write_readings(instrument.visits[0].readings)
    assert open_anything(readings, "report.html") is None
    assert open_anything(zip_of({"xl/workbook.xml": b"<x/>"}), "readings.xlsx") is None
    assert open_anything(b"", "report.html") is None
    with pytest.raises(BalancekitError, match="required"):
        open_anything(zip_of({DESCRIPTOR: b"{}"}), "own.zip")
