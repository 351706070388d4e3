"""What judged one reading, kept with it: a limit that is changed later changes no verdict that was given."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from fleet.core.judging import Acceptance, Effective, Stated, way_to_limit
from fleet.core.limits import Limits
from fleet.core.safety import Context, as_stored, from_stored


@dataclass(frozen=True, slots=True)
class First:
    """The first value of a quantity that passed on this driver: in the reading's unit, its day (ISO) and its order."""

    value: Decimal
    on: str
    order: str


@dataclass(frozen=True, slots=True)
class Judgement:
    """By which limits, rule and uncertainty a reading was judged, on what it was made, and where it began.

    `effective` None: no limit was stated and a person judged. `uncertainty`: U in the reading's unit, None where it was
    not known. `profile` names the set of reference limits, empty where the step names no quantity or none is chosen.
    """

    effective: Effective | None = None
    rule: Acceptance = Acceptance.SIMPLE
    uncertainty: Decimal | None = None
    profile: str = ""
    context: Context = field(default_factory=Context)
    first: First | None = None
    jump_share: Decimal | None = None

    def way(self, value: Decimal) -> Decimal | None:
        """How much of the way from the first value to the limit this value has gone; None where neither is known."""
        if self.first is None or self.effective is None:
            return None
        return way_to_limit(self.first.value, value, self.effective.limits)

    def has_jumped(self, value: Decimal) -> bool:
        """Whether it went further than the share that is shown as a jump."""
        way = self.way(value)
        return way is not None and self.jump_share is not None and way > self.jump_share

    def as_stored(self) -> dict[str, Any]:
        """As plain texts for a column, without what is not known."""
        held: dict[str, Any] = {"rule": self.rule.value, "context": as_stored(self.context), "profile": self.profile}
        if self.effective is not None:
            held["unit"] = self.effective.limits.unit
            sides = {"low": self.effective.low_from, "high": self.effective.high_from}
            held |= {name: _told(side) for name, side in sides.items() if side is not None}
        if self.first is not None:
            held["first"] = {"value": str(self.first.value), "on": self.first.on, "order": self.first.order}
        numbers = {"uncertainty": self.uncertainty, "jump_share": self.jump_share}
        return held | {name: str(number) for name, number in numbers.items() if number is not None}


def _told(side: Stated) -> dict[str, str]:
    bounds = {"low": side.limits.low, "high": side.limits.high}
    told = {name: str(bound) for name, bound in bounds.items() if bound is not None}
    return told | {"source": side.source, "verified": side.verified}


def read_judgement(stored: Mapping[str, Any]) -> Judgement | None:
    """Return what `as_stored` wrote; None for an empty column, of a reading older than this record."""
    if not stored:
        return None
    return Judgement(
        effective=_effective(stored) if "unit" in stored else None,
        rule=Acceptance(stored["rule"]),
        uncertainty=_number(stored, "uncertainty"),
        profile=stored["profile"],
        context=from_stored(stored["context"]),
        first=_first(stored["first"]) if "first" in stored else None,
        jump_share=_number(stored, "jump_share"),
    )


def _effective(stored: Mapping[str, Any]) -> Effective:
    unit = stored["unit"]
    low, high = (_side(stored[name], unit) if name in stored else None for name in ("low", "high"))
    limits = Limits(low.limits.low if low else None, high.limits.high if high else None, unit)
    return Effective(limits, low, high)


def _side(told: Mapping[str, str], unit: str) -> Stated:
    limits = Limits(_number(told, "low"), _number(told, "high"), unit)
    return Stated(limits, told["source"], told["verified"])


def _first(told: Mapping[str, str]) -> First:
    return First(Decimal(told["value"]), told["on"], told["order"])


def _number(stored: Mapping[str, str], name: str) -> Decimal | None:
    return Decimal(stored[name]) if name in stored else None
