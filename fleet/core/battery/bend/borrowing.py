"""A type with few packs borrows from the other types of its chemistry, or from all; one with none has only that.

The others are fitted as if they were one type, and their numbers, widened by what types of one chemistry are taken to
differ by, are the prior of the type. The type itself is left out of what it borrows, so that nothing counts twice.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np

from fleet.core.battery.arrays import FloatArray
from fleet.core.battery.bend.fit import FadeFit, fit_fade_numbers
from fleet.core.battery.bend.histories import FadeTests, Histories, lay_out, rough_life
from fleet.core.battery.bend.parameters import FadePrior, assumed_prior, borrowed_prior

# Packs of the others that are looked at: more would not narrow what types differ by.
_KIN_PACKS = 500
# Types of different chemistries are taken to differ by so many times as much (assumed).
_OTHER_CHEMISTRY = 2.5


@dataclass(frozen=True, eq=False)
class TypeRecord:
    """The tests of a type's packs. `entry_age` and `use` (packs,), `entry_level` and its SD: see `Histories`."""

    chemistry: str
    tests: FadeTests
    packs: int
    entry_age: FloatArray
    entry_level: float
    entry_level_sd: float
    use: FloatArray | None = None

    def histories(self) -> Histories:
        """Return the tests laid out by pack."""
        return lay_out(
            self.tests,
            self.packs,
            entry_age=self.entry_age,
            entry_level=self.entry_level,
            entry_level_sd=self.entry_level_sd,
            use=self.use,
        )


def fit_types(records: Mapping[str, TypeRecord], *, draws: int | None = None, seed: int = 1) -> dict[str, FadeFit]:
    """Return the fit of each type by name; its prior's `source` says what it borrowed from."""
    fits = {}
    for name, record in records.items():
        others = [other for key, other in records.items() if key != name]
        prior = type_prior(record.chemistry, others, own=record)
        fits[name] = fit_fade_numbers(record.histories(), prior, draws=draws, seed=seed)
    return fits


def type_prior(chemistry: str, others: Iterable[TypeRecord], *, own: TypeRecord | None = None) -> FadePrior:
    """Return what a type of `chemistry` may borrow from `others`: from its chemistry, else from all, else assumed.

    However the chemistry is spelled, in capitals or not; types without one stated are no kin. `own` only gives the
    unit of time where nothing is borrowed.
    """
    tested = [other for other in others if len(other.tests.pack)]
    kin = [other for other in tested if chemistry and other.chemistry.casefold() == chemistry.casefold()]
    source = f"other types of {chemistry}" if kin else "types of other chemistries"
    merged = [record.histories() for record in (_merged(kin or tested),)] if tested else []
    life = rough_life((merged or [own.histories() if own else lay_out(FadeTests.of([], [], []), 0)])[0])
    prior = assumed_prior(life)
    if not merged:
        return prior
    fit = fit_fade_numbers(merged[0], prior, most_packs=_KIN_PACKS)
    widen = 1.0 if kin else _OTHER_CHEMISTRY
    return borrowed_prior(fit.mode, fit.covariance, life, source=source, widen=widen)


def _merged(records: list[TypeRecord]) -> TypeRecord:
    offsets = np.cumsum([0, *(record.packs for record in records)])
    columns = {
        name: np.concatenate([getattr(record.tests, name) for record in records])
        for name in ("age_years", "fraction", "bound", "kind", "shortfall")
    }
    pack = np.concatenate([record.tests.pack + first for record, first in zip(records, offsets, strict=False)])
    return TypeRecord(
        chemistry=records[0].chemistry,
        tests=FadeTests(pack=pack, **columns),
        packs=int(offsets[-1]),
        entry_age=np.concatenate([record.entry_age for record in records]),
        entry_level=records[0].entry_level,
        entry_level_sd=records[0].entry_level_sd,
        use=np.concatenate([np.zeros(each.packs) if each.use is None else each.use for each in records]),
    )
