"""Which fleets are tried: how they are drawn by seed, which ways are tried on them, and in which unit they are told."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from benchmarks.forecast.cells import DATA, knee_cells, nasa_cells, thinned
from benchmarks.forecast.fleets import LIFE_YEARS, Fleet
from benchmarks.forecast.scores import Score, pooled, score
from benchmarks.forecast.simulator import FADES, Scene, mixed_types, one_type
from benchmarks.forecast.ways import WAYS

# Nothing is asked of a crossing later than so many lives.
CAP = 3.0 * LIFE_YEARS
LIVES, MONTHS = 1 / LIFE_YEARS, 12.0
# How many fleets of a size are drawn for each fleet of cells.
OFTEN = {50: 1.0, 100: 1.0, 300: 0.5, 5000: 0.1}
# surpyval goes through packs one by one, and takes minutes beyond this.
PATH_SLOTS = 300
GROSS = (0.0, 0.12)


@dataclass(frozen=True)
class Trial:
    """Fleets under one name: `draw` by seed, how `often` for each fleet of cells, scores times `unit`."""

    name: str
    draw: Callable[[int], Fleet]
    unit: float
    ways: tuple[str, ...]
    often: float = 1.0

    def scores(self, seeds: int) -> Iterator[tuple[str, Score]]:
        """Give each way's scores over the fleets of the first seeds."""
        fleets = [self.draw(seed) for seed in range(max(1, round(self.often * seeds)))]
        for way in self.ways:
            yield way, pooled(each for fleet in fleets for each in fleet_scores(fleet, way))


def fleet_scores(fleet: Fleet, way: str) -> list[Score]:
    """Return the way's score on each type of the fleet, in years."""
    return [
        score(laws, each.crossing[each.asked], CAP)
        for each, laws in zip(fleet, WAYS[way](fleet), strict=True)
        if len(each.asked)
    ]


ONE_TYPE = tuple(way for way in WAYS if way != "bend alone")
LARGE = tuple(way for way in ONE_TYPE if way != "surpyval path")


def trials() -> list[Trial]:
    """Return all trials, those on real cells first if their data lie beside the project."""
    cells = _of_cells() if DATA.is_dir() else []
    return [*cells, *_of_one_type(), *_of_gross_errors(), *_of_mixed_types()]


def _of_cells() -> list[Trial]:
    ages = (("young", False), ("mature", True))
    knee = [Trial(f"cells, {age}", thinned(knee_cells(), mature=mature), LIVES, ONE_TYPE) for age, mature in ages]
    nasa = [
        Trial(f"NASA cells, {age}", thinned(nasa_cells(), mature=mature), LIVES, tuple(WAYS)) for age, mature in ages
    ]
    return knee + nasa


def _of_one_type() -> list[Trial]:
    return [
        Trial(
            f"{slots} slots, {fade}",
            one_type(Scene(slots, fade)),
            MONTHS,
            ONE_TYPE if slots <= PATH_SLOTS else LARGE,
            often,
        )
        for slots, often in OFTEN.items()
        for fade in FADES
    ]


def _of_gross_errors() -> list[Trial]:
    return [
        Trial(f"300 slots, {share:.0%} wrong", one_type(Scene(300, gross_share=share)), MONTHS, LARGE, OFTEN[300])
        for share in GROSS
    ]


def _of_mixed_types() -> list[Trial]:
    shares = [(50, 0.04), (100, 0.04), (300, 0.0), (300, 0.04), (300, 0.12)]
    ways = tuple(way for way in WAYS if way != "surpyval path")
    return [
        Trial(
            f"{slots} mixed, {share:.0%} wrong",
            mixed_types(Scene(slots, gross_share=share)),
            MONTHS,
            ways,
            OFTEN[slots],
        )
        for slots, share in shares
    ]
