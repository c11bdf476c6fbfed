"""Where instruments live: in the user's own project, or at home if others see the project too."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from balancekit.instrument import in_hand
from balancekit.instrument.in_hand import home_folder


@pytest.fixture
def project(tmp_path, monkeypatch) -> Path:
    """A project and a home folder beside it, on a machine that sets nothing."""
    made = tmp_path / "project"
    (made / "data").mkdir(parents=True)
    monkeypatch.setattr(in_hand, "project_folder", lambda: made)
    monkeypatch.setattr(Path, "home", lambda: tmp_path / "anna")
    for name in ("BALANCEKIT_HOME", "JUPYTERHUB_USER"):
        monkeypatch.delenv(name, raising=False)
    return made


def at_home(project: Path) -> Path:
    return project.parent / "anna" / "balancekit_instruments"


def test_in_the_users_own_project_they_lie_beside_the_notebooks(project):
    assert home_folder() == project / "instruments"


def test_a_named_folder_comes_first(project, monkeypatch):
    monkeypatch.setenv("BALANCEKIT_HOME", str(project / "named"))
    assert home_folder() == project / "named"


def test_a_project_that_may_not_be_written_sends_them_home(project, monkeypatch):
    monkeypatch.setattr(os, "access", lambda path, mode: (Path(path), mode) != (project, os.W_OK))
    assert home_folder() == at_home(project)


@pytest.mark.skipif(not hasattr(os, "geteuid"), reason="this system knows no owner's number")
def test_a_project_of_somebody_else_sends_them_home_though_it_may_be_written(project, monkeypatch):
    monkeypatch.setattr(os, "geteuid", lambda: project.stat().st_uid + 1)
    assert home_folder() == at_home(project)
    monkeypatch.setattr(os, "geteuid", lambda: 0)
    assert home_folder() == project / "instruments"


def test_on_a_hub_a_project_outside_the_home_is_taken_for_shared(project, monkeypatch):
    monkeypatch.setenv("JUPYTERHUB_USER", "anna")
    assert home_folder() == at_home(project)


@pytest.mark.parametrize("home", [".", "project"])
def test_on_a_hub_a_copy_in_the_own_home_keeps_them(project, monkeypatch, home):
    """So on Binder, where the project itself is the home folder."""
    monkeypatch.setenv("JUPYTERHUB_USER", "anna")
    monkeypatch.setattr(Path, "home", lambda: project.parent / home)
    assert home_folder() == project / "instruments"
