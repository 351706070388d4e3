"""The page behind the QR code on a driver's label: no account, and no more than that driver's tag status."""

from collections.abc import Callable
from functools import wraps

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.cache import never_cache

from fleet.audit.actors import link_actor
from fleet.core.permissions import May
from fleet.people.models import Person
from fleet.registry.models import Device
from fleet.registry.queries import device_of_token
from fleet.schedules.actions import scanned
from fleet.tags.queries import label_status, open_tag, place_in_words
from fleet.tags.views.sending import report_form, send, sent_joined, sent_report
from fleet.web.guards import View, public
from fleet.web.throttle import too_often

SPAN_SECONDS = 10 * 60
OPENED_IN_SPAN = 60
SENT_IN_SPAN = 10
_WHERE = 80
Page = Callable[[HttpRequest, Device, str], HttpResponse]


def _label_page(page: Page) -> View:
    """Give the page the driver of its link; answer forged and outdated links, and callers who come too often."""

    @public(reason="the signed link on a driver's label is the key; it shows that driver's tag status and no more")
    @never_cache
    @wraps(page)
    def answer(request: HttpRequest, token: str) -> HttpResponse:
        if _too_often(request, token):
            return render(request, "tags/label_busy.html", {"minutes": SPAN_SECONDS // 60}, status=429)
        device = device_of_token(token)
        if device is None:
            return render(request, "tags/label_unknown.html", status=404)
        return page(request, device, token)

    return answer


def _too_often(request: HttpRequest, token: str) -> bool:
    limit = SENT_IN_SPAN if request.method == "POST" else OPENED_IN_SPAN
    return too_often(f"label:{request.method}:{request.META['REMOTE_ADDR']}:{token[:80]}", limit, SPAN_SECONDS)


@_label_page
def label(request: HttpRequest, device: Device, token: str) -> HttpResponse:
    """Show the tag status and take a report; somebody signed in who looks after the driver gets the full page."""
    if request.method != "POST" and _looks_after(request, device):
        return redirect("tags:report", device.asset_number)
    form = report_form(request, device)
    if send(request, device, form, by=link_actor(device.asset_number)):
        return redirect("tags:label_sent", token)
    page = {
        "device": device,
        "form": form,
        "status": label_status(device),
        "label_found_url": reverse("tags:label_found", args=[token]),
        "layout": "plain.html",
    }
    return render(request, "tags/report.html", page)


@_label_page
def label_found(request: HttpRequest, device: Device, token: str) -> HttpResponse:
    """Take word from whoever scanned the label of a driver that was not located: it is here."""
    if request.method == "POST":
        words = request.POST.get("where", "").strip()[:_WHERE]
        finder, here = link_actor(device.asset_number), place_in_words(words, device)
        scanned(device, "whoever scanned its label", place=here, by=finder, said=words)
        messages.success(request, "Thank you: the bench knows that it was found. Do not use it; keep it apart.")
    return redirect("tags:label", token)


def _looks_after(request: HttpRequest, device: Device) -> bool:
    person = request.user
    if not isinstance(person, Person) or not person.may(May.REPORT_FAULT):
        return False
    return Device.objects.within(person).filter(pk=device.pk).exists()


@_label_page
def label_sent(request: HttpRequest, device: Device, token: str) -> HttpResponse:
    """Show the number to write on the paper tag, and what happens next."""
    tag = open_tag(device)
    if tag is None:
        return redirect("tags:label", token)
    page = {
        "number": tag.written,
        "asset": device.asset_number,
        "keep": device.quarantined,
        "joined": sent_joined(request, tag),
        "slip_url": reverse("tags:label_slip", args=[token]) if sent_report(request, tag) else "",
        "layout": "plain.html",
    }
    return render(request, "tags/sent.html", page)


@_label_page
def label_slip(request: HttpRequest, device: Device, token: str) -> HttpResponse:
    """Show the slip to the session that sent the report, with its own words and nobody else's."""
    tag = open_tag(device)
    report = sent_report(request, tag) if tag else None
    if tag is None or report is None:
        return redirect("tags:label", token)
    page = {
        "tag": tag,
        "report": report,
        "keep": device.quarantined,
        "contamination": report.get_decontamination_display(),
        "layout": "plain.html",
    }
    return render(request, "tags/slip.html", page)
