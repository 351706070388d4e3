"""A balance log as it comes from the bench: time and mass out of CSV text, with every oddity told by its row.

Nothing is mended in silence: what cannot be read is refused with its row, what is odd is read and told.
"""

import csv
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import islice
from typing import Final

import numpy as np
import pandas as pd

from fleet.core.battery.arrays import BoolArray, FloatArray, IntArray
from fleet.core.errors import BadValueError

MOST_FINDINGS: Final = 20
_MOST_ERRORS: Final = 5
_HALF_DAY, _DAY = 43_200, 86_400
#: What is odd in the masses, in g: own choice. A drop from a needle has about 0.05 g, a good balance wanders by mg.
_FALL: Final = 0.01
_JUMP: Final = 0.1
_TIMES_EXPECTED: Final = 5
#: A gap is longer than one sample, s.
_GAP: Final = 30.0
_DELIMITERS: Final = (";", "\t", ",")
_COLUMNS: Final = 2
_SECONDS: Final = {
    **dict.fromkeys(("s", "sec", "secs", "second", "seconds"), 1.0),
    **dict.fromkeys(("min", "mins", "minute", "minutes"), 60.0),
    **dict.fromkeys(("h", "hour", "hours"), 3600.0),
}
_GRAMS: Final = {
    **dict.fromkeys(("g", "gram", "grams"), 1.0),
    **dict.fromkeys(("mg", "milligram", "milligrams"), 0.001),
}
_TIME_NAMES: Final = {"time", "t", "elapsed", "clock", "timestamp", *_SECONDS}
_MASS_NAMES: Final = {"mass", "weight", "net", "balance", *_GRAMS}
_NUMBER: Final = re.compile(r"([+-]?)\s*((?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?)\s*(?:g|s)?")
_CLOCK: Final = re.compile(r"(\d{1,2}):([0-5]\d)(?::([0-5]\d(?:\.\d+)?))?")


@dataclass(frozen=True, slots=True)
class Finding:
    """Something odd at a row of the file, which was read all the same."""

    row: int
    words: str


@dataclass(frozen=True, slots=True)
class BalanceLog:
    """A log: `seconds` since its first reading (N,), strictly rising, and `grams` (N,); what was odd about it.

    `findings` holds the first MOST_FINDINGS, `odd` counts all.
    """

    seconds: FloatArray
    grams: FloatArray
    findings: tuple[Finding, ...]
    odd: int


@dataclass(frozen=True, slots=True)
class _Layout:
    """Which column holds what, in which unit, and whether the first row only names them."""

    time: int
    mass: int
    seconds: float = 1.0
    grams: float = 1.0
    header: bool = False


def read_log(text: str) -> BalanceLog:
    """Read a log: columns with a header that names them, or two plain ones (seconds and grams).

    Columns are parted by semicolons, tabs or commas; the decimal mark is a point, or a comma where commas do not part.
    Times are numbers, times of day (a step over midnight is seen) or full dates with times (2026-11-25 08:05:30).
    Raises BadValueError (field "log") that names the rows which cannot be read.
    """
    bare = text.lstrip("\ufeff")
    delimiter = next((mark for mark in _DELIMITERS if mark in bare), ",")
    if (plain := _plain(bare, delimiter)) is not None:
        return plain
    rows, numbers = _rows(bare, delimiter)
    layout = _layout(rows[0])
    if layout.header:
        rows, numbers = rows[1:], numbers[1:]
    if len(rows) < _COLUMNS:
        raise BadValueError("A log needs at least two readings.", field="log")
    _refuse_short(rows, numbers, layout)
    comma = any("," in row[layout.time] or "," in row[layout.mass] for row in rows)
    seconds = _times([row[layout.time] for row in rows], numbers, comma=comma) * layout.seconds
    grams = _numbers([row[layout.mass] for row in rows], numbers, "mass", comma=comma) * layout.grams
    return _told(seconds - seconds[0], grams, np.array(numbers))


