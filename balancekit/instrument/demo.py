"""The invented instruments of the ``data`` folder.

Written anew with ``python -m balancekit.instrument.demo data``. A test holds
the folder equal to what is made here.
"""

from __future__ import annotations

import sys
import uuid
from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from balancekit.calculation.generator import Invented, InventedRun, Recipe, complete, invent, weigh
from balancekit.calculation.linkage.distances import fit_distances
from balancekit.calculation.linkage.motion import rise_mm
from balancekit.calculation.linkage.positions import Linkage
from balancekit.instrument.choices import hammer_choice, lead_choice
from balancekit.instrument.choices.hammer_choice import HammerChoice
from balancekit.instrument.choices.lead_choice import LeadChoice
from balancekit.instrument.choices.lead_plan import lead_plan
from balancekit.instrument.choices.sheet_plan import CHAPTER as SHEETS
from balancekit.instrument.choices.sheet_plan import with_sheets
from balancekit.instrument.model import BenchSettings, Instrument, Section, Visit
from balancekit.instrument.occasion import Occasion
from balancekit.instrument.store import open_folder, save_folder

STUDIO_GRAND = "studio_grand"
SAMPLED_GRAND = "sampled_grand"
ONE_KEY = "one_key_model"

EXCHANGED_KEY = 23
"""Key of the studio grand whose down and up weight stand in each other's column."""

MOVED_POINT_KEY = 61
"""Key of the studio grand whose strike weight lost its decimal point by one place."""

TIGHT_KEYS = {12: 6.5, 13: 5.0, 34: 7.5, 58: 6.0, 73: 5.5}
"""Keys of the studio grand with more friction than their neighbours [g]."""

LIGHT_KEYS = {41: -5.5, 70: -4.5}
"""Keys of the studio grand with less friction than their neighbours [g]."""


NEW_HAMMERS = InventedRun(50, 67, {"strike_weight_g": 0.8}, {"strike_weight_g": 0.18})
"""Keys of the studio grand, one and a half octaves, whose hammers were replaced by heavier ones."""


MOVED_CAPSTANS = InventedRun(27, 43, capstan_mm=3.0)
"""Keys of the studio grand whose capstan line stands 3 mm too far from the balance pins."""

DAMP_BUSHINGS = InventedRun(77, 85, {"friction_g": 2.4})
"""Keys of the studio grand that stand near the window."""


def studio_grand_truth() -> Invented:
    """Return the truth behind the studio grand of a dance school, as it was found.

    Its lead was set long before the new hammers, the move of the capstans and the damp.
    """
    recipe = Recipe(
        bass_strike_g=12.4,
        treble_strike_g=6.2,
        ratio=5.75,
        ratio_wave=0.04,
        ratio_scatter=0.05,
        friction_scatter_g=0.4,
        tight_keys={**TIGHT_KEYS, **LIGHT_KEYS},
        runs=(NEW_HAMMERS, MOVED_CAPSTANS, DAMP_BUSHINGS),
    )
    return invent(1201, recipe)


DECIDED_ON = "2026-03-16"
"""Day on which the sheets were written that the studio grand was worked on by."""

DECIDED: Mapping[str, Any] = {
    hammer_choice.CHAPTER: HammerChoice(
        target="levels", bass_g=11.9, middle_g=9.3, treble_g=6.0
    ).to_json(),
    lead_choice.CHAPTER: LeadChoice(layout="free", balance_weight_g=38.0).to_json(),
}
"""What those sheets were written from."""

FORGOTTEN_LEAD = {30: -4.5}
"""Key of the studio grand on which a plug was forgotten: front weight less the plan [g]."""

TRIMMED_TOO_FAR = {47: -0.8}
"""Key of the studio grand with too light a hammer: strike weight less the plan [g]."""

STILL_TIGHT = 58
"""Key of the studio grand whose friction was on the sheet and was not eased."""


