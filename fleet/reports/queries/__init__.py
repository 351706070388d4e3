"""Reading across the rooms: search, one driver's page, the trail, and the figures of a fleet."""

from fleet.reports.queries.device_page import DevicePage, Status, device_page, status_of
from fleet.reports.queries.finding import Hits, search
from fleet.reports.queries.trail import Timeline, Topic, history, timeline

__all__ = [
    "DevicePage",
    "Hits",
    "Status",
    "Timeline",
    "Topic",
    "device_page",
    "history",
    "search",
    "status_of",
    "timeline",
]
