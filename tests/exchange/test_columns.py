"""A sheet read column by column. No database."""

import pytest

from fleet.core.errors import BadValueError
from fleet.exchange.cells import Ways, code, number, text, whole
from fleet.exchange.columns import Column, Table, first_rows, note_lost_zeros, parse, resolve
from fleet.exchange.reading import read

COLUMNS = (
    Column(name="asset_number", meaning="", read=code(8), required=True),
    Column(name="rate", meaning="", read=number(2, "0", "100"), unit="mL/h"),
    Column(name="cycles", meaning="", read=whole(0, 100)),
    Column(name="note", meaning="", read=text(10)),
)


def table(content: str) -> Table:
    return parse(read(content.encode(), [column.name for column in COLUMNS]), COLUMNS, Ways())


def refusal(content: str) -> str:
    with pytest.raises(BadValueError) as caught:
        table(content)
    return str(caught.value)


def test_headers_are_known_in_any_order_and_spelling() -> None:
    """Case, spaces, hyphens and a unit in brackets don't matter."""
    found = table("Rate (mL/h),ASSET NUMBER , cy-cles\n5,A1,7\n".replace("cy-cles", "Cycles"))
    assert (found.column("rate"), found.column("asset_number"), found.column("cycles")) == ([5], ["A1"], [7])
    assert found.notes == []


@pytest.mark.parametrize(
    ("content", "words"),
    [
        ("asset_nummer,rate\nA1,5\n", "“asset_nummer” is not known. Is “asset_number” meant?"),
        ("asset_number,asset number\nA1,A2\n", "asset_number stands twice"),
        ("rate\n5\n", "missing: asset_number. Found in the first row: rate"),
        ("asset_number:rate\nA1:5\n", "another delimiter"),
    ],
)
def test_a_header_that_cannot_be_used_is_refused(content: str, words: str) -> None:
    """What is wrong is named, and what is nearest to it."""
    assert words in refusal(content)


def test_a_column_like_no_other_is_left_out_and_named() -> None:
    """A hospital's own column does no harm, but nobody thinks that it was taken in."""
    assert table("asset_number,Invoice address\nA1,x\n").notes == [
        "The column “Invoice address” is not known and was left out."
    ]


def test_every_problem_of_a_row_is_told() -> None:
    """Row, column, value and what would be right, for each; the other rows are read."""
    found = table("asset_number,rate,cycles,note\nA1,fast,1.5,far too long to keep\nA2,5,7,short\n,1,1,\n")
    assert [(one.row, one.field, one.value) for one in found.problems] == [
        (4, "asset_number", ""),
        (2, "rate", "fast"),
        (2, "cycles", "1.5"),
        (2, "note", "far too long to keep"),
    ]
    assert all(one.right for one in found.problems)
    assert found.refused == {0, 2}
    assert found.column("rate") == [None, 5, 1]


def test_a_row_with_too_many_cells_is_refused_and_a_short_one_is_not() -> None:
    """An unquoted delimiter moves cells; empty cells at the end mean nothing."""
    found = table("asset_number,rate\nA1,5,stray\nA2\nA3,5,,\n")
    assert [(one.row, one.value) for one in found.problems] == [(2, "stray")]
    assert "quotation marks" in found.problems[0].right


def test_a_formula_guard_is_taken_off() -> None:
    """What our own files quote for spreadsheets reads back as it was."""
    assert table("asset_number,note\nA1,'=1+1\nA2,'tis\n").column("note") == ["=1+1", "'tis"]


def test_an_unknown_name_is_refused_with_the_nearest() -> None:
    """One text is looked up once and refused in each of its rows."""
    found = table("asset_number,note\nA1,Ward4\nA2,ward 4\nA3,Ward4\nA4,\n")
    assert resolve(found, "note", {"ward 4": 4}, "place of yours") == [None, 4, None, None]
    assert {(one.row, one.right) for one in found.problems} == {
        (row, "No place of yours is called that. Did you mean “ward 4”?") for row in (2, 4)
    }


def test_a_key_that_stands_twice_names_its_first_row() -> None:
    """The second row is refused and points at the first; rows without a key are let be."""
    found = table("asset_number\nA1\nA2\nA1\n")
    first_rows(found, found.column("asset_number"), "asset_number", "This number stands already")
    assert [(one.row, one.right) for one in found.problems] == [(4, "This number stands already in row 2.")]


@pytest.mark.parametrize(
    ("numbers", "known", "warned"),
    [
        (["00123", "456"], [], True),
        (["123"], ["00123"], True),
        (["123", "456"], [], False),
        (["00123", "10456"], [], False),
        (["A12", "0123"], [], False),
    ],
)
def test_lost_leading_zeros_are_noted(numbers: list[str], known: list[str], *, warned: bool) -> None:
    """A number shorter than its sisters with zeros, or known with zeros, is pointed at."""
    found = table("asset_number\n" + "\n".join(numbers) + "\n")
    note_lost_zeros(found, "asset_number", known)
    assert bool(found.notes) == warned
