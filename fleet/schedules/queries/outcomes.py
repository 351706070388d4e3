"""How each planned piece of work ended, by name: done, missed and why, or left out of the count and why.

Scheduled is each due whose window ended in the period, those not located and in use too. On time is done within the
window. A due without a visit of its own counts as not located while its driver is: nobody visits what was given up.
A driver retired before the window ended leaves the count (its retirement has a reason on record), and so does
a plan no longer in use; both are shown apart. Definition: common practice, no source.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import F, Q, QuerySet

from fleet.core.lifecycle import Condition
from fleet.core.words import Worded
from fleet.people.models import Person
from fleet.registry.models import Device, DeviceType, Place
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


class Left(Worded):
    """Why a due is not counted."""

    RETIRED = "retired", "Retired before its window ended"
    PLAN = "plan", "Its plan is no longer in use"


_RANK = {result: rank for rank, result in enumerate(Result)}


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """One due and how it ended, by name. The places are those where the driver is at home now."""

    device_id: int
    plan_id: int
    asset_number: str
    plan: str
    type: str
    type_id: int
    home: str
    home_id: int
    site: str
    site_id: int
    life_support: bool
    due_on: date
    closes_on: date
    done_on: date | None
    deferred: bool
    result: Result | Left


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """Which windows are asked for: those that ended from `first` to `last`; of a place, of a type, or of all."""

    first: date
    last: date
    person: Person | None = None
    place: Place | None = None
    device_type: DeviceType | None = None


def outcomes(asked: Asked) -> list[Outcome]:
    """Each due once: work done early leaves a fixed due standing, so it may end twice, and the best counts."""
    best: dict[tuple[int, int, date], Outcome] = {}
    for outcome in _ended(asked):
        key = outcome.device_id, outcome.plan_id, outcome.due_on
        if key not in best or _rank(outcome) < _rank(best[key]):
            best[key] = outcome
    return list(best.values())


def _rank(outcome: Outcome) -> int:
    return _RANK[outcome.result] if isinstance(outcome.result, Result) else len(_RANK)


def left_out(asked: Asked) -> Iterable[Outcome]:
    """Each due of the period that is not counted, with why."""
    rows = Due.objects.filter(_ended_in(asked))
    for left, missing in ((Left.RETIRED, rows.filter(_RETIRED)), (Left.PLAN, _of_unused_plans(rows))):
        for row in _facts(missing, asked):
            yield _outcome(row, left)


_RETIRED = Q(device__retired_on__isnull=False, device__retired_on__lte=F("closes_on"))


def _of_unused_plans(rows: QuerySet[Due]) -> QuerySet[Due]:
    return rows.filter(plan__active=False).exclude(_RETIRED)


def _ended_in(asked: Asked) -> Q:
    return Q(closes_on__range=(asked.first, asked.last))


def _ended(asked: Asked) -> Iterator[Outcome]:
    missed = Due.objects.filter(_ended_in(asked), plan__active=True).exclude(_RETIRED)
    for row in _facts(with_last_attempt(missed), asked, "tried", "device__condition"):
        lost = row["device__condition"] == Condition.NOT_LOCATED.value
        yield _outcome(row, Result(row["tried"] or (Result.NOT_FOUND if lost else Result.OPEN)))
    for row in _facts(DueDone.objects.filter(_ended_in(asked)), asked, "done_on", "opens_on", "late"):
        early = row["done_on"] < row["opens_on"]
        yield _outcome(row, Result.LATE if row["late"] else Result.EARLY if early else Result.ON_TIME)


def _facts(rows: QuerySet[Due] | QuerySet[DueDone], asked: Asked, *more: str) -> Iterator[dict[str, Any]]:
    if asked.person is not None:
        rows = rows.filter(device__in=Device.objects.within(asked.person))
    if asked.place is not None:
        rows = rows.filter(device__home__path__startswith=asked.place.path)
    if asked.device_type is not None:
        rows = rows.filter(device__device_type=asked.device_type)
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
        type_id=F("device__device_type_id"),
        maker=F("device__device_type__maker__name"),
        model=F("device__device_type__model"),
        configuration=F("device__device_type__configuration"),
        home_id=F("device__home_id"),
        home_name=F("device__home__name"),
        site_id=F("device__home__site_id"),
        site_name=F("device__home__site__name"),
    )
    return facts.iterator()


def _outcome(row: Mapping[str, Any], result: Result | Left) -> Outcome:
    return Outcome(
        device_id=row["device_id"],
        plan_id=row["plan_id"],
        asset_number=row["asset_number"],
        plan=row["plan_name"],
        type=f"{row['maker']} {row['model']}" + (f" ({row['configuration']})" if row["configuration"] else ""),
        type_id=row["type_id"],
        home=row["home_name"],
        home_id=row["home_id"],
        site=row["site_name"] or row["home_name"],
        site_id=row["site_id"] or row["home_id"],
        life_support=row["life_support"],
        due_on=row["due_on"],
        closes_on=row["closes_on"],
        done_on=row.get("done_on"),
        deferred=row["deferred_from"] is not None,
        result=result,
    )
