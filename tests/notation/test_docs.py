"""docs/notation.md tells every mistake, pattern, keyword and kind, and its examples are read without a word."""

import re
from pathlib import Path

import pytest

from halfsplit.circuit.checks import RULES
from halfsplit.circuit.kinds import KINDS
from halfsplit.notation.demos import demos
from halfsplit.notation.library import samples
from halfsplit.notation.mistakes import MISTAKES
from halfsplit.notation.reading import parse
from halfsplit.notation.words import KEYWORDS

PAGE = (Path(__file__).parents[2] / "docs" / "notation.md").read_text(encoding="utf-8")
EXAMPLES = re.findall(r"^```circuit\n(.*?)^```", PAGE, flags=re.MULTILINE | re.DOTALL)


def cell(text: str) -> str:
    return text.replace("|", "\\|").replace("{", "<").replace("}", ">")


@pytest.mark.parametrize("text", EXAMPLES, ids=range(len(EXAMPLES)))
def test_an_example_is_read_without_a_warning(text):
    assert parse(text)[1] == ()


def test_there_are_examples_of_every_kind_of_statement():
    assert len(EXAMPLES) >= 6


@pytest.mark.parametrize("mistake", [*MISTAKES.values(), *RULES.values()], ids=lambda mistake: mistake.id)
def test_every_mistake_stands_in_the_table_with_its_remedy(mistake):
    row = f"| {mistake.severity} | {cell(mistake.message)} | {cell(mistake.remedy.replace('{near}', ''))} |"
    assert row in PAGE.splitlines()


def test_the_table_has_no_mistake_that_cannot_occur():
    rows = re.findall(r"^\| (?:error|warning) \|", PAGE, flags=re.MULTILINE)
    assert len(rows) == len(MISTAKES) + len(RULES)


@pytest.mark.parametrize("one", [*samples(), *demos()], ids=lambda one: one.name)
def test_every_pattern_and_demo_is_named(one):
    assert f"| `{one.name}` |" in PAGE


@pytest.mark.parametrize("word", sorted({*KEYWORDS, *KINDS} - {"body"}))
def test_every_word_of_the_notation_is_explained(word):
    assert re.search(rf"`[^`\n]*\b{word}\b[^`\n]*`", PAGE)
