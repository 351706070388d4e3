"""Readers of single cells: a text -> a value, or words that say what would be right. Pure.

A cell is never guessed at. What a spreadsheet has mangled (1.23E+11, 45292, #REF!, ####, 1,234) is refused with the
way out; a date in digits only is read in the order that was chosen, and not at all if none was.
"""

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, timezone, tzinfo
from decimal import Decimal
from difflib import get_close_matches
from typing import Any, Final


class WrongCellError(ValueError):
    """A cell that can't be used. `str(error)` says what would be right."""


_LAST: Final = datetime(9999, 12, 31, tzinfo=UTC)


@dataclass(frozen=True, slots=True, kw_only=True)
class Ways:
    """How the file writes what can be written in two ways. `day_first` None: no choice was made."""

    day_first: bool | None = None
    decimal_comma: bool = False
    zone: tzinfo = UTC
    now: datetime = _LAST


Reader = Callable[[str, Ways], Any]

_ERROR_CELL: Final = re.compile(r"#(REF!|N/A|NAME\?|VALUE!|DIV/0!|NULL!|NUM!|SPILL!|CALC!)", re.IGNORECASE)
_HASHES: Final = re.compile(r"#{2,}")
_CONTROL: Final = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f]")
_SHORTENED: Final = re.compile(r"\d(?:[.,]\d+)?E\+?\d+", re.IGNORECASE)
_MADE_NUMBER: Final = re.compile(r"(\d+)[.,]0+")
_GROUPED: Final = re.compile(r"\d{1,3}([,.' ]\d{3})+")
_DIGITS_DATE: Final = re.compile(r"(\d{1,2})([./-])(\d{1,2})\2(\d{4})")
_SHORT_YEAR: Final = re.compile(r"\d{1,2}([./-])\d{1,2}\1\d{2}")
_YEAR_FIRST: Final = re.compile(r"(\d{4})([./-])(\d{1,2})\2(\d{1,2})")
_NAMED_MONTH: Final = re.compile(r"(\d{1,2})[ .-]+([A-Za-z]{3,9})\.?[ ,-]+(\d{4})")
_DAY_NUMBER: Final = re.compile(r"\d{5}([.,]\d+)?")
_MIDNIGHT: Final = re.compile(r"[T ]0?0:00(:00(\.0+)?)?$")
_CLOCK: Final = re.compile(
    r"(?P<day>.+?)(?:T|,? +)(?P<h>\d{1,2})[:.](?P<m>\d{2})(?:[:.](?P<s>\d{2})(?:\.(?P<f>\d{1,6}))?)?"
    r"(?: ?(?P<half>[AaPp])\.?[Mm]\.?)? ?(?P<off>Z|[+-]\d{2}:?\d{2})?"
)
_MONTHS: Final = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_FIRST_DAY_NUMBER: Final = date(1899, 12, 30)
_YEARS: Final = range(1970, 2101)
_FEW: Final = 12


def plain(text: str) -> str:
    """The text, unless a spreadsheet put an error in its place or it holds characters that no label has."""
    if _ERROR_CELL.fullmatch(text):
        raise WrongCellError("The spreadsheet shows an error here; put the value in its place.")
    if _HASHES.fullmatch(text):
        raise WrongCellError("The column was too narrow to show this value; widen it and save the file again.")
    if _CONTROL.search(text):
        raise WrongCellError("The cell holds control characters; type it again.")
    if "\ufffd" in text:
        raise WrongCellError("A letter was lost before the file came here (�); type it again.")
    return text


def text(longest: int, *, lines: bool = False) -> Reader:
    """Words of at most `longest` characters, in one line unless `lines`."""

    def read(cell: str, _ways: Ways) -> str:
        kept = plain(cell)
        if len(kept) > longest:
            raise WrongCellError(f"At most {longest} characters; this has {len(kept)}.")
        if not lines and ("\n" in kept or "\r" in kept):
            raise WrongCellError("Put it in one line: the cell holds a line break.")
        return kept

    return read


