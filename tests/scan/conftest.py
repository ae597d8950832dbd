"""The shared tables, as a fixture: a test that needs one skips, and says why, where it is absent."""

import csv
import os
from collections.abc import Callable
from pathlib import Path

import pytest

DATA = Path(os.environ.get("HALFSPLIT_DATA", Path(__file__).parents[2] / "../shared/data"))

Rows = Callable[[str], list[dict[str, str]]]


@pytest.fixture
def standard_rows() -> Rows:
    """A function from the name of a table in `standards/` to its rows."""

    def read(name: str) -> list[dict[str, str]]:
        path = DATA / "standards" / name
        if not path.exists():
            pytest.skip(f"OUTSIDE DATA ABSENT: {path} (set HALFSPLIT_DATA)")
        with path.open(encoding="utf-8") as file:
            return list(csv.DictReader(file))

    return read
