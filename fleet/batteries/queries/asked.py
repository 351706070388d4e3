"""The replacements that the risk limits ask for, of a type, by month, as the advice of the last night has them.

Each fitted pack counts with its next visit only: what the visit after it will ask for is not planned yet. A pack that
no limit asks for may still fall under its level before that visit: what is expected of all such packs stands beside.
"""

from bisect import bisect_right
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Final

import numpy as np
from django.db.models import Count, Sum

from fleet.batteries.models import Forecast
from fleet.core.battery.arrays import FloatArray, IntArray
from fleet.core.battery.decision import Advice
from fleet.core.due import add_months

#: Advice that is for today, and all that takes a pack out.
AT_ONCE: Final = (Advice.REPLACE_NOW.value, Advice.CALL_IN.value)
AT_VISIT: Final = Advice.REPLACE_AT_VISIT.value
#: Advice that leaves a pack in.
LEFT_IN: Final = (Advice.TEST_NOW.value, Advice.SKIP_TEST.value, Advice.WAIT.value)


@dataclass(frozen=True, slots=True)
class Asked:
    """Replacements asked for: at once, at visits that are late (which is now too), and by the day of the others.

    `left_in`: of the packs that none is asked for, how many are expected to fall under their level before their next
    visit, by its day; one whose chance is not known, or without a visit, counts nothing.
    """

    at_once: int = 0
    late: int = 0
    visits: Mapping[date, int] = field(default_factory=dict)
    left_in: Mapping[date, float] = field(default_factory=dict)

    def within(self, months: Sequence[date]) -> "Asked":
        """Without the visits after the last of these months."""
        end = add_months(months[-1], 1)
        visits = {on: count for on, count in self.visits.items() if on < end}
        return Asked(self.at_once, self.late, visits, self.left_in)

    def by_month(self, months: Sequence[date]) -> IntArray:
        """Return the replacements (M,) of each month, given by its first day; the first holds all up to its end."""
        found = np.zeros(len(months), dtype=np.int64)
        found[0] = self.at_once + self.late
        for on, count in self.within(months).visits.items():
            found[max(bisect_right(months, on) - 1, 0)] += count
        return found

    def by_day(self, today: date, days: int) -> IntArray:
        """Return the replacements (D,) asked for up to the end of each day from today on."""
        found = np.zeros(days, dtype=np.int64)
        found[0] = self.at_once + self.late
        for on, count in self.visits.items():
            if (after := max((on - today).days, 0)) < days:
                found[after] += count
        return np.cumsum(found)

    def left_in_by_day(self, today: date, days: int) -> FloatArray:
        """Return the packs left in (D,) expected under their level by the end of each day, evenly until the visit."""
        ahead = np.array([max((on - today).days, 1) for on in self.left_in])
        share = np.minimum(np.arange(1, days + 1)[:, None] / ahead, 1.0)
        return np.asarray(share @ np.array(list(self.left_in.values()), dtype=np.float64))

    @property
    def at_visits(self) -> int:
        """How many at visits that are not late."""
        return sum(self.visits.values())

    @property
    def total(self) -> int:
        """How many in all."""
        return self.at_once + self.late + self.at_visits


def asked_by_type(today: date) -> dict[int, Asked]:
    """The replacements asked for of each type (its key), of all fitted packs of all sites; one query."""
    rows = Forecast.objects.filter(advice__in=[*AT_ONCE, AT_VISIT, *LEFT_IN]).order_by()
    grouped = rows.values_list("pack__for_type", "advice", "next_visit")
    at_once, late, visits = Counter[int](), Counter[int](), defaultdict[int, Counter[date]](Counter)
    left_in = defaultdict[int, defaultdict[date, float]](lambda: defaultdict(float))
    for kind, advice, visit, count, expected in grouped.annotate(Count("pk"), Sum("chance_before_visit")):
        if advice in LEFT_IN:
            left_in[kind][visit or today] += expected or 0.0
        elif advice != AT_VISIT:
            at_once[kind] += count
        elif visit is None or visit < today:
            late[kind] += count
        else:
            visits[kind][visit] += count
    kinds = {*at_once, *late, *visits, *left_in}
    return {kind: Asked(at_once[kind], late[kind], visits[kind], left_in[kind]) for kind in kinds}
