"""What is taken of a type's fade before its own tests, and how its forecasts are corrected by known crossings."""

from collections.abc import Mapping
from typing import NamedTuple

import numpy as np

from fleet.batteries.actions.history import TypeHistory
from fleet.batteries.models import Backtest, ChemistryLife
from fleet.core.battery.bend.borrowing import TypeRecord, type_prior
from fleet.core.battery.bend.parameters import FadePrior, assumed_prior
from fleet.core.battery.bend.ranks import Recalibration
from fleet.core.battery.minimum import MinimumInformation
from fleet.registry.models import DeviceType

#: As `assumed_prior` names what nobody has stated.
UNSTATED = "assumed"
#: Packs with a test from which on a type borrows nothing: what others know would not move its numbers (own choice).
_AMPLE_PACKS = 300


class Beforehand(NamedTuple):
    """What is taken of a type, and the oldest age, years, that anybody has tested or stated of packs like it."""

    prior: FadePrior
    vouched_years: float


def beforehand(history: TypeHistory, lenders: Mapping[int, TypeRecord]) -> Beforehand:
    """What is taken of a type before its own tests; ages of its own tests, of its lenders' and a stated life count."""
    prior = prior_of(history, lenders)
    ages = [oldest_tested(history.record)]
    if prior.borrowed:
        others = [record for pk, record in lenders.items() if pk != history.device_type.pk]
        kin = [record for record in others if record.chemistry.casefold() == history.device_type.chemistry.casefold()]
        ages += [oldest_tested(record) for record in kin or others]
    elif prior.source != UNSTATED:
        ages.append(prior.life_years)
    return Beforehand(prior, max(ages))


def oldest_tested(record: TypeRecord) -> float:
    """The age, years, of the oldest pack at a full test; 0 without one."""
    full = record.tests.full
    return float(record.tests.age_years[full].max(initial=0.0))


def lends(record: TypeRecord) -> bool:
    """Whether a type has tests enough of its own that others may borrow from it."""
    full = record.tests.full
    return not MinimumInformation().lacking(record.tests.pack[full], record.tests.age_years[full])


def prior_of(history: TypeHistory, lenders: Mapping[int, TypeRecord]) -> FadePrior:
    """What is taken of a type: from other types of its chemistry, from all, else from the life stated for it.

    `lenders`: the types that lend, by key. Where nothing is stated the source is UNSTATED. A type with ample tests of
    its own takes wide assumptions.
    """
    own = history.device_type
    others = [record for pk, record in lenders.items() if pk != own.pk]
    ample = len(np.unique(history.columns.pack)) >= _AMPLE_PACKS
    if others and not ample:
        return type_prior(own.chemistry, others, own=history.record)
    life = ChemistryLife.objects.filter(chemistry__iexact=own.chemistry).first() if own.chemistry else None
    if life is None or ample:
        return type_prior(own.chemistry, [], own=history.record)
    source = f"{own.chemistry}: {life.life_years} years, {life.source}"
    return assumed_prior(float(life.life_years), source=source[:120])


def recalibration_of(device_type: DeviceType) -> Recalibration:
    """The correction that the type's latest backtest found, none without one."""
    latest = Backtest.objects.filter(device_type=device_type).first()
    if latest is None:
        return Recalibration()
    return Recalibration(latest.correction_a, latest.correction_b, latest.correction_ranks)