def after_the_work(found: Invented, as_found: Instrument) -> pd.DataFrame:
    """Return the truth after the work on the sheets, as well as hands can, with three mistakes.

    Parameters
    ----------
    found : the truth before.
    as_found : with its readings and what was decided; the work follows them, not the truth.
    """
    draw = np.random.default_rng(1202)
    plan = lead_plan(as_found)
    assert plan is not None
    hammers = plan.inputs.hammers.plan
    truth = found.truth.copy()
    may_cut = ~truth.index.isin(list(Occasion(as_found).believed.weigh_first))
    worked = hammers["work"].isin(["trim", "add"]) & may_cut
    shaped = hammers["planned_strike_weight_g"] + draw.normal(0, 0.06, len(truth))
    truth["strike_weight_g"] = shaped.where(worked, truth["strike_weight_g"])
    leaded = plan.front_weight_g + draw.normal(0, 0.15, len(truth))
    truth["front_weight_g"] = leaded.where(may_cut).fillna(truth["front_weight_g"])
    eased = pd.Series(
        {key: g for key, g in (TIGHT_KEYS | LIGHT_KEYS).items() if key != STILL_TIGHT}
    )
    truth["friction_g"] = truth["friction_g"].sub(eased, fill_value=0.0) + draw.normal(
        0, 0.2, len(truth)
    )
    for name, slips in (("front_weight_g", FORGOTTEN_LEAD), ("strike_weight_g", TRIMMED_TOO_FAR)):
        truth[name] = truth[name].add(pd.Series(slips), fill_value=0.0)
    return complete(truth)


def studio_grand() -> Instrument:
    """Return the difficult studio grand, with two slips of the pen and a second visit."""
    decided = _decided()
    kept = with_sheets(decided, 0, DECIDED_ON)
    # Nothing else is decided: whoever opens the demo chooses hammers and leads anew.
    fresh = replace(kept, choices={SHEETS: kept.choices[SHEETS]})
    return fresh.with_readings(weigh(worked_truth(), 1204), 1)


def _decided() -> Instrument:
    """Return the studio grand on the day of its sheets, before the work."""
    found = studio_grand_truth()
    repeats = {key: 3 for key in (1, 16, 28, 40, 52, 64, 76, 88)}
    readings = weigh(found.truth, 1203, repeats=repeats)
    row = readings["key"] == EXCHANGED_KEY
    readings.loc[row, ["down_weight_g", "up_weight_g"]] = readings.loc[
        row, ["up_weight_g", "down_weight_g"]
    ].to_numpy()
    slipped = readings["key"] == MOVED_POINT_KEY
    readings.loc[slipped, "strike_weight_g"] = (
        readings.loc[slipped, "strike_weight_g"] / 10
    ).round(2)
    readings.loc[readings["key"] == 34, "note"] = "feels slow to return"
    instrument = Instrument(
        title="Dance school studio grand",
        identity=_identity(STUDIO_GRAND),
        visits=(Visit("as found", "2026-03-09"), Visit("after the work", "2026-05-18")),
        sections=(
            Section("bass", 1),
            Section("tenor", 21),
            Section("middle", 44),
            Section("treble", 69),
        ),
        choices=DECIDED,
    ).with_readings(readings, 0)
    tables = {
        "leads": found.leads,
        "ratio_checks": ratio_checks(found.truth),
        "friction_parts": friction_parts(found.truth),
        "check_weights": check_weights(),
    }
    for kind, table in tables.items():
        instrument = instrument.with_table(kind, table)
    return instrument


def _identity(name: str) -> str:
    """Every copy of a demo is known as that demo."""
    return str(uuid.uuid5(uuid.NAMESPACE_OID, name))


@cache
def worked_truth() -> pd.DataFrame:
    """Return the true values of the studio grand after the work, mistakes in it."""
    return after_the_work(studio_grand_truth(), _decided())


