"""Lending a driver and taking it back, each begun by a scan; one loan's page and its slip."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_safe

from fleet.accessories.forms import CountForm
from fleet.accessories.queries import last_tally, missing_of
from fleet.core.errors import BenchwardError
from fleet.core.permissions import May
from fleet.loans import actions, queries
from fleet.loans.forms import BackForm, LendForm, PutOffForm
from fleet.loans.models import Loan
from fleet.people.queries import acting, person_of
from fleet.registry.models import Device
from fleet.registry.queries import by_code, devices, unknown_words
from fleet.web import clock
from fleet.web.forms import put_beside
from fleet.web.guards import fetch, guard

REFUSED = 422
_READY = 40


@guard(May.HAND_OVER)
def lend(request: HttpRequest) -> HttpResponse:
    """Scan a driver of a pool, say who gets it until when and what goes with it."""
    code = request.GET.get("code", "").strip()
    device = _scanned(request, code)
    if device is None:
        ready = queries.to_lend(person_of(request))[:_READY]
        scan = {"code": code, "unknown": unknown_words(code), "ready": ready, "above": _above()}
        return render(request, "loans/scan_out.html", scan)
    against = queries.against_lending(device)
    data = request.POST if request.method == "POST" else None
    form = LendForm(data)
    count = CountForm(data, device=device, needed=True)
    if data is not None and not against and all([form.is_valid(), count.is_valid()]):
        try:
            loan = actions.lend(device, form.lending(), count.counted(), by=acting(request))
        except BenchwardError as error:
            put_beside(form, error)
        else:
            messages.success(request, f"{device} is lent to {loan.whom}. Print the slip and let it go along.")
            return redirect("loans:one", loan.pk)
    shown = {"device": device, "against": against, "form": form, "count": count, "missing": missing_of(device)}
    status = REFUSED if data is not None else 200
    return render(request, "loans/lend.html", {**shown, "above": _above(), "today": clock.today()}, status=status)


@guard(May.HAND_OVER)
@require_safe
def back(request: HttpRequest) -> HttpResponse:
    """Scan a driver that came back; its loan opens."""
    code = request.GET.get("code", "").strip()
    device = _scanned(request, code)
    loan = queries.open_loan(device) if device else None
    if loan is not None:
        return redirect("loans:take_back", loan.pk)
    late = queries.late(queries.loans(person_of(request)))[:_READY]
    shown = {"code": code, "unknown": unknown_words(code), "device": device, "late": late, "above": _above()}
    return render(request, "loans/scan_back.html", shown)


@guard(May.HAND_OVER)
def take_back(request: HttpRequest, pk: int) -> HttpResponse:
    """How the driver is, what lies with it, where it is put. Not clean or not right: it is tagged for the bench."""
    loan = _fetched(request, pk)
    if loan.returned_at:
        return redirect("loans:one", loan.pk)
    data = request.POST if request.method == "POST" else None
    form = BackForm(data, person=person_of(request), initial={"returned_to": loan.device.home_id})
    count = CountForm(data, device=loan.device, needed=True)
    if data is not None and all([form.is_valid(), count.is_valid()]):
        try:
            came = actions.take_back(loan, form.given(), count.counted(), by=acting(request))
        except BenchwardError as error:
            put_beside(form, error)
        else:
            _say(request, came)
            return redirect("loans:one", loan.pk)
    shown = {"loan": loan, "device": loan.device, "form": form, "count": count, "missing": missing_of(loan.device)}
    status = REFUSED if data is not None else 200
    return render(request, "loans/take_back.html", {**shown, "above": _above()}, status=status)


def _say(request: HttpRequest, came: actions.Returned) -> None:
    device = came.loan.device
    messages.success(request, f"{device} is back in {came.loan.returned_to}.")
    if came.tag_number:
        messages.warning(
            request, f"It is tagged out of use: write {came.tag_number} on a paper tag. The bench sees it."
        )
    if came.missing:
        messages.warning(request, f"Missing: {', '.join(came.missing)}. What to do stands below.")


@guard(May.HAND_OVER)
def one(request: HttpRequest, pk: int) -> HttpResponse:
    """One loan; while it is out, its day can be put off."""
    loan = _fetched(request, pk)
    form = PutOffForm(request.POST or None, initial={"due_back": loan.due_back})
    if request.method == "POST" and form.is_valid():
        try:
            actions.put_off(loan, **form.cleaned_data, by=acting(request))
        except BenchwardError as error:
            put_beside(form, error)
        else:
            messages.success(request, f"{loan.device} may stay out longer.")
            return redirect("loans:one", loan.pk)
    shown = {
        "loan": loan,
        "device": loan.device,
        "form": form,
        "missing": missing_of(loan.device),
        "late": loan.returned_at is None and loan.due_back < clock.today(),
        "above": _above(),
    }
    return render(request, "loans/one.html", shown, status=REFUSED if form.errors else 200)


@guard(May.HAND_OVER)
@require_safe
def slip(request: HttpRequest, pk: int) -> HttpResponse:
    """What goes along with a lent driver, to print."""
    loan = _fetched(request, pk)
    above = [*_above(), (str(loan), reverse("loans:one", args=[loan.pk]))]
    return render(request, "loans/slip.html", {"loan": loan, "tally": last_tally(loan.device), "above": above})


def _scanned(request: HttpRequest, code: str) -> Device | None:
    """The driver a scan names, within the person's places."""
    found = by_code(code) if code else None
    return devices().within(person_of(request)).filter(pk=found.pk).first() if found else None


def _fetched(request: HttpRequest, pk: int) -> Loan:
    return fetch(queries.loans(person_of(request)), request, pk=pk)


def _above() -> list[tuple[str, str]]:
    return [("Loans", reverse("loans:loans"))]
