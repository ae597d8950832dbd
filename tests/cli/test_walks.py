"""The walks in the docs are what the program prints now, and each ends with the hidden cause."""

from __future__ import annotations

import importlib.util
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


def _tool():
    spec = importlib.util.spec_from_file_location("walks", ROOT / "tools" / "walks.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


walks = _tool()


def shape(text):
    """What a walk says without the figures, which move in their last digit when the engine gets more exact.

    Left are the complaint, each test with its place, state and instrument, what each result would mean, who leads
    after it, the proof and what it explains.
    """
    lines = (re.sub(r"[█░]+", "", line) for line in text.splitlines())
    return [
        re.sub(r"[-−]?\d+(?:[.,]\d+)?(?= ?(?:%|mV|V|A|mA|ohm|min|minutes|bit))", "#", one) for one in lines
    ]


@pytest.mark.parametrize("name", sorted(walks.demos()))
def test_the_walk_is_as_printed_and_ends_with_the_hidden_cause(name):
    demo = walks.demos()[name]
    code, printed = walks.walked(name)
    assert code == 0
    assert f"Proven: {demo['hidden']} (" in printed
    told = (walks.PAGES / f"{name}.md").read_text(encoding="utf-8")
    assert shape(told) == shape(walks.page(name, demo, printed)), (
        "run make walks and look at what has changed"
    )
    if name == walks.SHOWN:
        readme = walks.README.read_text(encoding="utf-8")
        assert shape(walks.with_excerpt(readme, printed)) == shape(readme)


def test_there_is_a_walk_for_each_demo():
    assert {path.stem for path in walks.PAGES.glob("*.md")} == {*walks.demos(), walks.NOT_DRAWN}


def test_the_walk_that_nothing_drawn_explains_is_as_printed():
    code, printed = walks.not_as_drawn()
    assert code == 1
    assert "Nothing drawn explains this." in printed
    assert "Proven:" not in printed
    assert (walks.PAGES / f"{walks.NOT_DRAWN}.md").read_text(encoding="utf-8") == walks.page_not_drawn(
        printed
    )
