"""Which drivers a safety notice concerns: serial numbers in their natural order, software versions, and packs.

Numbers are compared in natural order: runs of digits as numbers, all else as letters whatever their case, spaces not at
all. So T9 comes before T10, T0012 equals t12, and T150B lies between T100 and T200. Both ends of a range belong to it.

What is not on record never lets a driver escape: one whose software version nobody has read is concerned until somebody
looks. Better one too many than one missed.
"""

import re
import unicodedata
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from fleet.core.errors import BadValueError

_RUNS: Final = re.compile(r"[0-9]+|[^0-9]+")
Key = tuple[tuple[bool, int, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One line of a notice's criteria. All that is stated must hold; nothing stated but the type takes every driver.

    A serial number fits if it lies in the range or stands in the list. A range may be open at one end.
    """

    device_type: int
    serial_from: str = ""
    serial_to: str = ""
    serials: tuple[str, ...] = ()
    software: tuple[str, ...] = ()
    pack_part: str = ""
    code_from: str = ""
    code_to: str = ""

    @property
    def has_range(self) -> bool:
        """Whether a range of serial numbers is stated."""
        return bool(self.serial_from or self.serial_to)

    @property
    def about_packs(self) -> bool:
        """Whether the pack in the driver decides too."""
        return bool(self.pack_part or self.code_from or self.code_to)


@dataclass(frozen=True, slots=True)
class Fitted:
    """The pack in a driver; an empty date code is not known."""

    part_number: str
    date_code: str = ""


@dataclass(frozen=True, slots=True)
class Driver:
    """What the record says of a driver; an empty software version, or no pack, is not known."""

    device_type: int
    serial: str
    software: str = ""
    pack: Fitted | None = None


@dataclass(frozen=True, slots=True)
class Fit:
    """A driver is concerned. `not_known`: what the record does not say, for which it is taken to be."""

    not_known: tuple[str, ...] = ()


def natural_key(text: str) -> Key:
    """What a serial number, version or date code is sorted and compared by; see above."""
    plain = "".join(unicodedata.normalize("NFKC", text).casefold().split())
    return tuple((False, int(run), "") if run.isdecimal() else (True, 0, run) for run in _RUNS.findall(plain))


def shape(text: str) -> tuple[str, ...]:
    """How a number is written: its letters, with "#" for each run of digits. T100 and T2001 have one shape."""
    return tuple(letters or "#" for _, _, letters in natural_key(text))


def check(line: Line) -> None:
    """Raise BadValueError (field "serial_to" or "code_to") for a range that ends before it begins."""
    for first, last, field in (
        (line.serial_from, line.serial_to, "serial_to"),
        (line.code_from, line.code_to, "code_to"),
    ):
        if first and last and natural_key(last) < natural_key(first):
            raise BadValueError(f"{last} comes before {first}. Give the lower end first.", field=field)


def fit(lines: Iterable[Line], driver: Driver) -> Fit | None:
    """How a driver fits the lines, by the one that needs the least supposing; None where it fits none."""
    found = (_fit(line, driver) for line in lines)
    return min((each for each in found if each), key=lambda each: len(each.not_known), default=None)


def pack_fits(line: Line, pack: Fitted) -> bool:
    """Whether a pack, wherever it lies, is one that the line names, or may be for all that is known."""
    return line.about_packs and not _pack_differs(line, pack)


def written_otherwise(lines: Iterable[Line], driver: Driver) -> bool:
    """Whether a driver of the type fits no range, and its serial is written unlike both ends: look at it by hand."""
    of_type = [line for line in lines if line.device_type == driver.device_type and line.has_range]
    ends = {shape(end) for line in of_type for end in (line.serial_from, line.serial_to) if end}
    return bool(of_type) and shape(driver.serial) not in ends and fit(of_type, driver) is None


def why_not(lines: Iterable[Line], driver: Driver) -> str:
    """What keeps a driver from fitting any line, in words."""
    of_type = [line for line in lines if line.device_type == driver.device_type]
    if not of_type:
        return "no driver of its type is concerned"
    line = of_type[0]
    reasons = []
    if not _serial_fits(line, driver.serial):
        reasons.append(f"its serial number is {driver.serial}")
    if line.software and driver.software and not _listed(driver.software, line.software):
        reasons.append(f"its software version is {driver.software}")
    if driver.pack and line.about_packs and _pack_differs(line, driver.pack):
        reasons.append(f"its pack is {' '.join(filter(None, (driver.pack.part_number, driver.pack.date_code)))}")
    return " and ".join(reasons)


def _fit(line: Line, driver: Driver) -> Fit | None:
    if line.device_type != driver.device_type or not _serial_fits(line, driver.serial):
        return None
    not_known = []
    if line.software:
        if not driver.software:
            not_known.append("its software version is not on record")
        elif not _listed(driver.software, line.software):
            return None
    if line.about_packs:
        if driver.pack is None:
            not_known.append("its pack is not on record")
        elif _pack_differs(line, driver.pack):
            return None
        elif not driver.pack.date_code and (line.code_from or line.code_to):
            not_known.append("the date code of its pack is not on record")
    return Fit(tuple(not_known))


def _serial_fits(line: Line, serial: str) -> bool:
    if not line.has_range and not line.serials:
        return True
    return (line.has_range and _within(serial, line.serial_from, line.serial_to)) or _listed(serial, line.serials)


def _pack_differs(line: Line, pack: Fitted) -> bool:
    if line.pack_part and natural_key(pack.part_number) != natural_key(line.pack_part):
        return True
    return bool(pack.date_code) and not _within(pack.date_code, line.code_from, line.code_to)


def _within(text: str, first: str, last: str) -> bool:
    key = natural_key(text)
    return (not first or natural_key(first) <= key) and (not last or key <= natural_key(last))


def _listed(text: str, among: Iterable[str]) -> bool:
    key = natural_key(text)
    return any(natural_key(each) == key for each in among)
