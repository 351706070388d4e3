"""Which limits judge a reading where several are stated, by which rule, and how far it went since the first one.

Rounding: a value is compared as it was read, never rounded (the "absolute method" of ASTM E29, from memory). How many
decimals a limit is written with changes nothing: 0.2004 ohm fails at most 0.2 and at most 0.20. A value converted from
another unit is compared with all its digits.

Rules of acceptance (own words, after JCGM 106:2012 and ILAC-G8:09/2019, from memory):

* Simple acceptance: within the limits passes, whatever the instrument's expanded uncertainty U.
* Guarded acceptance: passes from low + U to high - U, bounds included; what is within the limits but nearer is not
  proven; what is outside fails. Where U is not known, there is no guard band and simple acceptance judges.
* Strict acceptance: guarded, and where U is not known, what is within the limits is not proven either (our own words).
"""

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from fleet.core.calibration import margin
from fleet.core.errors import BadValueError
from fleet.core.limits import Limits, Verdict, verdict
from fleet.core.words import Worded

#: Share of the way from the first value to the limit beyond which a jump is shown (house default, no source).
JUMP_SHARE: Final = Decimal("0.5")


class Acceptance(Worded):
    """The rule by which a reading is accepted."""

    SIMPLE = "simple", "Simple: within the limits passes"
    GUARDED = "guarded", "Guarded: the instrument's uncertainty must fit within the limits too"
    STRICT = "strict", "Strict: guarded, and a measured value is not proven where no uncertainty is recorded"

    @property
    def name_alone(self) -> str:
        """Its name without what it means."""
        return self.label.partition(":")[0]


@dataclass(frozen=True, slots=True)
class Stated:
    """Limits with their source, and whether somebody checked them against it (`verified` says who, empty: nobody)."""

    limits: Limits
    source: str
    verified: str = ""


@dataclass(frozen=True, slots=True)
class Effective:
    """The limits that judge: on each side the tighter of those stated, with where that side comes from."""

    limits: Limits
    low_from: Stated | None
    high_from: Stated | None

    @property
    def sides(self) -> tuple[Stated, ...]:
        """What the bounds come from, each once."""
        return tuple(dict.fromkeys(side for side in (self.low_from, self.high_from) if side is not None))

    @property
    def all_verified(self) -> bool:
        """Whether every bound was checked against its source."""
        return all(side.verified for side in self.sides)


def tightest(stated: Iterable[Stated]) -> Effective | None:
    """Return the tighter bound of each side; None where nothing is stated. All in one unit.

    Of equal bounds the first stated is named. Raises BadValueError, with both sources, where no value could pass.
    """
    every = list(stated)
    if not every:
        return None
    low, low_from = _of(every, highest=True)
    high, high_from = _of(every, highest=False)
    if low is not None and high is not None and low > high:
        sources = " and ".join(f"“{side.source}”" for side in (low_from, high_from) if side is not None)
        message = f"No value could pass: at least {low:f} and at most {high:f} {every[0].limits.unit}, by {sources}."
        raise BadValueError(f"{message} One of these limits is wrong.", field="value")
    return Effective(Limits(low, high, every[0].limits.unit), low_from, high_from)


def _of(every: list[Stated], *, highest: bool) -> tuple[Decimal | None, Stated | None]:
    """The tighter bound of one side: the highest low, or the lowest high."""
    tighter: tuple[Decimal | None, Stated | None] = (None, None)
    for each in every:
        bound = each.limits.low if highest else each.limits.high
        if bound is None:
            continue
        if tighter[0] is None or (bound > tighter[0] if highest else bound < tighter[0]):
            tighter = (bound, each)
    return tighter


def judge(value: Decimal, limits: Limits, uncertainty: Decimal | None, rule: Acceptance) -> Verdict:
    """Return the verdict by a rule; value, limits and expanded uncertainty U (None: not known) in one unit."""
    simple = verdict(value, limits)
    if rule is Acceptance.SIMPLE or simple is Verdict.FAIL:
        return simple
    if uncertainty is None:
        return Verdict.NOT_PROVEN if rule is Acceptance.STRICT else simple
    return Verdict.PASS if margin(value, limits) >= uncertainty else Verdict.NOT_PROVEN


def way_to_limit(first: Decimal, value: Decimal, limits: Limits) -> Decimal | None:
    """Return how much of the way from the first value to the limit a later value has gone: 0 at the first, 1 at it.

    Only the limit that the value moved towards counts; towards an open side there is no way to go: 0. None where the
    first value lies at or beyond that limit, so that there is no way between them.
    """
    goal = limits.high if value > first else limits.low
    if value == first or goal is None:
        return Decimal(0)
    way = abs(goal - first)
    is_inside = first < goal if value > first else first > goal
    return abs(value - first) / way if is_inside else None
