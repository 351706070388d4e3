"""How good the forecasts were: the latest backtest of a type, or of all, as its page shows it."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Final

from django.db.models import QuerySet

from fleet.batteries.models import Backtest
from fleet.core.battery.scores import Bin, Score
from fleet.registry.models import Device, DeviceType
from fleet.web.phrases import MINUS

BEST, CORRECTED, OWN_LINE = "bend", "corrected", "own"
#: Every way to forecast in the words of the page, in its order.
WAY_NAMES: Final = {
    BEST: "Our forecast",
    CORRECTED: "Our forecast, corrected",
    "mixed": "A line for each pack and type",
    "pooled": "One line through all tests",
    OWN_LINE: "A line through its own tests",
}
_TESTS: Final = {"0": "never tested", "1": "1 test", "2": "2 tests", "3": "3 tests or more"}


@dataclass(frozen=True)
class WayLine(Score):
    """One row of scores under the `key` of its way or part."""

    key: str

    @property
    def name(self) -> str:
        """The way in words."""
        return WAY_NAMES.get(self.key, self.key)

    @property
    def off_words(self) -> str:
        """The miss of the middle date with its sign, in months."""
        return f"{self.off:+.1f}".replace("-", MINUS)


@dataclass(frozen=True, slots=True)
class PartLine:
    """A part of the forecasts (by tests, pool or type): our forecast before and after correction."""

    name: str
    before: WayLine
    after: WayLine
    type_id: int | None = None


@dataclass(frozen=True)
class ChanceBin(Bin):
    """Forecasts that said a chance from `low` to `high`, and how often it came true."""

    @property
    def share(self) -> float:
        """How often it came true."""
        return self.came / self.packs


@dataclass(frozen=True, slots=True)
class BacktestView:
    """A backtest with all that its page shows. Without a result there is only `why_not`."""

    device_type: DeviceType | None
    made_at: datetime
    why_not: str
    first: date | None = None
    last: date | None = None
    dates: int = 0
    months: int = 0
    limit: float = 0.0
    ways: tuple[WayLine, ...] = ()
    parts: tuple[tuple[str, str, tuple[PartLine, ...]], ...] = ()
    bins: tuple[ChanceBin, ...] = ()
    corrected_bins: tuple[ChanceBin, ...] = ()
    correction_ranks: int = 0

    @property
    def best(self) -> WayLine:
        """The scores of our own forecast, as it was made."""
        return self.ways[0]

    @property
    def own_line(self) -> WayLine:
        """The scores of what a spreadsheet gives."""
        return next(line for line in self.ways if line.key == OWN_LINE)

    @property
    def forecasts(self) -> int:
        """How many forecasts were held against what came of them."""
        return self.best.forecasts

    @property
    def packs(self) -> int:
        """Of how many packs."""
        return self.best.packs

    @property
    def known(self) -> int:
        """How many of these packs are known to have crossed."""
        return self.best.known


def backtest_view(row: Backtest) -> BacktestView:
    """A stored backtest as its page shows it."""
    told = row.result
    if not told:
        return BacktestView(row.device_type, row.made_at, row.why_not)
    pools = dict(Device.Pool.choices)
    return BacktestView(
        device_type=row.device_type,
        made_at=row.made_at,
        why_not="",
        first=row.first_origin,
        last=row.last_origin,
        dates=row.origins,
        months=told["months"],
        limit=told["limit"],
        ways=tuple(_line(key, told["ways"][key]) for key in WAY_NAMES),
        parts=(
            ("By full tests before the date", "Tests", _parts(told["tests"], _TESTS)),
            ("By pool", "Pool", _parts(told["pools"], pools)),
            *_by_type(row),
        ),
        bins=tuple(ChanceBin(**each) for each in told["bins"][BEST]),
        corrected_bins=tuple(ChanceBin(**each) for each in told["bins"][CORRECTED]),
        correction_ranks=row.correction_ranks,
    )


def latest_backtest(device_type: DeviceType | None) -> Backtest | None:
    """The last backtest of a type, or of all together."""
    return Backtest.objects.filter(device_type=device_type).select_related("device_type__maker").first()


def types_with_backtest() -> QuerySet[DeviceType]:
    """The types of which there is a backtest."""
    return DeviceType.objects.filter(backtests__isnull=False).select_related("maker").distinct()


def backtest_lines(view: BacktestView) -> Iterator[tuple[str, WayLine]]:
    """Every row of scores of a backtest under the name of its part."""
    yield from (("All", line) for line in view.ways)
    for _, kind, parts in view.parts:
        for part in parts:
            yield f"{kind}: {part.name}", part.before
            yield f"{kind}: {part.name}", part.after


def _line(key: str, scores: Mapping[str, Any]) -> WayLine:
    return WayLine(key=key, **scores)


def _parts(told: list[dict[str, Any]], names: Mapping[str, str]) -> tuple[PartLine, ...]:
    return tuple(_part(names.get(each["name"], each["name"]), each["before"], each["after"]) for each in told)


def _part(name: str, before: Mapping[str, Any], after: Mapping[str, Any], type_id: int | None = None) -> PartLine:
    return PartLine(name, _line(BEST, before), _line(CORRECTED, after), type_id)


def _by_type(row: Backtest) -> Iterator[tuple[str, str, tuple[PartLine, ...]]]:
    """Each type's own backtest of the same run, for the page of all together."""
    if row.device_type is not None:
        return
    rows = Backtest.objects.filter(made_at=row.made_at, device_type__isnull=False).select_related("device_type__maker")
    scored = [each for each in rows.order_by("device_type") if each.result]
    found = ((each, each.result["ways"]) for each in scored)
    parts = [_part(str(each.device_type), ways[BEST], ways[CORRECTED], each.device_type_id) for each, ways in found]
    if parts:
        yield "By type", "Type", tuple(parts)
