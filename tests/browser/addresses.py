"""Every address of the product with real values in it, taken from what one person may see."""

import itertools
import re
from collections.abc import Callable, Iterator
from typing import Any

from django.db.models import Model, QuerySet

from fleet.accessories.models import Missing
from fleet.alerts.models import Alert
from fleet.batteries.models import ChemistryLife, Pack, PackPurchase, RiskLimit, RuntimeTest
from fleet.bench.models import (
    DeliveryLimit,
    FlowTest,
    OcclusionTest,
    Order,
    Procedure,
    ReadingFile,
    ReferenceLimit,
    Retirement,
    RetirementMethod,
)
from fleet.deliveries.models import Delivery
from fleet.exchange.kinds import KINDS
from fleet.exchange.models import Intake
from fleet.jobs.models import Job
from fleet.libraries.models import Library, LibraryVersion
from fleet.loans.models import Loan
from fleet.people.models import Absence, Person
from fleet.registry.models import Accessory, Device, DeviceType, Party, Place
from fleet.registry.queries import label_token
from fleet.reports.queries import Standing
from fleet.rounds.models import Round
from fleet.schedules.models import ClosedDays, Due, Plan, RiskClass
from fleet.schedules.queries import levellings
from fleet.staff.models import Training
from fleet.stores.models import Calibration, Instrument, Part, Purchase, Stock
from fleet.tags.models import Quarantine, Tag
from tests.test_house_rules import ADDRESSES

Values = Callable[[Person], list[Any]]
PARAMETER = re.compile(r"<\w+:(\w+)>")


def one_each(model: type[Model], field: str, name: str = "pk") -> Values:
    """Give one row of the person's for each value of a field: a driver in each condition, an order in each state."""

    def values(person: Person) -> list[Any]:
        rows = _within(model, person)
        kinds = rows.order_by(field).values_list(field, flat=True).distinct()
        return [getattr(rows.filter(**{field: kind}).order_by("pk").first(), name) for kind in kinds]

    return values


def first(model: type[Model], name: str = "pk") -> Values:
    """Give the first row of the person's."""
    return lambda person: [getattr(row, name) for row in _within(model, person).order_by("pk")[:1]]


def _within(model: type[Model], person: Person) -> QuerySet[Any]:
    rows = model._default_manager.all()  # noqa: SLF001 - Django's public name for it
    return rows.within(person) if hasattr(rows, "within") else rows


def tokens(person: Person) -> list[str]:
    """Give the label of a driver in each condition."""
    assets = one_each(Device, "condition", "asset_number")(person)
    return [label_token(device) for device in Device.objects.filter(asset_number__in=assets)]


def found_out(_person: Person) -> list[int]:
    """Give a calibration that has a trace."""
    return list(Calibration.objects.filter(as_found=Calibration.AsFound.OUT).values_list("pk", flat=True)[:1])


