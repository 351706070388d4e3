"""Reading the bench: the facts of a driver, the queue, one order's page, and how long things take."""

from fleet.bench.queries.choices import places, procedures
from fleet.bench.queries.choosing import Work, asks_only, choose_work, open_due
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
from fleet.bench.queries.finding import Found, find
from fleet.bench.queries.page import OrderPage, order_page, orders
from fleet.bench.queries.queue import Narrow, Place, Stock, Waiting, pool_stocks, queue, rows
from fleet.bench.queries.turnaround import Turnaround, day_begins, turnaround

__all__ = [
    "Found",
    "Narrow",
    "OrderPage",
    "Place",
    "Standing",
    "Stock",
    "Turnaround",
    "Waiting",
    "Work",
    "asks_only",
    "choose_work",
    "day_begins",
    "facts",
    "find",
    "harm_linked",
    "in_force",
    "in_words",
    "limits_of",
    "open_due",
    "open_orders",
    "open_quarantine",
    "order_page",
    "orders",
    "places",
    "pool_stocks",
    "procedures",
    "queue",
    "rows",
    "standing",
    "turnaround",
    "workers",
]
