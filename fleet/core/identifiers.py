"""The numbers on paper tags and orders, and what a scanner or a search box may hand over.

A number is its sequence in digits, at least four, and one check letter: 4821Q, shown 4821-Q. The check letter is the
remainder of division by 23, the arithmetic of the control letter of the Spanish identity number (from memory), with an
alphabet of our own. As 23 is prime and 10 has order 22 modulo 23, every wrong symbol, every swap of neighbours or over
one symbol and every wrong twin is caught, up to 15 digits (proved in the tests). The alphabet leaves out I, O and S,
which are read as 1, 0 and 5 in handwriting.

An order's number begins with W. The W counts as one more digit in front, of the value it has in the alphabet (19), so
that a W lost, added or read as a digit is caught as well.
"""

import re
from dataclasses import dataclass
from typing import Final, NamedTuple
from urllib.parse import urlsplit

from fleet.core.errors import BadValueError
from fleet.core.udi import Udi, looks_like_udi, parse_udi
from fleet.core.words import Worded

CHECK_LETTERS: Final = "ABCDEFGHJKLMNPQRTUVWXYZ"
_LEADING_WORD: Final = re.compile(r"^\s*(?:TAG|ORDER)?(?:\s*(?:NO|NUMBER)\b)?[\s.:#]*")
#: Spaces, hyphens and the dashes that phones and word processors put in place of hyphens.
_SEPARATORS: Final = re.compile("[\\s\u00ad\u2010-\u2015\u2212-]+")
_NUMBER: Final = re.compile(rf"(W?)([0-9]{{4,15}})([{CHECK_LETTERS}])")


class _Series(NamedTuple):
    """One kind of number: how it is called, and the letter before its digits, if any."""

    name: str
    prefix: str

    def check_letter(self, digits: str) -> str:
        front = CHECK_LETTERS.index(self.prefix) if self.prefix else 0
        return CHECK_LETTERS[(front * 10 ** len(digits) + int(digits)) % len(CHECK_LETTERS)]

    def number(self, sequence: int) -> str:
        if sequence < 1:
            raise BadValueError(f"A number is counted from 1 on, not {sequence}.", field="sequence")
        digits = f"{sequence:04d}"
        return f"{self.prefix}{digits}{self.check_letter(digits)}"


_TAG: Final = _Series("tag number", "")
_ORDER: Final = _Series("order number", "W")


class ScanKind(Worded):
    """What a scanned or typed text is."""

    TAG = "tag", "Tag number"
    ORDER = "order", "Order number"
    UDI = "udi", "Device identifier"
    LINK = "link", "Label link"
    TEXT = "text", "Asset or serial number"


@dataclass(frozen=True, slots=True)
class Scan:
    """What `read_any` made of a text.

    `text` is what to look up: the path of a link, a UDI as it came, anything else trimmed. `sequence` is set for tags
    and orders, `udi` for a readable UDI. `problem` says why a UDI cannot be read, or that a plain text looks like a tag
    or order number whose check letter does not fit: say so when no asset has that number. A text that does fit may by
    chance be an asset number too: look up both.
    """

    kind: ScanKind
    text: str
    sequence: int | None = None
    udi: Udi | None = None
    problem: str = ""


def tag_number(sequence: int) -> str:
    """Return the tag number of a sequence from 1 on, without hyphen: 4821 -> "4821Q"."""
    return _TAG.number(sequence)


def order_number(sequence: int) -> str:
    """Return the order number of a sequence from 1 on, without hyphen: 4821 -> "W4821M"."""
    return _ORDER.number(sequence)


def hyphenated(number: str) -> str:
    """Return a tag or order number as it is shown and written on paper: "4821Q" -> "4821-Q"."""
    return f"{number[:-1]}-{number[-1]}"


def read_tag_number(text: str) -> int:
    """Return the sequence of a tag number typed with any case, spaces, hyphens or the word "tag" before it.

    Raises BadValueError that says what is wrong; it never tells the letter that would fit, for the tag must be read
    again.
    """
    return _read(text, _TAG)


def read_order_number(text: str) -> int:
    """Return the sequence of an order number, typed as freely as a tag number. Raises BadValueError likewise."""
    return _read(text, _ORDER)


def read_any(text: str, current_year: int) -> Scan:
    """Tell what a scanner or a search box handed over. `current_year` is for the dates in a UDI.

    Never raises: what fits nothing else is plain text, and a UDI that cannot be read says why in `problem`.
    """
    bare = text.strip()
    if bare.lower().startswith(("http://", "https://")):
        return Scan(ScanKind.LINK, _path(bare))
    if looks_like_udi(text):
        return _scanned_udi(text, current_year)
    match = _matched(bare)
    if match is None:
        return Scan(ScanKind.TEXT, bare)
    kind, series = (ScanKind.ORDER, _ORDER) if match[1] else (ScanKind.TAG, _TAG)
    try:
        return Scan(kind, bare, sequence=_read(bare, series))
    except BadValueError as error:
        return Scan(ScanKind.TEXT, bare, problem=str(error))


def without_separators(text: str) -> str:
    """The text without spaces and dashes of any kind, as hurried or gloved hands add them."""
    return _SEPARATORS.sub("", text)


def _matched(text: str) -> re.Match[str] | None:
    return _NUMBER.fullmatch(_SEPARATORS.sub("", _LEADING_WORD.sub("", text.upper())))


def _read(text: str, series: _Series) -> int:
    match = _matched(text)
    if match is None or match[1] != series.prefix:
        shape = f"at least four digits and one check letter{', after a W' if series.prefix else ''}"
        message = f'"{text.strip()}" is no {series.name}; one has {shape}.'
        raise BadValueError(message, field=series.name)
    sequence = int(match[2])
    if sequence < 1 or series.check_letter(match[2]) != match[3]:
        message = (
            f'"{text.strip()}" is misread or mistyped: its check letter does not fit. Read the {series.name} again.'
        )
        raise BadValueError(message, field=series.name)
    return sequence


def _path(url: str) -> str:
    try:
        return urlsplit(url).path
    except ValueError:
        return ""


def _scanned_udi(text: str, current_year: int) -> Scan:
    try:
        return Scan(ScanKind.UDI, text, udi=parse_udi(text, current_year))
    except BadValueError as error:
        return Scan(ScanKind.UDI, text, problem=str(error))
