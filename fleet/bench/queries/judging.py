"""What judges the readings of a driver: its step's limits, those of its home's profile, and the rule there."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Final

from django.db.models import QuerySet

from fleet.bench.models import ProcedureVersion, Reading, ReferenceLimit, Step
from fleet.bench.queries.facts import limit_held, plain_bound
from fleet.bench.queries.reference import Policy, as_stated, limits_for, policy_at
from fleet.core.calibration import expanded
from fleet.core.judgement import First, Judgement, read_judgement
from fleet.core.judging import Acceptance, Effective, Stated, tightest
from fleet.core.limits import Limits
from fleet.core.safety import Context, Method, Quantity, asked, choose, not_told
from fleet.core.units import convert
from fleet.registry.models import Device
from fleet.web import phrases
from fleet.web.clock import local_day

#: Limits of a procedure have no verifier of their own: whether they are right, its approval and their source say.
UNREAD: Final = "came with the procedure, which nobody approved here"
#: What is read of an earlier reading to see whether it is the first of its kind.
_OF_FIRST: Final = ("judged", "value", "taken_at", "step__unit", "order__number")


@dataclass(frozen=True, slots=True)
class Way:
    """One method of measuring at a step and the limits that would judge it; None where none is stated."""

    context: Context
    effective: Effective | None

    @property
    def words(self) -> str:
        """The limits, after the method where several are open: `Direct: at most 100 µA`."""
        told = self.effective.limits.words if self.effective else "no limit stated"
        return f"{Method(self.context.method).label}: {told}" if self.context.method else told


class Judges:
    """What judges the readings of one driver; each part is read once, when it is first asked for."""

    def __init__(self, device: Device) -> None:
        self.device = device
        self._limits: dict[str, list[ReferenceLimit]] = {}

    @cached_property
    def policy(self) -> Policy:
        """What holds at the driver's home."""
        return policy_at(self.device.home)

    def context(self, step: Step, given: Context) -> Context:
        """What was given, filled up with what the driver's type states; nothing where the step names no quantity."""
        if not step.quantity:
            return Context()
        kind = self.device.device_type
        return replace(
            given,
            protection=given.protection or kind.protection,
            applied_part=given.applied_part or kind.applied_part,
        )

    def asks(self, step: Step, context: Context) -> tuple[str, ...]:
        """What still has to be known to choose among the reference limits of a step."""
        return asked(self._reference(step.quantity), context)

    def not_told(self, step: Step, context: Context) -> tuple[str, ...]:
        """What still has to be said of how a step is measured, by its limits or for its record."""
        told = not_told(Quantity(step.quantity), context) if step.quantity else ()
        return tuple(dict.fromkeys([*self.asks(step, context), *told]))

    def effective(self, step: Step, context: Context) -> Effective | None:
        """What limits judge a reading; None: none is stated. Raises BadValueError for two that exclude each other."""
        stated = list(step_stated(step, self.device.device_type_id))
        if limit := choose(self._reference(step.quantity), context):
            stated.append(as_stated(limit, step.unit))
        return tightest(stated)

    def ways(self, step: Step, context: Context) -> list[Way]:
        """The limits of a step by method, where they depend on it and it is not known; else the one that holds."""
        open_ones = (
            [replace(context, method=each.value) for each in Method] if "method" in self.asks(step, context) else []
        )
        return [Way(each, self.effective(step, each)) for each in open_ones or [context]]

    def judgement(self, reading: Reading, context: Context) -> Judgement:
        """All that judges a reading that has its value and instrument, and where its quantity began."""
        step, tool = reading.step, reading.instrument
        effective = self.effective(step, context)
        wide = None
        if effective is not None and tool is not None and reading.value is not None:
            wide = expanded(reading.value, tool.uncertainty, tool.uncertainty_unit, step.unit)
        profile = self.policy.profile if step.quantity else None
        return Judgement(
            effective=effective,
            rule=self._rule(step),
            uncertainty=wide,
            profile=str(profile or ""),
            context=context,
            first=self._first(reading, context) if step.quantity else None,
            jump_share=self.policy.jump_share,
        )

    def _rule(self, step: Step) -> Acceptance:
        """The rule of the place. No uncertainty is reckoned for what is worked out, so none can be demanded of it."""
        strict = self.policy.rule is Acceptance.STRICT
        return Acceptance.GUARDED if strict and step.kind == Step.Kind.COMPUTED else self.policy.rule

    def _reference(self, quantity: str) -> list[ReferenceLimit]:
        if not quantity:
            return []
        if quantity not in self._limits:
            self._limits[quantity] = limits_for(self.policy.profile, quantity)
        return self._limits[quantity]

    def _first(self, reading: Reading, context: Context) -> First | None:
        """The first value of this quantity that passed on this driver, taken in the same way; of another order."""
        passed = readings_of(self.device, reading.step.quantity).filter(verdict=Reading.Verdict.PASS)
        rows = passed.exclude(order=reading.order_id).select_related(None).select_related("step", "order")
        # The earliest is nearly always the one, so the others are not read.
        for other in rows.only(*_OF_FIRST).iterator(chunk_size=5):
            judged = read_judgement(other.judged)
            if judged is not None and same_way(judged.context, context):
                return first_of(other, reading.step.unit)
        return None


