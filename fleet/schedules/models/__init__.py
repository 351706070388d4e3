"""Plans and dues, the use of drivers, searches, risk scores, and days on which nobody works."""

from fleet.schedules.models.days import (
    ClosedDays,
    ClosedDaysQuerySet,
    PlaceCalendar,
)
from fleet.schedules.models.dues import (
    CounterReading,
    DriverUse,
    Due,
    DueAttempt,
    DueDone,
    DueQuerySet,
    Levelling,
    Plan,
    Search,
    SearchQuerySet,
)
from fleet.schedules.models.risk import (
    HouseRule,
    RiskClass,
    TypeRisk,
)

__all__ = [
    "ClosedDays",
    "ClosedDaysQuerySet",
    "CounterReading",
    "DriverUse",
    "Due",
    "DueAttempt",
    "DueDone",
    "DueQuerySet",
    "HouseRule",
    "Levelling",
    "PlaceCalendar",
    "Plan",
    "RiskClass",
    "Search",
    "SearchQuerySet",
    "TypeRisk",
]
