"""A pack and a driver's battery as their pages show them: stays, tests, cycle counts, forecast and figure."""

from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal

from django.utils.safestring import SafeString

from fleet.batteries import advising, wording
from fleet.batteries.advising import Advised, Doubt, LastFull
from fleet.batteries.figure import Crossing, Kind, Plot, Point, Stage, draw, legend, legend_of_forecast
from fleet.batteries.models import CycleCount, Fitting, Forecast, Pack, RuntimeTest, TypeOutlook
from fleet.batteries.queries.limits import limits, narrowest
from fleet.batteries.queries.packs import fitting_of, tests_of
from fleet.people.models import Person
from fleet.registry.models import Device
from fleet.schedules.queries import next_visit
from fleet.web import clock


@dataclass(frozen=True, slots=True)
class MadeTest:
    """A runtime test with what it is worth against its driver's replacement level."""

    test: RuntimeTest
    worth: str
    kind: Kind
    flags: tuple[str, ...]
    meets: bool
    is_value: bool
    device: Device | None
    """The driver, unless the reader may not know of it."""

    @property
    def counts(self) -> bool:
        """Whether the test was not voided."""
        return self.test.voided_at is None


@dataclass(frozen=True, slots=True)
class Outlook:
    """A forecast in words. Without enough data there is no number in it, only the reason."""

    forecast: Forecast
    advised: Advised | None
    settled: str
    """What one more test now would settle."""
    level: str
    basis: str
    prior: str
    """What was taken of its type before its own tests."""
    crossing: str
    chance: str
    following: str
    below: str
    doubts: tuple[Doubt, ...]
    corrected: str
    made: str
    is_old: bool

    @property
    def has_numbers(self) -> bool:
        """Whether there is a forecast at all."""
        return self.forecast.basis != Forecast.Basis.NOT_ENOUGH


@dataclass(frozen=True, slots=True)
class Drawing:
    """The figure with its legend, and its numbers for the table beneath."""

    svg: SafeString
    legend: list[tuple[SafeString, str]]
    stages: tuple[Stage, ...]
    caption: str


@dataclass(frozen=True, slots=True)
class PackRecord:
    """All that is kept of a pack. `stay` is the one that goes on; `stays_elsewhere` counts those not shown."""

    pack: Pack
    stay: Fitting | None
    stays: tuple[Fitting, ...]
    stays_elsewhere: int
    tests: tuple[MadeTest, ...]
    cycles: tuple[CycleCount, ...]
    outlook: Outlook | None
    drawing: Drawing
    age: str
    level: Decimal

    @property
    def last_test(self) -> MadeTest | None:
        """The latest test that was not voided."""
        return next((line for line in self.tests if line.counts), None)


@dataclass(frozen=True, slots=True)
class BatteryView:
    """A driver's battery: what its panel shows. `record` is None when no pack is on record."""

    device: Device
    record: PackRecord | None
    next_visit: date | None


def battery_view(device: Device, person: Person | None = None) -> BatteryView:
    """What the panel of a driver's battery shows; drivers the person may not know of are not named in it."""
    stay = fitting_of(device)
    return BatteryView(device, pack_record(stay.pack, person) if stay else None, next_visit(device))


def pack_record(pack: Pack, person: Person | None = None) -> PackRecord:
    """All that is kept of a pack, as the person (everybody's eyes when None) may see it."""
    all_stays = list(pack.fittings.select_related("device__device_type", "device__home__site", "order"))
    known = _known(pack, person)
    stays = tuple(stay for stay in all_stays if known is None or stay.device_id in known)
    stay = next((stay for stay in all_stays if stay.removed_on is None), None)
    level = stay.device.replacement_level if stay else pack.for_type.replacement_level
    forecast = Forecast.objects.filter(pack=pack, device=stay.device).first() if stay else None
    tests = tuple(made_test(test, test.device.replacement_level, known, forecast) for test in tests_of(pack))
    outlook = _outlook(forecast, tests, stay.device, clock.now()) if forecast and stay else None
    first = min((stay.fitted_on for stay in all_stays), default=None)
    since = pack.made_on or first
    return PackRecord(
        pack=pack,
        stay=stay if stay in stays else None,
        stays=stays,
        stays_elsewhere=len(all_stays) - len(stays),
        tests=tests,
        cycles=tuple(pack.cycle_counts.all()),
        outlook=outlook,
        drawing=_drawing(pack, tests, outlook, first, level),
        age=wording.years(since, clock.today()),
        level=level,
    )