def ratio_checks(truth: pd.DataFrame) -> pd.DataFrame:
    """Return readings of the other ways to a ratio on three keys, one of them read wrongly."""
    draw = np.random.default_rng(1205)
    keys = [20, 40, 64]
    true = truth.loc[keys]
    arm = np.array([240.0, 240.0, 240.0])
    capstan_g, strike_g = 20.0, 5.0
    added = strike_g * true["action_ratio"]
    dip = np.array([7.6, 7.7, 7.6])
    levers = fit_distances(
        true["key_ratio"].to_numpy(), true["action_ratio"].to_numpy(), arm_mm=arm
    )
    rise = np.asarray(rise_mm(Linkage(levers), dip)) + draw.normal(0, 0.3, 3)
    rise[keys.index(64)] -= 4.0
    return pd.DataFrame(
        {
            "key": keys,
            "capstan_arm_mm": (true["key_ratio"] * arm + draw.normal(0, 0.4, 3)).round(1),
            "capstan_mass_g": capstan_g,
            "front_weight_with_mass_g": (
                true["front_weight_g"] - capstan_g * true["key_ratio"] + draw.normal(0, 0.2, 3)
            ).round(1),
            "strike_mass_g": strike_g,
            "down_weight_with_mass_g": (
                true["down_weight_g"] + added + draw.normal(0, 0.6, 3)
            ).round(),
            "up_weight_with_mass_g": (true["up_weight_g"] + added + draw.normal(0, 0.6, 3)).round(),
            "hammer_rise_mm": rise.round(1),
            "key_dip_mm": dip,
        }
    )


def friction_parts(truth: pd.DataFrame) -> pd.DataFrame:
    """Return friction of parts taken alone on a sound key and on a tight one."""
    rows = []
    for key, tight_g in ((40, 0.0), (34, TIGHT_KEYS[34])):
        true = {name: float(truth[name][key]) for name in truth}
        whole = true["friction_g"] - tight_g
        shank = (0.30 * whole + tight_g) / true["action_ratio"]
        wippen = 0.12 * whole / true["key_ratio"]
        rows += [(key, "shank centre", round(shank, 2)), (key, "wippen centre", round(wippen, 1)),
                 (key, "key bushings", round(0.22 * whole, 1))]  # fmt: skip
    return pd.DataFrame(rows, columns=["key", "part", "friction_g"])


def check_weights() -> pd.DataFrame:
    """Return what the scale shows for six check weights: a little more than they weigh."""
    draw = np.random.default_rng(1206)
    nominal = np.array([2.0, 5.0, 10.0, 20.0, 50.0, 100.0])
    shown = (nominal * 1.0006 + 0.01 + draw.normal(0, 0.006, 6)).round(2)
    return pd.DataFrame({"nominal_g": nominal, "weight_class": "M1", "reading_g": shown})


def sampled_grand() -> Instrument:
    """Return a smaller grand on which hammers, wippens and ratios were read on a few keys only."""
    recipe = Recipe(bass_strike_g=10.4, treble_strike_g=5.2, ratio=5.5, ratio_wave=0.05)
    invented = invent(1301, recipe)
    few = (1, 9, 20, 21, 32, 43, 44, 45, 56, 68, 79, 88)
    some = {name: few for name in ("strike_weight_g", "wippen_weight_g", "key_ratio")}
    return Instrument(
        title="Village school grand",
        identity=_identity(SAMPLED_GRAND),
        visits=(Visit("as found", "2026-04-20"),),
        sections=(Section("bass", 1), Section("middle", 21), Section("treble", 57)),
    ).with_readings(weigh(invented.truth, 1302, sampled=some))


def one_key_model() -> Instrument:
    """Return the teaching model with one key, whose action ratio comes out at 5.5."""
    readings = pd.DataFrame(
        {
            "key": [1],
            "down_weight_g": [50.0],
            "up_weight_g": [26.0],
            "front_weight_g": [27.1],
            "strike_weight_g": [10.2],
            "wippen_weight_g": [18.0],
            "key_ratio": [0.5],
        }
    )
    return Instrument(
        title="One-key model",
        identity=_identity(ONE_KEY),
        settings=BenchSettings(key_count=1, first_note="C4"),
        visits=(Visit("on the bench", "2026-02-02"),),
    ).with_readings(readings)


def demo_instruments() -> dict[str, Instrument]:
    """Return every invented instrument by the name of its folder."""
    return {
        STUDIO_GRAND: studio_grand(),
        SAMPLED_GRAND: sampled_grand(),
        ONE_KEY: one_key_model(),
    }


def write_demos(folder: Path) -> None:
    """Write the invented instruments into a folder, without keeping versions."""
    for name, instrument in demo_instruments().items():
        target = folder / name
        known = open_folder(target)[1] if target.exists() else None
        save_folder(instrument, target, known, keep_version=False)


if __name__ == "__main__":
    write_demos(Path(sys.argv[1]))
