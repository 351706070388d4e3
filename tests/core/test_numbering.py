"""Runs of asset numbers."""

import pytest

from fleet.core.errors import BadValueError
from fleet.core.numbering import run_from


@pytest.mark.parametrize(
    ("first", "count", "expected"),
    [
        ("SD0098", 3, ["SD0098", "SD0099", "SD0100"]),
        ("A9", 2, ["A9", "A10"]),
        ("MG-7-001", 2, ["MG-7-001", "MG-7-002"]),
        ("12", 1, ["12"]),
        ("SD1", 0, []),
    ],
)
def test_numbers_follow_the_first(first: str, count: int, expected: list[str]) -> None:
    """The digits at the end are counted up, keep their width and grow past it."""
    assert run_from(first, count) == expected


@pytest.mark.parametrize("first", ["SD", "", "SD01a"])
def test_nothing_follows_a_number_without_digits_at_its_end(first: str) -> None:
    """A first number that cannot be counted on is refused with an example."""
    with pytest.raises(BadValueError, match="SD01200"):
        run_from(first, 2)
