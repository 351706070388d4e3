"""How much of the planned work was done in its window, whole and in parts, with the dues behind each number."""

from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from fractions import Fraction
from typing import Final

from fleet.core import share
from fleet.core.due import months_between
from fleet.schedules.queries.outcomes import Asked, Outcome, Result, left_out, outcomes

#: Results of work that was done.
DONE: Final = (Result.ON_TIME, Result.LATE, Result.EARLY)


@dataclass(frozen=True, slots=True)
class Completion:
    """Counts of scheduled dues by result."""

    results: Mapping[Result, int]
    deferred: int

    @property
    def scheduled(self) -> int:
        """Dues whose window ended in the period."""
        return sum(self.results.values())

    @property
    def in_window(self) -> int:
        """Dues done within their window."""
        return self.results.get(Result.ON_TIME, 0)

    @property
    def located(self) -> int:
        """Scheduled dues but for those whose driver was not located: no denominator of the usual measure."""
        return self.scheduled - self.results.get(Result.NOT_FOUND, 0)

    @property
    def met(self) -> int:
        """Dues done at all, late and early ones too."""
        return sum(self.results.get(result, 0) for result in DONE)

    @property
    def not_done(self) -> int:
        """Dues not done at all, for whatever reason: with those met they make up the scheduled."""
        return self.scheduled - self.met

    @property
    def on_time(self) -> Fraction | None:
        """Share done within the window; None when nothing was due."""
        return share.completion(self.in_window, self.scheduled)

    @property
    def done(self) -> Fraction | None:
        """Share done at all, late and early ones too; None when nothing was due."""
        return share.share(self.met, self.scheduled)

    @property
    def done_of_located(self) -> Fraction | None:
        """Share done at all of the located: flattering, so it is never shown without saying what it leaves out."""
        return share.share(self.met, self.located)


@dataclass(frozen=True, slots=True)
class Part:
    """The completion of what has something in common: its name, and the key by which its dues are found again."""

    name: str
    key: str
    completion: Completion


#: What the dues are grouped by: the name and the key of the group that one belongs to.
GROUPS: Final[Mapping[str, Callable[[Outcome], tuple[str, str]]]] = {
    "plan": lambda each: (each.plan, each.plan),
    "type": lambda each: (each.type, str(each.type_id)),
    "site": lambda each: (each.site, str(each.site_id)),
    "home": lambda each: (f"{each.home}, {each.site}", str(each.home_id)),
    "month": lambda each: (f"{each.closes_on:%Y-%m}", f"{each.closes_on:%Y-%m}"),
    "life": lambda each: ("Life-support drivers", "1") if each.life_support else ("Other drivers", "0"),
}


@dataclass(frozen=True, slots=True)
class Report:
    """Completion of a period: all, life-support apart, in parts, and each due not done on time or left out by name."""

    asked: Asked
    rows: list[Outcome]
    left: list[Outcome]

    @property
    def total(self) -> Completion:
        """All scheduled dues."""
        return _counted(self.rows)

    @property
    def life_support(self) -> Completion:
        """Those of drivers whose failure can kill."""
        return _counted(row for row in self.rows if row.life_support)

    @property
    def misses(self) -> list[Outcome]:
        """The scheduled dues not done on time."""
        return [row for row in self.rows if row.result is not Result.ON_TIME]

    def by(self, group: str) -> list[Part]:
        """The dues in the parts of one of `GROUPS`, by name."""
        groups: dict[tuple[str, str], list[Outcome]] = {}
        for row in self.rows:
            groups.setdefault(GROUPS[group](row), []).append(row)
        return [Part(name, key, _counted(groups[name, key])) for name, key in sorted(groups)]

    @property
    def months(self) -> list[Part]:
        """Each month of the period in order, those without a due too."""
        known = {part.key: part for part in self.by("month")}
        keys = [f"{month:%Y-%m}" for month in months_between(self.asked.first, self.asked.last)]
        return [known.get(key, Part(key, key, Completion({}, 0))) for key in keys]

    def chosen(self, result: str, **keys: str) -> list[Outcome]:
        """The dues behind a number, longest ended first.

        `result`: a result or a reason why one is not counted, "scheduled", "done", "not_done", "missed", "deferred" or
        "left";
        `keys`: of one part or more, by the names of `GROUPS`.
        """
        rows = [row for row in [*self.rows, *self.left] if _is(row, result)]
        rows = [row for row in rows if all(GROUPS[name](row)[1] == key for name, key in keys.items())]
        return sorted(rows, key=lambda row: (row.closes_on, row.site, row.asset_number))


def _is(row: Outcome, result: str) -> bool:
    scheduled = isinstance(row.result, Result)
    wanted = {
        "scheduled": scheduled,
        "done": row.result in DONE,
        "not_done": scheduled and row.result not in DONE,
        "missed": scheduled and row.result is not Result.ON_TIME,
        "deferred": scheduled and row.deferred,
        "left": not scheduled,
    }
    return wanted.get(result, row.result.value == result)


def completion(asked: Asked, *, on: date) -> Report:
    """Completion of the windows that ended in the period; a window still open on `on` is not counted yet."""
    ended = replace(asked, last=min(asked.last, on - timedelta(days=1)))
    return Report(ended, outcomes(ended), list(left_out(ended)))


def _counted(rows: Iterable[Outcome]) -> Completion:
    held = list(rows)
    return Completion(Counter(row.result for row in held if isinstance(row.result, Result)), _deferred(held))


def _deferred(rows: Iterable[Outcome]) -> int:
    return sum(row.deferred for row in rows)
