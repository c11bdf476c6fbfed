"""Plant errors in the product, one at a time, and see that the validation named fails.

    python tests/benchmarks/planted_errors.py [WORDS ...]

Each error is put into the source as it is imported, in a process of its own, so that no file
changes. Every validation must pass without an error and fail with each of its own; with words
only the errors whose line holds one of them are planted. Ends with 1 if an error was not seen.
"""

from __future__ import annotations

import contextlib
import importlib
import importlib.machinery
import os
import sys
import time
from pathlib import Path
from types import CodeType
from typing import NamedTuple

import pytest

PROJECT = Path(__file__).resolve().parents[2]
VALIDATION = PROJECT / "tests" / "validation"


class Planted(NamedTuple):
    """One error: the validation that must see it, the module, what stands there, and the error."""

    validation: str
    module: str
    right: str
    wrong: str

    @property
    def file(self) -> Path:
        """The source that it is planted in."""
        return PROJECT / "balancekit" / f"{self.module.replace('.', '/')}.py"

    def __str__(self) -> str:
        return f"{self.validation}: {self.module}: {self.right} -> {self.wrong}"


PLANTED = tuple(
    Planted(*each)
    for each in (
        # The balance equation and its uncertainty
        (
            "common_practice",
            "calculation.balance",
            "return lifted - front_weight_g - spring_relief_g",
            "return lifted + front_weight_g - spring_relief_g",
        ),
        (
            "common_practice",
            "calculation.balance",
            "return (down_weight_u_g**2 + up_weight_u_g**2) ** 0.5 / 2",
            "return (down_weight_u_g**2 + up_weight_u_g**2) ** 0.5",
        ),
        (
            "uncertainties_package",
            "calculation.balance",
            '"key_ratio": -values["wippen_weight_g"]',
            '"key_ratio": -values["key_ratio"]',
        ),
        (
            "uncertainties_package",
            "calculation.balance",
            "return (pressed - strike_weight_g * action_ratio) / key_ratio",
            "return (pressed - strike_weight_g * action_ratio) * key_ratio",
        ),
        ("uncertainties_package", "calculation.ratios", "(value * under_u) ** 2", "under_u**2"),
        (
            "uncertainties_package",
            "calculation.ratios",
            "2**0.5 * front_weight_u_g, known_mass_g",
            "front_weight_u_g, known_mass_g",
        ),
        (
            "uncertainties_package",
            "calculation.ways",
            "return -(balance_weight_u_g**2)",
            "return balance_weight_u_g**2",
        ),
        (
            "gum_h1",
            "calculation.balance",
            "total = total + (slopes[name] * uncertainty) ** 2",
            "total = total + abs(slopes[name] * uncertainty)",
        ),
        ("gum_h1", "calculation.uncertainty", "(1 + probability) / 2", "probability"),
        (
            "nist_numacc",
            "calculation.weighing.repeats",
            "np.sqrt(whole / total)",
            "np.sqrt(whole / (total + 1))",
        ),
        ("nist_numacc", "calculation.weighing.repeats", "count - 1, 0)", "count, 0)"),
        # A prediction
        (
            "prediction",
            "calculation.proof.prediction",
            'balance = self.load_after - after["front_weight_g"] - after["spring_relief_g"]',
            'balance = self.load_after + after["front_weight_g"] - after["spring_relief_g"]',
        ),
        (
            "prediction",
            "calculation.proof.prediction",
            '"up_weight_g": balance - after["friction_g"]',
            '"up_weight_g": balance + after["friction_g"]',
        ),
        (
            "prediction",
            "calculation.proof.prediction",
            '"front_weight_g": -left["front_weight_g"]',
            '"front_weight_g": left["front_weight_g"]',
        ),
        (
            "prediction",
            "calculation.proof.prediction",
            '"strike_weight_g": -ratio / strike',
            '"strike_weight_g": ratio / strike',
        ),
        # Inertia and the blow
        (
            "moving_parts",
            "calculation.inertia",
            "return wippen_weight_g * key_ratio**2 * shape",
            "return wippen_weight_g * key_ratio * shape",
        ),
        (
            "moving_parts",
            "calculation.inertia",
            "(strike_weight_g - correction_g) * action_ratio**2",
            "(strike_weight_g - correction_g) * action_ratio",
        ),
        (
            "moving_parts",
            "calculation.inertia",
            "np.minimum(shank_mass_g / 6",
            "np.minimum(shank_mass_g / 3",
        ),
        (
            "moving_parts",
            "calculation.inertia",
            "return inertia_g_mm2 / arm_mm**2",
            "return inertia_g_mm2 / arm_mm",
        ),
        (
            "moving_parts",
            "calculation.hammers.blow",
            "inertia_mj = inertia_g * key_velocity**2 / 2",
            "inertia_mj = inertia_g * key_velocity**2",
        ),
        (
            "moving_parts",
            "calculation.hammers.blow",
            "(balance_weight_g + friction_g) * GRAVITY_M_S2",
            "(balance_weight_g - friction_g) * GRAVITY_M_S2",
        ),
        (
            "rigid_bodies",
            "calculation.inertia",
            "(distance_mm**2 + radius_mm**2 / 2)",
            "(distance_mm**2 + radius_mm**2)",
        ),
        (
            "rigid_bodies",
            "calculation.inertia",
            "(length_mm**2 + height_mm**2) / 12",
            "(length_mm**2 + height_mm**2) / 3",
        ),
        (
            "plug_masses",
            "calculation.leads.plugs",
            "return pi / 4 * diameter_mm**2",
            "return pi * diameter_mm**2",
        ),
        (
            "plug_masses",
            "calculation.leads.plugs",
            "return self.mass_g - wood_removed_g",
            "return self.mass_g + wood_removed_g",
        ),
        (
            "waterloo_hammer",
            "calculation.inertia",
            "np.minimum(shank_mass_g / 6",
            "np.minimum(shank_mass_g / 2",
        ),
        (
            "key_press_time",
            "calculation.hammers.blow",
            "return 2 * blow_distance_mm / hammer_velocity_m_s",
            "return blow_distance_mm / hammer_velocity_m_s",
        ),
        # Levers
        (
            "four_bar",
            "calculation.linkage.positions",
            "inside = side * np.arccos",
            "inside = -side * np.arccos",
        ),
        (
            "mujoco",
            "calculation.linkage.positions",
            "arm_long**2 + long**2 - coupler**2",
            "arm_long**2 + long**2 - 1.002 * coupler**2",
        ),
        # Notes, weights, springs
        (
            "iso_16",
            "calculation.keyboard",
            "2.0 ** ((n - A4_NUMBER) / 12)",
            "2.0 ** ((n - A4_NUMBER + 1) / 12)",
        ),
        ("pretty_midi", "calculation.keyboard", '"b": -1', '"b": 1'),
        (
            "oiml_r111",
            "calculation.weighing.scale",
            "permitted_error_g(nominal_g, weight_class) / np.sqrt(3)",
            "permitted_error_g(nominal_g, weight_class) / 3",
        ),
        (
            "torsion_spring",
            "calculation.leads.springs",
            "return self.wire_mm**4 * stiffness",
            "return self.wire_mm**3 * stiffness",
        ),
        (
            "torsion_spring",
            "calculation.leads.springs",
            "return inside * 32 * torque_n_mm",
            "return inside * 16 * torque_n_mm",
        ),
        # Once nobody saw these: each has a check of its own since
        (
            "calculation/hammer_ceiling",
            "calculation.hammers.hammer_ceiling",
            "SURE = 2.0",
            "SURE = 1.6",
        ),
        (
            "calculation/hammer_sets",
            "calculation.hammers.hammer_sets",
            "last = (mass_g[-1] - mass_g[-2]) / (at[-1] - at[-2])",
            "last = first",
        ),
        (
            "calculation/lead_estimate",
            "calculation.leads.lead_estimate",
            '"lead_g": pressed.abs() / place',
            '"lead_g": pressed / place',
        ),
        (
            "calculation/springs",
            "calculation.linkage.loads",
            "turned * self.turn_ratio\n        return np.maximum",
            "turned\n        return np.maximum",
        ),
        (
            "calculation/evenness",
            "calculation.proof.evenness",
            "step_u=step_size * (3 * count - 1)",
            "step_u=step_size * (3 * count)",
        ),
        (
            "calculation/evenness",
            "calculation.proof.evenness",
            "step_u=step * (3 * count - 1)",
            "step_u=step * (3 * count)",
        ),
        (
            "calculation/leads_plan",
            "calculation.leads.layout.find",
            "float(mass @ (x**2 + radius**2 / 2))",
            "float(mass @ x**2)",
        ),
        (
            "instrument/leads_record",
            "instrument.leads_record",
            'radius_mm=leads["diameter_mm"] / 2,',
            "radius_mm=0.0,",
        ),
        (
            "course_by_others",
            "calculation.believed.one_series",
            "true = shapes @ shapes.T + scatter**2 * np.eye(len(shapes))",
            "true = shapes @ shapes.T + scatter * np.eye(len(shapes))",
        ),
        # Trend, slips and draws
        ("straight_line", "calculation.weighing.scale", "both = 2 * away", "both = -2 * away"),
        (
            "straight_line",
            "calculation.weighing.scale",
            "left @ left / (count - 2)",
            "left @ left / count",
        ),
        (
            "course_by_others",
            "calculation.believed.running_sums",
            "size = -0.5 * np.log(divisors).sum(axis=1)[:, None] - 0.5 * np.log(known).sum(axis=1)",
            "size = -0.5 * np.log(divisors).sum(axis=1)[:, None] - np.log(known).sum(axis=1)",
        ),
        (
            "course_by_others",
            "calculation.course",
            "bends = shapes[:, 2:] / np.sqrt(sizes[2:])",
            "bends = shapes[:, 2:] / sizes[2:]",
        ),
        (
            "outliers_by_statsmodels",
            "calculation.believed.causes",
            "self.inverse - np.outer(lean, lean) / held, rest",
            "self.inverse, rest",
        ),
        (
            "nile",
            "calculation.believed.groups",
            "likely = np.argsort(evidence)[: -_LIKELY - 1 : -1]",
            "likely = np.argsort(evidence)[:_LIKELY]",
        ),
        (
            "gum_h2",
            "instrument.believed",
            "root = np.linalg.cholesky(self.cover[np.ix_(free, free)] + slight)",
            "root = np.diag(np.sqrt(np.diagonal(self.cover)[free]))",
        ),
        (
            "jcgm_101",
            "instrument.believed",
            "stacked[:, free] += normals @ root.T",
            "stacked[:, free] += normals @ root.T * 1.05",
        ),
    )
)
"""Every error has been a real one somewhere: a square, a half, a sign, a factor, a mean."""


