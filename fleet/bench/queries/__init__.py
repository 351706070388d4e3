"""Reading the bench: the facts of a driver, the queue, one order's page, and how long things take."""

from fleet.bench.queries.again import AGAIN_DAYS, CameBack, came_back, repaired_before
from fleet.bench.queries.before import work_before
from fleet.bench.queries.choices import places
from fleet.bench.queries.choosing import Work, asks_only, choose_work, open_due
from fleet.bench.queries.clocks import clocks_on, minutes_shown, running_clock
from fleet.bench.queries.computing import computed_with
from fleet.bench.queries.costs import Cost, cost_of, costs_by, rates
from fleet.bench.queries.facts import (
    InForce,
    Standing,
    facts,
    harm_linked,
    has_worked,
    in_force,
    in_words,
    limits_of,
    no_work,
    open_orders,
    open_quarantine,
    standing,
    workers,
)
from fleet.bench.queries.finding import Found, find
from fleet.bench.queries.findings import AfterWork, Findings, Yield, findings
from fleet.bench.queries.kits import fits, issue_places, kit_of, kit_wanted
from fleet.bench.queries.page import Line, OrderPage, order_page, orders
from fleet.bench.queries.procedures import procedures
from fleet.bench.queries.queue import Narrow, Place, Stock, Waiting, pool_stocks, queue, rows
from fleet.bench.queries.signing import (
    SIGNED,
    Signed,
    digest_of,
    is_told,
    meaning_for,
    parts_of,
    signatures,
    signed_orders,
    unsigned_digests,
    work_of,
)
from fleet.bench.queries.taking import Kits, Takes, will_take, working_sites
from fleet.bench.queries.team import Candidate, candidates, given_to, handover_of
from fleet.bench.queries.together import Scanned, news, others_at, scanned
from fleet.bench.queries.trace import Doubted, Taken, Trace, devices_in_doubt, mention, open_planned, rechecks, traced
from fleet.bench.queries.turnaround import Turnaround, day_begins, turnaround
from fleet.bench.queries.using import instruments_for, last_context, last_used, may_name

__all__ = [
    "AGAIN_DAYS",
    "SIGNED",
    "AfterWork",
    "CameBack",
    "Candidate",
    "Cost",
    "Doubted",
    "Findings",
    "Found",
    "InForce",
    "Kits",
    "Line",
    "Narrow",
    "OrderPage",
    "Place",
    "Scanned",
    "Signed",
    "Standing",
    "Stock",
    "Taken",
    "Takes",
    "Trace",
    "Turnaround",
    "Waiting",
    "Work",
    "Yield",
    "asks_only",
    "came_back",
    "candidates",
    "choose_work",
    "clocks_on",
    "computed_with",
    "cost_of",
    "costs_by",
    "day_begins",
    "devices_in_doubt",
    "digest_of",
    "facts",
    "find",
    "findings",
    "fits",
    "given_to",
    "handover_of",
    "harm_linked",
    "has_worked",
    "in_force",
    "in_words",
    "instruments_for",
    "is_told",
    "issue_places",
    "kit_of",
    "kit_wanted",
    "last_context",
    "last_used",
    "limits_of",
    "may_name",
    "meaning_for",
    "mention",
    "minutes_shown",
    "news",
    "no_work",
    "open_due",
    "open_orders",
    "open_planned",
    "open_quarantine",
    "order_page",
    "orders",
    "others_at",
    "parts_of",
    "places",
    "pool_stocks",
    "procedures",
    "queue",
    "rates",
    "rechecks",
    "repaired_before",
    "rows",
    "running_clock",
    "scanned",
    "signatures",
    "signed_orders",
    "standing",
    "traced",
    "turnaround",
    "unsigned_digests",
    "will_take",
    "work_before",
    "work_of",
    "workers",
    "working_sites",
]
