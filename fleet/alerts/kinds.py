"""The kinds of alert Benchward starts with, in our own words. A hospital may add its own beside them.

Each maker words its screens differently; what the screen said is kept beside the kind, as it was seen.
"""

from typing import Final, NamedTuple


class Kind(NamedTuple):
    """One kind: `service` makes the next service due now; `battery` is told to whoever looks after packs."""

    code: str
    words: str
    service: bool = False
    battery: bool = False


KINDS: Final = (
    Kind("asked-for-maintenance", "Asked for maintenance", service=True),
    Kind("battery-weak", "Battery weak", battery=True),
    Kind("battery-fault", "Battery fault", battery=True),
    Kind("ran-flat", "Ran flat", battery=True),
    Kind("would-not-charge", "Would not charge", battery=True),
    Kind("motor-or-drive", "Motor or drive"),
    Kind("internal-check-failed", "Internal check failed"),
    Kind("blockage", "Blockage, with none found"),
    Kind("syringe-not-recognised", "Syringe not recognised"),
    Kind("pressure-sensing", "Pressure sensing"),
    Kind("keys-or-screen", "Keys or screen"),
    Kind("clock-or-memory", "Clock or memory"),
    Kind("library-problem", "Drug library problem"),
    Kind("something-else", "Something else"),
)
