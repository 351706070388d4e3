"""Which drivers to test today: those where a test settles most, those in doubt, those of which no test says enough."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from django.db.models import Exists, Max, OuterRef, Q, QuerySet, Subquery

from fleet.batteries import advising, wording
from fleet.batteries.models import Fitting, FittingQuerySet, Forecast, RuntimeTest
from fleet.batteries.queries.packs import FULL_TEST
from fleet.batteries.queries.rated import rated_table
from fleet.core.battery.decision import Advice
from fleet.core.errors import BadValueError
from fleet.core.lifecycle import Condition
from fleet.people.models import Person
from fleet.registry.models import DeviceType, Place
from fleet.web import clock, phrases

#: The share of its limit that a test must save for the pack to stand on the sheet for that alone. Own choice.
LEAST_WORTH: Final = 0.05
_FORECAST: Final = "pack__forecast__"
_FULL: Final = RuntimeTest.objects.filter(FULL_TEST)
_UNTESTED: Final = ~Exists(_FULL.filter(pack=OuterRef("pack")))
_IN_DOUBT: Final = (
    Q(pack__forecast__has_jump=True)
    | Q(pack__forecast__has_set_aside=True)
    | Q(pack__forecast__bound_contradicted=True)
)
Narrowed = Callable[[FittingQuerySet], QuerySet[Fitting]]


@dataclass(frozen=True, slots=True)
class SheetRow:
    """A driver to test: why, when last, where to fetch it, and how long it takes."""

    stay: Fitting
    why: str
    last_full: date | None
    seen_at: Place
    charge: timedelta
    run: timedelta | None
    """At the reference rate; None where the type states no rated runtime."""

    @property
    def charge_words(self) -> str:
        """The charge in hours and minutes."""
        return wording.span(self.charge)

    @property
    def run_words(self) -> str:
        """The run that is expected."""
        return phrases.NOT_KNOWN if self.run is None else wording.about(self.run)


@dataclass(frozen=True, slots=True)
class Sheet:
    """The rows, the likeliest to settle something first, with the longest charge and the longest run among them."""

    rows: tuple[SheetRow, ...]

    @property
    def charge(self) -> timedelta:
        """The longest charge."""
        return max((row.charge for row in self.rows), default=timedelta())

    @property
    def run(self) -> timedelta:
        """The longest run expected."""
        return max((row.run for row in self.rows if row.run is not None), default=timedelta())


def testable(person: Person) -> FittingQuerySet:
    """Packs in the person's drivers in service; without those that the latest test has condemned already."""
    rows = Fitting.objects.within(person).filter(removed_on__isnull=True, device__condition=Condition.IN_SERVICE)
    return rows.exclude(pack__forecast__last_test_below=True)


def sheet(rows: FittingQuerySet, count: int) -> Sheet:
    """The `count` packs of `rows` (some of `testable`) to test first."""
    chosen: dict[int, str] = {}
    for name, narrowed in _GROUPS.items():
        left = count - len(chosen)
        found = narrowed(rows).exclude(pk__in=list(chosen)).values_list("pk", flat=True)[:left] if left else ()
        chosen |= dict.fromkeys(found, name)
    return Sheet(_rows(chosen))


#: In order of what comes first. Each pack stands in the first that holds it.
_GROUPS: Final[dict[str, Narrowed]] = {
    "worth": lambda rows: rows.filter(pack__forecast__test_worth__gte=LEAST_WORTH).order_by(
        f"-{_FORECAST}test_worth", "pk"
    ),
    "doubt": lambda rows: rows.filter(_IN_DOUBT).order_by(f"-{_FORECAST}chance_before_visit", "pk"),
    "never": lambda rows: rows.filter(_UNTESTED).order_by("fitted_on", "pk"),
    "long": lambda rows: (
        rows.filter(pack__forecast__advice=Advice.TEST_NOW.value)
        .annotate(latest=Subquery(_FULL.filter(pack=OuterRef("pack")).order_by("-started_at").values("started_at")[:1]))
        .order_by("latest", "pk")
    ),
}


def _rows(chosen: dict[int, str]) -> tuple[SheetRow, ...]:
    held = ("device__device_type__maker", "device__home__site", "device__place__site", "device__last_seen_place__site")
    stays = {stay.pk: stay for stay in Fitting.objects.select_related(*held, "pack__forecast").filter(pk__in=chosen)}
    ordered = [stays[pk] for pk in chosen]
    last = _last_full(ordered)
    hours = {kind: _rated_hours(kind) for kind in {stay.device.device_type for stay in ordered}}
    return tuple(
        _row(stay, chosen[stay.pk], last.get(stay.pack_id), hours[stay.device.device_type]) for stay in ordered
    )


def _last_full(stays: Iterable[Fitting]) -> dict[int, date]:
    packs = [stay.pack_id for stay in stays]
    found = _FULL.filter(pack__in=packs).order_by().values_list("pack").annotate(last=Max("started_at"))
    return {pack: clock.local_day(last) for pack, last in found}


def _rated_hours(device_type: DeviceType) -> float | None:
    try:
        return float(rated_table(device_type).rated_hours(float(device_type.reference_rate)).hours)
    except BadValueError:
        return None


def _row(stay: Fitting, group: str, last_full: date | None, rated: float | None) -> SheetRow:
    forecast = _forecast(stay)
    carries = forecast.fraction_today if forecast and forecast.fraction_today is not None else 1.0
    return SheetRow(
        stay=stay,
        why=_why(group, forecast, last_full),
        last_full=last_full,
        seen_at=stay.device.last_seen_place or stay.device.place,
        charge=timedelta(hours=float(stay.device.charging_hours)),
        run=None if rated is None else timedelta(hours=rated * carries),
    )


def _forecast(stay: Fitting) -> Forecast | None:
    return stay.pack.forecast if hasattr(stay.pack, "forecast") else None


def _why(group: str, forecast: Forecast | None, last_full: date | None) -> str:
    today = clock.today()
    if group == "worth" and forecast:
        return advising.why_on_sheet(forecast, today)
    if group == "doubt" and forecast:
        return advising.doubt_in_short(forecast)
    if last_full is None:
        return "never had a full test"
    if forecast and forecast.basis == Forecast.Basis.ASSUMED:
        return "too little of its type was measured"
    return f"too long without a full test: {phrases.ago(last_full, today)}"
