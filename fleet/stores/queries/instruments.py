"""Reading the instruments: which there are, how their calibration stands, and since when one is in doubt."""

from datetime import date, timedelta

from django.db.models import OuterRef, Q, QuerySet, Subquery

from fleet.core.calibration import SOON_DAYS, DueState, due_state
from fleet.people.models import Person
from fleet.stores.models import Calibration, Instrument, InstrumentQuerySet


def instruments(on: date) -> InstrumentQuerySet:
    """All instruments with their place and the last calibration that holds on a day.

    `last_done`, `last_due` and `last_ok` (it left within its limits) are None for one never calibrated by then.
    """
    last = Calibration.objects.filter(instrument=OuterRef("pk"), voided_at__isnull=True, done_on__lte=on)
    last = last.order_by("-done_on", "-id")
    rows: InstrumentQuerySet = Instrument.objects.select_related("place__site", "maker").annotate(
        last_done=Subquery(last.values("done_on")[:1]),
        last_due=Subquery(last.values("due_on")[:1]),
        last_ok=Subquery(last.values("usable")[:1]),
    )
    return rows


def state_of(instrument: Instrument, on: date) -> DueState:
    """How an instrument of `instruments(on)` stands on that day."""
    return due_state(
        instrument.last_due,  # type: ignore[attr-defined] # annotated by `instruments`
        on,
        usable=instrument.last_ok is not False,  # type: ignore[attr-defined] # the same
        withdrawn=instrument.withdrawn_on is not None and instrument.withdrawn_on <= on,
    )


def state_on(instrument: Instrument, on: date) -> DueState:
    """How any instrument stands on a day, read anew."""
    return state_of(instruments(on).get(pk=instrument.pk), on)


def in_state(rows: InstrumentQuerySet, state: DueState, on: date) -> InstrumentQuerySet:
    """Only the instruments of `instruments(on)` that stand so on that day."""
    withdrawn = Q(withdrawn_on__isnull=False, withdrawn_on__lte=on)
    if state is DueState.WITHDRAWN:
        return rows.filter(withdrawn)
    soon = on + timedelta(days=SOON_DAYS)
    held = {
        DueState.NEVER: Q(last_due__isnull=True),
        DueState.UNUSABLE: Q(last_ok=False),
        DueState.OVERDUE: Q(last_ok=True, last_due__lt=on),
        DueState.SOON: Q(last_ok=True, last_due__gte=on, last_due__lte=soon),
        DueState.IN_DATE: Q(last_ok=True, last_due__gt=soon),
    }
    return rows.exclude(withdrawn).filter(held[state])


def usable_instruments(person: Person, on: date, kind: str = "") -> InstrumentQuerySet:
    """What a person may name at a reading: instruments of their places that are not withdrawn, of one kind if given."""
    rows = instruments(on).within(person).filter(withdrawn_on__isnull=True)
    return rows.filter(kind=kind) if kind else rows


def calibrations_of(instrument: Instrument) -> QuerySet[Calibration]:
    """Every calibration of an instrument, the newest first, also the voided."""
    return instrument.calibrations.order_by("-done_on", "-id")


def last_good(calibration: Calibration) -> Calibration | None:
    """The calibration before this one at which the instrument was found within its limits and left usable."""
    earlier = Q(done_on__lt=calibration.done_on) | Q(done_on=calibration.done_on, pk__lt=calibration.pk)
    good = calibration.instrument.calibrations.filter(
        earlier, voided_at__isnull=True, as_found=Calibration.AsFound.WITHIN, usable=True
    )
    return good.order_by("-done_on", "-id").first()


def good_again(calibration: Calibration) -> date | None:
    """The day from which the instrument could be relied on again: this calibration's, or the next that left it usable.

    None when there is none yet.
    """
    if calibration.usable:
        return calibration.done_on
    later = Q(done_on__gt=calibration.done_on) | Q(done_on=calibration.done_on, pk__gt=calibration.pk)
    after = calibration.instrument.calibrations.filter(later, voided_at__isnull=True, usable=True)
    return after.order_by("done_on", "id").values_list("done_on", flat=True).first()
