"""Reading the bench: the facts of a driver, the queue, one order's page, and how long things take."""

from fleet.bench.queries.facts import (
    Standing,
    facts,
    harm_linked,
    in_force,
    in_words,
    limits_of,
    open_orders,
    open_quarantine,
    standing,
    workers,
)

__all__ = [
    "Standing",
    "facts",
    "harm_linked",
    "in_force",
    "in_words",
    "limits_of",
    "open_orders",
    "open_quarantine",
    "standing",
    "workers",
]
