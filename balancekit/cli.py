"""The commands: check a file or folder, write reports, open what a colleague sent.

Exit code 0 means done, 2 that something could not be used; why stands on the standard error
output.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from balancekit import __version__
from balancekit.calculation.problems import BalancekitError, Problem, refuse
from balancekit.calculation.words import plural

if TYPE_CHECKING:
    from balancekit.instrument.model import Instrument
    from balancekit.sharing.leave_out import LeaveOut
    from balancekit.sharing.outcome import Outcome
    from balancekit.sharing.receive import Received, Settings

DONE, UNUSABLE = 0, 2

_MOST_HOURS = 10_000.0


def main(arguments: Sequence[str] | None = None) -> int:
    """Run a command; return the exit code.

    Parameters
    ----------
    arguments : what was typed after ``balancekit``; from the command line if left out.
    """
    given = make_parser().parse_args(arguments)
    code: int = DONE
    try:
        code = given.run(given)
        sys.stdout.flush()
    except BalancekitError as error:
        _say_problems(error.problems)
        return UNUSABLE
    except BrokenPipeError:
        # Who reads has seen enough, as ``| head`` does; the interpreter shall not write at its end.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return code


def make_parser() -> argparse.ArgumentParser:
    """Return what takes the words of a command apart; the documentation shows its help too."""
    parser = argparse.ArgumentParser(prog="balancekit", description=__doc__)
    parser.add_argument("--version", action="version", version=f"balancekit {__version__}")
    commands = parser.add_subparsers(required=True, metavar="COMMAND")
    check = commands.add_parser("check", help="list every problem in a file or folder")
    check.add_argument("source", type=Path, metavar="FILE_OR_FOLDER")
    check.set_defaults(run=_check)
    report = commands.add_parser("report", help="write keys.csv, flags.csv, report.html, sheets")
    report.add_argument("sources", type=Path, nargs="+", metavar="FILE_OR_FOLDER")
    report.add_argument("--to", type=Path, required=True, metavar="FOLDER", help="where to write")
    report.add_argument("--paper", choices=("A4", "Letter"), default="A4", help="for the sheets")
    report.add_argument("--jobs", type=int, metavar="N", help="how many at a time")
    report.add_argument("--scheduler", metavar="ADDRESS",
                        help="let the workers of this Dask scheduler make the reports")  # fmt: skip
    report.add_argument("--leave-out", metavar="WORDS", default="",
                        help="what stays at home: notes, names, photographs, plans, or a set of "
                        "readings as 'set 2'; commas between")  # fmt: skip
    report.add_argument("--only-list", action="store_true",
                        help="write nothing; say what would be inside report.html")  # fmt: skip
    report.add_argument("--beside", type=Path, action="append", default=[],
                        metavar="FILE_OR_FOLDER", help="an instrument to set side by side, with "
                        "its last readings; may be given again")  # fmt: skip
    report.add_argument("--again", action="store_true",
                        help="of several, make those anew too that are there, made from "
                        "the same")  # fmt: skip
    report.set_defaults(run=_report)
    plan = commands.add_parser("plan", help="write ways.csv and the sheets of one way")
    plan.add_argument("source", type=Path, metavar="FILE_OR_FOLDER")
    plan.add_argument("--to", type=Path, required=True, metavar="FOLDER", help="where to write")
    plan.add_argument("--hours", type=float, metavar="N",
                      help="hours there are; without it, the least work that weighing "
                      "cannot tell from the most")  # fmt: skip
    plan.add_argument("--paper", choices=("A4", "Letter"), default="A4", help="for the sheets")
    plan.set_defaults(run=_plan)
    for command in (check, report, plan):
        command.add_argument("--keys", type=int, metavar="N",
                             help="number of keys; from the file if left out")  # fmt: skip
        command.add_argument("--first-note", default="A0", metavar="NOTE",
                             help="note name of key 1, for a file of readings")  # fmt: skip
        command.add_argument("--action", choices=("grand", "upright"), default="grand",
                             help="for a file of readings")  # fmt: skip
        command.add_argument("--answer", action="append", default=[], metavar="QUESTION=ANSWER",
                             help="answer to a question, or a heading and what it is, as "
                             "'Dn. wt.=down weight'; may be given again")  # fmt: skip
    usual = commands.add_parser(
        "usual", help="let instruments weighed before tell what is usual for the next one"
    )
    usual.add_argument("folder", type=Path, nargs="?", metavar="FOLDER",
                       help="holds the folders of these instruments; without it, say what tells "
                       "now")  # fmt: skip
    usual.add_argument("--off", action="store_true", help="let none tell")
    usual.set_defaults(run=_usual)
    opened = commands.add_parser("open", help="take the instrument out of a report or a zip")
    opened.add_argument("source", type=Path, metavar="FILE")
    where = opened.add_mutually_exclusive_group(required=True)
    where.add_argument("--to", type=Path, metavar="FOLDER", help="a new folder for the instrument")
    where.add_argument("--into", type=Path, metavar="FOLDER",
                       help="list what is new beside this folder of the instrument")  # fmt: skip
    opened.add_argument("--take", metavar="NUMBERS", default="",
                        help="with --into: 'all', or the numbers to take, as 1,3")  # fmt: skip
    opened.set_defaults(run=_open)
    return parser


def _settings(given: argparse.Namespace) -> Settings:
    from balancekit.sharing.receive import Settings

    pairs = [text.partition("=") for text in given.answer]
    for name, sign, _ in pairs:
        if not (name and sign):
            raise refuse(f"The answer '{name}' has no '='.", "Write --answer QUESTION=ANSWER.")
    answers = {name: value for name, _, value in pairs}
    return Settings(given.keys, given.first_note, given.action, answers)


def _check(given: argparse.Namespace) -> int:
    from balancekit.sharing.receive import receive

    received = receive(given.source, _settings(given))
    for line in _told(received):
        print(line)
    return DONE


def _told(received: Received) -> list[str]:
    """Say what was understood, and what is doubted in every visit."""
    from balancekit.instrument.occasion import Occasion
    from balancekit.instrument.usual_in_use import shop

    instrument, understood = received.instrument, received.understood
    settings = instrument.settings
    lines = [f"{instrument.title}: {plural(settings.key_count, 'key')}, {settings.action}."]
    if understood is not None:
        lines.append(f"{understood.file}: {understood.kind}.")
        for heading in understood.headings:
            values = f" ({', '.join(heading.first_values)})" if heading.choices else ""
            lines.append(f"  '{heading.written}'{values} taken as {heading.understood}")
        lines += [f"  line {out.line} left out: {out.why}" for out in understood.rows_left_out]
        lines += [f"  {remark}" for remark in understood.remarks]
    for number, visit in enumerate(instrument.visits):
        named = f"{visit.title} {visit.date}".strip()
        lines.append(f"{named}: {plural(len(visit.readings), 'row')} of readings.")
        for doubt in Occasion(instrument, number).findings.told:
            place = f"key {doubt.key}, {doubt.quantity}" if doubt.key else doubt.quantity
            lines.append(f"  {place}: {doubt.sentence}")
    lines += filter(None, [shop().words(instrument, named=True)])
    return [*lines, "Nothing stops it from being used."]


def _usual(given: argparse.Namespace) -> int:
    from balancekit.instrument.shop import read_shop
    from balancekit.instrument.usual_in_use import keep_shop, shop

    kept = shop() if given.folder is None else read_shop(given.folder)
    if given.off or given.folder is not None:
        kept = keep_shop(replace(kept, on=not given.off))
    print(kept.words(named=True) or "No instrument weighed before tells of another one.")
    return DONE


def _report(given: argparse.Namespace) -> int:
    from tqdm import tqdm

    from balancekit.sharing.batch import Sharing, report_all
    from balancekit.sharing.engine import engine
    from balancekit.sharing.leave_out import LeaveOut
    from balancekit.sharing.receive import sources_in

    sources = sources_in(given.sources)
    anew = given.again or len(sources) == 1
    sharing = Sharing(LeaveOut.from_words(given.leave_out), tuple(given.beside), anew)
    if given.only_list:
        return _list_inside(sources, sharing.left, _settings(given))
    with (
        engine(given.scheduler),
        tqdm(total=len(sources), desc="Reports", unit="instrument", file=sys.stderr) as bar,
    ):

        def done(_: Outcome) -> None:
            bar.update()

        outcomes = report_all(
            sources, given.to, settings=_settings(given), paper=given.paper, jobs=given.jobs,
            inputs=given.sources, sharing=sharing, done=done,
        )  # fmt: skip
    broken = [outcome for outcome in outcomes if outcome.problems]
    for outcome in broken:
        print(f"{outcome.source} cannot be used:", file=sys.stderr)
        _say_problems(outcome.problems)
    for outcome in outcomes:
        if not outcome.problems:
            print(f"{outcome.title}: {given.to / outcome.folder / 'report.html'}")
            for remark in outcome.remarks:
                print(f"  {remark}")
            print("  Inside report.html:")
            for line in outcome.inside:
                print(f"    {line}")
    before = sum(outcome.before for outcome in outcomes)
    if before:
        print(
            f"{before} of {len(outcomes)} were there already, made from the same. "
            "With --again all are made anew."
        )
    if len(outcomes) > 1:
        print(f"Overview: {given.to / 'overview.html'}")
    return UNUSABLE if broken else DONE


def _list_inside(sources: Sequence[Path], left: LeaveOut, settings: Settings) -> int:
    """Say what reports would carry, before any is written."""
    from balancekit.sharing.leave_out import contents, without
    from balancekit.sharing.receive import receive

    for source in sources:
        print(f"{source}: report.html would carry")
        for line in contents(without(receive(source, settings).instrument, left)):
            print(f"  {line}")
    print("Nothing was written.")
    return DONE


def _plan(given: argparse.Namespace) -> int:
    from tqdm import tqdm

    from balancekit.instrument.choices.whole_plan import plan_whole
    from balancekit.sharing.plan_files import plan_files
    from balancekit.sharing.receive import receive
    from balancekit.sharing.report_folder import refuse_folder, write_report

    hours = given.hours
    if hours is not None and not 0 <= hours <= _MOST_HOURS:
        raise refuse(f"{hours:g} hours are not possible.", f"Give 0 to {_MOST_HOURS:g} hours.")
    refuse_folder(given.to, (), (given.source,))
    instrument = receive(given.source, _settings(given)).instrument
    with tqdm(total=100, desc="Ways", unit="%", file=sys.stderr, bar_format="{l_bar}{bar}") as bar:
        plan = plan_whole(instrument, done=lambda part: bar.update(int(100 * part) - bar.n))
    number = plan.default if hours is None else plan.front.within(60 * hours)
    if hours is not None and plan.way(number).minutes > 60 * hours + 1e-6:
        print(f"No way fits {hours:g} h: what was decided takes more. This is the shortest.")
    for remark in write_report(plan_files(plan, number, given.paper), given.to):
        print(f"  {remark}")
    way = plan.way(number)
    print(f"{instrument.title}: {plan.name(number)}, {way.minutes / 60:.1f} h.")
    for sentence in plan.left_alone:
        print(f"  {sentence}")
    print(f"Sheets and ways.csv: {given.to}")
    return DONE


def _open(given: argparse.Namespace) -> int:
    from balancekit.instrument.descriptor import DESCRIPTOR
    from balancekit.instrument.store import read_file, save_folder
    from balancekit.sharing.carry import LARGEST_REPORT, open_anything

    instrument = open_anything(read_file(given.source, LARGEST_REPORT), given.source.name)
    if instrument is None:
        raise BalancekitError(
            Problem(
                "This is neither a report of balancekit nor a zip of an instrument.",
                "For a file of readings use 'balancekit check' or 'balancekit report'.",
                file=given.source.name,
            )
        )
    if given.into is not None:
        return _take_into(instrument, given.into, given.take)
    if (given.to / DESCRIPTOR).exists():
        raise BalancekitError(
            Problem("An instrument is there already.", "Choose a new folder.", file=given.to.name)
        )
    save_folder(instrument, given.to, None)
    print(f"{instrument.title}: {given.to}")
    return DONE


def _take_into(there: Instrument, folder: Path, take: str) -> int:
    """List what is new in a returned file, and take what was named."""
    from balancekit.instrument.descriptor import identified
    from balancekit.instrument.merge import merge, news
    from balancekit.instrument.store import open_folder, save_folder

    here, known = open_folder(folder)
    here = identified(here)
    found = news(here, there)
    for number, each in enumerate(found, start=1):
        print(f"{number}. {each.title}: {each.there}")
        if each.here:
            print(f"   here: {each.here}")
    if not found:
        print("Nothing is new: all that is in the file is here already.")
        return DONE
    if not take:
        print("Nothing was taken. Add '--take all', or the numbers to take, as '--take 1,3'.")
        return DONE
    numbers = [str(number) for number in range(1, len(found) + 1)]
    wanted = numbers if take.strip() == "all" else [part.strip() for part in take.split(",")]
    unknown = [part for part in wanted if part not in numbers]
    if unknown:
        raise refuse(
            f"'{unknown[0]}' is not a number of the list.",
            f"Give 'all', or numbers from 1 to {len(found)}, as 1,3. Nothing was taken.",
        )
    names = {found[int(part) - 1].name for part in wanted}
    save_folder(merge(here, there, names), folder, known)
    print(f"Taken: {len(names)} of {len(found)}. The version before is in 'versions'.")
    return DONE


def _say_problems(problems: Sequence[Problem]) -> None:
    for problem in problems:
        print(problem, file=sys.stderr)
