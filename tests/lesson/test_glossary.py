"""The glossary: words of the register, parts, and words of weighing."""

from __future__ import annotations

import json
from pathlib import Path

from balancekit.calculation.quantities import QUANTITIES
from balancekit.lesson.glossary import find_words, glossary_table
from balancekit.lesson.lever_chain.parts import DRAWN_PARTS, WEIGHING_WORDS
from balancekit.lesson.word_pictures import word_pictures_html


def test_the_glossary_is_the_register():
    table = glossary_table()
    assert list(table.index) == list(QUANTITIES)
    for name, quantity in QUANTITIES.items():
        assert table.loc[name, "word"] == quantity.label
        assert table.loc[name, "meaning"] == quantity.meaning
    assert table.loc["action_ratio", "how"].startswith("computed")
    assert table.loc["strike_weight_g", "how"] == "weighed"
    assert "friction_g" in find_words("half of down").index
    assert len(find_words("no such word at all")) == 0


def test_each_word_of_weighing_has_its_picture():
    """The part of the bell within one standard uncertainty: 68.27 % by any normal table."""
    cards = word_pictures_html().split("<figure>")[1:]
    assert len(cards) == len(WEIGHING_WORDS)
    for card, (word, meaning) in zip(cards, sorted(WEIGHING_WORDS.items()), strict=True):
        assert f"Picture: {word}" in card and f"<b>{word}</b> {meaning}" in card
        assert card.count("<polyline") + card.count("<circle") + card.count("<rect") >= 2
    bell = next(card for card in cards if "Picture: standard uncertainty" in card)
    assert ">68 %<" in bell
    # Each dot of the scatter hangs on its line: as many ways as readings.
    scatter = next(card for card in cards if "Picture: scatter" in card)
    assert scatter.count("<circle") == scatter.count("<polyline") - 1


def test_the_glossary_is_linked_from_the_notebooks():
    folder = Path(__file__).resolve().parents[2] / "notebooks"
    found = sorted(folder.glob("0*.ipynb"))
    assert len(found) > 8 and (folder / "glossary.ipynb").is_file()
    for path in found:
        cells = json.loads(path.read_text(encoding="utf-8"))["cells"]
        assert "(glossary.ipynb)" in "".join(cells[-1]["source"]), path.name


def test_the_glossary_knows_the_parts_and_the_words_of_weighing():
    known = {part.word: part.meaning for part in DRAWN_PARTS.values()} | dict(WEIGHING_WORDS)
    for word in ("balance pin", "capstan", "wippen", "heel", "knuckle", "shank", "flange",
                 "let-off", "damper", "plug", "measuring point", "scatter",
                 "standard uncertainty", "trend"):  # fmt: skip
        assert len(known[word]) > 15, word
