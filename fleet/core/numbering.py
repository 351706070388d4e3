"""Runs of asset numbers: the numbers that follow a first one, as a storekeeper would write them on."""

import re
from typing import Final

from fleet.core.errors import BadValueError

_LAST_DIGITS: Final = re.compile(r"^(.*?)([0-9]{1,12})$")


def run_from(first: str, count: int) -> list[str]:
    """Return `count` numbers from `first` on: the digits at its end are counted up and keep their width.

    "SD0098" gives SD0098, SD0099, SD0100; past its width a number grows ("A9", "A10"). Raises BadValueError for a first
    number that ends in no digit, since nothing would follow it.
    """
    match = _LAST_DIGITS.match(first.strip())
    if match is None:
        message = f'"{first}" ends in no digit, so no number follows it. Give one like SD01200.'
        raise BadValueError(message, field="first_asset")
    head, digits = match[1], match[2]
    return [f"{head}{int(digits) + step:0{len(digits)}d}" for step in range(count)]
