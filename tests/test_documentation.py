"""The one page of documentation: every snippet runs, every name is in it, nothing from outside."""

from __future__ import annotations

import doctest
import html
import importlib.util
import re
from pathlib import Path

import pytest

import balancekit as bk
from balancekit.cli import make_parser
from balancekit.instrument.in_hand import data_folder
from balancekit.instrument.tables import TABLES

FOLDER = Path(__file__).resolve().parents[1] / "documentation"
GUIDE = (FOLDER / "guide.md").read_text(encoding="utf-8")
SNIPPETS = dict(re.findall(r"### ([^\n]+)\n(?:(?!###).)*?```python\n(.*?)```", GUIDE, re.DOTALL))


def test_there_are_ten_snippets_or_more():
    assert len(SNIPPETS) >= 10
    assert len(SNIPPETS) == GUIDE.count("```python")


@pytest.mark.parametrize("task", SNIPPETS)
def test_snippet_says_what_it_gives(task, tmp_path, monkeypatch):
    (tmp_path / "data").symlink_to(data_folder())
    monkeypatch.chdir(tmp_path)
    options = doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE
    test = doctest.DocTestParser().get_doctest(SNIPPETS[task], {}, task, "guide.md", 0)
    assert len(test.examples) >= 2 and any(example.want for example in test.examples)
    told: list[str] = []
    runner = doctest.DocTestRunner(optionflags=options)
    assert runner.run(test, out=told.append).failed == 0, "".join(told)


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    spec = importlib.util.spec_from_file_location("documentation_build", FOLDER / "build.py")
    assert spec and spec.loader
    build = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(build)
    return build.main([str(tmp_path_factory.mktemp("documentation"))]).read_text(encoding="utf-8")


def test_the_page_holds_every_task_name_table_and_command(page):
    for name in bk.__all__:
        assert f'id="{name}"' in page, name
    for kind in TABLES:
        assert f"{kind}.csv" in page, kind
    for task in SNIPPETS:
        assert task in page, task
    for command in ("check", "report", "plan", "open --to", "open --into"):
        assert f"<code>{command.split()[0]} " in page, command
    assert "Exit code 0" in page and "| ---" not in page


def test_the_page_tells_every_option_of_every_command(page):
    (commands,) = (
        each.choices for each in make_parser()._actions if isinstance(each.choices, dict)
    )
    words = re.sub(r"\s+", " ", html.unescape(re.sub("<[^>]+>", "", page)))
    for name, command in commands.items():
        told = words.partition(f"usage: balancekit {name} ")[2].partition("usage: ")[0]
        for option in command._actions:
            assert [each for each in option.option_strings if each not in told] == [], name
            helped = re.sub(r"\s+", " ", option.help or "")
            assert helped in told, (name, option.dest)


def test_the_page_opens_without_a_server_and_asks_for_nothing(page):
    loaded = re.findall(r'<(?:script|link|img|iframe)[^>]+(?:src|href)="([^"]+)"', page)
    assert [each for each in loaded if not each.startswith("data:")] == []
    assert not re.search(r"@import|url\((?!['\"]?data:)", page)
