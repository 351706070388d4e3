"""Unique device identifiers as scanned or typed: the GS1 element strings of a device label, and HIBC primary codes.

Sources: GS1 General Specifications (element strings, check digit 7.9, century rule 7.12); ANSI/HIBC 2.6 (primary
structure, modulo-43 check character). Only the application identifiers a driver's label is likely to carry are read;
anything else is left out with a warning. The caller keeps the raw text.
"""

import calendar
import itertools
import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from types import MappingProxyType
from typing import Final, NamedTuple

from fleet.core.errors import BadValueError
from fleet.core.words import Worded

GS: Final = "\x1d"
#: The century rule: years this far ahead belong to the century before, this far behind to the next.
_CENTURY_BEFORE_FROM: Final = 51
_CENTURY_NEXT_TO: Final = -50
_SYMBOLOGY: Final = re.compile(r"\][A-Za-z][0-9]")
_GS1_SYMBOLOGIES: Final = ("]C1", "]d2", "]Q3", "]e0")
_BRACKETED: Final = re.compile(r"\((\d{2,4})\)")
_HIBC_CHARACTERS: Final = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZ-. $/+%"
_HIBC_PRIMARY: Final = re.compile(r"\+([A-Z][A-Z0-9]{3}[A-Z0-9]{1,18}[0-9])")


class Issuer(Worded):
    """Whose rules the identifier follows."""

    GS1 = "gs1", "GS1"
    HIBCC = "hibcc", "HIBCC"


class _Element(NamedTuple):
    """An application identifier: its name, its longest value, and whether the value always has that length."""

    name: str
    length: int
    fixed: bool


#: GS1 application identifiers that are read.
_ELEMENTS: Final = MappingProxyType(
    {
        "01": _Element("device identifier", 14, fixed=True),
        "10": _Element("lot", 20, fixed=False),
        "11": _Element("date of manufacture", 6, fixed=True),
        "17": _Element("expiry date", 6, fixed=True),
        "21": _Element("serial number", 20, fixed=False),
        "240": _Element("additional identification", 30, fixed=False),
        "250": _Element("secondary serial number", 30, fixed=False),
        "254": _Element("extension of the location number", 20, fixed=False),
        "414": _Element("location number", 13, fixed=True),
        "8004": _Element("individual asset identifier", 30, fixed=False),
        "8012": _Element("software version", 20, fixed=False),
    }
)
_DATES: Final = frozenset({"11", "17"})
_CHECKED: Final = frozenset({"01", "414"})
_DATE_TAIL: Final = r"[0-9]{2}(?:0[1-9]|1[0-2])(?:[0-2][0-9]|3[01])(?:$|(?=10|11|17|21))"
#: What the value of another element looks like where a value before it has run on over its end.
_TAILS: Final = MappingProxyType({"17": _DATE_TAIL, "11": _DATE_TAIL, "10": ".+$", "21": ".+$"})


@dataclass(frozen=True, slots=True)
class Udi:
    """What an identifier says. `di` is the GTIN-14 or the HIBC code without its plus and check character.

    `other` holds the further elements that were read, as (application identifier, value). `warnings` are sentences for
    the person who scanned: where there is one, let the person confirm.
    """

    raw: str
    issuer: Issuer
    di: str
    serial: str = ""
    lot: str = ""
    expiry: date | None = None
    manufactured: date | None = None
    other: tuple[tuple[str, str], ...] = ()
    warnings: tuple[str, ...] = ()


def gs1_check_digit(body: str) -> str:
    """Return the GS1 check digit for the digits before it: weights 3, 1, 3 ... from the right, complement to ten."""
    total = sum(int(digit) * (1 if place % 2 else 3) for place, digit in enumerate(reversed(body)))
    return str(-total % 10)


def gs1_date(text: str, current_year: int, field: str = "date") -> date:
    """Return the date of YYMMDD. Day 00 is the month's last day; the century is the one nearest to `current_year`.

    With D = YY - current_year mod 100: 51 to 99 is the century before, -99 to -50 the next, else the current one.
    The answer so depends on the year of reading: keep it beside the raw text. Raises BadValueError for no such date.
    """
    if not re.fullmatch(r"[0-9]{6}", text):
        raise BadValueError(f'The {field} "{text}" is not six digits, year, month, day.', field=field)
    short_year, month, day = int(text[:2]), int(text[2:4]), int(text[4:])
    difference = short_year - current_year % 100
    century = current_year // 100
    if difference >= _CENTURY_BEFORE_FROM:
        century -= 1
    elif difference <= _CENTURY_NEXT_TO:
        century += 1
    year = century * 100 + short_year
    try:
        return date(year, month, day or calendar.monthrange(year, month)[1])
    except ValueError as error:
        message = f'The {field} "{text}" is no date; after the year comes a month 01 to 12 and a day of it, or 00.'
        raise BadValueError(message, field=field) from error


def hibc_check_character(data: str) -> str:
    """Return the modulo-43 check character of an HIBC text, its leading plus counted in. It may be a space.

    Raises BadValueError for a character outside the 43.
    """
    if strange := sorted(set(data) - set(_HIBC_CHARACTERS)):
        message = f'"{strange[0]}" cannot stand in an HIBC code; it has digits, capital letters and - . space $ / + %.'
        raise BadValueError(message, field="di")
    return _HIBC_CHARACTERS[sum(map(_HIBC_CHARACTERS.index, data)) % len(_HIBC_CHARACTERS)]


def looks_like_udi(text: str) -> bool:
    """Whether a scanned text is shaped as a UDI, so that a failure to read it is worth telling."""
    text = _trimmed(text)
    if text.startswith(_GS1_SYMBOLOGIES) or GS in text or _BRACKETED.match(text):
        return True
    bare = _SYMBOLOGY.sub("", text, count=1)
    return bool(re.match(r"01[0-9]{14}", bare)) or bool(_HIBC_PRIMARY.match(bare))