def file_of(validation: str) -> Path:
    """Return the module of one validation, or of another check, named with its folder."""
    folder, _, name = validation.rpartition("/")
    return (VALIDATION.parent / folder if folder else VALIDATION) / f"test_{name}.py"


def plant(error: Planted) -> None:
    """Change what this process will import; nothing of balancekit may be there yet."""
    assert not any(name.startswith("balancekit.") for name in sys.modules)
    loader = importlib.machinery.SourceFileLoader
    as_it_is = loader.get_code

    def changed(self: importlib.machinery.SourceFileLoader, name: str) -> CodeType | None:
        if Path(self.path).resolve() != error.file.resolve():
            return as_it_is(self, name)
        text = error.file.read_text(encoding="utf-8")
        assert text.count(error.right) == 1, error
        return compile(text.replace(error.right, error.wrong), self.path, "exec")

    loader.get_code = changed  # type: ignore[method-assign]


def run(validation: str, error: Planted | None) -> int:
    """Run one validation in a process of its own; return the exit code of pytest."""
    child = os.fork()
    if child == 0:
        code = 99
        try:
            with open(os.devnull, "w") as nowhere, contextlib.redirect_stdout(nowhere):
                if error is not None:
                    plant(error)
                code = int(pytest.main(["-q", "-x", "--no-header", str(file_of(validation))]))
        finally:
            os._exit(code)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def main(words: list[str]) -> int:
    """Plant all errors, or those whose line holds one of the words; tell what was not seen."""
    os.chdir(PROJECT)
    for package in ("scipy.stats", "pandas", "mujoco", "trimesh", "sklearn", "statsmodels.api"):
        importlib.import_module(package)  # once, and not in every process
    errors = [each for each in PLANTED if not words or any(word in str(each) for word in words)]
    unseen = []
    for validation in dict.fromkeys(each.validation for each in errors):
        begin = time.perf_counter()
        mine = [each for each in errors if each.validation == validation]
        codes = {"as it is": run(validation, None)} | {str(e): run(validation, e) for e in mine}
        unseen += [name for name, code in codes.items() if code != (name != "as it is")]
        seconds = time.perf_counter() - begin
        print(f"{validation:24} {len(mine)} planted, {seconds:5.1f} s", flush=True)
    print(f"{len(errors)} errors planted, {len(errors) - len(unseen)} seen.")
    for name in unseen:
        print(f"not seen: {name}")
    return 1 if unseen else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
