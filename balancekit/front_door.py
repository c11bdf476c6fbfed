"""What a cell or a script of your own needs, under one name: ``import balancekit as bk``.

An instrument goes in and an instrument, a table or a plan comes out; nothing is changed in
place, and which instrument the notebooks have open is never touched.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, overload

if TYPE_CHECKING:
    import pandas as pd

    from balancekit.calculation.problems import Problem
    from balancekit.instrument.believed import Believed
    from balancekit.instrument.choices.chosen_way import ChosenWay
    from balancekit.instrument.choices.hammer_choice import HammerChoice
    from balancekit.instrument.choices.hammer_plan import HammerPlan
    from balancekit.instrument.choices.lead_choice import LeadChoice
    from balancekit.instrument.choices.lead_plan import LeadPlan
    from balancekit.instrument.choices.whole_plan import WholePlan
    from balancekit.instrument.findings import Findings
    from balancekit.instrument.model import Instrument


def read(
    source: str | Path | pd.DataFrame,
    *,
    title: str | None = None,
    key_count: int | None = None,
    first_note: str = "A0",
    action: str = "grand",
    answers: Mapping[str, str] | None = None,
) -> Instrument:
    """Read an instrument from its folder, a report, a zip, a file of readings, or a table.

    Parameters
    ----------
    source : a path, or a DataFrame with the readings' names as columns, in any order;
        ``key`` may be a column or the index. Nothing is written where it is read from.
    title : name of the instrument; from the source if left out.
    key_count : number of keys, for a file or a table of readings; 88 for a table and what the
        file holds for a file, if left out.
    first_note : name of the note of key 1, for a file or a table of readings.
    action : "grand" or "upright", for a file or a table of readings.
    answers : answers to the questions of the import, by question, for a file.

    Raises
    ------
    BalancekitError : it cannot be used; every problem is listed, and a name that is not known
        with the nearest that is.
    """
    from dataclasses import replace

    import pandas as pd

    from balancekit.calculation.problems import BalancekitError
    from balancekit.instrument.model import BenchSettings, Instrument

    if isinstance(source, pd.DataFrame):
        settings = BenchSettings(88 if key_count is None else key_count, first_note, action)
        try:
            instrument = Instrument(settings=settings).with_readings(_with_key(source))
        except BalancekitError as error:
            raise BalancekitError([_of_table(each) for each in error.problems]) from error
    else:
        from balancekit.instrument.disk import typed_path
        from balancekit.sharing.receive import Settings, receive

        told = Settings(key_count, first_note, action, answers or {})
        instrument = receive(typed_path(source), told).instrument
    return instrument if title is None else replace(instrument, title=title)


def _of_table(problem: Problem) -> Problem:
    """Return a problem of a file of readings as one of a table: rows in place of lines."""
    from dataclasses import replace

    row = "" if problem.line is None or problem.line < 2 else f" row {problem.line - 1}"
    return replace(problem, file=f"the table{row}", line=None)


def _with_key(table: pd.DataFrame) -> pd.DataFrame:
    """Return a table with its key as a column."""
    if "key" in table.columns:
        return table.reset_index(drop=True)
    return table.rename_axis("key").reset_index()


def save(instrument: Instrument, folder: str | Path, *, replace: bool = False) -> Path:
    """Save an instrument as a folder of plain CSV files, all or nothing.

    Parameters
    ----------
    instrument : to save.
    folder : made if it is not there.
    replace : write over an instrument that is there; it is kept in ``versions`` first.

    Returns
    -------
    the folder.

    Raises
    ------
    BalancekitError : an instrument is there already, or the disk cannot take it.
    """
    from balancekit.calculation.problems import BalancekitError, Problem
    from balancekit.instrument.descriptor import DESCRIPTOR, identified
    from balancekit.instrument.disk import typed_path
    from balancekit.instrument.store import save_folder

    place = typed_path(folder)
    if (place / DESCRIPTOR).exists() and not replace:
        raise BalancekitError(
            Problem(
                "An instrument is there already.",
                "Choose a new folder, or give replace=True: what is there is kept in 'versions'.",
                file=place.name,
            )
        )
    save_folder(identified(instrument), place, None, replace_changed=replace)
    return place


def table(instrument: Instrument, kind: str = "keys", visit: int = 0) -> pd.DataFrame:
    """Return a table of an instrument, worked out or as it was given.

    Parameters
    ----------
    instrument : what was given.
    kind : "keys" (every reading, friction, balance weight and action ratio, each with its
        standard uncertainty), "believed" (the best estimate of each quantity), "flags" (what
        is doubted, stands out or is missing); or one as it was given: "readings",
        "leads" and the others of the data format.
    visit : which set of readings, 0 for the first.

    Raises
    ------
    BalancekitError : a kind that is not known, with the nearest that is; no such visit.
    """
    from balancekit.instrument.tables import TABLES, no_such_kind

    known = ("keys", "believed", "flags", *TABLES)
    if kind not in known:
        raise no_such_kind(kind, known)
    _check_visit(instrument, visit)
    if kind == "readings":
        return instrument.visits[visit].readings
    if kind in TABLES:
        return instrument.table(kind)
    if kind == "believed":
        return believe(instrument, visit).table
    if kind == "flags":
        from balancekit.sharing.tables import flags_table

        return flags_table(findings(instrument, visit))
    from balancekit.instrument.occasion import Occasion

    return Occasion(instrument, visit).table


def findings(instrument: Instrument, visit: int = 0) -> Findings:
    """Find trends, what looks like a slip, and what stands out in one set of readings.

    Parameters
    ----------
    instrument : what was given.
    visit : which set of readings, 0 for the first.
    """
    from balancekit.instrument.occasion import Occasion

    _check_visit(instrument, visit)
    return Occasion(instrument, visit).findings


def believe(instrument: Instrument, visit: int = 0) -> Believed:
    """Work out what is believed of every key, all its readings taken together.

    Parameters
    ----------
    instrument : what was given.
    visit : which set of readings, 0 for the first.
    """
    from balancekit.instrument.occasion import Occasion

    _check_visit(instrument, visit)
    return Occasion(instrument, visit).believed


def plan_hammers(
    instrument: Instrument, choice: HammerChoice | None = None, visit: int = 0
) -> HammerPlan:
    """Plan the hammers: ceiling, target and work on each of them.

    Parameters
    ----------
    instrument : with readings.
    choice : what is wanted; what was decided before, if left out.
    visit : the set of readings that the work starts from.

    Raises
    ------
    BalancekitError : an upright, a quantity that was read at no key, or a set of hammers that
        is not there.
    """
    from balancekit.instrument.choices.hammer_choice import with_choice
    from balancekit.instrument.choices.hammer_plan import hammer_plan

    _check_visit(instrument, visit)
    wanted = instrument if choice is None else with_choice(instrument, choice)
    return hammer_plan(wanted, visit)


def plan_leads(
    instrument: Instrument, choice: LeadChoice | None = None, visit: int = 0
) -> LeadPlan:
    """Plan leads and springs: front weight, plugs in and out, relief.

    Lead is toxic, and a bored hole stays: weigh with the plug loose on top before you bore.

    Parameters
    ----------
    instrument : with readings, and with what was decided about the hammers.
    choice : what is wanted; what was decided before, if left out.
    visit : the set of readings that the work starts from.

    Raises
    ------
    BalancekitError : as ``plan_hammers``; or no choice was given and none was made before.
    """
    from balancekit.calculation.problems import refuse
    from balancekit.instrument.choices.lead_choice import with_choice
    from balancekit.instrument.choices.lead_plan import lead_plan

    _check_visit(instrument, visit)
    plan = lead_plan(instrument if choice is None else with_choice(instrument, choice), visit)
    if plan is None:
        raise refuse("Nothing was decided about leads and springs.", "Give a LeadChoice.")
    return plan


def plan_whole(instrument: Instrument, visit: int = 0) -> WholePlan:
    """Find every way to even an instrument out that no other beats; it takes some seconds.

    Parameters
    ----------
    instrument : with readings, plugs and what was decided about the hammers.
    visit : the set of readings that the work starts from.

    Raises
    ------
    BalancekitError : an upright, or a quantity that was read at no key.
    """
    from balancekit.instrument.choices import whole_plan

    _check_visit(instrument, visit)
    return whole_plan.plan_whole(instrument, visit)


@overload
def decide(instrument: Instrument, decided: HammerChoice | HammerPlan) -> Instrument: ...
@overload
def decide(instrument: Instrument, decided: LeadChoice | LeadPlan) -> Instrument: ...
@overload
def decide(instrument: Instrument, decided: ChosenWay) -> Instrument: ...
def decide(
    instrument: Instrument,
    decided: HammerChoice | HammerPlan | LeadChoice | LeadPlan | ChosenWay,
) -> Instrument:
    """Return the instrument with a decision in it; prediction, report and sheets follow it.

    Parameters
    ----------
    instrument : as it is.
    decided : a choice or plan of hammers or of leads and springs; or one way of a whole plan,
        ``plan.chosen(number)``.

    Raises
    ------
    BalancekitError : the decision does not fit the instrument.
    """
    from balancekit.instrument.choices import chosen_way, hammer_choice, lead_choice
    from balancekit.instrument.choices.hammer_plan import HammerPlan
    from balancekit.instrument.choices.lead_plan import LeadPlan

    choice = decided.choice if isinstance(decided, HammerPlan | LeadPlan) else decided
    if isinstance(choice, hammer_choice.HammerChoice):
        return hammer_choice.with_choice(instrument, choice)
    if isinstance(choice, lead_choice.LeadChoice):
        return lead_choice.with_choice(instrument, choice)
    return chosen_way.with_way(instrument, choice)


def predict(instrument: Instrument, visit: int = 0) -> pd.DataFrame:
    """Predict what each key will weigh after the work that is decided.

    Parameters
    ----------
    instrument : with its decisions; what was not decided stays as found. With readings from
        after the work, the work is that of the sheets which it was done by.
    visit : the set of readings that the work starts from.

    Returns
    -------
    DataFrame indexed by key: balance weight, friction, down and up weight, action ratio and
    inertia, each with its standard uncertainty.
    """
    from balancekit.sharing.story import Story

    _check_visit(instrument, visit)
    return Story(instrument, visit).work.expected


def compare(instrument: Instrument, visit: int = 0) -> pd.DataFrame:
    """Compare the last readings with the prediction, key by key, each with a verdict.

    Parameters
    ----------
    instrument : with its decisions, and with readings from after the work.
    visit : the set of readings that the work started from.

    Raises
    ------
    BalancekitError : there are no readings after that set.
    """
    from balancekit.calculation.problems import refuse
    from balancekit.sharing.story import Story

    _check_visit(instrument, visit)
    proof = Story(instrument, visit).proof
    if proof is None:
        raise refuse("There are no readings after the work.", "Add a visit with readings first.")
    return proof.verdicts


def evenness(instrument: Instrument) -> pd.DataFrame:
    """Return how uneven each quantity was on every visit, weighing told apart from the piano.

    Parameters
    ----------
    instrument : with one set of readings or more.
    """
    from balancekit.sharing.story import Story

    return Story(instrument).history


def report(
    instrument: Instrument, folder: str | Path, *, visit: int = 0, paper: str = "A4"
) -> Path:
    """Write the report: one page to share, the tables as CSV, the bench sheets.

    Parameters
    ----------
    instrument : with its decisions.
    folder : where to write; what a report did not write is never touched.
    visit : the set of readings that the work starts from.
    paper : "A4" or "Letter".

    Returns
    -------
    path of ``report.html``; it carries the instrument, and ``read`` takes it out again.

    Raises
    ------
    BalancekitError : the folder belongs to an instrument, or holds such a file of other make.
    """
    from balancekit.calculation.problems import refuse
    from balancekit.instrument.disk import typed_path
    from balancekit.sharing.batch import report_files
    from balancekit.sharing.outcome import REPORT
    from balancekit.sharing.report_folder import refuse_folder, write_report
    from balancekit.sharing.story import Story

    _check_visit(instrument, visit)
    if paper not in ("A4", "Letter"):
        raise refuse(f"'{paper}' is not a paper.", "Choose A4 or Letter.")
    place = typed_path(folder)
    refuse_folder(place, (), ())
    write_report(report_files(Story(instrument, visit), paper), place)
    return place / REPORT


def _check_visit(instrument: Instrument, visit: int) -> None:
    from balancekit.calculation.problems import refuse

    count = len(instrument.visits)
    if not 0 <= visit < count:
        raise refuse(f"There is no visit {visit}.", f"Give 0 to {count - 1}; 0 is the first.")