#: What stands in an address: by the beginning of the address, the longest that fits, and by parameter.
VALUES: dict[tuple[str, str], Values] = {
    ("", "asset"): one_each(Device, "condition", "asset_number"),
    ("r/", "token"): tokens,
    ("people/", "pk"): first(Person),
    ("account/away/", "pk"): first(Absence),
    ("staff/training/people/", "pk"): lambda person: [person.pk],
    ("staff/training/records/", "pk"): first(Training),
    ("staff/training/places/", "pk"): one_each(Place, "kind"),
    ("reports/drivers/", "standing"): lambda _person: list(Standing),
    ("tags/quarantines/", "pk"): one_each(Quarantine, "lifted_by"),
    ("tags/", "number"): one_each(Tag, "harm", "number"),
    ("bench/orders/", "number"): one_each(Order, "state", "number"),
    ("bench/orders/", "pk"): first(ReadingFile),
    ("bench/calibrations/", "pk"): found_out,
    ("bench/loans/", "pk"): one_each(Loan, "back"),
    ("bench/retirements/", "pk"): one_each(Retirement, "reason"),
    ("bench/retirements/methods/", "pk"): first(RetirementMethod),
    ("bench/retirements/methods/", "verb"): lambda _person: ["verify"],
    ("instruments/", "pk"): one_each(Instrument, "kind"),
    ("instruments/calibrations/", "pk"): first(Calibration),
    ("parts/", "pk"): first(Part),
    ("parts/", "verb"): lambda _person: ["keep"],
    ("parts/stock/", "pk"): first(Stock),
    ("parts/stock/", "verb"): lambda _person: ["move"],
    ("parts/purchases/", "pk"): first(Purchase),
    ("bench/flow/", "pk"): one_each(FlowTest, "verdict"),
    ("bench/occlusion/", "pk"): one_each(OcclusionTest, "verdict"),
    ("bench/delivery-limits/", "pk"): first(DeliveryLimit),
    ("bench/reference-limits/", "pk"): one_each(ReferenceLimit, "profile"),
    ("bench/reference-limits/places/", "pk"): one_each(Place, "kind"),
    ("bench/procedures/", "code"): one_each(Procedure, "kind", "code"),
    ("bench/procedures/", "verb"): lambda _person: ["up"],
    ("bench/procedures/", "position"): lambda _person: [1],
    ("registry/places/", "pk"): one_each(Place, "kind"),
    ("registry/types/", "pk"): first(DeviceType),
    ("registry/companies/", "pk"): first(Party),
    ("jobs/", "pk"): one_each(Job, "kind"),
    ("schedules/dues/", "pk"): one_each(Due, "plan__kind"),
    ("schedules/plans/", "pk"): first(Plan),
    ("schedules/days/", "pk"): first(ClosedDays),
    ("schedules/days/places/", "pk"): one_each(Place, "kind"),
    ("schedules/risk/types/", "pk"): first(DeviceType),
    ("schedules/risk/classes/", "pk"): first(RiskClass),
    ("schedules/levelling/", "pk"): lambda person: [row.pk for row in levellings(person)[:1]],
    ("batteries/tests/", "pk"): one_each(RuntimeTest, "stop"),
    ("batteries/limits/", "pk"): first(RiskLimit),
    ("batteries/limits/chemistries/", "pk"): first(ChemistryLife),
    ("batteries/supply/", "pk"): first(DeviceType),
    ("batteries/purchases/", "pk"): first(PackPurchase),
    ("batteries/packs/", "number"): one_each(Pack, "state", "number"),
    ("batteries/packs/", "verb"): lambda _person: ["scrap", "cycles"],
    ("alerts/", "pk"): one_each(Alert, "source"),
    ("libraries/library/", "code"): first(Library, "code"),
    ("libraries/versions/", "pk"): first(LibraryVersion),
    ("rounds/", "pk"): first(Round),
    ("deliveries/", "pk"): one_each(Delivery, "finished_by_name"),
    ("accessories/missing/", "pk"): first(Missing),
    ("accessories/kinds/", "pk"): first(Accessory),
    ("loans/", "pk"): one_each(Loan, "back"),
    ("deliveries/", "line"): lambda _person: [1],
    ("exchange/", "kind"): lambda _person: list(KINDS),
    ("exchange/", "pk"): one_each(Intake, "state"),
    ("bench/orders/", "position"): lambda _person: [1],
    ("bench/orders/", "verb"): lambda _person: ["wait"],
}


def addresses(person: Person, *, thorough: bool) -> Iterator[str]:
    """Every address, with the person's own values in it; unless `thorough`, each with its first values only."""
    for pattern in ADDRESSES:
        given = [_values(pattern, parameter)(person) for parameter in PARAMETER.findall(pattern)]
        for values in itertools.product(*(each if thorough else each[:1] for each in given)):
            filled = iter(values)
            yield "/" + PARAMETER.sub(lambda _match, filled=filled: str(next(filled)), pattern)


def _values(pattern: str, parameter: str) -> Values:
    fitting = [start for start, name in VALUES if name == parameter and pattern.startswith(start)]
    assert fitting, f"say in tests/browser/addresses.py what stands for {parameter!r} in /{pattern}"
    return VALUES[max(fitting, key=len), parameter]
