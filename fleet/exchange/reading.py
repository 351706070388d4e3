"""A file as it was sent -> rows of text. Nothing here knows Django, the clock or the database.

What a file is, is told by its content, never by its name. Rows are numbered as a spreadsheet shows them: the header is
row 1, a cell with line breaks inside is still one row, an empty row counts.
"""

import codecs
import csv
import io
import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Final

from fleet.core.errors import BadValueError

#: More rows than any fleet sends at once; a file that long would fill the memory of a small server.
MOST_ROWS: Final = 300_000
DELIMITERS: Final = {",": "Comma", ";": "Semicolon", "\t": "Tab", "|": "Upright bar"}
ENCODINGS: Final = {
    "utf-8": "UTF-8",
    "utf-16": "UTF-16",
    "cp1252": "Windows-1252 (Western European)",
    "iso-8859-1": "Latin-1",
    "iso-8859-15": "Latin-9 (with the euro sign)",
    "cp1250": "Windows-1250 (Central European)",
}
#: The first bytes of what is no text file. From memory of the formats.
_OTHER_FILES: Final = (
    (b"PK\x03\x04", "a spreadsheet (.xlsx, .ods) or another packed file"),
    (b"\xd0\xcf\x11\xe0", "a spreadsheet of the older kind (.xls)"),
    (b"%PDF", "a PDF document"),
    (b"\x1f\x8b", "a packed file (gzip)"),
    (b"\x89PNG", "a picture"),
    (b"\xff\xd8\xff", "a picture"),
    (b"{\\rtf", "a text document (RTF)"),
)
_MARKED_UP: Final = re.compile(r"\s*<(!doctype|html|table|\?xml)", re.IGNORECASE)
_SEP_LINE: Final = re.compile(r'^"?sep=(.)"?\r?\n?$', re.IGNORECASE)
_AS_CSV: Final = "In the spreadsheet choose “Save as”, then CSV (UTF-8), and send that file."


@dataclass(frozen=True, slots=True)
class Line:
    """One filled row of the file: its number as a spreadsheet shows it, and its cells as text."""

    number: int
    cells: list[str]


@dataclass(frozen=True, slots=True)
class Sheet:
    """A file read: how it was read, its header and its filled rows."""

    encoding: str
    delimiter: str
    header: list[str]
    lines: list[Line]


def read(content: bytes, names: Collection[str], *, encoding: str = "", delimiter: str = "") -> Sheet:
    """Read a file; encoding and delimiter are detected where they are not given.

    `names` are the columns the file may have: the delimiter is the one that finds most of them. Raises BadValueError
    in words, with the row where it can be told, for what is no readable CSV file.
    """
    _refuse_other_files(content)
    used = encoding or detected_encoding(content)
    text = _decoded(content, used)
    text, hinted = _without_hint(text)
    used_delimiter = delimiter or hinted or detected_delimiter(text, names)
    header, lines = _split(text, used_delimiter)
    return Sheet(used, used_delimiter, header, lines)


def _refuse_other_files(content: bytes) -> None:
    if not content.strip():
        raise BadValueError("The file is empty. It needs a header row and at least one row below it.", field="file")
    for start, words in _OTHER_FILES:
        if content.startswith(start):
            raise BadValueError(f"This is {words}, whatever its name says. {_AS_CSV}", field="file")


def detected_encoding(content: bytes) -> str:
    """Name the encoding: by its mark, by the zero bytes of UTF-16, else UTF-8 if it is valid, else Windows-1252.

    Windows-1252 leaves five bytes undefined; a file with one of these is read as Latin-1, which defines all.
    """
    if content.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "utf-16"
    if b"\0" in content and (without_mark := _utf16_without_mark(content)):
        return without_mark
    for name in ("utf-8", "cp1252"):
        try:
            content.decode(name)
        except UnicodeDecodeError:
            continue
        return name
    return "iso-8859-1"


