"""What a night leaves of a type as a whole, made by hand so that each number is known."""

from datetime import date, timedelta
from typing import Any

from fleet.batteries.models import Forecast, TypeOutlook
from fleet.registry.models import DeviceType
from fleet.web import clock
from tests.builders import a_type

LEVELS = ("0.5", "0.8", "0.9", "0.95", "0.98", "0.99")


def month_names(count: int = 24, first: date = date(2026, 12, 1)) -> list[str]:
    """Months as an outlook names them."""
    months = [first.year * 12 + first.month - 1 + number for number in range(count)]
    return [f"{month // 12}-{month % 12 + 1:02d}" for month in months]


def a_demand(a_month: float = 2.0, more: int = 3, **facts: Any) -> dict[str, Any]:
    """A need of so many packs a month, the same each month; 19 times in 20 at most `more` above what is expected."""
    count = 24
    total = [a_month * (number + 1) for number in range(count)]
    shifts = dict(zip(LEVELS, (0, 1, 2, more, more + 1, more + 2), strict=True))
    return {
        "months": month_names(count),
        "expected": [a_month] * count,
        "low": [max(int(a_month) - 1, 0)] * count,
        "middle": [int(a_month)] * count,
        "high": [int(a_month) + 2] * count,
        "total": {level: [int(each) + shift for each in total] for level, shift in shifts.items()},
        "total_low": [max(int(each) - 2, 0) for each in total],
        "total_expected": total,
        **facts,
    }


def a_grid() -> list[dict[str, float]]:
    """Each limit with each interval: more packs with a smaller limit, more risk with a larger one."""
    return [
        {
            "limit": limit,
            "interval_months": every,
            "packs_next_year": round(20 + every / 3 - 30 * limit, 2),
            "under_level_next_year": round(10 * limit + every / 12, 2),
        }
        for limit in (0.02, 0.05, 0.1, 0.2, 0.3)
        for every in (6, 12, 18, 24)
    ]


def an_outlook(device_type: DeviceType | None = None, **facts: Any) -> TypeOutlook:
    """A type of which half the new packs last 4 years, and whose fleet needs 2 packs a month."""
    usual = {
        "made_at": clock.now() - timedelta(hours=6),
        "basis": Forecast.Basis.OWN_TESTS,
        "prior_source": "common practice, no source",
        "packs_tested": 12,
        "tests_used": 30,
        "packs_fitted": 15,
        "new_life_low": 3.1,
        "new_life_middle": 4.0,
        "new_life_high": 5.6,
        "fade_first_year": 0.045,
        "demand": a_demand(),
        "what_if": a_grid(),
    }
    return TypeOutlook.objects.create(device_type=device_type or a_type(), **{**usual, **facts})
