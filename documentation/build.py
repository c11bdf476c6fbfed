"""Build the one page of documentation: guide, reference, data format, command line.

    python documentation/build.py [FOLDER]

The reference is made from the docstrings by pdoc, the data format from the register, the options
from the commands. The page is one file, opens without a server and asks for nothing from outside.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

import pdoc.doc
import pdoc.render

import balancekit as bk
from balancekit.calculation.quantities import QUANTITIES
from balancekit.cli import make_parser
from balancekit.instrument.tables import TABLES, TEXT_COLUMNS

HERE = Path(__file__).resolve().parent
PAGE = "balancekit.html"


def main(arguments: list[str] | None = None) -> Path:
    """Build the page and return where it is."""
    parser = argparse.ArgumentParser(description=__doc__)
    beside = HERE.parent / "build" / "documentation"
    parser.add_argument("folder", type=Path, nargs="?", default=beside, help="where to write")
    place = Path(parser.parse_args(arguments).folder) / PAGE
    place.parent.mkdir(parents=True, exist_ok=True)
    place.write_text(page(), encoding="utf-8")
    return place


def page() -> str:
    """Return the page as HTML."""
    for name in bk.__all__:  # loaded lazily: a name is there once it was asked for
        setattr(bk, name, getattr(bk, name))
    pdoc.render.configure(docformat="numpy", show_source=False, search=False)
    module = pdoc.doc.Module(bk)
    module.docstring = introduction()
    return pdoc.render.html_module(module, all_modules={"balancekit": module})


def introduction() -> str:
    """Return what stands above the reference, as Markdown."""
    parts = [
        (HERE / "guide.md").read_text(encoding="utf-8"),
        data_format(),
        (HERE / "command_line.md").read_text(encoding="utf-8"),
        command_options(),
        "## Reference",
    ]
    return "\n\n".join(part.strip() for part in parts)


def command_options() -> str:
    """Return the help of each command, as Markdown, from the command line itself."""
    (commands,) = (
        each.choices for each in make_parser()._actions if isinstance(each.choices, dict)
    )
    return "\n\n".join(
        f"### Options of `{name}`\n\n```text\n{command.format_help().strip()}\n```"
        for name, command in commands.items()
    )


def data_format() -> str:
    """Return the tables of an instrument and their columns, as Markdown, from the register."""
    lines = [
        "## Data format",
        "An instrument is a folder: a [Data Package](https://datapackage.org) of CSV files, "
        "`datapackage.json` with the schema of each, and photographs as JPEG. Names end in their "
        "unit; the standard uncertainty of `x_g` is `x_u_g`. Columns in *italics* may be left out.",
    ]
    for kind in TABLES.values():
        rows = "\n".join(_row(name, name in kind.optional) for name in kind.columns)
        lines.append(
            f"### `{kind.name}.csv`\n\n{kind.meaning}\n\n"
            f"| column | unit | possible | meaning |\n| --- | --- | --- | --- |\n{rows}"
        )
    return "\n\n".join(lines)


def _row(name: str, optional: bool) -> str:
    shown = f"*{name}*" if optional else f"`{name}`"
    if name == "key":
        return f"| {shown} | | 1 to the number of keys | Key number, from the left. |"
    if name in TEXT_COLUMNS:
        return f"| {shown} | | words | {TEXT_COLUMNS[name]} |"
    quantity = QUANTITIES[name]
    possible = f"{quantity.minimum:g} to {quantity.maximum:g}"
    return f"| {shown} | {quantity.unit} | {possible} | {quantity.meaning} |"


if __name__ == "__main__":
    sys.stdout.write(f"{main()}\n")
