"""Reading across the rooms: search, one driver's page, the trail, and the figures of a fleet."""

from fleet.reports.queries.costs import CostLine, Costs, costs, dearest, of_driver, replaced
from fleet.reports.queries.device_page import DevicePage, Status, device_page, status_of
from fleet.reports.queries.finding import Hits, search
from fleet.reports.queries.outcomes import CODES, OutcomeLine, Outcomes, Repairs, outcomes, repairs
from fleet.reports.queries.overview import DAYS_AHEAD, Overview, Standing, Wanting, overview, standing_so
from fleet.reports.queries.reorder import COVER_DAYS, Bring, ReorderList, reorder_list
from fleet.reports.queries.reorder import Line as ReorderLine
from fleet.reports.queries.trail import Timeline, Topic, history, names, timeline, trail

__all__ = [
    "CODES",
    "COVER_DAYS",
    "DAYS_AHEAD",
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
    "Standing",
    "Status",
    "Timeline",
    "Topic",
    "Wanting",
    "costs",
    "dearest",
    "device_page",
    "history",
    "names",
    "of_driver",
    "outcomes",
    "overview",
    "reorder_list",
    "repairs",
    "replaced",
    "search",
    "standing_so",
    "status_of",
    "timeline",
    "trail",
]
