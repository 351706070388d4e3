"""What is done to an order besides its steps: minutes, the clock, parts from stock and in words, outside costs."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

from django.forms import Form
from django.shortcuts import get_object_or_404

from fleet.audit.actors import Actor
from fleet.bench import actions
from fleet.bench.models import Labour, Order
from fleet.bench.spending_forms import (
    ExternalForm,
    IssueForm,
    KitIssueForm,
    LabourForm,
    PartForm,
    StartForm,
    StopForm,
    TakeBackForm,
    VoidForm,
)


@dataclass(frozen=True, slots=True)
class Act:
    """Something done to an order: what is typed for it, what is called, what is said then.

    A text that `do` returns is said instead of `says`.
    """

    form: Callable[..., Form]
    do: Callable[[Order, dict[str, Any], Actor], object]
    says: str
    needs_places: bool = False


def _add_minutes(row: Order, typed: dict[str, Any], by: Actor) -> Labour:
    return actions.add_labour(row, typed["minutes"], by=by, activity=Labour.Activity(typed["activity"]))


def _start(row: Order, typed: dict[str, Any], by: Actor) -> object:
    return actions.start_clock(row, by=by, activity=Labour.Activity(typed["activity"]))


def _stop(row: Order, typed: dict[str, Any], by: Actor) -> str:
    booked = actions.stop_clock(row, by=by, minutes=typed["minutes"])
    return f"{booked.minutes} min are on the order."


def _issue(row: Order, typed: dict[str, Any], by: Actor) -> str:
    uses = actions.issue_part(row, typed["code"], typed["quantity"], by=by)
    where = ", ".join(dict.fromkeys(str(use.stock.shelf.place) for use in uses if use.stock))
    return f"{typed['quantity']} of {typed['code']} issued from {where}."


def _issue_kit(row: Order, _typed: dict[str, Any], by: Actor) -> str:
    issued = actions.issue_kit(row, by=by)
    lacking = f" Lacking: {', '.join(issued.lacking)}." if issued.lacking else ""
    return f"The kit is on the order: {', '.join(str(use) for use in issued.uses)}.{lacking}"


def _take_back(row: Order, typed: dict[str, Any], by: Actor) -> str:
    use = actions.take_back(get_object_or_404(row.parts, pk=typed["use"]), typed["quantity"], by=by)
    where = f" and lies at {use.stock.shelf.place} again" if use.stock else ""
    return f"{typed['quantity']} of {use.name} taken back{where}."


def _void(row: Order, typed: dict[str, Any], by: Actor) -> object:
    return actions.void_external(get_object_or_404(row.external_costs, pk=typed["cost"]), typed["why"], by=by)


SPENDING: Final = {
    "minutes": Act(LabourForm, _add_minutes, "The minutes are on the order."),
    "start": Act(StartForm, _start, "Your clock runs on this order. It goes on when you leave the page."),
    "stop": Act(StopForm, _stop, ""),
    "issue": Act(IssueForm, _issue, ""),
    "kit": Act(KitIssueForm, _issue_kit, ""),
    "take-back": Act(TakeBackForm, _take_back, ""),
    "part": Act(
        PartForm,
        lambda row, typed, by: actions.add_part(row, actions.Part(**typed), by=by),
        "The part is on the order.",
    ),
    "external": Act(
        ExternalForm, lambda row, typed, by: actions.add_external(row, by=by, **typed), "The cost is on the order."
    ),
    "void-external": Act(VoidForm, _void, "It counts no more."),
}
