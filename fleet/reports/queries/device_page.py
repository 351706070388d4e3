"""All that the page of one driver shows, read in a number of queries that does not depend on how much there is."""

from dataclasses import dataclass
from typing import Final

from fleet.accessories.queries import Belonging, belongings
from fleet.alerts.models import Alert
from fleet.alerts.queries import open_alerts
from fleet.batteries.queries import BatteryView, battery_view
from fleet.bench.models import Order, Retirement
from fleet.bench.queries.facts import OPEN
from fleet.bench.queries.retiring import retirement_of
from fleet.contracts.models import Contract
from fleet.contracts.queries import covering
from fleet.core.lifecycle import Condition
from fleet.documents.models import Document
from fleet.documents.queries import about as documents_about
from fleet.libraries.queries import Standing, standing
from fleet.loans.models import Loan
from fleet.loans.queries import open_loan
from fleet.notices.models import Affected
from fleet.notices.queries import lines_of_device, to_stop
from fleet.people.models import Person
from fleet.registry.models import Device
from fleet.schedules.models import Due
from fleet.schedules.queries import dues_of
from fleet.schedules.queries.dues import with_last_attempt
from fleet.tags.models import Quarantine, Tag, TagReport
from fleet.tags.queries import first_report, open_quarantine, open_tag
from fleet.web import clock

LAST_ORDERS: Final = 10


@dataclass(frozen=True, slots=True, kw_only=True)
class Status:
    """What everybody who may see the driver must know first."""

    quarantine: Quarantine | None
    tag: Tag | None
    report: TagReport | None
    loan: Loan | None
    retirement: Retirement | None
    stops: tuple[Affected, ...]

    @property
    def loan_late(self) -> bool:
        """Whether it should be back from its loan by now."""
        return self.loan is not None and self.loan.due_back < clock.today()


@dataclass(frozen=True, slots=True, kw_only=True)
class DevicePage:
    """One driver with everything that hangs on it."""

    device: Device
    status: Status
    dues: tuple[Due, ...]
    alerts: tuple[Alert, ...]
    notices: tuple[Affected, ...]
    battery: BatteryView
    library: Standing
    accessories: tuple[Belonging, ...]
    orders: tuple[Order, ...]
    more_orders: bool
    documents: tuple[Document, ...]
    covers: tuple[Contract, ...]

    @property
    def rechecks(self) -> list[Order]:
        """Open orders that measure again what an instrument out of its limits put in doubt."""
        return [order for order in self.orders if order.state in OPEN and order.rechecks]

    @property
    def open_order(self) -> Order | None:
        """The order that is being worked on, if the driver is in work."""
        return next((order for order in self.orders if order.state in OPEN), None)


def status_of(device: Device) -> Status:
    """Quarantine, open tag with its first report, loan, retirement, notices to stop using it. At most six queries."""
    tag = open_tag(device)
    return Status(
        quarantine=open_quarantine(device),
        tag=tag,
        report=first_report(tag) if tag else None,
        loan=open_loan(device),
        retirement=retirement_of(device) if device.condition == Condition.RETIRED else None,
        stops=tuple(to_stop(device)),
    )


def device_page(device: Device, person: Person) -> DevicePage:
    """Read the page of one driver for a person who may see it."""
    orders = tuple(device.orders.select_related("assigned_to")[: LAST_ORDERS + 1])
    return DevicePage(
        device=device,
        status=status_of(device),
        dues=tuple(with_last_attempt(dues_of(device))),
        alerts=tuple(open_alerts(device)),
        notices=tuple(lines_of_device(device)),
        battery=battery_view(device, person),
        library=standing([device], clock.today())[device.pk],
        accessories=tuple(belongings(device)),
        orders=orders[:LAST_ORDERS],
        more_orders=len(orders) > LAST_ORDERS,
        documents=tuple(documents_about(device, person)),
        covers=tuple(covering(device, clock.today())),
    )
