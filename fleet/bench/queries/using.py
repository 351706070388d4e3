"""Which instruments may be named at a step, and which one a person used there last."""

from fleet.bench.models import Order, Reading, Step
from fleet.core.judgement import read_judgement
from fleet.core.safety import Context
from fleet.people.models import Person
from fleet.stores.models import Instrument, InstrumentQuerySet
from fleet.stores.queries import usable_instruments
from fleet.web import clock


def may_name(step: Step) -> bool:
    """Whether an instrument can be named at a step: at a reading, and where one of a kind is needed."""
    return step.kind == Step.Kind.READING or bool(step.instrument_kind)


def instruments_for(step: Step, person: Person) -> InstrumentQuerySet:
    """The instruments of the person's places for a step, by number; of the kind it needs, where it needs one."""
    return usable_instruments(person, clock.today(), step.instrument_kind)


def last_context(order: Order, step: Step) -> Context | None:
    """How the quantity of a step was measured last on this bench; None where it never was."""
    if not step.quantity:
        return None
    rows = Reading.objects.filter(order__bench=order.bench_id, step__quantity=step.quantity, value__isnull=False)
    last = rows.order_by("-taken_at", "-pk").first()
    judged = read_judgement(last.judged) if last else None
    return judged.context if judged else None


def last_used(order: Order, step: Step, person: Person) -> Instrument | None:
    """The instrument that the person named last on this bench: at a step for that kind, or else at this very step.

    Where no kind is needed and the last answer named none, none is remembered.
    """
    rows = Reading.objects.filter(by=person, order__bench=order.bench_id)
    rows = rows.exclude(verdict=Reading.Verdict.NOT_APPLICABLE)
    rows = rows.filter(instrument__kind=step.instrument_kind) if step.instrument_kind else rows.filter(step=step)
    last = rows.select_related("instrument").order_by("-taken_at", "-pk").first()
    return last.instrument if last else None
