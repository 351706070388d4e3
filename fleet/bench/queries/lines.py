"""The steps of a procedure version as plain values."""

from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Final

from fleet.bench.models import ProcedureVersion, Step
from fleet.registry.models import DeviceType


@dataclass(frozen=True, slots=True, kw_only=True)
class OwnLimit:
    """The limits of a step for one device type, in the step's unit, with their source."""

    device_type: DeviceType
    low: Decimal | None = None
    high: Decimal | None = None
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class NewStep:
    """One line of a procedure. A reading has a `unit`; its limits, if any, say where they come from.

    `low` and `high` are for every type without `limits` of its own. `key` names the value in the `formula` of a later
    step. `passing` and `failing` are the options of a choice. With `instrument_kind` the step is answered only with an
    instrument of that kind named.
    """

    words: str
    kind: str = Step.Kind.CHECK.value
    key: str = ""
    caution: str = ""
    unit: str = ""
    decimals: int | None = None
    low: Decimal | None = None
    high: Decimal | None = None
    limit_source: str = ""
    quantity: str = ""
    limits: tuple[OwnLimit, ...] = ()
    passing: tuple[str, ...] = ()
    failing: tuple[str, ...] = ()
    formula: str = ""
    required: bool = True
    instrument_kind: str = ""


#: What a step keeps in a column of the same name.
PLAIN: Final = (
    "words", "kind", "key", "caution", "unit", "decimals", "low", "high", "limit_source", "quantity",
    "formula", "required", "instrument_kind",
)  # fmt: skip
BOUNDS: Final = ("low", "high")
LISTS: Final = ("passing", "failing")


def lines_of(version: ProcedureVersion) -> list[NewStep]:
    """The steps of a version as plain values, in order."""
    steps = version.steps.order_by("position").prefetch_related("limits__device_type__maker")
    return [line_of(step) for step in steps]


def line_of(step: Step) -> NewStep:
    """One step as plain values."""
    own = tuple(
        OwnLimit(device_type=each.device_type, low=plain(each.low), high=plain(each.high), source=each.source)
        for each in step.limits.all()
    )
    values: dict[str, Any] = {name: getattr(step, name) for name in PLAIN}
    values |= {name: plain(getattr(step, name)) for name in BOUNDS}
    values |= {name: tuple(getattr(step, name)) for name in LISTS}
    return NewStep(**values, limits=own)


def plain(value: Decimal | None) -> Decimal | None:
    """The number without the trailing zeros of its column."""
    return None if value is None else Decimal(f"{value.normalize():f}")
