"""Whatever bytes come in, only our own error leaves the importer."""

from __future__ import annotations

import random

import pytest
from hostile_tables import mutants, seeds

from balancekit.calculation.problems import BalancekitError, Problem
from balancekit.instrument.bring_in.import_readings import Understood, understand


def check(name: str, data: bytes, draw: random.Random) -> str:
    """Bring one file in and answer what it asks at random; say how it ended."""
    answers: dict[str, str] = {}
    try:
        for _ in range(6):
            found = understand(data, name, answers=answers)
            assert isinstance(found, Understood)
            if not found.questions:
                assert found.rows_used == len(found.readings) > 0
                assert found.readings["key"].between(1, 88).all()
                return "taken"
            assert len(found.readings) == 0
            answers |= {q.id: draw.choice(q.choices)[0] for q in found.questions}
    except BalancekitError as error:
        assert error.problems
        for problem in error.problems:
            assert isinstance(problem, Problem)
            assert problem.message and problem.advice and problem.file.startswith(name)
        return "refused"
    raise AssertionError("the questions do not end")


@pytest.mark.parametrize("seed", range(4))
def test_only_our_own_error_leaves_the_importer(seed):
    draw = random.Random(1000 + seed)
    ends = [check(name, data, draw) for name, data in mutants(seed, 100)]
    assert {"taken", "refused"} == set(ends)


def test_the_seeds_themselves_are_taken():
    draw = random.Random(1)
    assert [check(name, data, draw) for name, data in seeds()] == ["taken"] * len(seeds())


@pytest.mark.parametrize("length", [1, 2, 3, 10, 100, 5000])
def test_random_bytes_are_refused(length):
    draw = random.Random(length)
    for name in ("readings.csv", "readings.xlsx", "readings", "a/b\\c.TXT"):
        assert check(name, draw.randbytes(length), draw) == "refused"
