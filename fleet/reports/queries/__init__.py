"""Reading across the rooms: search, one driver's page, the trail, and the figures of a fleet."""

from fleet.reports.queries.device_page import DevicePage, Status, device_page, status_of
from fleet.reports.queries.finding import Hits, search
from fleet.reports.queries.outcomes import Outcomes, outcomes
from fleet.reports.queries.overview import DAYS_AHEAD, Overview, Standing, overview, standing_so
from fleet.reports.queries.trail import Timeline, Topic, history, names, timeline, trail

__all__ = [
    "DAYS_AHEAD",
    "DevicePage",
    "Hits",
    "Outcomes",
    "Overview",
    "Standing",
    "Status",
    "Timeline",
    "Topic",
    "device_page",
    "history",
    "names",
    "outcomes",
    "overview",
    "search",
    "standing_so",
    "status_of",
    "timeline",
    "trail",
]
