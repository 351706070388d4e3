"""What the pages of one notice share."""

from django.http import HttpRequest
from django.shortcuts import get_object_or_404
from django.urls import reverse

from fleet.core.permissions import May
from fleet.notices import queries
from fleet.notices.forms import DriversForm
from fleet.notices.models import Affected, AffectedQuerySet, Notice, Standing
from fleet.people.queries import person_of

REFUSED = 422


def notice_of(number: str) -> Notice:
    """The notice of a number. Notices belong to types, which all sites share; their drivers are bound by places."""
    return get_object_or_404(queries.notices(), number=number)


def may_keep(request: HttpRequest) -> bool:
    """Whether the person opens and closes notices."""
    return person_of(request).may(May.KEEP_NOTICES)


def may_answer(request: HttpRequest) -> bool:
    """Whether the person answers drivers."""
    return person_of(request).may(May.WORK_ON_BENCH)


def above(notice: Notice | None = None) -> list[tuple[str, str]]:
    """The way back."""
    first = [("Safety notices", reverse("notices:notices"))]
    return [*first, (notice.number, reverse("notices:one", args=[notice.number]))] if notice else first


def lines_seen(request: HttpRequest, notice: Notice) -> AffectedQuerySet:
    """The drivers of a notice that the person may know of."""
    rows: AffectedQuerySet = queries.lines().filter(notice=notice).within(person_of(request))
    return rows


def narrowed(request: HttpRequest, rows: AffectedQuerySet) -> tuple[AffectedQuerySet, DriversForm]:
    """The drivers that the address, or the form that was sent, asks for; and the form that asks."""
    asked = request.POST if request.method == "POST" else request.GET
    form = DriversForm(asked, places=rows.order_by().values_list("device__place", flat=True).distinct())
    form.is_valid()
    words, place, show = (form.cleaned_data.get(name) for name in ("q", "place", "show"))
    if words:
        rows = rows.filter(device__asset_number__icontains=words) | rows.filter(device__serial_number__icontains=words)
    if place:
        rows = rows.filter(device__place=place)
    if show == "later":
        rows = rows.filter(later=True)
    elif show in set(Standing):
        rows = rows.so(Standing(show))
    return rows, form


def asked_for(request: HttpRequest, notice: Notice) -> list[Affected]:
    """The drivers ticked on the list, or every open one of the list as it is narrowed."""
    rows = lines_seen(request, notice)
    if request.POST.get("all"):
        return list(narrowed(request, rows)[0].so(Standing.OPEN))
    ticked = [int(pk) for pk in request.POST.getlist("line") if pk.isdecimal()]
    return list(rows.filter(pk__in=ticked))