def code(longest: int) -> Reader:
    """A number off a label, kept as text: letters and leading zeros count, so a spreadsheet must not calculate it."""
    words = text(longest)

    def read(cell: str, ways: Ways) -> str:
        if _SHORTENED.fullmatch(cell) and "+" in cell:
            raise WrongCellError(
                "A spreadsheet shortened this number and its digits are lost. Make the column text, fill it in from "
                "the source and save again."
            )
        if made := _MADE_NUMBER.fullmatch(cell):
            raise WrongCellError(f"A spreadsheet made this a number. Write {made.group(1)}, as the label has it.")
        if _GROUPED.fullmatch(cell):
            digits = re.sub(r"\D", "", cell)
            raise WrongCellError(f"A spreadsheet grouped the digits. Write {digits}, as the label has it.")
        return str(words(cell, ways))

    return read


def number(places: int, lowest: str, highest: str, unit: str = "") -> Reader:
    """A decimal number of at most `places` decimals within limits; the decimal sign is the one that was chosen."""
    low, high = Decimal(lowest), Decimal(highest)
    shown_unit = f" {unit}" if unit else ""

    def read(cell: str, ways: Ways) -> Decimal:
        value = _decimal(cell, ways)
        if not low <= value <= high:
            raise WrongCellError(f"Give {lowest} to {highest}{shown_unit}.")
        if value != round(value, places):
            raise WrongCellError(f"At most {places} decimals.")
        return round(value, places)

    return read


def whole(lowest: int, highest: int) -> Reader:
    """A whole number within limits. `12.0` is 12."""

    def read(cell: str, ways: Ways) -> int:
        value = _decimal(cell, ways)
        if value != int(value) or not lowest <= value <= highest:
            raise WrongCellError(f"Give a whole number from {lowest} to {highest}.")
        return int(value)

    return read


def _decimal(cell: str, ways: Ways) -> Decimal:
    bare = re.sub(r"[\u00a0\u202f\u2009]", "", plain(cell)).replace("\u2212", "-")
    sign, other, named = (",", ".", "comma") if ways.decimal_comma else (".", ",", "point")
    if re.fullmatch(rf"[+-]?\d+(\{sign}\d+)?", bare):
        return Decimal(bare.replace(",", "."))
    if other in bare and re.fullmatch(r"[+-]?[\d.,]+", bare):
        raise WrongCellError(
            f"The file was sent with a decimal {named}; here stands “{other}”. Write it with “{sign}” and without "
            f"groups of thousands, or choose the other decimal sign for the whole file."
        )
    if re.fullmatch(r"[+-]?\d+([.,]\d+)?E[+-]?\d+", bare, re.IGNORECASE):
        raise WrongCellError("A spreadsheet shortened this number; write all its digits.")
    raise WrongCellError("Write only a number; the unit belongs in the header.")


def day(*, past: bool = False) -> Reader:
    """A date. With `past`, not after today."""

    def read(cell: str, ways: Ways) -> date:
        found = _date(plain(cell), ways)
        if past and found > ways.now.astimezone(ways.zone).date():
            raise WrongCellError("This day is still to come; check day, month and year.")
        return found

    return read


def moment(cell: str, ways: Ways) -> datetime:
    """A date with its time of day, not after now; without an offset it is the hospital's own time."""
    parts = _CLOCK.fullmatch(plain(cell))
    if parts is None:
        _date(cell, ways)
        raise WrongCellError("Give the time of day too, such as 2027-03-14 09:30.")
    found = _in_zone(datetime.combine(_date(parts["day"], ways), _time(parts)), parts["off"], ways.zone)
    if found > ways.now:
        raise WrongCellError("This moment is still to come; check day, month and year.")
    return found


def _time(parts: re.Match[str]) -> time:
    hour, half = int(parts["h"]), (parts["half"] or "").lower()
    if half and not 1 <= hour <= _FEW:
        raise WrongCellError("With am or pm the hour lies between 1 and 12.")
    if half:
        hour = hour % 12 + (12 if half == "p" else 0)
    try:
        return time(hour, int(parts["m"]), int(parts["s"] or 0), int((parts["f"] or "0").ljust(6, "0")))
    except ValueError:
        raise WrongCellError("There is no such time of day; write it as 09:30.") from None


