"""Procedures and their versions. A version is never changed: a better one is published beside it."""

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import date
from decimal import Decimal

from django.db import transaction

from fleet.audit.actions import Happening, record
from fleet.audit.actors import Actor
from fleet.bench.models import OrderKind, Procedure, ProcedureVersion, Step
from fleet.core.errors import BadValueError
from fleet.core.permissions import May
from fleet.registry.models import DeviceType
from fleet.stores.models import Instrument


@dataclass(frozen=True, slots=True, kw_only=True)
class NewStep:
    """One line of a procedure. A reading has a `unit`; its limits, if any, say where they come from.

    With `instrument_kind` the step is answered only with an instrument of that kind named.
    """

    words: str
    kind: str = Step.Kind.CHECK
    caution: str = ""
    unit: str = ""
    low: Decimal | None = None
    high: Decimal | None = None
    limit_source: str = ""
    required: bool = True
    instrument_kind: str = ""


@transaction.atomic
def publish(  # noqa: PLR0913 - a procedure has a name, a use and a source
    code: str,
    name: str,
    kind: OrderKind | str,
    device_type: DeviceType | None,
    steps: Sequence[NewStep],
    *,
    in_force_from: date,
    source: str,
    by: Actor,
) -> ProcedureVersion:
    """Publish a procedure, or the next version of the one with this code. Orders begun keep the version they have."""
    by.must(May.EDIT_REGISTRY)
    _check_steps(steps, source)
    procedure = _procedure(code, name, OrderKind(kind), device_type)
    last = procedure.versions.order_by("-number").first()
    if last is not None and in_force_from < last.in_force_from:
        message = f"Version {last.number} is in force from {last.in_force_from:%d %b %Y}; give that day or a later one."
        raise BadValueError(message, field="in_force_from")
    version = ProcedureVersion.objects.create(
        procedure=procedure, number=last.number + 1 if last else 1, in_force_from=in_force_from, source=source.strip()
    )
    Step.objects.bulk_create(
        Step(version=version, position=position, **asdict(step)) for position, step in enumerate(steps, start=1)
    )
    after = {"steps": len(steps), "in force from": in_force_from, "source": source}
    record(Happening("published procedure", version, after=after), by=by)
    return version


def _procedure(code: str, name: str, kind: OrderKind, device_type: DeviceType | None) -> Procedure:
    known = Procedure.objects.select_for_update(of=("self",)).filter(code=code).first()
    if known is None:
        return Procedure.objects.create(code=code, name=name, kind=kind, device_type=device_type)
    if (known.kind, known.device_type_id) != (kind, device_type.pk if device_type else None):
        message = f"The code “{code}” belongs to {known}, which is for other work or another type. Choose a new code."
        raise BadValueError(message, field="code")
    return known


def _check_steps(steps: Sequence[NewStep], source: str) -> None:
    if not any(step.required for step in steps):
        raise BadValueError("A procedure needs at least one step that must pass before return.", field="steps")
    if not source.strip():
        raise BadValueError("Say where the procedure comes from, with document and edition.", field="source")
    for position, step in enumerate(steps, start=1):
        if wrong := _wrong(step):
            raise BadValueError(f"Step {position}, “{step.words}”: {wrong}", field="steps")


def _unknown_kind(step: NewStep) -> str:
    if step.kind not in Step.Kind.values:
        return f"“{step.kind}” is no kind of step; use {', '.join(Step.Kind.values)}."
    if step.instrument_kind and step.instrument_kind not in Instrument.Kind.values:
        return f"“{step.instrument_kind}” is no kind of instrument; use {', '.join(Instrument.Kind.values)}."
    return ""


def _wrong(step: NewStep) -> str:
    limited = step.low is not None or step.high is not None
    if not step.words.strip():
        return "say what to do."
    if unknown := _unknown_kind(step):
        return unknown
    if step.kind == Step.Kind.READING and not step.unit:
        return "a reading needs its unit."
    if limited and (step.kind != Step.Kind.READING or not step.limit_source.strip()):
        return "limits belong to a reading, and say where they come from."
    if step.low is not None and step.high is not None and step.low > step.high:
        return f"the lower limit {step.low} lies above the upper limit {step.high}."
    return ""
