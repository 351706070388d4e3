"""Work that came shortly before a fault: proposed as its possible cause, judged by whoever repairs the driver."""

from datetime import timedelta
from typing import Final

from django.utils import timezone

from fleet.bench.models import Order, OrderKind
from fleet.core.orders import ABSENT_OUTCOMES, OrderState

#: Days after a repair, or a service that belongs to no plan, in which a fault raises the question. Our own choice, no
#: source; a plan states its own number.
REPEAT_DAYS: Final = 30
#: What may bring a fault about: whatever opened the driver.
_WORK: Final = (OrderKind.PLANNED.value, OrderKind.BATTERY.value, OrderKind.CORRECTIVE.value)


def work_before(order: Order) -> Order | None:
    """The last work on the driver of a repair, when its fault was reported within the days chosen for that work.

    None for an order that is no repair, and where nothing was done shortly before.
    """
    if order.kind != OrderKind.CORRECTIVE:
        return None
    reported = min(order.raised_at, order.tag.opened_at) if order.tag else order.raised_at
    done = Order.objects.filter(device=order.device_id, state=OrderState.DONE.value, kind__in=_WORK)
    ended = done.filter(completed_at__lte=reported).exclude(outcome__in=[each.value for each in ABSENT_OUTCOMES])
    last = ended.exclude(pk=order.pk).select_related("due__plan").order_by("-completed_at", "-pk").first()
    if last is None or last.completed_at is None:
        return None
    days = last.due.plan.repeat_days if last.due else REPEAT_DAYS
    since = timezone.localdate(reported) - timezone.localdate(last.completed_at)
    return last if since <= timedelta(days=days) and days else None
