"""The ceiling by leverage, its uncertainty, and the four ways out."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from balancekit.calculation.balance import (
    solve_for_action_ratio,
    solve_for_balance_weight,
    solve_for_front_weight,
    solve_for_strike_weight,
    uncertainty_of,
)
from balancekit.calculation.hammers.hammer_ceiling import (
    ceiling,
    ceiling_ways_out,
    front_weight_by_lead_share,
    ways_in_words,
)
from balancekit.calculation.problems import BalancekitError

KEYS = pd.Index([1, 2, 3], name="key")
TABLE = pd.DataFrame(
    {
        "strike_weight_g": [11.5, 10.0, np.nan],
        "strike_weight_u_g": 0.1,
        "wippen_weight_g": 18.0,
        "wippen_weight_u_g": 0.2,
        "key_ratio": 0.5,
        "key_ratio_u": 0.005,
        "action_ratio": [5.5, 5.5, 5.0],
        "action_ratio_u": 0.05,
        "spring_relief_g": 0.0,
    },
    index=KEYS,
)
WISHES = dict(balance_weight_g=38.0, front_weight_g=26.0)
BENCH = dict(arm_mm=240.0, plug_distance_mm=150.0, blow_distance_mm=46.0, aftertouch_mm=1.0)


def test_by_hand():
    """38 + 26 - 18 x 0.5 = 55 g for the hammer; over 5.5 it is 10 g (common practice)."""
    found = ceiling(TABLE, **WISHES)
    assert found["ceiling_g"].tolist() == pytest.approx([10.0, 10.0, 11.0])
    assert found["verdict"].tolist() == ["above the ceiling", "near the ceiling", "not known"]


def test_a_spring_lifts_the_ceiling():
    with_spring = ceiling(TABLE, **WISHES, spring_relief_g=11.0)
    assert with_spring["ceiling_g"].iloc[0] == pytest.approx(12.0)
    assert with_spring["verdict"].iloc[0] == "below the ceiling"


def test_the_stated_uncertainty_is_never_too_narrow():
    """Draws of the readings themselves: ratio and ceiling share wippen and strike weight."""
    generator = np.random.default_rng(2)
    draws = 100_000
    drawn = {
        "balance_weight_g": generator.normal(37.5, 0.5, draws),
        "front_weight_g": generator.normal(27.0, 0.3, draws),
        "wippen_weight_g": generator.normal(18.0, 0.2, draws),
        "key_ratio": generator.normal(0.5, 0.005, draws),
        "strike_weight_g": generator.normal(10.0, 0.1, draws),
    }
    ratio = solve_for_action_ratio(**drawn)
    top = (38.0 + 26.0 - drawn["wippen_weight_g"] * drawn["key_ratio"]) / ratio
    values = {name: float(np.mean(value)) for name, value in drawn.items()}
    values["action_ratio"] = solve_for_action_ratio(**values)
    spread = {name: float(np.std(value)) for name, value in drawn.items()}
    row = pd.DataFrame(values, index=[1]).assign(
        action_ratio_u=uncertainty_of("action_ratio", values, spread),
        wippen_weight_u_g=0.2,
        key_ratio_u=0.005,
        strike_weight_u_g=0.1,
    )
    found = ceiling(row, **WISHES).iloc[0]
    assert top.std() < found["ceiling_u_g"] < 1.3 * top.std()
    stated_over = np.hypot(found["ceiling_u_g"], 0.1)
    assert (drawn["strike_weight_g"] - top).std() < stated_over


@settings(max_examples=50, deadline=None)
@given(mass=st.floats(4, 14), more=st.floats(0, 5), ratio=st.floats(4, 7), wish=st.floats(30, 45))
def test_a_heavier_hammer_never_lowers_the_front_weight_needed(mass, more, ratio, wish):
    def needed(strike_weight_g):
        return solve_for_front_weight(
            balance_weight_g=wish, wippen_weight_g=18.0, key_ratio=0.5,
            strike_weight_g=strike_weight_g, action_ratio=ratio,
        )  # fmt: skip

    assert needed(mass + more) >= needed(mass)


@settings(max_examples=50, deadline=None)
@given(front=st.floats(10, 40), more=st.floats(0, 20), relief=st.floats(0, 20))
def test_more_front_weight_or_spring_never_lowers_the_ceiling(front, more, relief):
    low = ceiling(TABLE, balance_weight_g=38.0, front_weight_g=front)["ceiling_g"]
    assert (ceiling(TABLE, balance_weight_g=38.0, front_weight_g=front + more)["ceiling_g"]
            >= low).all()  # fmt: skip
    sprung = ceiling(TABLE, balance_weight_g=38.0, front_weight_g=front, spring_relief_g=relief)
    assert (sprung["ceiling_g"] >= low - 1e-12).all()


def test_the_whole_keyboard_at_once_is_each_key_alone_to_the_last_bit():
    generator = np.random.default_rng(5)
    drawn = {name: generator.uniform(0.9, 1.1, 88) for name in TABLE}
    keys = pd.RangeIndex(1, 89, name="key")
    table = pd.DataFrame(drawn, keys) * TABLE.iloc[0]
    front_g = pd.Series(np.linspace(30, 15, 88), keys)
    whole = ceiling(table, balance_weight_g=38.0, front_weight_g=front_g)
    names = ("spring_relief_g", "wippen_weight_g", "key_ratio", "action_ratio")
    for key, row in table.iterrows():
        terms = {name: float(row[name]) for name in names}
        alone = solve_for_strike_weight(balance_weight_g=38.0, front_weight_g=front_g[key], **terms)
        assert whole["ceiling_g"][key] == alone
        assert whole["over_g"][key] == row["strike_weight_g"] - alone


def test_each_way_out_reaches_the_wanted_balance_weight():
    """Put into the balance equation, each way alone gives the 38 g that were asked for."""
    way = ceiling_ways_out(TABLE, 11.5, **WISHES, **BENCH).loc[1]
    key = dict(wippen_weight_g=18.0, key_ratio=0.5)
    as_it_is = dict(strike_weight_g=11.5, action_ratio=5.5, front_weight_g=26.0)
    more_front_g = way["lead_more_g"] * 150.0 / 240.0
    for change in (
        dict(strike_weight_g=11.5 - way["lighter_g"]),
        dict(action_ratio=way["lower_ratio"]),
        dict(spring_relief_g=way["relief_more_g"]),
        dict(front_weight_g=26.0 + more_front_g),
    ):
        assert solve_for_balance_weight(**key, **{**as_it_is, **change}) == pytest.approx(38.0)


def test_the_prices_by_hand():
    """1.5 g x 5.5 = 8.25 g; as lead at 150 of 240 mm 13.2 g and 5.16 g of inertia.

    Ratio 5.5 x 10 / 11.5 = 4.783; dip 46 / 4.783 - 46 / 5.5 = 1.25 mm more, or at the same dip
    a blow of 40 mm, 6 mm less.
    """
    way = ceiling_ways_out(TABLE, 11.5, **WISHES, **BENCH).loc[1]
    assert way["lighter_g"] == pytest.approx(1.5)
    assert way["relief_more_g"] == pytest.approx(8.25)
    assert way["lead_more_g"] == pytest.approx(13.2)
    assert way["lead_inertia_more_g"] == pytest.approx(5.15625)
    assert way["lower_ratio"] == pytest.approx(4.7826, abs=1e-4)
    assert way["dip_more_mm"] == pytest.approx(1.2545, abs=1e-4)
    assert way["blow_less_mm"] == pytest.approx(6.0)


def test_keys_below_their_ceiling_have_no_ways_out():
    assert ceiling_ways_out(TABLE, 10.5, **WISHES, **BENCH).index.tolist() == [1, 2]
    assert ceiling_ways_out(TABLE, 9.0, **WISHES, **BENCH).empty


def test_the_ways_in_words():
    texts = ways_in_words(ceiling_ways_out(TABLE, 11.5, **WISHES, **BENCH).loc[1])
    for text, start in zip(
        texts, ("Lighter hammer: 1.5 g", "Lower ratio: 4.78", "Support spring: 8.2 g",
                "More lead: 13.2 g"), strict=True,
    ):  # fmt: skip
        assert text.startswith(start)
        assert "Price:" in text


@settings(max_examples=40, deadline=None)
@given(share=st.floats(0.01, 0.5), other=st.floats(100, 500), at=st.floats(40, 220))
def test_lead_at_the_limit_has_its_share(share, other, at):
    front = front_weight_by_lead_share(
        lead_share=share, other_inertia_g=other, plug_distance_mm=at, arm_mm=240.0
    )
    lead_g = front * 240.0 / at
    lead_inertia_g = lead_g * (at / 240.0) ** 2
    assert lead_inertia_g / (lead_inertia_g + other) == pytest.approx(share)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: ceiling(TABLE, balance_weight_g=5.0, front_weight_g=-20.0),
         r"The ceiling at keys 1 to 3 is -4.8 g: no hammer is that light"),
        (lambda: ceiling(TABLE.drop(columns="action_ratio"), **WISHES), "action_ratio"),
        (lambda: ceiling(TABLE, **WISHES, spring_relief_g=-1.0), "Spring relief"),
        (lambda: ceiling(TABLE, balance_weight_g=[38.0], front_weight_g=20.0), "1 values"),
        (lambda: ceiling_ways_out(TABLE, -1.0, **WISHES, **BENCH), "wished for"),
        (lambda: front_weight_by_lead_share(lead_share=1.0, other_inertia_g=300.0,
                                            plug_distance_mm=100.0, arm_mm=240.0), "1 or more"),
    ],
)  # fmt: skip
def test_bad_input_is_said(call, words):
    with pytest.raises(BalancekitError, match=words):
        call()


@pytest.mark.parametrize(
    ("off", "verdict"),
    [(1.9, "near the ceiling"), (-1.9, "near the ceiling"), (2.1, "above the ceiling"),
     (-2.1, "below the ceiling")],
)  # fmt: skip
def test_near_is_within_two_standard_uncertainties(off, verdict):
    """Two of them hold about 95 of 100 (JCGM 100:2008, G.1.3)."""
    as_found = ceiling(TABLE, **WISHES)
    spread = np.hypot(as_found["ceiling_u_g"], TABLE["strike_weight_u_g"])
    moved = TABLE.assign(strike_weight_g=as_found["ceiling_g"] + off * spread)
    assert set(ceiling(moved, **WISHES)["verdict"]) == {verdict}
