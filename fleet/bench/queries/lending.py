"""The orders that check a driver around a loan: before it goes out, and once it is back."""

from typing import Final

from django.db.models import Q

from fleet.bench.models import Order, OrderKind
from fleet.core.lifecycle import Condition
from fleet.loans.models import Loan
from fleet.registry.models import Device

_BACK: Final = (OrderKind.LOAN_BACK, OrderKind.CLEANING)


def loan_checks(device: Device, loan: Loan | None = None) -> list[Order]:
    """The checks of a loan, the first raised first; without one, those made for the next since the last went out."""
    loans = Loan.objects.filter(device=device).order_by("lent_at")
    before = (loans.filter(lent_at__lt=loan.lent_at) if loan else loans).last()
    wanted = Q(kind=OrderKind.LOAN_OUT)
    if before is not None:
        wanted &= Q(raised_at__gt=before.lent_at)
    if loan is not None:
        wanted &= Q(raised_at__lte=loan.lent_at)
        wanted |= _after(loan, loans.filter(lent_at__gt=loan.lent_at).first())
    return list(Order.objects.filter(wanted, device=device).select_related("completed_by").order_by("raised_at", "pk"))


def _after(loan: Loan, following: Loan | None) -> Q:
    """The checks between the return of a loan and the next one; nothing while it is out."""
    if loan.returned_at is None:
        return Q(pk__in=[])
    held = Q(kind__in=_BACK, raised_at__gte=loan.returned_at)
    return held & Q(raised_at__lt=following.lent_at) if following else held


def check_wanted(device: Device, loan: Loan | None, checks: list[Order]) -> OrderKind | None:
    """The check that can be begun now: before it is lent, or after its last loan has ended; None where neither can."""
    kind = OrderKind.LOAN_OUT if loan is None else OrderKind.LOAN_BACK
    if device.condition in {Condition.RETIRED, Condition.NOT_LOCATED} or any(each.kind == kind for each in checks):
        return None
    if loan is None:
        return kind
    lent_again = Loan.objects.filter(device=device, lent_at__gt=loan.lent_at).exists()
    return None if loan.returned_at is None or lent_again else kind