def _plain(text: str, delimiter: str) -> BalanceLog | None:
    """The log at once where each row holds plain numbers, which a long one does; None where one needs a closer look."""
    if '"' in text or (delimiter != "," and "," in text):
        return None
    layout = _layout(text.partition("\n")[0].split(delimiter)) if text.strip() else _Layout(0, 1)
    try:
        frame = pd.read_csv(
            io.StringIO(text), sep=delimiter, header=None, skiprows=int(layout.header), na_filter=False,
            usecols=[layout.time, layout.mass] if layout.header else None, dtype=np.float64,
        )  # fmt: skip
    except ValueError:
        return None
    lines = text.count("\n") + (not text.endswith("\n"))
    values = frame.to_numpy()
    if len(frame) < _COLUMNS or len(frame) + layout.header != lines or not np.isfinite(values).all():
        return None
    seconds, grams = frame[layout.time].to_numpy() * layout.seconds, frame[layout.mass].to_numpy() * layout.grams
    return _told(seconds - seconds[0], grams, np.arange(1 + layout.header, lines + 1))


def _rows(text: str, delimiter: str) -> tuple[list[list[str]], list[int]]:
    """The cells of each row that is not blank, and the number of that row in the file."""
    reader = csv.reader(io.StringIO(text), delimiter=delimiter)
    try:
        found = [(row, reader.line_num) for row in reader if any(cell and not cell.isspace() for cell in row)]
    except csv.Error as error:
        raise BadValueError(f"Row {reader.line_num} cannot be read: {error}.", field="log") from error
    if not found:
        raise BadValueError("The log is empty.", field="log")
    return [row for row, _ in found], [number for _, number in found]


def _layout(first: Sequence[str]) -> _Layout:
    if all(re.search(r"\d", cell) for cell in first if cell.strip()):
        if len(first) != _COLUMNS:
            message = (
                f"Row 1 has {len(first)} columns and names none. Give two, seconds and grams, or a first row with "
                "their names. Where commas part the columns, the decimal mark is a point."
            )
            raise BadValueError(message, field="log")
        return _Layout(0, 1)
    names = [re.findall(r"[a-z]+", cell.lower()) or [""] for cell in first]
    time = next((at for at, words in enumerate(names) if words[0] in _TIME_NAMES), None)
    mass = next((at for at, words in enumerate(names) if words[0] in _MASS_NAMES), None)
    if time is None or mass is None:
        missing = "seconds" if time is None else "grams"
        named = ", ".join(cell.strip() for cell in first)
        raise BadValueError(f"No column is named “{missing}”; the columns are: {named}.", field="log")
    return _Layout(time, mass, _SECONDS.get(names[time][-1], 1.0), _GRAMS.get(names[mass][-1], 1.0), header=True)


def _refuse_short(rows: list[list[str]], numbers: list[int], layout: _Layout) -> None:
    """Refuse rows that end too early, and rows of two plain columns that have more: a decimal comma parts those."""
    needed = max(layout.time, layout.mass) + 1
    bad = [
        number
        for row, number in zip(rows, numbers, strict=True)
        if len(row) < needed or (not layout.header and len(row) > needed)
    ]
    if bad:
        listed = _listed([str(number) for number in bad])
        raise BadValueError(f"These rows do not have {needed} columns as the first has: {listed}.", field="log")


def _listed(words: list[str]) -> str:
    more = len(words) - _MOST_ERRORS
    return ", ".join(words[:_MOST_ERRORS]) + (f" and {more} more" if more > 0 else "")


def _numbers(cells: list[str], rows: list[int], name: str, *, comma: bool) -> FloatArray:
    """All cells at once where they are plain numbers; one by one, with signs apart and units, where some are not."""
    if comma:
        _refuse_two_marks(cells, rows)
        cells = [cell.replace(",", ".") for cell in cells]
    try:
        values = np.array(cells).astype(np.float64)
    except ValueError:
        values = np.array([_number(cell) for cell in cells])
    bad = np.flatnonzero(~np.isfinite(values))
    if bad.size:
        listed = _listed([f"row {rows[at]} (“{cells[at].strip()[:30]}”)" for at in bad])
        raise BadValueError(f"No {name} can be read in {listed}.", field="log")
    return values


