"""Procedures as a hospital states them in a text file (TOML), above all the starter set."""

import tomllib
from dataclasses import fields
from decimal import Decimal
from typing import Any, Final

from django.conf import settings
from django.db import transaction

from fleet.audit.actors import Actor
from fleet.bench.actions.lines import LISTS, NewStep, lines_of
from fleet.bench.actions.procedures import publish
from fleet.bench.models import OrderKind, Procedure, ProcedureVersion
from fleet.core.errors import BadValueError
from fleet.core.permissions import May
from fleet.registry.models import DeviceType
from fleet.web import clock

STARTERS: Final = "fixtures/procedures.toml"
_NEEDED: Final = ("name", "kind", "source", "steps")
_STEP: Final = tuple(field.name for field in fields(NewStep))
_LIMITS: Final = ("low", "high")


@transaction.atomic
def ensure_starter_procedures(by: Actor) -> list[ProcedureVersion]:
    """Publish our own starter procedures (for all types) that are not there yet. Safe to run again.

    They are a beginning to be edited: every limit says where it comes from, and none is verified here.
    """
    by.must(May.EDIT_REGISTRY)
    known = set(Procedure.objects.values_list("code", flat=True))
    starters = _read((settings.BASE_DIR / STARTERS).read_text(encoding="utf-8"))
    return [_publish(code, facts, by) for code, facts in starters.items() if code not in known]


@transaction.atomic
def publish_stated(text: str, *, by: Actor) -> list[ProcedureVersion]:
    """Publish each procedure of a text in the form of the starters, all or none; in force from today.

    `type` names one device type as its page does; without it the procedure is for all. One that says what its newest
    version says is left, so the same text twice publishes once. Raises BadValueError naming procedure and fault.
    """
    by.must(May.EDIT_REGISTRY)
    stated = _read(text)
    return [_publish(code, facts, by) for code, facts in stated.items() if not _stands(code, facts)]


def _read(text: str) -> dict[str, dict[str, Any]]:
    try:
        stated = tomllib.loads(text, parse_float=Decimal)
    except tomllib.TOMLDecodeError as error:
        raise BadValueError(f"This is no TOML: {error}. See {STARTERS} for the form.", field="file") from error
    for code, facts in stated.items():
        if fault := _fault(facts):
            raise BadValueError(f"[{code}]: {fault} See {STARTERS} for the form.", field="file")
    return stated


def _fault(facts: object) -> str:
    """What is wrong with the shape of one procedure; what it says is judged by `publish`."""
    if not isinstance(facts, dict) or (missing := [name for name in _NEEDED if name not in facts]):
        return f"it needs {', '.join(_NEEDED if not isinstance(facts, dict) else missing)}."
    if unknown := set(facts) - {*_NEEDED, "type"}:
        return f"“{min(unknown)}” is not known here."
    if facts["kind"] not in OrderKind.values:
        return f"“{facts['kind']}” is no kind of order; use {', '.join(OrderKind.values)}."
    for position, step in enumerate(facts["steps"], start=1):
        if wrong := set(step) - set(_STEP):
            return f"step {position}: “{min(wrong)}” is not known here; a step has {', '.join(_STEP)}."
        if "words" not in step:
            return f"step {position} needs its words: what to do."
    return ""


def _publish(code: str, facts: dict[str, Any], by: Actor) -> ProcedureVersion:
    kind, today = facts["kind"], clock.today()
    try:
        return publish(
            code, facts["name"], kind, _type(facts), _steps(facts), in_force_from=today, source=facts["source"], by=by
        )
    except BadValueError as error:
        raise BadValueError(f"[{code}]: {error}", field=error.field) from error


def _type(facts: dict[str, Any]) -> DeviceType | None:
    if "type" not in facts:
        return None
    types = {str(row): row for row in DeviceType.objects.select_related("maker")}
    if facts["type"] not in types:
        raise BadValueError(f"No type is called “{facts['type']}”. Known: {', '.join(types) or 'none'}.", field="type")
    return types[facts["type"]]


def _steps(facts: dict[str, Any]) -> list[NewStep]:
    return [_step(step) for step in facts["steps"]]


def _step(stated: dict[str, Any]) -> NewStep:
    limits: dict[str, Any] = {name: Decimal(stated[name]) for name in _LIMITS if name in stated}
    lists: dict[str, Any] = {name: tuple(stated[name]) for name in LISTS if name in stated}
    return NewStep(**(stated | limits | lists))


def _stands(code: str, facts: dict[str, Any]) -> bool:
    """Whether the newest version of the procedure says just this."""
    approved = ProcedureVersion.objects.filter(procedure__code=code, state=ProcedureVersion.State.APPROVED)
    newest = approved.order_by("-number").first()
    if newest is None or newest.source != facts["source"].strip():
        return False
    return lines_of(newest) == _steps(facts)
