"""What judged a reading, in words; and how one quantity of a driver went over the years."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from itertools import groupby
from typing import Final

from fleet.bench.models import Reading, Step
from fleet.bench.queries.facts import plain_bound, value_in_words
from fleet.bench.queries.judging import judgement_of, quantity_words, readings_of
from fleet.core.calibration import Guarded, guarded
from fleet.core.judgement import Judgement
from fleet.core.judging import Acceptance, Stated
from fleet.core.limits import Verdict, verdict
from fleet.core.safety import Quantity
from fleet.core.units import convert
from fleet.registry.models import Device
from fleet.web import phrases
from fleet.web.clock import local_day

#: The line of a quantity, in its own units; a point stands at the middle where there is one value.
WIDTH: Final = 240
HEIGHT: Final = 56
_EDGE: Final = 6
NOT_RECORDED: Final = "its instrument has no uncertainty on record"


@dataclass(frozen=True, slots=True)
class Judged:
    """What judged one value, part by part as pages show it; empty where it is not known."""

    value: Decimal
    unit: str
    judgement: Judgement
    is_computed: bool = False

    @property
    def limits(self) -> str:
        """The limits in words."""
        return self.judgement.effective.limits.words if self.judgement.effective else ""

    @property
    def sides(self) -> tuple[Stated, ...]:
        """Where each bound comes from."""
        return self.judgement.effective.sides if self.judgement.effective else ()

    @property
    def context(self) -> str:
        """What it was measured on and how."""
        return self.judgement.context.words

    @property
    def rule(self) -> str:
        """The rule, and the uncertainty where one is known: `Simple acceptance, uncertainty 2 µA`."""
        if self.judgement.effective is None:
            return ""
        named, wide = f"{self.judgement.rule.name_alone} acceptance", self.judgement.uncertainty
        return named if wide is None else f"{named}, uncertainty {phrases.quantity(wide, self.unit)}"

    @property
    def unguarded(self) -> str:
        """What came of it that a guard band was asked for and the uncertainty is not known; empty where it is."""
        judgement = self.judgement
        if judgement.effective is None or judgement.uncertainty is not None or judgement.rule is Acceptance.SIMPLE:
            return ""
        if verdict(self.value, judgement.effective.limits) is Verdict.FAIL:
            return ""  # it fails by any rule
        why = "no uncertainty is reckoned for what is worked out" if self.is_computed else NOT_RECORDED
        proven = judgement.rule is not Acceptance.STRICT
        return f"{'Judged' if proven else 'Not proven'} without a guard band: {why}"

    @property
    def in_doubt(self) -> bool:
        """Whether the uncertainty leaves open if the value lies within its limits."""
        effective, wide = self.judgement.effective, self.judgement.uncertainty
        if effective is None or wide is None:
            return False
        return guarded(self.value, effective.limits, wide) is Guarded.CANNOT_TELL

    @property
    def first(self) -> str:
        """The first value and its day, empty where none is known."""
        first = self.judgement.first
        if first is None:
            return ""
        return f"{phrases.quantity(first.value, self.unit)} on {phrases.day(date.fromisoformat(first.on))}"

    @property
    def jump(self) -> str:
        """How far it went from the first value to the limit, where that is more than the share that is shown."""
        way = self.judgement.way(self.value)
        if way is None or not self.judgement.has_jumped(self.value):
            return ""
        share = self.judgement.jump_share
        return f"{phrases.percent(way, 0)} of the way from the first value to the limit; shown beyond " + (
            phrases.percent(share, 0)
        )


def judged_words(reading: Reading) -> Judged | None:
    """What judged a reading that has a value."""
    if reading.value is None:
        return None
    is_computed = reading.step.kind == Step.Kind.COMPUTED
    return Judged(plain_bound(reading.value), reading.step.unit, judgement_of(reading), is_computed)


@dataclass(frozen=True, slots=True)
class Taken:
    """One value of a quantity: its day, what was typed, its verdict and order, how it was judged, and who took it."""

    on: date
    words: str
    verdict: str
    order: str
    judged: Judged
    by: str
    x: float
    y: float


@dataclass(frozen=True, slots=True)
class Course:
    """How one quantity of a driver went, the earliest first, all in one unit; `line` and `limit_y` draw it."""

    words: str
    unit: str
    context: str
    taken: list[Taken]
    line: str
    limit_y: float | None
    width: int = WIDTH
    height: int = HEIGHT

    @property
    def last(self) -> Taken:
        """The last value."""
        return self.taken[-1]


def courses(device: Device) -> list[Course]:
    """How each safety quantity of a driver went, apart by what it was measured on and how."""
    rows = [(reading, judged) for reading in readings_of(device) if (judged := judged_words(reading)) is not None]
    order = {each.value: at for at, each in enumerate(Quantity)}
    rows.sort(key=lambda row: (order[row[0].step.quantity], _way(row[1])))
    alike = groupby(rows, key=lambda row: (row[0].step.quantity, _way(row[1])))
    return [_course(list(held)) for _, held in alike]


def _way(judged: Judged) -> tuple[str, str, str]:
    context = judged.judgement.context
    return context.protection, context.applied_part, context.method


def _course(rows: Sequence[tuple[Reading, Judged]]) -> Course:
    reading, judged = rows[-1]
    unit = reading.step.unit
    values = [float(convert(each.value, each.unit, unit)) for _, each in rows]
    effective = judged.judgement.effective
    bound = (
        (effective.limits.high if effective.limits.high is not None else effective.limits.low) if effective else None
    )
    top = max([*values, float(bound or 0)]) or 1.0
    xs = list(_across([local_day(each.taken_at) for each, _ in rows]))
    ys = [_up(value, top) for value in values]
    taken = [
        Taken(
            local_day(each.taken_at),
            value_in_words(each),
            each.verdict,
            each.order.number,
            its,
            _by(each),
            x,
            y,
        )
        for (each, its), x, y in zip(rows, xs, ys, strict=True)
    ]
    line = " ".join(f"{x},{y}" for x, y in zip(xs, ys, strict=True))
    limit_y = None if bound is None else _up(float(bound), top)
    return Course(quantity_words(reading.step.quantity), unit, judged.context, taken, line, limit_y)


def _by(reading: Reading) -> str:
    """`with SAF-01, by Tova Lindqvarn`, as far as it is known."""
    tool = f"with {reading.instrument.number}" if reading.instrument else ""
    return ", ".join(filter(None, [tool, f"by {reading.by}" if reading.by else ""]))


def _across(days: Sequence[date]) -> Iterator[float]:
    span = (days[-1] - days[0]).days
    for day in days:
        share = (day - days[0]).days / span if span else 0.5
        yield round(_EDGE + share * (WIDTH - 2 * _EDGE), 1)


def _up(value: float, top: float) -> float:
    return round(HEIGHT - _EDGE - max(value, 0.0) / top * (HEIGHT - 2 * _EDGE), 1)
