"""Who else has an order open, what they answered meanwhile, and what was scanned beside it."""

from dataclasses import dataclass
from datetime import timedelta
from typing import Final

from django.db.models import QuerySet

from fleet.audit.models import TrailEntry
from fleet.bench.models import Order, Presence, Step
from fleet.bench.queries.finding import find
from fleet.bench.queries.using import instruments_for, may_name
from fleet.core.calibration import DueState
from fleet.people.models import Person
from fleet.stores.models import Instrument
from fleet.stores.queries import state_on
from fleet.web import clock

#: Who was not heard of for this long has gone; a page tells every 15 s that it is open.
GONE_AFTER: Final = timedelta(seconds=45)
MOST_NEWS: Final = 5


def others_at(order: Order, person: Person) -> QuerySet[Presence]:
    """The other people who have the order open now, the longest there first."""
    here = Presence.objects.filter(order=order, seen_at__gte=clock.now() - GONE_AFTER)
    return here.exclude(person=person).select_related("person").order_by("pk")


@dataclass(frozen=True, slots=True)
class News:
    """One thing that somebody else did to an order since a page was opened."""

    entry: TrailEntry

    @property
    def answers(self) -> list[tuple[str, str]]:
        """Position of the step and the answer in words."""
        return list(self.entry.after.get("steps", {}).items())


def news(order: Order, person: Person, revision: int) -> list[News]:
    """What others did to the order after `revision`, the last first."""
    entries = TrailEntry.objects.filter(subject_kind="order", subject_id=order.pk, after__revision__gt=revision)
    return [News(entry) for entry in entries.exclude(person=person)[:MOST_NEWS]]


@dataclass(frozen=True, slots=True)
class Scanned:
    """What a scan beside an order named. `right`: the order's own driver; None where no driver was meant."""

    words: str
    instrument: Instrument | None = None
    right: bool | None = None

    @property
    def known(self) -> bool:
        """Whether it named anything; else it was typing."""
        return self.instrument is not None or self.right is not None


def scanned(text: str, order: Order, step: Step | None, person: Person) -> Scanned:
    """What a scanned text names: an instrument to use at the step, the order's driver, or another driver."""
    number = text.strip()
    if instrument := Instrument.objects.within(person).filter(number__iexact=number).first():
        return _tool(instrument, step, person)
    found = find(number, person)
    if found.device is None:
        return Scanned(found.words)
    if found.device.pk == order.device_id:
        return Scanned(f"{found.device}: the right driver.", right=True)
    words = f"This is {found.device}, but order {order} is for {order.device}. Do not go on with it here."
    return Scanned(words, right=False)


def _tool(instrument: Instrument, step: Step | None, person: Person) -> Scanned:
    if step is None or not may_name(step):
        return Scanned(f"{instrument}: nothing is measured at this step.", instrument)
    if not instruments_for(step, person).filter(pk=instrument.pk).exists():
        needed = step.get_instrument_kind_display().lower() or "an instrument in use"
        return Scanned(f"{instrument} cannot be used here: this step needs {needed}.", instrument)
    state = state_on(instrument, clock.today())
    late = "" if state in {DueState.IN_DATE, DueState.SOON} else f" Mind: {state.phrase}."
    return Scanned(f"Measured with {instrument}.{late}", instrument)
