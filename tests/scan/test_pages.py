"""The examples of the page on fault codes are run as they stand."""

import doctest
from pathlib import Path

PAGE = Path(__file__).parents[2] / "docs" / "scan.md"


def test_the_examples_of_the_page_hold() -> None:
    result = doctest.testfile(str(PAGE), module_relative=False)
    assert result.attempted >= 8
    assert result.failed == 0
