"""Tagging a driver as somebody who is signed in: the form, what comes next, the slip."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse

from fleet.core.lifecycle import Condition
from fleet.core.permissions import May
from fleet.people.queries import acting, person_of
from fleet.registry.queries import devices
from fleet.tags.queries import contamination, first_report, label_status, places_to_choose, tags_numbered
from fleet.tags.views.sending import report_form, send, sent_joined, sent_report
from fleet.web.guards import fetch, guard


@guard(May.REPORT_FAULT)
def report(request: HttpRequest, asset: str) -> HttpResponse:
    """Report a driver: raises its tag or joins the one that is open."""
    device = fetch(devices(), request, asset_number=asset)
    form = report_form(request, device, places_to_choose(person_of(request), device))
    if raised := send(request, device, form, by=acting(request)):
        return redirect("tags:sent", raised.tag.number)
    page = {
        "device": device,
        "form": form,
        "status": label_status(device),
        "may_be_missing": device.condition == Condition.IN_SERVICE.value,
        "found_url": reverse("tags:found", args=[asset]),
        "layout": "base.html",
    }
    return render(request, "tags/report.html", page)


@guard(May.REPORT_FAULT)
def sent(request: HttpRequest, number: str) -> HttpResponse:
    """Show the number to write on the paper tag, and what happens next."""
    tag = fetch(tags_numbered(number), request)
    if tag.cleared_at:
        return redirect("tags:tag", tag.number)
    page = {
        "number": tag.written,
        "asset": tag.device.asset_number,
        "keep": tag.device.quarantined,
        "joined": sent_joined(request, tag),
        "slip_url": reverse("tags:slip", args=[tag.number]),
        "more_url": reverse("tags:tag", args=[tag.number]),
        "layout": "base.html",
    }
    return render(request, "tags/sent.html", page)


@guard(May.REPORT_FAULT)
def slip(request: HttpRequest, number: str) -> HttpResponse:
    """Show the slip that goes with the driver, to print or copy."""
    tag = fetch(tags_numbered(number), request)
    if tag.cleared_at:
        return redirect("tags:tag", tag.number)
    page = {
        "tag": tag,
        "report": sent_report(request, tag) or first_report(tag),
        "keep": tag.device.quarantined,
        "contamination": contamination(tag),
        "layout": "base.html",
    }
    return render(request, "tags/slip.html", page)
