"""Columns: which a file may have, what each means, and a whole sheet read column by column. Pure.

Each distinct text of a column is read once: 100,000 rows of which few differ cost little more than looking them up.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from difflib import get_close_matches
from typing import Any, Final, NamedTuple

from fleet.core.errors import BadValueError
from fleet.exchange.cells import Reader, Ways, WrongCellError, unknown
from fleet.exchange.reading import Line, Sheet, plain_name
from fleet.web.csv_out import unsafe

#: Characters of a value that a list of problems repeats.
SHOWN: Final = 80
#: Problems kept of one file. Whoever has more has made one mistake very often.
MOST_PROBLEMS: Final = 200_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One column: its name in the header, what it means, two invented examples, and how a cell is read."""

    name: str
    meaning: str
    read: Reader
    examples: tuple[str, str] = ("", "")
    unit: str = ""
    required: bool = False


#: How many rows a note names.
NAMED: Final = 8


class Problem(NamedTuple):
    """Why a row is refused: its number, the column, the value as sent, and what would be right."""

    row: int
    field: str
    value: str
    right: str


@dataclass(slots=True)
class Table:
    """A sheet read: for each column its values, None where the cell is empty or wrong; and every problem found."""

    rows: list[int]
    values: dict[str, list[Any]]
    texts: dict[str, list[str]]
    problems: list[Problem] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    refused: set[int] = field(default_factory=set)

    def __len__(self) -> int:
        return len(self.rows)

    def has(self, name: str) -> bool:
        """Whether the file has the column."""
        return name in self.texts

    def column(self, name: str) -> list[Any]:
        """The values of a column; all None if the file does not have it."""
        if name not in self.values:
            self.values[name] = [None] * len(self.rows)
        return self.values[name]

    def filled(self, name: str, index: int) -> bool:
        """Whether the cell of a row holds anything, be it right or wrong."""
        return self.has(name) and bool(self.texts[name][index])

    def refuse(self, index: int, name: str, right: str, value: str | None = None) -> None:
        """Refuse the row at `index` (0 is the first below the header) for what stands in a column."""
        self.refused.add(index)
        if len(self.problems) < MOST_PROBLEMS:
            told = self.texts[name][index] if value is None and name in self.texts else value or ""
            self.problems.append(Problem(self.rows[index], name, told[:SHOWN], right))

    def indexes(self) -> Iterator[int]:
        """The rows by index, in order."""
        return iter(range(len(self.rows)))


def parse(sheet: Sheet, columns: Sequence[Column], ways: Ways) -> Table:
    """Read every cell of the sheet. Raises BadValueError for a header that can't be used."""
    places, notes = _matched(sheet.header, columns)
    table = Table([line.number for line in sheet.lines], {}, {}, notes=notes)
    for column in columns:
        if column.name in places:
            _read_column(table, column, _cells(sheet.lines, places[column.name]), ways)
    _refuse_overlong(table, sheet)
    return table


def _matched(header: Sequence[str], columns: Sequence[Column]) -> tuple[dict[str, int], list[str]]:
    """Where each column stands, and notes on what is left out."""
    known = {plain_name(column.name): column.name for column in columns}
    places: dict[str, int] = {}
    notes: list[str] = []
    for place, title in enumerate(header):
        name = known.get(plain_name(title))
        if name in places:
            raise BadValueError(f"The column {name} stands twice in the header. Leave one out.", field=name or "")
        if name:
            places[name] = place
        elif title and len(header) > 1:
            notes.append(_left_out(title, columns, header))
    missing = [column.name for column in columns if column.required and column.name not in places]
    if missing:
        raise BadValueError(_missing(missing, header), field=missing[0])
    return places, notes


def _left_out(title: str, columns: Sequence[Column], header: Sequence[str]) -> str:
    present = {plain_name(cell) for cell in header}
    free = [column.name for column in columns if plain_name(column.name) not in present]
    if near := get_close_matches(plain_name(title), free, n=1, cutoff=0.75):
        message = (
            f"The column “{title[:SHOWN]}” is not known. Is “{near[0]}” meant? Change the header, or leave it out."
        )
        raise BadValueError(message, field=near[0])
    return f"The column “{title[:SHOWN]}” is not known and was left out."