def _in_zone(naive: datetime, offset: str | None, zone: tzinfo) -> datetime:
    if offset == "Z":
        return naive.replace(tzinfo=UTC)
    if offset:
        bare = offset.replace(":", "")
        ahead = timedelta(hours=int(bare[1:3]), minutes=int(bare[3:]))
        return naive.replace(tzinfo=timezone(ahead if bare[0] == "+" else -ahead)).astimezone(UTC)
    early, late = naive.replace(tzinfo=zone, fold=0), naive.replace(tzinfo=zone, fold=1)
    if early.utcoffset() != late.utcoffset():
        raise WrongCellError(
            "When the clocks change this time does not exist or comes twice. Add the offset, such as +01:00."
        )
    return early.astimezone(UTC)


def _date(cell: str, ways: Ways) -> date:
    bare = _MIDNIGHT.sub("", cell.strip())
    if found := _YEAR_FIRST.fullmatch(bare):
        return _made(found[1], found[3], found[4])
    if found := _DIGITS_DATE.fullmatch(bare):
        return _ordered(int(found[1]), int(found[3]), int(found[4]), ways)
    if found := _NAMED_MONTH.fullmatch(bare):
        name = found[2][:3].lower()
        if name in _MONTHS:
            return _made(found[3], _MONTHS.index(name) + 1, found[1])
    if _SHORT_YEAR.fullmatch(bare):
        raise WrongCellError("Write the year with four digits.")
    if _DAY_NUMBER.fullmatch(bare):
        meant = _FIRST_DAY_NUMBER + timedelta(days=int(bare[:5]))
        raise WrongCellError(f"A spreadsheet wrote a date as a day number. It may mean {meant}; format it as a date.")
    raise WrongCellError("Write the date as 2027-03-14.")


def _ordered(first: int, second: int, year: int, ways: Ways) -> date:
    if ways.day_first is None:
        raise WrongCellError(
            f"Day or month first? Write {year}-{second:02}-{first:02} or {year}-{first:02}-{second:02}, or choose the "
            "order for the whole file."
        )
    day_number, month = (first, second) if ways.day_first else (second, first)
    if month > _FEW >= day_number:
        chosen, other = ("day", "month") if ways.day_first else ("month", "day")
        raise WrongCellError(
            f"There is no month {month}: this date speaks against the {chosen} standing first. If the file writes the "
            f"{other} first, choose that; every date in digits is then read so."
        )
    return _made(year, month, day_number)


def _made(year: int | str, month: int | str, day_number: int | str) -> date:
    try:
        found = date(int(year), int(month), int(day_number))
    except ValueError:
        raise WrongCellError("There is no such day; check day, month and year.") from None
    if found.year not in _YEARS:
        raise WrongCellError(f"Give a year from {_YEARS.start} to {_YEARS.stop - 1}.")
    return found


def choice(meanings: Mapping[str, Any]) -> Reader:
    """One of a few words, upper and lower case alike. `meanings` holds every word that is understood."""
    known = {word.casefold(): value for word, value in meanings.items()}

    def read(cell: str, _ways: Ways) -> Any:
        word = plain(cell).casefold()
        if word not in known:
            raise WrongCellError(unknown(cell, list(meanings)))
        return known[word]

    return read


YES_NO: Final = choice({"yes": True, "no": False, "true": True, "false": False, "1": True, "0": False})


def unknown(cell: str, known: list[str], kind: str = "") -> str:
    """Say that a word is not known, and which known one is nearest, or all of them if they are few."""
    folded = {word.casefold(): word for word in reversed(known)}  # of equal ones, the first as it is spelt
    near = get_close_matches(cell.casefold(), list(folded), n=1, cutoff=0.6)
    start = f"No {kind} is called that. " if kind else ""
    if near:
        return f"{start}Did you mean “{folded[near[0]]}”?"
    if len(folded) <= _FEW:
        return f"{start}Known: {', '.join(reversed(folded.values())) or 'none yet'}."
    return f"{start}Check the spelling."
