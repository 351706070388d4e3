"""Reading the stores: instruments and their calibration, parts and their stock."""

from fleet.stores.queries.instruments import (
    calibrations_of,
    good_again,
    in_state,
    instruments,
    last_good,
    state_of,
    state_on,
    usable_instruments,
)
from fleet.stores.queries.ledger import Line, ledger, ledger_faults, stock_history
from fleet.stores.queries.parts import (
    Scanned,
    by_label,
    kept,
    kept_nowhere,
    open_purchases,
    parts,
    shelves,
    usable,
)
from fleet.stores.queries.stock import countable, oldest_first, places_with_parts, stocks, stocks_of

__all__ = [
    "Line",
    "Scanned",
    "by_label",
    "calibrations_of",
    "countable",
    "good_again",
    "in_state",
    "instruments",
    "kept",
    "kept_nowhere",
    "last_good",
    "ledger",
    "ledger_faults",
    "oldest_first",
    "open_purchases",
    "parts",
    "places_with_parts",
    "shelves",
    "state_of",
    "state_on",
    "stock_history",
    "stocks",
    "stocks_of",
    "usable",
    "usable_instruments",
]
