"""A batch of reports that stopped goes on where it was, and makes nothing twice."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import pytest

from balancekit.calculation.believed.usual import UsualEvidence
from balancekit.cli import main
from balancekit.instrument import usual_in_use
from balancekit.instrument.demo import one_key_model
from balancekit.instrument.store import save_folder
from balancekit.instrument.usual_in_use import Earlier, Shop
from balancekit.sharing import batch, done_before
from balancekit.sharing.batch import Sharing, report_all
from balancekit.sharing.outcome import Outcome
from balancekit.sharing.report_folder import WRITTEN
from balancekit.sharing.story import Story

NAMES = ("attic", "barn", "cellar")
RESUMING = Sharing(anew=False)


@pytest.fixture
def fleet(tmp_path: Path) -> list[Path]:
    """Three small instruments, each in its folder."""
    for name in NAMES:
        save_folder(replace(one_key_model(), title=name), tmp_path / "fleet" / name, None)
    return [tmp_path / "fleet" / name for name in NAMES]


@pytest.fixture
def short(monkeypatch) -> None:
    """Reports of a line each: what is asked here is only whether they are made."""

    def report_files(story: Story, paper: str, beside: object) -> dict[str, bytes]:
        line = f"{story.instrument.title} {paper}\n".encode()
        return dict.fromkeys(("report.html", "keys.csv", "bench_sheets.pdf"), line)

    monkeypatch.setattr(batch, "report_files", report_files)


def written(to: Path) -> dict[str, int]:
    """When each report was written [ns]."""
    return {name: (to / name / "report.html").stat().st_mtime_ns for name in NAMES}


def run(fleet: list[Path], to: Path, **asked: object) -> list[Outcome]:
    return report_all(fleet, to, jobs=1, sharing=RESUMING, **asked)  # type: ignore[arg-type]


def made_anew(fleet: list[Path], to: Path, **asked: object) -> list[str]:
    """Which reports a run over the same folder makes anew."""
    return [each.source for each in run(fleet, to, **asked) if not each.before]


def test_what_is_there_and_made_from_the_same_is_not_made_again(fleet, tmp_path, short) -> None:
    to = tmp_path / "out"
    first, before = run(fleet, to), written(to)
    page = (to / "overview.html").read_bytes()
    again = run(fleet, to)
    assert [each.before for each in first + again] == [False] * 3 + [True] * 3
    assert [str(replace(each, before=False)) for each in again] == [str(each) for each in first]
    assert written(to) == before and (to / "overview.html").read_bytes() == page
    # One that is asked for again is made.
    assert not any(each.before for each in report_all(fleet, to, jobs=1))
    assert made_anew(fleet, to) == []


def test_what_differs_in_anything_is_made_anew(fleet, tmp_path, short, monkeypatch) -> None:
    to = tmp_path / "out"
    run(fleet, to)
    save_folder(replace(one_key_model(), title="barn, tuned"), fleet[1], None, replace_changed=True)
    assert made_anew(fleet, to) == ["barn"]
    assert made_anew(fleet, to) == []
    assert made_anew(fleet, to, paper="Letter") == [*NAMES]
    told = {"friction_g": UsualEvidence((0.0,) * 66, (0.0, 0.0, 0.0), (1.0, 1.0, 1.0))}
    shop = Shop("shop", {"other": Earlier("other", told)}, on=True)
    monkeypatch.setattr(done_before, "shop", lambda: shop)
    monkeypatch.setattr(usual_in_use, "shop", lambda: shop)
    assert made_anew(fleet, to, paper="Letter") == [*NAMES]
    monkeypatch.setattr(done_before, "_program", lambda: "another version of the program")
    assert made_anew(fleet, to, paper="Letter") == [*NAMES]


def test_a_version_that_is_kept_beside_a_source_changes_nothing(fleet, tmp_path, short) -> None:
    run(fleet, tmp_path / "out")
    (fleet[0] / "versions").mkdir(exist_ok=True)
    (fleet[0] / "versions" / "of_today.zip").write_bytes(b"x")
    assert made_anew(fleet, tmp_path / "out") == []


@pytest.mark.parametrize(
    "spoil",
    [
        lambda place: (place / "bench_sheets.pdf").unlink(),
        lambda place: (place / "keys.csv").write_text("key\n", encoding="utf-8"),
        lambda place: spoil_list(place, evenness=3),
        lambda place: spoil_list(place, flags={"slip": "many"}),
        lambda place: (place / WRITTEN).write_text("[", encoding="utf-8"),
    ],
    ids=["gone", "changed", "evenness", "flags", "no list"],
)
def test_what_is_not_whole_is_made_anew(fleet, tmp_path, short, spoil) -> None:
    to = tmp_path / "out"
    run(fleet, to)
    spoil(to / "cellar")
    if not (to / "cellar" / WRITTEN).read_text(encoding="utf-8").startswith("{"):
        for path in (to / "cellar").iterdir():
            path.unlink()  # without its list nothing there is the report's own
    assert made_anew(fleet, to) == ["cellar"]
    assert made_anew(fleet, to) == []


def spoil_list(place: Path, **wrong: object) -> None:
    listed = json.loads((place / WRITTEN).read_text(encoding="utf-8"))
    listed["told"] |= wrong
    (place / WRITTEN).write_text(json.dumps(listed), encoding="utf-8")


@pytest.mark.slow
def test_a_batch_that_is_killed_goes_on_where_it_was(fleet, tmp_path, capsys) -> None:
    to, words = tmp_path / "out", ["report", *map(str, fleet), "--to", str(tmp_path / "out")]
    command = [sys.executable, "-m", "balancekit", *words, "--jobs", "1"]
    killed = subprocess.Popen(command, stderr=subprocess.DEVNULL, start_new_session=True)
    told = to / "attic" / WRITTEN
    until = time.monotonic() + 120
    while not (told.is_file() and '"made_from"' in told.read_text(encoding="utf-8")):
        assert killed.poll() is None and time.monotonic() < until
        time.sleep(0.005)
    os.killpg(killed.pid, signal.SIGKILL)
    killed.wait()
    assert not (to / "overview.html").exists()
    before = (to / "attic" / "report.html").stat().st_mtime_ns
    assert main([*words, "--jobs", "1"]) == 0
    said = capsys.readouterr().out
    assert "of 3 were there already, made from the same. With --again all are made anew." in said
    assert written(to)["attic"] == before and (to / "overview.html").is_file()
    assert main([*words, "--jobs", "1", "--again"]) == 0
    assert "there already" not in capsys.readouterr().out
    assert written(to)["attic"] > before
