"""The text of an error says where, what and what to do."""

import pytest

from halfsplit import errors
from halfsplit.errors import HalfsplitError, InputError


@pytest.mark.parametrize(
    ("where", "remedy", "text"),
    [
        ("", "", "no such thing"),
        ("line 4", "", "line 4: no such thing"),
        ("", "write another", "no such thing: write another"),
        ("line 4", "write another", "line 4: no such thing: write another"),
    ],
)
def test_an_input_error_reads_as_one_sentence(where, remedy, text):
    error = InputError("no such thing", remedy=remedy, where=where)
    assert str(error) == text
    assert (error.where, error.message, error.remedy) == (where, "no such thing", remedy)


def test_every_error_of_the_house_is_caught_by_its_base_and_says_its_use():
    kinds = [kind for kind in vars(errors).values() if isinstance(kind, type)]
    assert len(kinds) > 3
    assert all(issubclass(kind, HalfsplitError) and kind.__doc__ for kind in kinds)
