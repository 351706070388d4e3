"""Reading across the rooms: search, one driver's page, the trail, and the figures of a fleet."""

from fleet.reports.queries.costs import CostLine, Costs, costs, dearest, of_driver, replaced
from fleet.reports.queries.device_page import DevicePage, Status, device_page, status_of
from fleet.reports.queries.finding import Hits, search
from fleet.reports.queries.outcomes import CODES, OutcomeLine, Outcomes, Repairs, outcomes, repairs
from fleet.reports.queries.overview import DAYS_AHEAD, Overview, Standing, Wanting, overview, standing_so
from fleet.reports.queries.reorder import COVER_DAYS, Bring, ReorderList, reorder_list
from fleet.reports.queries.reorder import Line as ReorderLine
from fleet.reports.queries.trail import Timeline, Topic, history, names, timeline, trail
from fleet.reports.queries.verifying import (
    VERIFIED,
    Sealing,
    Verified,
    last_verification,
    sealing,
    verified,
)

__all__ = [
    "CODES",
    "COVER_DAYS",
    "DAYS_AHEAD",
    "VERIFIED",
    "Bring",
    "CostLine",
    "Costs",
    "DevicePage",
    "Hits",
    "OutcomeLine",
    "Outcomes",
    "Overview",
    "ReorderLine",
    "ReorderList",
    "Repairs",
    "Sealing",
    "Standing",
    "Status",
    "Timeline",
    "Topic",
    "Verified",
    "Wanting",
    "costs",
    "dearest",
    "device_page",
    "history",
    "last_verification",
    "names",
    "of_driver",
    "outcomes",
    "overview",
    "reorder_list",
    "repairs",
    "replaced",
    "sealing",
    "search",
    "standing_so",
    "status_of",
    "timeline",
    "trail",
    "verified",
]
