"""What the scenario remembers while it makes the years: each driver's true battery, and whether it is free."""

import math
from dataclasses import dataclass, field
from datetime import date
from typing import Final, NamedTuple

from django.db.models import QuerySet

from fleet.batteries.models import Pack
from fleet.bench.models import Step
from fleet.libraries.models import LibraryVersion
from fleet.management.demo.diary import Diary
from fleet.management.demo.dice import Dice
from fleet.management.demo.hospital import Hospital, Model
from fleet.management.demo.people import Crew
from fleet.registry.models import Device, Place
from fleet.stores.models import Instrument, Part

#: What a pack has lost when it is due, and which shares of that it loses evenly and in a bend towards the end.
LOSS: Final = 0.21
STRAIGHT: Final = 0.7
BENDING: Final = 0.3


@dataclass(slots=True)
class Cell:
    """A pack with the truth that its tests only show through noise.

    At age t (years) it carries start - fade t (STRAIGHT + BENDING (t / life)^1.5), life being LOSS / fade: it falls
    slowly at first and faster about the time it is due for replacement.
    """

    pack: Pack
    fitted_on: date
    start: float
    fade: float
    cycles_a_day: float

    def fraction(self, on: date) -> float:
        """The true runtime fraction on a day."""
        years = (on - self.fitted_on).days / 365.25
        spent = max(years, 0.0) * self.fade / LOSS
        return self.start - self.fade * years * (STRAIGHT + BENDING * spent * math.sqrt(spent))

    def cycles(self, on: date) -> int:
        """Charge cycles made by a day."""
        return round(self.cycles_a_day * (on - self.fitted_on).days)


@dataclass(slots=True)
class Driver:
    """One driver in the scenario.

    `on_network`: its type has a network and its radio works; `silent`: not heard of any more. `kept_for` names the
    awkward case it plays: chance leaves it alone then.
    """

    device: Device
    model: Model
    home: Place
    number: int
    on_network: bool
    cell: Cell
    served_on: date
    tested_on: date
    busy: bool = False
    gone: bool = False
    silent: bool = False
    kept_for: str = ""

    @property
    def free(self) -> bool:
        """Whether it is in service and nothing is planned for it by name."""
        return not (self.busy or self.gone or self.kept_for)


class Notable(NamedTuple):
    """A driver worth a look, and why."""

    case: str
    asset: str
    why: str


@dataclass(slots=True)
class World:
    """Everything the acts of the scenario share."""

    hospital: Hospital
    crew: Crew
    rng: Dice
    diary: Diary
    drivers: list[Driver] = field(default_factory=list)
    notable: list[Notable] = field(default_factory=list)
    in_force: dict[str, LibraryVersion] = field(default_factory=dict)
    #: What measures delivery on a bench, by the bench's key.
    analysers: dict[int, Instrument] = field(default_factory=dict)
    testers: dict[int, Instrument] = field(default_factory=dict)
    #: What the stores keep, by the maker's part number; empty until they open.
    parts: dict[str, Part] = field(default_factory=dict)
    _steps: dict[int, list[Step]] = field(default_factory=dict)

    def steps(self, version_id: int) -> list[Step]:
        """The steps of a procedure version, read once."""
        if version_id not in self._steps:
            rows: QuerySet[Step] = Step.objects.filter(version_id=version_id)
            self._steps[version_id] = list(rows)
        return self._steps[version_id]

    def note(self, case: str, driver: Driver, why: str) -> None:
        """Put a driver on the list of those worth a look."""
        self.notable.append(Notable(case, driver.device.asset_number, why))
