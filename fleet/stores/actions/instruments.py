"""The writers of instruments and calibrations."""

from collections.abc import Mapping
from copy import copy
from dataclasses import asdict, dataclass
from datetime import date
from typing import Any, Final

from django.core.exceptions import ValidationError
from django.db import transaction

from fleet.audit.actions import Happening, record
from fleet.audit.actors import Actor
from fleet.audit.changes import change, refuse_changed
from fleet.core.due import add_months
from fleet.core.errors import BadValueError, MoveRefusedError
from fleet.core.permissions import May
from fleet.stores.models import Calibration, Instrument
from fleet.web import clock

#: What `add_instrument` takes and `edit_instrument` may change.
EDITABLE: Final = frozenset(
    {
        "number", "name", "kind", "maker", "model", "serial_number", "place", "uncertainty", "uncertainty_unit",
        "coverage_factor", "every_months", "refused_when_overdue",
    }
)  # fmt: skip


@transaction.atomic
def add_instrument(facts: Mapping[str, Any], *, by: Actor) -> Instrument:
    """Add a test instrument with `facts` of EDITABLE. Raises BadValueError naming the field that does not fit."""
    by.must(May.EDIT_REGISTRY)
    _only_editable(facts)
    row = Instrument(**facts)
    _clean(row)
    row.save()
    told = {name: value for name, value in facts.items() if value not in ("", None)}
    record(Happening("added instrument", row, after=told), by=by)
    return row


@transaction.atomic
def edit_instrument(
    instrument: Instrument, changes: Mapping[str, Any], *, by: Actor, why: str = "", opened: str | None = None
) -> Instrument:
    """Change facts of an instrument; `opened` is the fingerprint of EDITABLE that a form was opened with.

    Raises ConflictError when somebody else changed them since, BadValueError for a value that does not fit.
    """
    by.must(May.EDIT_REGISTRY)
    _only_editable(changes)
    row = _hold(instrument)
    refuse_changed(row, EDITABLE, opened)
    changed = copy(row)
    for name, value in changes.items():
        setattr(changed, name, value)
    _clean(changed)
    before, after = change(row, **changes)
    if after:
        record(Happening("changed instrument", row, before=before, after=after, why=why), by=by)
    return row


@transaction.atomic
def withdraw(instrument: Instrument, why: str, *, by: Actor) -> Instrument:
    """Take an instrument out of use from today on; its readings and calibrations stay."""
    by.must(May.EDIT_REGISTRY)
    row = _hold(instrument)
    if row.withdrawn_on is not None:
        raise MoveRefusedError(f"{row} was withdrawn on {row.withdrawn_on:%d %b %Y} already.")
    if not why.strip():
        raise BadValueError("Say why it is withdrawn.", field="why")
    before, after = change(row, withdrawn_on=clock.today(), withdrawn_why=why.strip())
    record(Happening("withdrew instrument", row, before=before, after=after, why=why.strip()), by=by)
    return row


@dataclass(frozen=True, slots=True, kw_only=True)
class NewCalibration:
    """A calibration as its certificate tells it; without `due_on` the next is due by the instrument's interval."""

    done_on: date
    certificate: str
    laboratory: str
    as_found: str
    due_on: date | None = None
    found_words: str = ""
    usable: bool = True


@transaction.atomic
def record_calibration(instrument: Instrument, new: NewCalibration, *, by: Actor) -> Calibration:
    """Record a calibration. Raises BadValueError naming the field that is missing or does not fit."""
    by.must(May.WORK_ON_BENCH)
    row = _hold(instrument)
    due_on = new.due_on or add_months(new.done_on, row.every_months)
    _check(row, new, due_on)
    facts = {**asdict(new), "due_on": due_on}
    calibration = Calibration(instrument=row, entered_at=clock.now(), entered_by=by.name[:120], **facts)
    _clean(calibration)
    calibration.save()
    record(Happening("recorded calibration", calibration, after=facts), by=by)
    return calibration


@transaction.atomic
def void_calibration(calibration: Calibration, why: str, *, by: Actor) -> Calibration:
    """Let a calibration recorded by mistake count no more; it stays on record with the reason."""
    by.must(May.WORK_ON_BENCH)
    row = Calibration.objects.select_for_update(of=("self",)).select_related("instrument").get(pk=calibration.pk)
    if row.voided_at is not None:
        raise MoveRefusedError("This calibration is voided already.")
    if not why.strip():
        raise BadValueError("Say why it does not count.", field="why")
    before, after = change(row, voided_at=clock.now(), voided_why=why.strip())
    record(Happening("voided calibration", row, before=before, after=after, why=why.strip()), by=by)
    return row


def _hold(instrument: Instrument) -> Instrument:
    return Instrument.objects.select_for_update().get(pk=instrument.pk)


def _only_editable(facts: Mapping[str, Any]) -> None:
    if wrong := sorted(set(facts) - EDITABLE):
        raise BadValueError(f"“{wrong[0]}” of an instrument can't be set here.", field=wrong[0])


def _clean(row: Instrument | Calibration) -> None:
    if isinstance(row, Instrument) and row.uncertainty is not None and not row.uncertainty_unit.strip():
        raise BadValueError("Give the unit of the uncertainty, or % of the reading.", field="uncertainty_unit")
    try:
        row.full_clean()
    except ValidationError as error:
        name, messages = next(iter(error.message_dict.items()))
        raise BadValueError(" ".join(messages), field="" if name == "__all__" else name) from error


def _check(instrument: Instrument, new: NewCalibration, due_on: date) -> None:
    if new.done_on > clock.today():
        raise BadValueError("It has not been done yet; give the day on the certificate.", field="done_on")
    if due_on <= new.done_on:
        raise BadValueError("The next calibration is due after this one.", field="due_on")
    if new.as_found == Calibration.AsFound.OUT and not new.found_words.strip():
        raise BadValueError("Say what was found: by how much, and in which range.", field="found_words")
    same = instrument.calibrations.filter(certificate=new.certificate.strip(), voided_at__isnull=True)
    if same.exists():
        raise BadValueError(f"Certificate {new.certificate} is on record for this instrument.", field="certificate")