def parse_udi(raw: str, current_year: int) -> Udi:
    """Read a UDI: GS1 element strings (scanned or bracketed), or an HIBC primary code.

    `current_year` decides the century of two-digit years. Raises BadValueError for a wrong check digit, an impossible
    date, a value too long for its element or a text that carries no device identifier. What is doubtful but readable,
    above all a scanner that drops the separators, gives warnings.
    """
    text = _SYMBOLOGY.sub("", _trimmed(raw), count=1)
    if text.startswith("+"):
        return _parse_hibc(raw, text)
    text = text.rstrip(" ")
    bracketed = bool(_BRACKETED.match(text))
    pairs = list(_bracketed_pairs(text) if bracketed else _scanned_pairs(text))
    return _gs1_udi(raw, pairs, current_year, separated=bracketed or GS in text)


def _trimmed(text: str) -> str:
    """Drop what a scanner adds round a code. A space at the end stays: it may be an HIBC check character."""
    return text.strip("\r\n\t").lstrip(" ")


def _check_gs1(digits: str, field: str, name: str) -> None:
    if not re.fullmatch(r"[0-9]+", digits) or gs1_check_digit(digits[:-1]) != digits[-1]:
        message = f'The {name} "{digits}" is misread or mistyped: its check digit does not fit. Scan or type it again.'
        raise BadValueError(message, field=field)


def _bracketed_pairs(text: str) -> Iterator[tuple[str, str]]:
    parts = _BRACKETED.split(text)
    for key, value in zip(parts[1::2], parts[2::2], strict=True):
        yield key, value.strip().rstrip(GS)


def _scanned_pairs(text: str) -> Iterator[tuple[str, str]]:
    """Cut element strings: fixed values by length, others up to the separator or the end."""
    rest = text.lstrip(GS)
    while rest:
        key = next((key for key in _ELEMENTS if rest.startswith(key)), "")
        body = rest[len(key) :]
        end = _ELEMENTS[key].length if key and _ELEMENTS[key].fixed else len(body.split(GS, 1)[0])
        yield key, body[:end]
        rest = body[end:].lstrip(GS)


def _gs1_udi(raw: str, pairs: list[tuple[str, str]], current_year: int, *, separated: bool) -> Udi:
    unread = [(key, value) for key, value in pairs if key not in _ELEMENTS]
    values = {key: value for key, value in pairs if key in _ELEMENTS}
    for key, value in values.items():
        _check_value(key, value)
    if "01" not in values:
        message = f'"{raw}" carries no device identifier; a GS1 code has 01 and 14 digits. Scan the UDI on the label.'
        raise BadValueError(message, field="di")
    warnings = [f'The part "{key}{value}" is not known here and was left out.' for key, value in unread]
    warnings += _repeated(pairs)
    if not separated:
        warnings += _swallowed(values)
    dates = {key: gs1_date(values[key], current_year, _ELEMENTS[key].name) for key in _DATES & values.keys()}
    return Udi(
        raw=raw,
        issuer=Issuer.GS1,
        di=values["01"],
        serial=values.get("21", ""),
        lot=values.get("10", ""),
        expiry=dates.get("17"),
        manufactured=dates.get("11"),
        other=tuple((key, value) for key, value in values.items() if key not in {"01", "10", "11", "17", "21"}),
        warnings=tuple(warnings),
    )


def _check_value(key: str, value: str) -> None:
    name, length, fixed = _ELEMENTS[key]
    if not value or len(value) > length or (fixed and len(value) != length):
        wanted = f"{length} digits" if fixed else f"1 to {length} characters"
        message = (
            f'The {name} "{value}" has {len(value)} characters, it takes {wanted}. '
            "Either a part is missing or the scanner drops the separators; type it in."
        )
        raise BadValueError(message, field=name)
    if key in _CHECKED:
        _check_gs1(value, name, name)


def _repeated(pairs: list[tuple[str, str]]) -> Iterator[str]:
    keys = [key for key, _ in pairs if key in _ELEMENTS]
    for key in dict.fromkeys(key for key in keys if keys.count(key) > 1):
        yield f"The {_ELEMENTS[key].name} stands in the code more than once; the last one was taken."


def _swallowed(values: dict[str, str]) -> Iterator[str]:
    """Warn of a value of free length that may hold another element, in a text without any separator."""
    free = {key: value for key, value in values.items() if not _ELEMENTS[key].fixed}
    for (key, value), (other, tail) in itertools.product(free.items(), _TAILS.items()):
        if other not in values and (found := re.search(rf"(?<=.)({other}{tail})", value)):
            yield (
                f'The {_ELEMENTS[key].name} "{value}" may have swallowed the {_ELEMENTS[other].name} in '
                f'"{found[1]}", for the code has no separator. Compare it with the label.'
            )


def _parse_hibc(raw: str, text: str) -> Udi:
    whole, check = text[:-1], text[-1]
    primary, _, secondary = whole.partition("/")
    match = _HIBC_PRIMARY.fullmatch(primary)
    if match is None:
        message = (
            f'"{raw}" is no HIBC primary code; after the plus come four characters of the labeler, beginning with a '
            "letter, the product, a digit for the unit, and a check character."
        )
        raise BadValueError(message, field="di")
    if hibc_check_character(whole) != check:
        message = f'"{raw}" is misread or mistyped: its check character does not fit. Scan or type it again.'
        raise BadValueError(message, field="di")
    warnings = (f'The second part "{secondary}" is not read here.',) if secondary else ()
    return Udi(raw=raw, issuer=Issuer.HIBCC, di=match[1], warnings=warnings)
