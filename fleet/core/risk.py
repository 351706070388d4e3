"""The risk score by which a type of equipment is taken into planned maintenance, and what departs from its maker.

EM = function + physical risk + required maintenance, after L. Fennigkoh and B. Smith, as the World Health Organization
prints it (Introduction to medical equipment inventory management, 2011, appendix A): from 12 on a type is included.
Their own method adds a fourth term, incident history, so that the same type may score up to 2 points apart; the variant
used is therefore part of every score. Points are whole numbers without a unit.
"""

from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from fleet.core.errors import BadValueError
from fleet.core.words import Worded

#: Kept with each score, so that one reckoned by another rule can be told apart.
RULE_VERSION: Final = "EM 2011, appendix A"
INCLUDED_FROM: Final = 12


class Scale(Worded):
    """One term of the score."""

    FUNCTION = "function", "Function"
    RISK = "risk", "Physical risk"
    MAINTENANCE = "maintenance", "Required maintenance"
    HISTORY = "history", "Incident history"


class Variant(Worded):
    """Which terms a score adds up."""

    THREE = "three", "function + physical risk + maintenance"
    FOUR = "four", "function + physical risk + maintenance + incident history"


#: Least and most points of each term: sums from 3 to 20, as published, and from 1 to 22 with the history (from memory).
BOUNDS: Final = MappingProxyType(
    {Scale.FUNCTION: (1, 10), Scale.RISK: (1, 5), Scale.MAINTENANCE: (1, 5), Scale.HISTORY: (-2, 2)}
)


@dataclass(frozen=True, slots=True)
class Score:
    """A score with the terms it was added up from; `history` is None in the variant of three terms."""

    function: int
    risk: int
    maintenance: int
    history: int | None = None

    @property
    def total(self) -> int:
        """The sum: from 3 to 20, or from 1 to 22 with the incident history."""
        return self.function + self.risk + self.maintenance + (self.history or 0)

    @property
    def variant(self) -> Variant:
        """Which terms were added up."""
        return Variant.THREE if self.history is None else Variant.FOUR

    @property
    def included(self) -> bool:
        """Whether the rule takes the type into planned maintenance."""
        return self.total >= INCLUDED_FROM


def em_score(function: int, risk: int, maintenance: int, history: int | None = None) -> Score:
    """Add up a score; with `history` the method of four terms. Raises BadValueError for points outside a scale."""
    given = {Scale.FUNCTION: function, Scale.RISK: risk, Scale.MAINTENANCE: maintenance, Scale.HISTORY: history}
    for scale, points in given.items():
        least, most = BOUNDS[scale]
        if points is not None and not least <= points <= most:
            message = f"{scale.label} is scored from {least} to {most}; {points} lies outside."
            raise BadValueError(message, field=scale.value)
    return Score(function, risk, maintenance, history)


@dataclass(frozen=True, slots=True)
class Every:
    """How often: each limit that is given, whichever comes first."""

    months: int | None = None
    hours: int | None = None
    cycles: int | None = None

    @property
    def stated(self) -> bool:
        """Whether any limit is given."""
        return bool(self.months or self.hours or self.cycles)

    def longer_than(self, maker: "Every") -> bool:
        """Whether this lets more time, hours or cycles pass than the maker does, or leaves out a limit of the maker's.

        More often than the maker asks is no departure: nothing the maker asks for is left out.
        """
        limits = ((self.months, maker.months), (self.hours, maker.hours), (self.cycles, maker.cycles))
        return any(asked and (not own or own > asked) for own, asked in limits)
