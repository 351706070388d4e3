"""How much of the planned work was done in its window.

Scheduled is each due whose window ended in the period, those not located and in use too. On time is done within the
window. A driver retired before the window ended leaves the count (its retirement has a reason on record); one retired
afterwards does not. Definition: common practice, no source.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction
from typing import Any

from django.db.models import F, Q, QuerySet

from fleet.core import share
from fleet.core.words import Worded
from fleet.people.models import Person
from fleet.registry.models import Device
from fleet.schedules.models import Due, DueDone
from fleet.schedules.queries.dues import with_last_attempt


class Result(Worded):
    """How a due ended, best first."""

    ON_TIME = "on_time", "On time"
    LATE = "late", "Late"
    EARLY = "early", "Before its window"
    NOT_FOUND = "not_found", "Not located"
    IN_USE = "in_use", "In use"
    PARTS = "parts", "Waiting for parts"
    REFUSED = "refused", "Access refused"
    OPEN = "open", "No attempt recorded"


_RANK = {result: rank for rank, result in enumerate(Result)}


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """One scheduled due and how it ended, by name."""

    device_id: int
    plan_id: int
    asset_number: str
    plan: str
    site: str
    life_support: bool
    due_on: date
    closes_on: date
    deferred: bool
    result: Result


@dataclass(frozen=True, slots=True)
class Completion:
    """Counts of scheduled dues by result."""

    results: Mapping[Result, int]
    deferred: int

    @property
    def scheduled(self) -> int:
        """Dues whose window ended in the period."""
        return sum(self.results.values())

    @property
    def on_time(self) -> Fraction | None:
        """Share done within the window; None when nothing was due."""
        return share.completion(self.results.get(Result.ON_TIME, 0), self.scheduled)

    @property
    def done(self) -> Fraction | None:
        """Share done at all, late and early ones too; None when nothing was due."""
        done = sum(self.results.get(result, 0) for result in (Result.ON_TIME, Result.LATE, Result.EARLY))
        return share.share(done, self.scheduled)


@dataclass(frozen=True, slots=True)
class Report:
    """Completion of a period: all, life-support apart, by plan and by site, and each due not done on time by name."""

    first: date
    last: date
    total: Completion
    life_support: Completion
    by_plan: Mapping[str, Completion]
    by_site: Mapping[str, Completion]
    misses: list[Outcome]


def completion(first: date, last: date, *, on: date, person: Person | None = None) -> Report:
    """Completion of the windows that ended from `first` to `last`; a window still open on `on` is not counted yet."""
    last = min(last, on - timedelta(days=1))
    outcomes = list(_best(_outcomes(first, last, person)))
    return Report(
        first=first,
        last=last,
        total=_counted(outcomes),
        life_support=_counted(outcome for outcome in outcomes if outcome.life_support),
        by_plan=_grouped((outcome.plan, outcome) for outcome in outcomes),
        by_site=_grouped((outcome.site, outcome) for outcome in outcomes),
        misses=[outcome for outcome in outcomes if outcome.result is not Result.ON_TIME],
    )


def _best(outcomes: Iterable[Outcome]) -> Iterable[Outcome]:
    """One outcome a due: work done early leaves a fixed due standing, so the same due may end twice."""
    best: dict[tuple[int, int, date], Outcome] = {}
    for outcome in outcomes:
        key = outcome.device_id, outcome.plan_id, outcome.due_on
        if key not in best or _RANK[outcome.result] < _RANK[best[key].result]:
            best[key] = outcome
    return best.values()


def _counted(outcomes: Iterable[Outcome]) -> Completion:
    rows = list(outcomes)
    return Completion(Counter(row.result for row in rows), sum(row.deferred for row in rows))


def _grouped(named: Iterable[tuple[str, Outcome]]) -> dict[str, Completion]:
    groups: dict[str, list[Outcome]] = {}
    for name, outcome in named:
        groups.setdefault(name, []).append(outcome)
    return {name: _counted(groups[name]) for name in sorted(groups)}


def _outcomes(first: date, last: date, person: Person | None) -> Iterator[Outcome]:
    left_early = Q(device__retired_on__isnull=False, device__retired_on__lte=F("closes_on"))
    missed = Due.objects.filter(closes_on__range=(first, last), plan__active=True).exclude(left_early)
    for row in _facts(with_last_attempt(missed), person, "tried"):
        yield _outcome(row, Result(row["tried"] or Result.OPEN.value))
    done = DueDone.objects.filter(closes_on__range=(first, last))
    for row in _facts(done, person, "done_on", "opens_on", "late"):
        early = row["done_on"] < row["opens_on"]
        yield _outcome(row, Result.LATE if row["late"] else Result.EARLY if early else Result.ON_TIME)


def _facts(rows: QuerySet[Due] | QuerySet[DueDone], person: Person | None, *more: str) -> Iterator[dict[str, Any]]:
    if person is not None:
        rows = rows.filter(device__in=Device.objects.within(person))
    facts: QuerySet[Any, dict[str, Any]] = rows.values(
        "device_id",
        "plan_id",
        "due_on",
        "closes_on",
        "deferred_from",
        *more,
        asset_number=F("device__asset_number"),
        plan_name=F("plan__name"),
        life_support=F("device__device_type__life_support"),
        home_name=F("device__home__name"),
        site_name=F("device__home__site__name"),
    )
    return facts.iterator()


def _outcome(row: Mapping[str, Any], result: Result) -> Outcome:
    return Outcome(
        device_id=row["device_id"],
        plan_id=row["plan_id"],
        asset_number=row["asset_number"],
        plan=row["plan_name"],
        site=row["site_name"] or row["home_name"],
        life_support=row["life_support"],
        due_on=row["due_on"],
        closes_on=row["closes_on"],
        deferred=row["deferred_from"] is not None,
        result=result,
    )