def _missing(names: Sequence[str], header: Sequence[str]) -> str:
    words = "column is" if len(names) == 1 else "columns are"
    found = ", ".join(title[:SHOWN] for title in header[:20])
    return (
        f"The {words} missing: {', '.join(names)}. Found in the first row: {found}. If that is one long cell, choose "
        "another delimiter."
    )


def _cells(lines: Sequence[Line], place: int) -> list[str]:
    return [line.cells[place].strip() if place < len(line.cells) else "" for line in lines]


def _read_column(table: Table, column: Column, texts: list[str], ways: Ways) -> None:
    table.texts[column.name] = texts
    known: dict[str, Any] = {text: _read(column, text, ways) for text in set(texts)}
    values: list[Any] = []
    for index, text in enumerate(texts):
        value = known[text]
        if isinstance(value, WrongCellError):
            table.refuse(index, column.name, str(value))
            value = None
        values.append(value)
    table.values[column.name] = values


def _read(column: Column, text: str, ways: Ways) -> Any:
    bare = unsafe(text).strip()
    if not bare:
        return WrongCellError("This must be filled in.") if column.required else None
    try:
        return column.read(bare, ways)
    except WrongCellError as error:
        return error


def _refuse_overlong(table: Table, sheet: Sheet) -> None:
    width = len(sheet.header)
    for index, line in enumerate(sheet.lines):
        if extra := [cell for cell in line.cells[width:] if cell.strip()]:
            words = (
                f"The row has {len(line.cells)} cells, the header {width}. A delimiter inside a text needs quotation "
                'marks (") around that text.'
            )
            table.refuse(index, "(beyond the last column)", words, extra[0])


def resolve(table: Table, name: str, known: dict[str, Any], kind: str) -> list[Any]:
    """Put the thing that each text of a column names in its place; a text that names none is refused.

    `known` holds every name that is understood, whatever its case; `kind` is what such a thing is called.
    """
    by_name = {title.casefold(): thing for title, thing in known.items()}
    found: dict[str, Any] = {}
    wrong: dict[str, str] = {}
    things: list[Any] = []
    for index, value in enumerate(table.column(name)):
        if value is None:
            things.append(None)
            continue
        if value not in found and value not in wrong:
            thing = by_name.get(value.casefold())
            if thing is None:
                wrong[value] = unknown(value, list(known), kind)
            else:
                found[value] = thing
        if value in wrong:
            table.refuse(index, name, wrong[value])
        things.append(found.get(value))
    return things


def first_rows(table: Table, keys: Sequence[Any], name: str, words: str) -> None:
    """Refuse each row whose key (None: has none) stood in an earlier row, and name that row."""
    seen: dict[Any, int] = {}
    for index, key in enumerate(keys):
        if key is None:
            continue
        if key in seen:
            table.refuse(index, name, f"{words} in row {seen[key]}.")
        else:
            seen[key] = table.rows[index]


def note_rows(table: Table, indexes: Sequence[int], words: str) -> None:
    """Note what should be looked at in those rows before they are committed; the first few are named."""
    if indexes:
        named = ", ".join(str(table.rows[index]) for index in indexes[:NAMED])
        more = f" and {len(indexes) - NAMED} more" if len(indexes) > NAMED else ""
        table.notes.append(f"Row{'s' if len(indexes) > 1 else ''} {named}{more}: {words}")


def note_lost_zeros(table: Table, name: str, known: Sequence[str] = ()) -> None:
    """Note where a spreadsheet may have taken leading zeros: a number shorter than its sisters, or known with zeros."""
    texts = [value for value in table.column(name) if value]
    with_zeros = [text for text in (*texts, *known) if text.isdigit() and text.startswith("0")]
    bare = {text.lstrip("0"): text for text in with_zeros}
    length = len(with_zeros[0]) if with_zeros else 0
    for index, text in enumerate(table.column(name)):
        if not text or not text.isdigit() or text.startswith("0"):
            continue
        if text in bare or len(text) < length:
            meant = bare.get(text) or text.zfill(length)
            table.notes.append(
                f"Row {table.rows[index]}, {name}: {text} may have lost its leading zeros. Others are written like "
                f"{meant}. Compare with the label before you commit."
            )
            return