def _number(cell: str) -> float:
    found = _NUMBER.fullmatch(cell.strip().replace("\u2212", "-"))
    return float(found[1] + found[2]) if found else np.nan


def _refuse_two_marks(cells: list[str], rows: list[int]) -> None:
    points = [row for cell, row in zip(cells, rows, strict=True) if "." in cell]
    commas = [row for cell, row in zip(cells, rows, strict=True) if "," in cell]
    if points and commas:
        message = f"Row {commas[0]} has a comma in its number and row {points[0]} a point; use one decimal mark."
        raise BadValueError(message, field="log")


def _times(cells: list[str], rows: list[int], *, comma: bool) -> FloatArray:
    if ":" not in cells[0]:
        return _numbers(cells, rows, "time", comma=comma)
    values = np.array([_clock(cell.strip().replace(",", ".")) for cell in cells])
    bad = np.flatnonzero(np.isnan(values))
    if bad.size:
        listed = _listed([f"row {rows[at]} (“{cells[at].strip()[:30]}”)" for at in bad])
        message = f"No time can be read in {listed}. Write 08:05:30 or 2026-11-25 08:05:30."
        raise BadValueError(message, field="log")
    steps = np.diff(values, prepend=values[0])
    is_over_midnight = (steps < -_HALF_DAY) & (values < _DAY)
    days: FloatArray = np.cumsum(is_over_midnight).astype(np.float64)
    return values + _DAY * days


def _clock(cell: str) -> float:
    """Seconds of the day, or since a fixed day for a full date."""
    if found := _CLOCK.fullmatch(cell):
        hours = int(found[1])
        return hours * 3600.0 + int(found[2]) * 60 + float(found[3] or 0) if hours < 24 else np.nan  # noqa: PLR2004 - of a day
    try:
        moment = datetime.fromisoformat(cell)
    except ValueError:
        return np.nan
    return (moment if moment.tzinfo else moment.replace(tzinfo=UTC)).timestamp()


def _told(seconds: FloatArray, grams: FloatArray, rows: IntArray) -> BalanceLog:
    """The readings with rising times; a second reading of a moment is told and left out of the computation only."""
    steps = np.diff(seconds, prepend=seconds[0] - 1)
    if (steps < 0).any():
        listed = _listed([str(rows[at]) for at in np.flatnonzero(steps < 0)])
        raise BadValueError(f"The time goes back at row {listed}. A log must run forward.", field="log")
    again = steps == 0
    kept, masses = seconds[~again], grams[~again]
    if len(kept) < _COLUMNS:
        raise BadValueError("All readings have the same time.", field="log")
    found = [Finding(int(row), "a second reading of the same moment; the first counts") for row in rows[again]]
    found += _steps(kept, masses, rows[~again])
    found.sort(key=lambda finding: finding.row)
    return BalanceLog(kept, masses, tuple(islice(found, MOST_FINDINGS)), len(found))


def _steps(seconds: FloatArray, grams: FloatArray, rows: IntArray) -> list[Finding]:
    """Gaps in the times, and masses that fall or jump far beyond what usually comes in that time."""
    times, gained, at = np.diff(seconds), np.diff(grams), rows[1:]
    expected = np.maximum(np.median(gained / times), 0.0) * times
    falls = gained < -_FALL
    jumps = gained - expected > np.maximum(_JUMP, _TIMES_EXPECTED * expected)
    return [
        *_each(times > _GAP, times, at, "no reading for {:g} s before it"),
        *_each(falls, -gained, at, "the mass falls by {:.3f} g, as when the balance is touched, tared or emptied"),
        *_each(jumps, gained, at, "the mass jumps by {:.3f} g, as when the balance is touched or a bubble comes loose"),
    ]


def _each(marked: BoolArray, values: FloatArray, rows: IntArray, words: str) -> list[Finding]:
    return [Finding(int(rows[at]), words.format(values[at])) for at in np.flatnonzero(marked)]
