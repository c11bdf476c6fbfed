"""Reports of one or many instruments, written to a folder.

Each of several instruments is one task for joblib. No backend is named here, so that an engine
that is set with ``joblib.parallel_config``, for example Dask, takes the tasks over. See ``engine``.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TypeAlias

from balancekit.calculation.problems import BalancekitError, refuse
from balancekit.instrument.descriptor import identified, slug
from balancekit.instrument.occasion import Occasion
from balancekit.sharing.done_before import as_told, done_before, made_from
from balancekit.sharing.leave_out import LeaveOut, contents, set_beside, without
from balancekit.sharing.outcome import OVERVIEW, REPORT, Outcome
from balancekit.sharing.overview import overview_html
from balancekit.sharing.receive import Settings, receive
from balancekit.sharing.report import build_report
from balancekit.sharing.report_folder import put_told, refuse_folder, write_report
from balancekit.sharing.sheet_html import sheet_html
from balancekit.sharing.sheet_pdf import sheet_pdf
from balancekit.sharing.sheets import bench_sheets, sheet_pictures
from balancekit.sharing.story import Story
from balancekit.sharing.tables import (
    flags_table,
    groups_after_table,
    groups_table,
    keys_table,
    to_csv,
    to_xlsx,
    work_tables,
)

Task: TypeAlias = "tuple[int, Path, Path, str, Settings, str, Sharing | None]"
"""The number of a source, and what ``report_one`` is given."""


@dataclass(frozen=True)
class Sharing:
    """What goes along in reports, and what stands beside.

    Attributes
    ----------
    left : what is left out of everything that is written.
    beside : folders or files of instruments that are set side by side with each report's own,
        with their last readings.
    anew : make a report anew also where one is there that was made from the same.
    """

    left: LeaveOut = field(default_factory=LeaveOut)
    beside: tuple[Path, ...] = ()
    anew: bool = True


def report_files(
    story: Story, paper: str = "A4", beside: Sequence[Occasion] = ()
) -> dict[str, bytes]:
    """Return everything that a report writes, by file name.

    Parameters
    ----------
    story : of the instrument.
    paper : "A4" or "Letter", for the bench sheets.
    beside : readings of other instruments, for the report.
    """
    work, first = story.work, story.first
    sheets = bench_sheets(work, sheet_pictures(story.instrument))
    keys, flags, tables = keys_table(first.table), flags_table(first.findings), work_tables(work)
    return {
        "keys.csv": to_csv(keys),
        "flags.csv": to_csv(flags),
        "groups.csv": to_csv(groups_table(first.believed.groups)),
        **(
            {"groups_after.csv": to_csv(groups_after_table(story.proof.fates))}
            if story.proof
            else {}
        ),
        "evenness.csv": to_csv(story.history),
        **{f"{name}.csv": to_csv(table) for name, table in tables.items()},
        "work.xlsx": to_xlsx({"keys": keys, "flags": flags, **tables}),
        "bench_sheets.html": sheet_html(work, sheets, paper).encode(),
        "bench_sheets.pdf": sheet_pdf(work, sheets, paper),
        REPORT: build_report(story.instrument, story.visit, story=story, beside=beside).encode(),
    }


def report_one(
    source: Path,
    to: Path,
    folder: str,
    settings: Settings,
    paper: str = "A4",
    sharing: Sharing | None = None,
) -> Outcome:
    """Write the report of one source; what is wrong with it comes back and is not raised.

    Parameters
    ----------
    source : folder or file.
    to : folder of all that is written.
    folder : where in it; "" for itself.
    settings : for a file of readings.
    paper : for the bench sheets.
    sharing : what goes along and what stands beside; all, and nothing, if left out.
    """
    sharing = sharing or Sharing()
    try:
        mark = made_from((source, *sharing.beside), f"{settings} {paper} {sharing.left}")
        before = None if sharing.anew else done_before(to / folder, mark)
        if before is not None:
            return before
        received = receive(source, settings)
        story = Story(without(received.instrument, sharing.left))
        others = [receive(each, settings).instrument for each in sharing.beside]
        beside = set_beside(others, sharing.left)
        files = report_files(story, paper, beside)
        flags = flags_table(story.first.findings)["kind"].value_counts().to_dict()
        steps = story.evenness["found_real"].items()
        remarks = () if received.understood is None else received.understood.remarks
        outcome = Outcome(
            source.name,
            folder,
            story.instrument.title,
            evenness={str(name): float(step) for name, step in steps},
            flags={str(kind): int(count) for kind, count in flags.items()},
            remarks=(*remarks, *write_report(files, to / folder)),
            inside=contents(identified(story.instrument)),
        )
        put_told(to / folder, as_told(outcome, mark))
    except BalancekitError as error:
        return Outcome(source.name, folder, problems=error.problems)
    return outcome


def report_all(
    sources: Sequence[Path],
    to: Path,
    *,
    settings: Settings | None = None,
    paper: str = "A4",
    jobs: int | None = None,
    inputs: Sequence[Path] = (),
    sharing: Sharing | None = None,
    done: Callable[[Outcome], None] = lambda _: None,
) -> list[Outcome]:
    """Write the reports of some sources, in parallel, and of several an overview as well.

    Parameters
    ----------
    sources : folders or files.
    to : where to write. One source is written there; of several each has its own folder.
    settings : for files of readings.
    paper : "A4" or "Letter", for the bench sheets.
    jobs : how many at a time; as many as there are processors if left out.
    inputs : what the user named, if the sources were looked for in it.
    sharing : what goes along and what stands beside.
    done : called with each outcome as it comes.

    Returns
    -------
    outcomes in the order of the sources; a broken one holds its problems.

    Raises
    ------
    BalancekitError : ``jobs`` below 1; a folder that may not be written, see ``refuse_folder``;
        the overview cannot be written.
    """
    if jobs is not None and jobs < 1:
        raise refuse(f"{jobs} at a time is not possible.", "Give 1 or more, or leave it out.")
    settings = settings or Settings()
    folders = _folders(sources)
    refuse_folder(to, folders, (*inputs, *sources, *(sharing.beside if sharing else ())))
    place = to.absolute()  # a worker elsewhere may stand in another folder
    tasks = [
        (n, source.absolute(), place, folder, settings, paper, sharing)
        for n, (source, folder) in enumerate(zip(sources, folders, strict=True))
    ]
    found: dict[int, Outcome] = {}
    for number, outcome in _run(tasks, -1 if jobs is None else jobs):
        found[number] = outcome
        done(outcome)
    outcomes = [found[number] for number in range(len(tasks))]
    if len(outcomes) > 1:
        folders = [outcome.folder for outcome in outcomes if not outcome.problems]
        write_report({OVERVIEW: overview_html(outcomes).encode()}, to, folders)
    return outcomes


def _numbered(
    number: int,
    source: Path,
    to: Path,
    folder: str,
    settings: Settings,
    paper: str,
    sharing: Sharing | None,
) -> tuple[int, Outcome]:
    return number, report_one(source, to, folder, settings, paper, sharing)


def _run(tasks: Sequence[Task], jobs: int) -> Iterator[tuple[int, Outcome]]:
    """Run several tasks wherever joblib is told to; one by one as they come, if the engine can."""
    if len(tasks) == 1:
        yield _numbered(*tasks[0])
        return
    import joblib  # costs a twentieth of a report, which a single one need not pay

    try:
        parallel = joblib.Parallel(n_jobs=jobs, return_as="generator_unordered")
    except ValueError:  # an engine that gives its results all at once
        parallel = joblib.Parallel(n_jobs=jobs)
    yield from parallel(joblib.delayed(_numbered)(*task) for task in tasks)


def _folders(sources: Sequence[Path]) -> list[str]:
    """Return a folder name for each source, all different; none for a single one."""
    if len(sources) == 1:
        return [""]
    names: list[str] = []
    for source in sources:
        base = slug(source.stem if source.is_file() else source.resolve().name)
        name, number = base, 1
        while name in names:
            number += 1
            name = f"{base}_{number}"
        names.append(name)
    return names
