"""Which work a driver is on the bench for, when the technician only scanned it."""

from dataclasses import dataclass

from django.db.models import Case, When

from fleet.bench.models import Order, OrderKind
from fleet.bench.queries.facts import open_orders
from fleet.core.errors import BadValueError
from fleet.core.lifecycle import Condition
from fleet.core.orders import OrderState
from fleet.registry.models import Device
from fleet.schedules.models import Due, Plan
from fleet.tags.models import Decontamination, Tag, TagReport, YesNo
from fleet.web import clock

KIND_OF_PLAN = {
    Plan.Kind.SERVICE: OrderKind.PLANNED,
    Plan.Kind.BATTERY: OrderKind.BATTERY,
    Plan.Kind.LIBRARY: OrderKind.LIBRARY,
}
# The order of a service shows the battery too; that of the battery would leave the service for another visit.
_SERVICE_FIRST = Case(When(plan__kind=Plan.Kind.SERVICE, then=0), default=1)
# An order that lies on the bench is gone on with before one that waits, and that before one only raised.
_NEAREST = [OrderState.STARTED, OrderState.WAITING, OrderState.RAISED]


@dataclass(frozen=True, slots=True)
class Work:
    """What is to be done: the kind, the tag or due behind it, and the order if there is one already."""

    kind: OrderKind
    tag: Tag | None = None
    due: Due | None = None
    order: Order | None = None

    def reported(self) -> str:
        """What was reported, from the tag's reports, or what is due."""
        if self.tag is not None:
            return "\n".join(_told(report) for report in self.tag.reports.all())
        return f"{self.due.plan}, due {self.due.due_on:%d %b %Y}" if self.due else ""

    def decontamination(self) -> Decontamination:
        """What the ward said last of its cleaning, where it said anything."""
        reports = self.tag.reports.exclude(decontamination=Decontamination.UNKNOWN) if self.tag else None
        last = reports.last() if reports is not None else None
        return Decontamination(last.decontamination) if last else Decontamination.UNKNOWN


def _told(report: TagReport) -> str:
    what = str(report.get_what_display())
    words, screen = report.words.strip().rstrip("."), report.screen_text.strip()
    return ". ".join(filter(None, [what, words, f"Screen: {screen}" if screen else ""]))


def choose_work(device: Device, kind: OrderKind | None) -> Work:
    """Choose the work for a scanned driver. Raises BadValueError when nothing is due and no kind was given."""
    tag = Tag.objects.filter(device=device, cleared_at__isnull=True).first()
    orders = {OrderKind(order.kind): order for order in open_orders(device)}
    chosen = kind or _kind(device, tag, orders)
    if chosen is None:
        message = f"{device} has no tag, no open order and nothing due. Choose what it is here for."
        raise BadValueError(message, field="kind")
    return Work(
        chosen,
        tag=tag if tag and _answers(chosen, tag, orders) else None,
        due=open_due(device, chosen),
        order=orders.get(chosen),
    )


def _answers(chosen: OrderKind, tag: Tag, orders: dict[OrderKind, Order]) -> bool:
    """Whether this kind of work answers the tag: a repair does, and a service where a service is all it asked for."""
    if chosen is OrderKind.PLANNED:
        return OrderKind.CORRECTIVE not in orders and asks_only(tag)
    return chosen is OrderKind.CORRECTIVE


def asks_only(tag: Tag) -> bool:
    """Whether every report of a tag says that the driver asked for maintenance, and nobody may have been harmed."""
    return tag.harm == YesNo.NO and not tag.reports.exclude(what=TagReport.What.ASKED).exists()


def _kind(device: Device, tag: Tag | None, orders: dict[OrderKind, Order]) -> OrderKind | None:
    if tag is not None:
        return OrderKind.CORRECTIVE
    if orders:
        return min(orders, key=lambda kind: _NEAREST.index(OrderState(orders[kind].state)))
    if device.accepted_on is None:
        return OrderKind.ACCEPTANCE
    if due := open_due(device):
        return KIND_OF_PLAN[Plan.Kind(due.plan.kind)]
    # A driver found again, or held back, is looked over before it is used.
    return OrderKind.PLANNED if device.condition in {Condition.OUT_OF_USE, Condition.NOT_LOCATED} else None


def open_due(device: Device, kind: OrderKind | None = None) -> Due | None:
    """The earliest due of a device whose window is open or past, of one day its service; of a kind of order or any."""
    dues = Due.objects.filter(device=device, suspended=False, opens_on__lte=clock.today()).select_related("plan")
    if kind is not None:
        dues = dues.filter(plan__kind__in=[plan for plan, order in KIND_OF_PLAN.items() if order is kind])
    due = dues.order_by("due_on", _SERVICE_FIRST, "pk").first()
    if due is not None:
        due.device = device
    return due