def _known(pack: Pack, person: Person | None) -> set[int] | None:
    if person is None or person.everywhere:
        return None
    return set(Device.objects.within(person).filter(fittings__pack=pack).values_list("pk", flat=True))


def made_test(
    test: RuntimeTest, level: Decimal, known: set[int] | None = None, forecast: Forecast | None = None
) -> MadeTest:
    """A test with its worth and what the forecast makes of it.

    Its driver is left out unless it is among the `known` (None: all are).
    """
    return MadeTest(
        test=test,
        worth=wording.worth(test, level),
        kind=Kind(wording.kind(test, forecast)),
        flags=tuple(words for _, words in (*wording.flags(test), *wording.flags_by(forecast, test))),
        meets=wording.meets(test, level),
        is_value=wording.is_value(test),
        device=test.device if known is None or test.device_id in known else None,
    )


def _outlook(forecast: Forecast, tests: tuple[MadeTest, ...], device: Device, now: datetime) -> Outlook:
    today = clock.local_day(now)
    of_type = TypeOutlook.objects.filter(device_type=device.device_type_id).first()
    assumed = narrowest(list(limits()), device.pool, critical=device.home.critical) is None
    days = {line.test.pk: clock.local_day(line.test.started_at) for line in tests}
    return Outlook(
        forecast=forecast,
        advised=advising.advised(forecast, today, _last_full(forecast, tests), assumed_limit=assumed),
        settled=advising.settled_by_a_test(forecast),
        level=wording.level_percent(forecast.level),
        basis=wording.basis(forecast, tested=any(line.counts for line in tests)),
        prior=wording.prior(of_type.prior_source) if of_type else "",
        crossing=wording.crossing(forecast),
        chance=wording.chance_before_visit(forecast, today),
        following=wording.chance_before_following(forecast),
        below=wording.below(forecast),
        doubts=tuple(advising.doubts(forecast, days, today)),
        corrected=wording.corrected(forecast, of_type.correction_ranks if of_type else 0),
        made=wording.made_words(forecast.made_at, now),
        is_old=wording.is_old(forecast.made_at, now),
    )


def _last_full(forecast: Forecast, tests: tuple[MadeTest, ...]) -> LastFull | None:
    full = (line.test for line in tests if line.counts and line.is_value)
    latest = max(full, key=lambda test: test.started_at, default=None)
    return LastFull(clock.local_day(latest.started_at), latest.pk in forecast.doubtful) if latest else None


def _drawing(
    pack: Pack, tests: tuple[MadeTest, ...], outlook: Outlook | None, first: date | None, level: Decimal
) -> Drawing:
    forecast, advice = (outlook.forecast, outlook.advised) if outlook else (None, None)
    stages = tuple(Stage(date.fromisoformat(on), *figures) for on, *figures in (forecast.curve if forecast else []))
    caption = advice.sentence if advice else ""
    plot = Plot(
        key=f"pack-{pack.pk}",
        pack=pack.number,
        today=clock.today(),
        level=float(level),
        points=[Point(clock.local_day(line.test.started_at), line.test.fraction, line.kind) for line in tests],
        stages=stages,
        since=first,
        next_visit=forecast.next_visit if forecast else None,
        following_visit=forecast.following_visit if forecast else None,
        crossing=_crossing(forecast) if forecast else None,
        why_no_forecast=forecast.why_not if forecast else "",
        advice=caption,
    )
    return Drawing(draw(plot), [*legend(plot), *legend_of_forecast(plot)], stages, caption)


def _crossing(forecast: Forecast) -> Crossing | None:
    if forecast.already_below:
        return None
    return Crossing(forecast.crossing_early, forecast.crossing_on, forecast.crossing_late)
