"""What the ways are tried on: fleets as their keeper knows them today, with the truth beside."""

from dataclasses import dataclass

import numpy as np

from fleet.core.battery.arrays import BoolArray, FloatArray, IntArray
from fleet.core.battery.bend.histories import FadeTests
from fleet.core.battery.ways import Known

LEVEL = 0.80
# What is called a year: a usual life is set to this many, so that ages look like a pack's.
LIFE_YEARS = 4.0


@dataclass(frozen=True, eq=False)
class TypeFleet:
    """The P packs of a type: what is `known`, the age (P,) at which each crosses, and which are `scored` (P,).

    Scored are packs in service that have not crossed yet.
    """

    chemistry: str
    known: Known
    crossing: FloatArray
    scored: BoolArray

    @property
    def asked(self) -> IntArray:
        """Return the rows of the scored packs."""
        return np.flatnonzero(self.scored)


Fleet = tuple[TypeFleet, ...]


@dataclass(frozen=True, eq=False)
class Packs:
    """The packs of a type, as columns (P,): age today or when taken out, at entry into the record, and the truth."""

    age: FloatArray
    entry_age: FloatArray
    worn: BoolArray
    crossing: FloatArray
    scored: BoolArray


def type_fleet(chemistry: str, packs: Packs, tests: FadeTests, level: float = LEVEL) -> TypeFleet:
    """Return the fleet of one type."""
    return TypeFleet(
        chemistry, Known(tests, packs.age, packs.entry_age, packs.worn, level), packs.crossing, packs.scored
    )
