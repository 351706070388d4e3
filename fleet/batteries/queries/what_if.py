"""How the packs needed and the risk taken change with the risk limit and with the interval of the visits."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from fleet.batteries.models import TypeOutlook
from fleet.batteries.policy_wording import limit_words, months
from fleet.batteries.queries.fleet import limit_in_force, visit_months

_SAME: Final = 1e-6


@dataclass(frozen=True, slots=True)
class Setting:
    """A risk limit and months between visits, with what they come to in the next 12 months.

    `packs` fitted anew; `under`: drivers expected under their level before anybody sees them.
    """

    limit: float
    every: int
    packs: float
    under: float

    @property
    def limit_words(self) -> str:
        """The limit as a share."""
        return limit_words(self.limit)

    @property
    def every_words(self) -> str:
        """The interval, as it follows on "every"."""
        return _interval(self.every)

    @property
    def words(self) -> str:
        """The setting in words."""
        return f"a limit of {self.limit_words} and a visit every {self.every_words}"

    @property
    def packs_words(self) -> str:
        """The number of packs."""
        return number(self.packs)

    @property
    def under_words(self) -> str:
        """The number of drivers expected under their level unseen."""
        return number(self.under)

    @property
    def comes_to(self) -> str:
        """What it comes to, in words."""
        under = f"{self.under_words} drivers expected under the level before anybody sees them"
        return f"{self.packs_words} packs, and {under}"


@dataclass(frozen=True, slots=True)
class WhatIf:
    """The whole grid, the setting that holds now (None where it lies beside the grid) and the one asked for."""

    settings: tuple[Setting, ...]
    now: Setting | None
    asked: Setting | None
    limit_now: float
    every_now: int | None

    @property
    def limits(self) -> list[float]:
        """The limits of the grid."""
        return sorted({setting.limit for setting in self.settings})

    @property
    def intervals(self) -> list[int]:
        """Its intervals, in months."""
        return sorted({setting.every for setting in self.settings})

    @property
    def heads(self) -> list[str]:
        """Its intervals in words."""
        return [_interval(every) for every in self.intervals]

    @property
    def choices(self) -> tuple[list[tuple[str, str]], list[tuple[str, str]]]:
        """Limits and intervals as the address says them, with their words."""
        limits = [(f"{limit:g}", limit_words(limit)) for limit in self.limits]
        return limits, [(str(every), _interval(every)) for every in self.intervals]

    @property
    def rows(self) -> list[tuple[str, list[tuple[Setting, str]]]]:
        """A row a limit: its words, and a setting for each interval with the interval's words."""
        known = {(setting.limit, setting.every): setting for setting in self.settings}
        return [
            (
                limit_words(limit),
                [(known[limit, every], _interval(every)) for every in self.intervals if (limit, every) in known],
            )
            for limit in self.limits
        ]

    @property
    def now_words(self) -> str:
        """The setting that holds now, also where it lies beside the grid."""
        every = f"a visit every {_interval(self.every_now)}" if self.every_now else "no planned visits"
        return f"a limit of {limit_words(self.limit_now)} and {every}"


def what_if(outlook: TypeOutlook, limit: str = "", every: str = "") -> WhatIf:
    """What other limits and intervals would come to for a type; `limit` and `every` as the address says them."""
    settings = tuple(
        Setting(row["limit"], row["interval_months"], row["packs_next_year"], row["under_level_next_year"])
        for row in outlook.what_if
    )
    limit_now, every_now = limit_in_force(outlook.device_type), visit_months(outlook.device_type)
    now = _find(settings, limit_now, every_now or 0)
    asked = next((row for row in settings if f"{row.limit:g}" == limit and str(row.every) == every), now)
    return WhatIf(settings, now, asked, limit_now, every_now)


def _find(settings: Iterable[Setting], limit: float, every: int) -> Setting | None:
    return next((row for row in settings if abs(row.limit - limit) < _SAME and row.every == every), None)


def _interval(count: int) -> str:
    words = months(count)
    return words.removeprefix("a ")


def number(count: float) -> str:
    """An expected number: whole from ten on, else with one decimal."""
    return f"{count:.0f}" if count >= 10 else f"{count:.1f}"  # noqa: PLR2004 - from ten on a tenth says nothing
