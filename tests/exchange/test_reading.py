"""Files as they come off spreadsheets: what is read, and what is refused in words. No database."""

import pytest

from fleet.core.errors import BadValueError
from fleet.exchange.reading import MOST_ROWS, Sheet, read

NAMES = ["asset_number", "cost_centre", "lot"]
PLAIN = "asset_number,cost_centre,lot\r\nA1,Größe,L1\r\n"


def refusal(content: bytes, **how: str) -> str:
    with pytest.raises(BadValueError) as caught:
        read(content, NAMES, **how)
    return str(caught.value)


def cells(sheet: Sheet) -> list[list[str]]:
    return [line.cells for line in sheet.lines]


@pytest.mark.parametrize(
    ("content", "encoding"),
    [
        (PLAIN.encode(), "utf-8"),
        (PLAIN.encode("utf-8-sig"), "utf-8"),
        (PLAIN.encode("utf-16"), "utf-16"),
        (b"\xfe\xff" + PLAIN.encode("utf-16-be"), "utf-16"),
        (PLAIN.encode("utf-16-le"), "utf-16-le"),
        (PLAIN.encode("utf-16-be"), "utf-16-be"),
        (PLAIN.encode("cp1252"), "cp1252"),
        (PLAIN.replace("Größe", "Größe\x81").encode("iso-8859-1"), "iso-8859-1"),
    ],
)
def test_the_encoding_is_told_by_the_content(content: bytes, encoding: str) -> None:
    """Each encoding that a spreadsheet writes is recognised, and its letters come out right."""
    sheet = read(content, NAMES)
    assert sheet.encoding == encoding
    assert sheet.header == NAMES
    assert cells(sheet)[0][1].startswith("Größe")


def test_a_chosen_encoding_wins() -> None:
    """Bytes that mean other letters in another encoding are read as the person says."""
    content = "asset_number,cost_centre\nA1,Łódź\n".encode("cp1250")
    assert cells(read(content, NAMES, encoding="cp1250"))[0][1] == "Łódź"
    assert "Near row 2" in refusal(content, encoding="utf-8")


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
def test_the_delimiter_is_the_one_that_finds_the_columns(delimiter: str) -> None:
    """Other delimiters inside the cells mislead nobody."""
    text = delimiter.join(NAMES) + "\nA1" + delimiter + '"a,b;c|d"' + delimiter + "L1\n"
    sheet = read(text.encode(), NAMES)
    assert sheet.delimiter == delimiter
    assert cells(sheet) == [["A1", "a,b;c|d", "L1"]]


def test_a_line_that_names_the_delimiter_is_no_row() -> None:
    """Spreadsheets that begin a file with `sep=;` don't count that line."""
    sheet = read(b"sep=|\r\nasset_number|lot\r\nA1|L1\r\n", NAMES)
    assert (sheet.delimiter, sheet.lines[0].number) == ("|", 2)


def test_rows_are_numbered_as_a_spreadsheet_shows_them() -> None:
    """A cell with line breaks is one row, an empty row in between counts, empty rows at the end don't."""
    sheet = read(b'asset_number,lot\nA1,"two\nlines ""quoted"""\n\n,\nA2,L2\n\n\n,,\n', NAMES)
    assert [line.number for line in sheet.lines] == [2, 5]
    assert cells(sheet)[0] == ["A1", 'two\nlines "quoted"']


def test_old_line_ends_are_read() -> None:
    """Carriage returns alone end a line too."""
    assert len(read(b"asset_number,lot\rA1,L1\rA2,L2\r", NAMES).lines) == 2


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "empty"),
        (b"  \r\n \n", "empty"),
        (b",,\n,,\n", "no text"),
        (b"asset_number,lot\n", "no row"),
        (b"asset_number,lot\n\n\n", "no row"),
        (b"PK\x03\x04whatever", "spreadsheet (.xlsx"),
        (b"\xd0\xcf\x11\xe0\xa1\xb1", ".xls"),
        (b"%PDF-1.7", "PDF"),
        (b"\x1f\x8b\x08", "packed"),
        (b"\x89PNG\r\n", "picture"),
        (b"<html><table><tr><td>asset_number", "web page"),
        (b"asset_number,lot\nA1,L\x001\n", "row 2"),
        (b'asset_number,lot\nA1,L1\nA2,"never closed\nA3,L3\n', "row 3"),
        (b'asset_number,lot\nA1,"a "b" c"\n', "row 2"),
    ],
)
def test_what_is_no_csv_file_is_refused_in_words(content: bytes, words: str) -> None:
    """By its content, whatever its name says; and the row is named where there is one."""
    assert words in refusal(content)


def test_a_file_longer_than_any_fleet_is_refused() -> None:
    """The memory of a small server is not filled."""
    assert "in parts" in refusal(b"asset_number\n" + b"A\n" * (MOST_ROWS + 1))
