"""Lists as CSV files that a spreadsheet opens without running anything."""

import csv
from collections.abc import Iterable, Iterator, Sequence
from datetime import date
from decimal import Decimal
from typing import Final

from django.http import StreamingHttpResponse

Cell = str | int | float | Decimal | date | None

#: A text that begins like this is taken for a formula (or a control character) by common spreadsheets.
_FORMULA_STARTS: Final = ("=", "+", "-", "@", "\t", "\r", "\0")
_MARK_OF_UTF8: Final = "\ufeff"


class _Line:
    """Where the csv writer writes to: gives each line back instead of keeping it."""

    def write(self, line: str) -> str:
        """Give the line back."""
        return line


def safe(cell: Cell) -> str | int | float | Decimal:
    """A cell that stays what it is: numbers as numbers, dates as 2027-03-14, text that looks like a formula quoted."""
    if cell is None:
        return ""
    if isinstance(cell, int | float | Decimal):
        return cell
    if isinstance(cell, date):
        return cell.isoformat()
    return f"'{cell}" if _like_a_formula(cell) else cell


def unsafe(cell: str) -> str:
    """The text that `safe` was given: the mark that it put before a formula is taken off again, and no other."""
    return cell[1:] if cell.startswith("'") and _like_a_formula(cell[1:]) else cell


def _like_a_formula(text: str) -> bool:
    # Marks that stand there already are looked through, so that `unsafe` takes off just the one that was put on.
    return text.lstrip(" '").startswith(_FORMULA_STARTS)


def lines(header: Sequence[str], rows: Iterable[Sequence[Cell]]) -> Iterator[str]:
    """The lines of the file, beginning with the mark by which spreadsheets know UTF-8."""
    writer = csv.writer(_Line())
    yield _MARK_OF_UTF8 + writer.writerow([safe(name) for name in header])
    for row in rows:
        yield writer.writerow([safe(cell) for cell in row])


def answer(name: str, header: Sequence[str], rows: Iterable[Sequence[Cell]]) -> StreamingHttpResponse:
    """The file as a download named `name`.csv, sent row by row."""
    response = StreamingHttpResponse(lines(header, rows), content_type="text/csv; charset=utf-8")
    response["Content-Disposition"] = f'attachment; filename="{name}.csv"'
    return response
