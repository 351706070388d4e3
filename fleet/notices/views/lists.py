"""Notices as a list, and what a ward is to know of them."""

from typing import Final

from django.core.paginator import Paginator
from django.db.models import F, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from fleet.core.permissions import May
from fleet.notices import queries
from fleet.notices.forms import SearchForm
from fleet.notices.models import Notice
from fleet.notices.tables import NoticeTable
from fleet.notices.views.common import may_keep
from fleet.people.queries import person_of
from fleet.registry.queries import devices
from fleet.registry.views.tabs import Tab
from fleet.web import clock
from fleet.web.guards import guard
from fleet.web.paging import paged, with_values

PER_PAGE = 25
_TABS: Final = {"": "Open", "late": "Late", "draft": "Drafts", "closed": "Closed"}


@guard(May.SEE_FLEET)
@require_safe
def notices(request: HttpRequest) -> HttpResponse:
    """The notices: open ones first to be done first, late ones, drafts and closed ones."""
    form = SearchForm(request.GET)
    words = form.cleaned_data["q"].strip() if form.is_valid() else ""
    which = request.GET.get("show", "")
    which = which if which in _TABS else ""
    every = queries.notices()
    rows = _rows(which, queries.named(every, words) if words else every)
    table = NoticeTable(rows, counts={})
    paged(request, table)
    table.counts = queries.counts([row.record for row in table.page.object_list], person_of(request))
    shown = {
        "form": form,
        "words": words,
        "which": which,
        "table": table,
        "count": rows.count(),
        "tabs": [
            Tab(label, with_values(request.GET, show=key), key == which, _rows(key, every).count())
            for key, label in _TABS.items()
        ],
        "may_keep": may_keep(request),
    }
    return render(request, "notices/notices.html", shown)


def _rows(which: str, rows: QuerySet[Notice]) -> QuerySet[Notice]:
    if which == "draft":
        return rows.filter(state=Notice.State.DRAFT)
    if which == "closed":
        return rows.filter(state=Notice.State.CLOSED).order_by("-closed_at")
    held = rows.filter(state=Notice.State.OPEN).order_by(F("edition__by_when").asc(nulls_last=True), "pk")
    return held.filter(edition__by_when__lt=clock.today()) if which == "late" else held


@guard(May.REPORT_FAULT)
@require_safe
def ours(request: HttpRequest) -> HttpResponse:
    """Drivers of the person's places that an open notice concerns, with what it says; those not to be used first."""
    rows = queries.open_lines(devices().within(person_of(request)))
    page = Paginator(rows, PER_PAGE).get_page(request.GET.get("page"))
    return render(request, "notices/ours.html", {"page": page})
