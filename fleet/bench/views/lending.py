"""The bench's part of the pages of loans: which checks were made, and the one that can be begun."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from fleet.bench.queries.lending import check_wanted, loan_checks
from fleet.core.permissions import May
from fleet.loans.queries import loans
from fleet.people.queries import person_of
from fleet.registry.queries import devices
from fleet.web.guards import fetch, guard


@guard(May.HAND_OVER, May.WORK_ON_BENCH)
@require_safe
def of_device(request: HttpRequest, asset: str) -> HttpResponse:
    """A part of the page that lends a driver: its check before the hand-out."""
    device = fetch(devices(), request, asset_number=asset)
    checks = loan_checks(device)
    shown = {"device": device, "checks": checks, "wanted": check_wanted(device, None, checks)}
    return render(request, "bench/loan_checks.html", shown)


@guard(May.HAND_OVER, May.WORK_ON_BENCH)
@require_safe
def of_loan(request: HttpRequest, pk: int) -> HttpResponse:
    """A part of a loan's page: the check it went out with, and those made since it is back."""
    loan = fetch(loans(person_of(request)), request, pk=pk)
    checks = loan_checks(loan.device, loan)
    shown = {"device": loan.device, "checks": checks, "wanted": check_wanted(loan.device, loan, checks)}
    return render(request, "bench/loan_checks.html", shown)