def _utf16_without_mark(content: bytes) -> str:
    """Tell UTF-16 of mostly Latin letters by where the zero bytes stand; empty if they stand anywhere."""
    start = content[:4000]
    even, odd = start[0::2].count(0), start[1::2].count(0)
    enough = len(start) // 6
    if odd > max(enough, 10 * even):
        return "utf-16-le"
    return "utf-16-be" if even > max(enough, 10 * odd) else ""


def _decoded(content: bytes, encoding: str) -> str:
    try:
        text = content.decode("utf-8-sig" if encoding == "utf-8" else encoding)
    except UnicodeDecodeError as error:
        row = content.count(b"\n", 0, error.start) + 1
        words = f"Near row {row} the file holds bytes that are not {ENCODINGS.get(encoding, encoding)}."
        raise BadValueError(f"{words} Choose another encoding, or let it be detected.", field="encoding") from error
    if "\0" in text:
        row = text.count("\n", 0, text.index("\0")) + 1
        raise BadValueError(
            f"Near row {row} the file holds zero bytes: it is damaged or no text. {_AS_CSV}", field="file"
        )
    if _MARKED_UP.match(text):
        raise BadValueError(f"This is a web page or XML under the name of a spreadsheet. {_AS_CSV}", field="file")
    return text.removeprefix("\ufeff")


def _without_hint(text: str) -> tuple[str, str]:
    """Take off the line `sep=;` with which some spreadsheets begin a file; they do not count it as a row."""
    first, rest = _first_line(text)
    hint = _SEP_LINE.match(first)
    return (rest, hint.group(1)) if hint else (text, "")


def _first_line(text: str) -> tuple[str, str]:
    end = text.find("\n") + 1 or len(text)
    return text[:end], text[end:]


def detected_delimiter(text: str, names: Collection[str]) -> str:
    """Choose the delimiter that finds most known names in the first row; among equals, the one that cuts most."""
    known = {plain_name(name) for name in names}

    def found(delimiter: str) -> tuple[int, int]:
        try:
            cells = next(csv.reader(io.StringIO(text[:20_000], newline=""), delimiter=delimiter), [])
        except csv.Error:
            return 0, 0
        return sum(plain_name(cell) in known for cell in cells), len(cells)

    return max(DELIMITERS, key=found)


def plain_name(name: str) -> str:
    """A column's name without what people change in it: `Asset number`, `asset-number `, `Rate (mL/h)` -> `rate`."""
    without_unit = re.sub(r"\(.*?\)|,.*$", "", name)
    return re.sub(r"[\s_.-]+", "_", without_unit.strip().casefold()).strip("_")


def _split(text: str, delimiter: str) -> tuple[list[str], list[Line]]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    header: list[str] = []
    lines: list[Line] = []
    number = 0
    try:
        for number, cells in enumerate(reader, start=1):
            if not "".join(cells).strip():
                continue
            if not header:
                header, first = [cell.strip() for cell in cells], number
                continue
            lines.append(Line(number, cells))
            _refuse_too_many(lines)
    except csv.Error as error:
        raise BadValueError(_torn(number + 1, error), field="file") from error
    if not header:
        raise BadValueError("The file holds no text. It needs a header row and rows below it.", field="file")
    if not lines:
        raise BadValueError(f"Below the header (row {first}) there is no row. Fill in at least one.", field="file")
    return _without_empty_end(header), lines


def _refuse_too_many(lines: Sequence[Line]) -> None:
    if len(lines) > MOST_ROWS:
        raise BadValueError(f"The file has more than {MOST_ROWS:,} rows. Send it in parts.", field="file")


def _torn(row: int, error: csv.Error) -> str:
    return (
        f"From row {row} on the file can't be cut into cells ({error}). Most often a quotation mark (\") is opened and "
        "not closed, or stands inside a cell once: inside a quoted cell it is written twice."
    )


def _without_empty_end(header: list[str]) -> list[str]:
    while header and not header[-1]:
        header.pop()
    return header
