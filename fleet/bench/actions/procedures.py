"""Procedures and their versions. A version is never changed: a better one is published beside it."""

from collections.abc import Iterable, Sequence
from datetime import date

from django.db import transaction
from django.db.models import Max

from fleet.audit.actions import Happening, record
from fleet.audit.actors import Actor
from fleet.bench.models import OrderKind, Procedure, ProcedureVersion, Step, StepLimit
from fleet.bench.queries.faults import faults
from fleet.bench.queries.lines import LISTS, PLAIN, NewStep
from fleet.core.errors import BadValueError
from fleet.core.permissions import May
from fleet.registry.models import DeviceType
from fleet.web import clock


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
    check_lines(steps, source)
    procedure = procedure_for(code, name, OrderKind(kind), device_type)
    refuse_before_last(procedure, in_force_from)
    version = ProcedureVersion.objects.create(
        procedure=procedure,
        number=next_number(procedure),
        in_force_from=in_force_from,
        source=source.strip(),
        approved_by_id=by.person_id,
        approved_name=by.name[:120],
        approved_at=clock.now(),
    )
    write_lines(version, steps)
    after = {"steps": len(steps), "in force from": in_force_from, "source": source}
    record(Happening("published procedure", version, after=after), by=by)
    return version


def next_number(procedure: Procedure) -> int:
    """The number of the version to come; drafts and withdrawn ones count."""
    last = procedure.versions.aggregate(last=Max("number"))["last"]
    return int(last or 0) + 1


def refuse_before_last(procedure: Procedure, in_force_from: date) -> None:
    """Refuse a day before that of the last approved version: versions follow each other in time."""
    approved = procedure.versions.filter(state=ProcedureVersion.State.APPROVED)
    last = approved.order_by("-in_force_from", "-number").first()
    if last is not None and last.in_force_from is not None and in_force_from < last.in_force_from:
        message = f"Version {last.number} is in force from {last.in_force_from:%d %b %Y}; give that day or a later one."
        raise BadValueError(message, field="in_force_from")


def procedure_for(code: str, name: str, kind: OrderKind, device_type: DeviceType | None) -> Procedure:
    """The procedure with this code, locked, or a new one; refused where the code belongs to other work."""
    known = Procedure.objects.select_for_update(of=("self",)).filter(code=code).first()
    if known is None:
        return Procedure.objects.create(code=code, name=name, kind=kind, device_type=device_type)
    if (known.kind, known.device_type_id) != (kind, device_type.pk if device_type else None):
        message = f"The code “{code}” belongs to {known}, which is for other work or another type. Choose a new code."
        raise BadValueError(message, field="code")
    return known


def write_lines(version: ProcedureVersion, lines: Iterable[NewStep]) -> None:
    """Make these the steps of a version that no order was started with."""
    version.steps.all().delete()
    for position, line in enumerate(lines, start=1):
        values = {name: getattr(line, name) for name in PLAIN} | {name: list(getattr(line, name)) for name in LISTS}
        step = Step.objects.create(version=version, position=position, **values)
        StepLimit.objects.bulk_create(
            StepLimit(step=step, device_type=own.device_type, low=own.low, high=own.high, source=own.source)
            for own in line.limits
        )


def check_lines(lines: Sequence[NewStep], source: str) -> None:
    """Refuse steps that can't be worked, by the first fault. Raises BadValueError naming the step and its field."""
    if fault := next(faults(lines, source), None):
        if not fault.position:
            raise BadValueError(fault.words, field=fault.field)
        words = lines[fault.position - 1].words
        raise BadValueError(f"Step {fault.position}, “{words}”, {fault.field}: {fault.words}", field="steps")
