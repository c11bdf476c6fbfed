"""Groups without a browser: those of the demo are named with keys, causes and what to measure."""

import csv
import io
import os
import re
from dataclasses import replace

from bokeh.models import HoverTool

from balancekit.calculation.believed.name_groups import Group
from balancekit.charts.groups import groups_chart
from balancekit.instrument.bench import Bench
from balancekit.instrument.demo import (
    MOVED_CAPSTANS,
    NEW_HAMMERS,
    one_key_model,
    studio_grand,
)
from balancekit.instrument.model import Instrument
from balancekit.instrument.store import save_folder
from balancekit.panels.flags import Flags
from balancekit.panels.groups import Groups
from balancekit.panels.hammers.hammer_desk import hammer_desk
from balancekit.panels.leads.lead_desk import lead_desk
from balancekit.panels.plan.plan_desk import plan_desk
from balancekit.panels.usual_of_shop import UsualOfShop
from balancekit.panels.work.work_desk import work_desk
from balancekit.sharing.batch import report_files
from balancekit.sharing.story import Story


def test_the_groups_of_the_demo_are_named():
    shown = Groups(Bench(studio_grand()))
    for run, quantity in ((MOVED_CAPSTANS, "Key ratio"), (NEW_HAMMERS, "Strike weight")):
        assert f"{run.first_key} to {run.last_key}" in shown.list.value
        assert quantity in shown.list.value
    assert "capstan line displaced" in shown.list.value.lower()
    assert "towards the balance pin" in shown.list.value
    # JCGM 100:2008, 7.2.6: two significant digits of an uncertainty are enough.
    shifts = re.findall(r"[+−][0-9.]+ ± ([0-9.]+)(?: g)?<", shown.list.value)
    assert len(shifts) >= 3
    assert all(len(each.replace(".", "").lstrip("0")) <= 2 for each in shifts)


def test_a_bar_says_whose_keys_it_is():
    runs = [(27, 43, "keys"), (50, 67, "sharps")]
    chart = groups_chart([Group(*run, "key_ratio", 0.02, 0.001, "", "") for run in runs], 88)
    (hover,) = chart.figure.select(type=HoverTool)
    assert hover.tooltips[0] == ("Where", "@of")
    assert chart.sources["bars"].data["of"] == ["keys 27 to 43", "the sharps of keys 50 to 67"]


def test_the_list_of_what_looks_wrong_names_them():
    told = Flags(Bench(studio_grand())).text.value
    assert "Off together" in told and "key ratio of keys 27 to 43" in told
    assert "Off together" not in Flags(Bench(one_key_model())).text.value


def test_without_a_group_it_says_so():
    for made in (one_key_model(), Instrument()):
        assert "No group is found" in Groups(Bench(made)).told.value


def test_the_report_has_them_as_a_table():
    files = report_files(Story(studio_grand()))
    rows = list(csv.DictReader(io.StringIO(files["groups.csv"].decode())))
    assert list(rows[0]) == [
        "first_key", "last_key", "quantity", "shift", "shift_u", "likely_cause", "check",
    ]  # fmt: skip
    assert {(row["first_key"], row["last_key"], row["quantity"]) for row in rows} >= {
        ("27", "43", "key_ratio"), ("50", "67", "strike_weight_g"),
    }  # fmt: skip
    after = list(csv.DictReader(io.StringIO(files["groups_after.csv"].decode())))
    assert list(after[0]) == [
        "first_key", "last_key", "quantity", "became", "shift_before", "shift_before_u",
        "shift_after", "shift_after_u", "likely_cause", "check",
    ]  # fmt: skip
    same = {(row["first_key"], row["last_key"], row["quantity"]) for row in after
            if row["became"] != "new"}  # fmt: skip
    assert same >= {(row["first_key"], row["last_key"], row["quantity"]) for row in rows}
    page = files["report.html"].decode()
    assert "off together: keys 27 to 43, keys 50 to 67" in page
    assert "Keys that are off together" in page and "What became of the groups?" in page
    steps = list(csv.DictReader(io.StringIO(files["evenness.csv"].decode())))
    told = {row["plateau"] for row in steps if row["quantity"] == "balance_weight_g"}
    assert len(told) == 2 and "" not in told  # as found and after the work, a figure each


def test_instruments_weighed_before_are_named_and_their_switch_is_kept(home):
    grand = studio_grand()
    save_folder(replace(grand, title="Earlier grand", identity=""), home / "earlier", None)
    bench = Bench(grand)
    before = bench.findings
    shown = UsualOfShop(bench)
    assert "No other instrument tells" in shown.told.value
    shown.on.value = True
    assert "1 instrument weighed before: Earlier grand" in shown.told.value
    assert bench.findings.known.usual and not before.known.usual
    assert UsualOfShop(Bench(grand)).on.value
    assert "1 instrument weighed before" in report_files(Story(grand))["report.html"].decode()
    shown.on.value = False
    assert bench.findings.known.usual == {}
    shown.folder.value = str(home / "nowhere")
    shown.read()
    assert "No instrument in" in shown.told.value


def test_every_desk_follows_what_is_usual(home):
    save_folder(replace(studio_grand(), title="Earlier grand", identity=""), home / "earlier", None)
    bench = Bench(one_key_model())
    desks = hammer_desk(bench), lead_desk(bench)
    before = [desk.inputs for desk in desks]
    expected, plan = work_desk(bench).work.expected, plan_desk(bench).plan
    UsualOfShop(bench).on.value = True
    assert bench.findings.known.usual
    assert all(desk.inputs is not held for desk, held in zip(desks, before, strict=True))
    assert work_desk(bench).work.expected is not expected
    assert plan_desk(bench).plan is not plan and plan_desk(bench).plan.occasion.findings.known.usual


def test_the_switch_stays_off_where_no_instrument_can_be_read(home):
    home.mkdir()
    bench = Bench(studio_grand())
    shown = UsualOfShop(bench)
    shown.folder.value = str(home / "nowhere")
    shown.on.value = True
    assert not shown.on.value and bench.findings.known.usual == {}
    assert "No instrument in" in shown.told.value
    shown.folder.value = "~nobody_of_this_name/pianos"
    shown.read()
    assert not shown.on.value and "home folder that is not known" in shown.told.value


def test_the_switch_stays_as_it_is_kept_where_the_home_cannot_be_written(home):
    save_folder(replace(studio_grand(), title="Earlier grand", identity=""), home / "earlier", None)
    bench = Bench(studio_grand())
    shown = UsualOfShop(bench)
    in_the_way = home / f"usual.json.{os.getpid()}"
    for on in (True, False):
        in_the_way.mkdir()
        shown.on.value = on
        assert shown.on.value is not on and bool(bench.findings.known.usual) is not on
        assert "cannot be written" in shown.told.value
        in_the_way.rmdir()
        shown.on.value = on
        assert shown.on.value is on and bool(bench.findings.known.usual) is on
