"""CSV files that a spreadsheet opens without running anything."""

import csv
import io
from datetime import date
from decimal import Decimal

import pytest

from fleet.web.csv_out import answer, lines, safe, unsafe


@pytest.mark.parametrize("text", ["=1+1", "+49 30", "-2", "@SUM(A1)", "\tx", "\rx", "  =1+1", "\0x", "'=1", "''=1"])
def test_text_that_looks_like_a_formula_is_quoted(text: str) -> None:
    """Whatever a spreadsheet would run stands behind an apostrophe."""
    assert safe(text) == f"'{text}"
    assert unsafe(f"'{text}") == text


@pytest.mark.parametrize("text", ["'tis", "A-1", "", "'", "''", "'A=1"])
def test_a_mark_of_the_text_itself_stays(text: str) -> None:
    """Only what was put before a formula is taken off again."""
    assert safe(text) == text
    assert unsafe(text) == text


@pytest.mark.parametrize(("cell", "kept"), [(-2, -2), (Decimal("-0.5"), Decimal("-0.5")), ("A-1", "A-1"), (None, "")])
def test_numbers_and_plain_text_stay_as_they_are(cell: object, kept: object) -> None:
    """A negative number is a number, and a dash inside a word is no formula."""
    assert safe(cell) == kept


def test_a_file_reads_back() -> None:
    """Commas, quotes and line ends inside a cell survive; dates are unmistakable."""
    text = "".join(lines(["Asset", "Note", "Due"], [["A1", 'said "weak",\nthen stopped', date(2027, 3, 14)]]))
    rows = list(csv.reader(io.StringIO(text.removeprefix("\ufeff"))))
    assert rows == [["Asset", "Note", "Due"], ["A1", 'said "weak",\nthen stopped', "2027-03-14"]]


def test_a_download_is_named_and_says_its_encoding() -> None:
    """The browser saves a file under our name, and spreadsheets know the letters."""
    response = answer("overdue", ["Asset"], [["Ä1"]])
    assert response["Content-Disposition"] == 'attachment; filename="overdue.csv"'
    assert b"".join(response) == "\ufeffAsset\r\nÄ1\r\n".encode()
