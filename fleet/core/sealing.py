"""A digest of what a record holds, part by part, so that a signature can tell later whether anything was changed.

SHA-256 (FIPS 180-4) over JSON with sorted keys and no spaces, so that equal content gives equal bytes everywhere.
"""

import hashlib
import json
from collections.abc import Mapping
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

from fleet.core.errors import BadValueError


def seal(content: object) -> str:
    """The digest of a value made of mappings, sequences, texts, numbers, dates and bytes: 64 hexadecimal digits.

    4.90 and 4.9 are the same number, and the same instant in two time zones is one. Raises BadValueError for anything
    else: what cannot be compared later is not signed.
    """
    text = json.dumps(_plain(content), ensure_ascii=False, sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


def seal_parts(parts: Mapping[str, object]) -> dict[str, str]:
    """The digest of each named part."""
    return {name: seal(content) for name, content in parts.items()}


def differing(signed: Mapping[str, str], now: Mapping[str, str]) -> tuple[str, ...]:
    """The names of the parts that are not as they were signed: changed, gone, or new since; in the order of `now`."""
    names = [*now, *(name for name in signed if name not in now)]
    return tuple(name for name in names if signed.get(name) != now.get(name))


def _plain(value: object) -> Any:
    if isinstance(value, Mapping):
        return {str(key): _plain(held) for key, held in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(held) for held in value]
    if isinstance(value, (bytes, bytearray, memoryview)):
        return hashlib.sha256(value).hexdigest()
    if value is None or isinstance(value, (bool, int, float)):
        return value
    return _text(value)


def _text(value: object) -> str:
    if isinstance(value, str):
        return str(value)
    if isinstance(value, Decimal):
        return f"{value.normalize():f}"
    if isinstance(value, datetime):
        return (value.astimezone(UTC) if value.tzinfo else value).isoformat()
    if isinstance(value, date):
        return value.isoformat()
    raise BadValueError(f"{type(value).__name__} is no content that can be signed.")
