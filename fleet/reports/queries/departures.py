"""Plans and drivers on another schedule than their maker's, each with reason, evaluator, review and evidence."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from fleet.documents.models import Document
from fleet.documents.queries import documents
from fleet.people.models import Person
from fleet.registry.models import Device
from fleet.schedules import queries as schedules
from fleet.schedules.models import Due, Plan
from fleet.schedules.wording import every_words


@dataclass(frozen=True, slots=True, kw_only=True)
class Departure:
    """One plan that departs from what the maker asks; `late`: the day of its review has passed."""

    plan: Plan
    maker: str
    ours: str
    why: str
    by: str
    on: date | None
    review_on: date | None
    documents: Sequence[Document]
    late: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class DriverDeparture(Departure):
    """The same for one driver; `own`: by an interval of the driver's own and not by its plan."""

    device: Device
    own: bool


def departed_plans(person: Person, on: date) -> list[Departure]:
    """The plans that depart from their maker's and that a driver of the person's follows, by type."""
    evidence = _evidence(person)
    return [Departure(**_of_plan(plan, evidence, on)) for plan in schedules.departed_plans(person, followed=True)]


def departures(person: Person, on: date) -> list[DriverDeparture]:
    """The person's drivers under a departure, by type and asset number."""
    evidence = _evidence(person)
    rows = schedules.alternative(person).select_related(
        "plan__device_type__maker", "device__device_type__maker", "device__home"
    )
    return [_of_due(due, evidence, on) for due in rows]


def to_review(person: Person, on: date) -> int:
    """How many plans and own intervals of the person's drivers were to be reviewed before this day."""
    own = schedules.alternative(person).filter(own_every_months__isnull=False, own_review_on__lt=on)
    return own.count() + schedules.departed_plans(person, followed=True).filter(basis_review_on__lt=on).count()


def _evidence(person: Person) -> dict[int, list[Document]]:
    found: dict[int, list[Document]] = {}
    for row in documents(person).in_force().filter(plan__isnull=False):
        found.setdefault(row.plan_id or 0, []).append(row)
    return found


def _of_due(due: Due, evidence: dict[int, list[Document]], on: date) -> DriverDeparture:
    plan, device = due.plan, due.device
    if due.own_every_months is None:
        return DriverDeparture(device=device, own=False, **_of_plan(plan, evidence, on))
    asked = plan.maker_every if plan.maker_every.stated else plan.every
    review_on, why = due.own_review_on, due.own_why or "The reason stands in the driver's history"
    own = {"why": why, "by": due.own_by, "on": due.own_on, "review_on": review_on, "late": _passed(review_on, on)}
    facts = {**_of_plan(plan, evidence, on), "maker": every_words(asked), "ours": every_words(due.every), **own}
    return DriverDeparture(device=device, own=True, **facts)


def _of_plan(plan: Plan, evidence: dict[int, list[Document]], on: date) -> dict[str, Any]:
    return {
        "plan": plan,
        "maker": every_words(plan.maker_every),
        "ours": every_words(plan.every),
        "why": plan.basis_reason,
        "by": plan.basis_by,
        "on": plan.basis_on,
        "review_on": plan.basis_review_on,
        "documents": evidence.get(plan.pk, []),
        "late": _passed(plan.basis_review_on, on),
    }


def _passed(review_on: date | None, on: date) -> bool:
    return review_on is not None and review_on < on
