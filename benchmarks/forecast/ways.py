"""Ways to forecast a whole fleet.

Those of `fleet.core.battery.ways`, type by type; the bend model with types that borrow from each other; and surpyval's
path model.
"""

import warnings
from collections.abc import Callable

import numpy as np
from surpyval.degradation import DegradationAnalysis, DegradationModel

from benchmarks.forecast.fleets import Fleet, TypeFleet
from fleet.core.battery import ways
from fleet.core.battery.arrays import FloatArray
from fleet.core.battery.bend.borrowing import TypeRecord, fit_types
from fleet.core.battery.bend.outlook import crossing_ages
from fleet.core.battery.scores import PROBABILITIES, CrossingLaws

EFFORT = ways.Effort(draws=32, most_packs=5000)
PATH_DRAWS = 4000
# One law of each type's scored packs.
Way = Callable[[Fleet], list[CrossingLaws]]


def by_type(way: ways.Way) -> Way:
    """Return the way that forecasts each type by itself."""
    return lambda fleet: [way(each.known, each.asked, EFFORT) for each in fleet]


def borrowing(fleet: Fleet) -> list[CrossingLaws]:
    """The bend model; a type borrows from the others (of a fleet of one type there is nothing to borrow)."""
    records = {str(row): _record(each) for row, each in enumerate(fleet)}
    fits = fit_types(records, draws=EFFORT.draws, seed=EFFORT.seed)
    found = []
    for each, fit in zip(fleet, fits.values(), strict=True):
        known = each.known
        ages = crossing_ages(known.histories, fit.drawn_numbers(), known.level, PROBABILITIES, known.horizon)
        found.append(_laws(ages[:, each.asked], each))
    return found


def path_model(fleet: Fleet) -> list[CrossingLaws]:
    """Surpyval's: a straight path for each pack, all paths by REML, its draws of each pack's crossing.

    A type that it refuses (too few packs with two tests, or too few paths that fall) gets the pooled line.
    """
    found = []
    for each in fleet:
        try:
            found.append(_paths(each))
        except ValueError:
            found.append(ways.pooled_line(each.known, each.asked, EFFORT))
    return found


def _paths(each: TypeFleet) -> CrossingLaws:
    pack, age, fraction = each.known.values
    often = [row for row in range(len(each.scored)) if len(np.unique(age[pack == row])) > 1]
    use = np.isin(pack, often)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # spreads at the edge of what is allowed: told by the scores
        model = DegradationAnalysis.fit(
            age[use], fraction[use], pack[use], threshold=each.known.level, path="linear", population_method="reml"
        )
        ages = [_path_ages(model, age[pack == row], fraction[pack == row]) for row in each.asked]
    return _laws(np.reshape(ages, (-1, len(PROBABILITIES))).T, each)


def _path_ages(model: DegradationModel, age: FloatArray, fraction: FloatArray) -> FloatArray:
    """Return a pack's quantiles of the crossing; one never tested has the type's."""
    if not len(age):
        return np.asarray(model.induced_life(n_samples=PATH_DRAWS, random_state=1).qf(PROBABILITIES))
    drawn = model.predict_rul(age, fraction, n_samples=PATH_DRAWS, random_state=1).samples
    return np.asarray(np.quantile(drawn, PROBABILITIES, method="lower"))


def _record(each: TypeFleet) -> TypeRecord:
    histories = each.known.histories
    return TypeRecord(
        each.chemistry,
        each.known.tests,
        len(each.scored),
        each.known.entry_age,
        histories.entry_level,
        histories.entry_level_sd,
    )


def _laws(ages: FloatArray, each: TypeFleet) -> CrossingLaws:
    return CrossingLaws.of_quantiles(ages, PROBABILITIES, each.known.age[each.asked] + each.known.horizon)


WAYS: dict[str, Way] = {
    "own line": by_type(ways.own_line),
    "pooled line": by_type(ways.pooled_line),
    "MixedLM": by_type(ways.mixed_line),
    "surpyval path": path_model,
    "bend alone": by_type(ways.bend),
    "bend": borrowing,
}
