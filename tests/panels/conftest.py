"""The demo in hand, for panels without a browser."""

from collections.abc import Iterator
from pathlib import Path

import pytest

import balancekit
from balancekit.instrument.bench import Bench


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty home for instruments."""
    monkeypatch.setenv("BALANCEKIT_HOME", str(tmp_path / "home"))
    return tmp_path / "home"


@pytest.fixture
def bench(home: Path) -> Bench:
    """The demo, afresh for each test."""
    return balancekit.open_bench()


@pytest.fixture(scope="module")
def looked_at(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Bench]:
    """The demo, for tests that only look."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("BALANCEKIT_HOME", str(tmp_path_factory.mktemp("home")))
        yield balancekit.open_bench()
