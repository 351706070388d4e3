"""Plans: what a device type needs how often. A change reaches every due of the plan."""

from collections.abc import Mapping
from copy import copy
from dataclasses import dataclass, field
from typing import Any, Final

from django.core.exceptions import ValidationError
from django.db import transaction

from fleet.audit.actions import Happening, record
from fleet.audit.actors import Actor
from fleet.audit.changes import change, refuse_changed
from fleet.core.errors import BadValueError
from fleet.core.permissions import May
from fleet.registry.models import DeviceType
from fleet.schedules.actions.bringing import bring
from fleet.schedules.actions.risk import ask_departure, ask_longer, ask_new
from fleet.schedules.models import Plan

#: What `edit_plan` may change. The type and the kind stay: a different service is a different plan.
EDITABLE: Final = frozenset(
    {
        "name", "every_months", "every_hours", "every_cycles", "window_before_days", "window_after_days", "repeat_days",
        "mode", "active", "basis", "document", "maker_months", "maker_hours", "maker_cycles", "basis_reason",
        "basis_evidence", "basis_by", "basis_on", "basis_review_on",
    }
)  # fmt: skip
_DEPARTS: Final = (
    "every_months", "every_hours", "every_cycles", "basis", "maker_months", "maker_hours", "maker_cycles",
    "basis_reason", "basis_evidence", "basis_by", "basis_on", "basis_review_on",
)  # fmt: skip
_MOVES_DUES: Final = frozenset(
    {"every_months", "every_hours", "every_cycles", "window_before_days", "window_after_days", "mode", "active"}
)


@dataclass(frozen=True, slots=True, kw_only=True)
class NewPlan:
    """A plan to be added. `facts` holds windows, mode and basis where they differ from the usual."""

    device_type: DeviceType
    name: str
    kind: Plan.Kind = Plan.Kind.SERVICE
    every_months: int | None = None
    every_hours: int | None = None
    every_cycles: int | None = None
    facts: Mapping[str, Any] = field(default_factory=dict)


@transaction.atomic
def add_plan(new: NewPlan, *, by: Actor, why: str = "") -> Plan:
    """Add a plan and open its due on every accepted driver of the type, counted from its acceptance.

    No due lies before today: what would have been due before is due now. For many drivers a job opens them. `why` is
    asked where it lets more time pass than a plan that a high-risk type has.
    """
    by.must(May.EDIT_REGISTRY)
    plan = Plan(
        device_type=new.device_type,
        name=new.name,
        kind=new.kind,
        every_months=new.every_months,
        every_hours=new.every_hours,
        every_cycles=new.every_cycles,
        **new.facts,
    )
    _ask_interval(plan)
    ask_departure(plan, by)
    _clean(plan)
    ask_new(plan, why, by)
    plan.save()
    counted = {"every_hours": plan.every_hours, "every_cycles": plan.every_cycles}
    interval = {"every_months": plan.every_months, **counted, "mode": str(plan.mode)}
    record(Happening(Plan.ADDED, plan, after={"for": str(plan.device_type), **interval}, why=why), by=by)
    bring(plan, by=by)
    return plan


@transaction.atomic
def edit_plan(plan: Plan, changes: Mapping[str, Any], *, by: Actor, why: str = "", opened: str | None = None) -> Plan:
    """Change a plan and reckon its dues anew, except those put off by a person or asked for by the driver.

    For many drivers a job does that, in short batches.

    A plan set inactive stops counting; set active again its dues count again. `opened` is the fingerprint of EDITABLE
    that a form was opened with: ConflictError if they were changed since. Raises BadValueError for a field that can't
    be changed or a value that doesn't fit.
    """
    by.must(May.EDIT_REGISTRY)
    if wrong := sorted(set(changes) - EDITABLE):
        raise BadValueError(f"“{wrong[0]}” of a plan can't be changed; add another plan instead.", field=wrong[0])
    row = Plan.objects.select_for_update(of=("self",)).select_related("device_type").get(pk=plan.pk)
    refuse_changed(row, EDITABLE, opened)
    changed = _as_changed(row, changes)
    _ask_interval(changed)
    if any(getattr(row, name) != getattr(changed, name) for name in _DEPARTS):
        ask_departure(changed, by)
    _clean(changed)
    ask_longer(row, changed, why, by)
    before, after = change(row, **changes, allowed_by=changed.allowed_by)
    if after:
        record(Happening("changed plan", row, before=before, after=after, why=why), by=by)
    if _MOVES_DUES & set(after):
        bring(row, by=by)
    return row


def _as_changed(plan: Plan, changes: Mapping[str, Any]) -> Plan:
    """A copy with the changes, to be checked before the row is touched."""
    changed = copy(plan)
    for name, value in changes.items():
        setattr(changed, name, value)
    return changed


def _ask_interval(plan: Plan) -> None:
    if not plan.every.stated:
        raise BadValueError("Give an interval in months, running hours or charge cycles.", field="every_months")


def _clean(plan: Plan) -> None:
    try:
        plan.full_clean()
    except ValidationError as error:
        name, messages = next(iter(error.message_dict.items()))
        raise BadValueError(" ".join(messages), field="" if name == "__all__" else name) from error