def readings_of(device: Device, quantity: str = "") -> QuerySet[Reading]:
    """The readings of a quantity (or of any that is named) on a driver that count, the earliest first."""
    rows = Reading.objects.filter(order__device=device, latest=True, value__isnull=False)
    rows = rows.filter(step__quantity=quantity) if quantity else rows.exclude(step__quantity="")
    return rows.select_related("step", "order", "instrument", "by").order_by("taken_at", "pk")


def same_way(one: Context, other: Context) -> bool:
    """Whether two tests of a driver can be compared: the same method on the same class and applied part."""
    return replace(one, mains_v=None) == replace(other, mains_v=None)


def first_of(reading: Reading, unit: str) -> First | None:
    """A reading as the first of its quantity, in another step's unit."""
    if reading.value is None:
        return None
    value = convert(plain_bound(reading.value), reading.step.unit, unit)
    return First(value, local_day(reading.taken_at).isoformat(), reading.order.number)


def step_stated(step: Step, device_type_id: int | None) -> Iterator[Stated]:
    """The limits of the step itself: those for the driver's type before those for all."""
    own = limit_held(step, device_type_id)
    held = own or step
    if held.low is not None or held.high is not None:
        limits = Limits(plain_bound(held.low), plain_bound(held.high), step.unit)
        yield Stated(limits, own.source if own else step.limit_source, approval_words(step.version))


def approval_words(version: ProcedureVersion) -> str:
    """Who looked at the limits of a procedure, which is whoever approved it: there is no verifier of their own."""
    if version.approved_by_id is None or version.approved_at is None:
        return UNREAD
    return f"approved with the procedure by {version.approved_name}, {phrases.day(local_day(version.approved_at))}"


def judgement_of(reading: Reading) -> Judgement:
    """What judged a reading: as it was kept with it, or for one older than that record its step's limits."""
    kept = read_judgement(reading.judged)
    if kept is not None:
        return kept
    wide = None
    if reading.instrument is not None and reading.value is not None:
        tool = reading.instrument
        wide = expanded(reading.value, tool.uncertainty, tool.uncertainty_unit, reading.step.unit)
    return Judgement(tightest(step_stated(reading.step, reading.order.device.device_type_id)), uncertainty=wide)


def limits_judging(reading: Reading) -> Limits | None:
    """The limits that judged a reading; None where a person did."""
    effective = judgement_of(reading).effective
    return effective.limits if effective else None


def quantity_words(quantity: str) -> str:
    """What is measured."""
    return Quantity(quantity).label if quantity else ""
