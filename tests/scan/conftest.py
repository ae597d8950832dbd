"""The shared tables, as a fixture: a test that needs one skips, and says why, where it is absent."""

import csv
from collections.abc import Callable
from pathlib import Path

import pytest

Rows = Callable[[str], list[dict[str, str]]]


@pytest.fixture
def standard_rows(outside_data: Callable[[str], Path]) -> Rows:
    """A function from the name of a table in `standards/` to its rows."""

    def read(name: str) -> list[dict[str, str]]:
        with (outside_data("standards") / name).open(encoding="utf-8") as file:
            return list(csv.DictReader(file))

    return read
