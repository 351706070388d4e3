"""One notice: what it says, its drivers as they stand, the same on paper and as a file, and what was attached."""

from typing import Any

from django.db.models import Count
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import get_object_or_404, redirect, render
from django.views.decorators.http import require_safe

from fleet.core.permissions import May
from fleet.notices import queries
from fleet.notices.forms import AnswerForm, WhyForm
from fleet.notices.models import AffectedQuerySet, Edition, Notice, NoticeFile, Standing
from fleet.notices.queries import Counts
from fleet.notices.tables import HEADER, DriverTable, driver_rows
from fleet.notices.views.common import above, lines_seen, may_answer, may_keep, narrowed, notice_of
from fleet.people.queries import person_of
from fleet.registry.views.tabs import Tab
from fleet.web import clock, csv_out
from fleet.web.guards import guard
from fleet.web.paging import paged, with_values
from fleet.web.uploads import download


@guard(May.SEE_FLEET)
@require_safe
def one(request: HttpRequest, number: str) -> HttpResponse:
    """A notice with its drivers within the person's places; a draft is written on a page of its own."""
    row = notice_of(number)
    if row.state == Notice.State.DRAFT and may_keep(request):
        return redirect("notices:draft", row.number)
    return page(request, row)


def page(
    request: HttpRequest, row: Notice, answer: AnswerForm | None = None, why: WhyForm | None = None, status: int = 200
) -> HttpResponse:
    """The page of a notice, with the forms as they were sent."""
    every = lines_seen(request, row)
    rows, form = narrowed(request, every)
    table = DriverTable(rows, exclude=() if may_answer(request) and row.state == Notice.State.OPEN else ("tick",))
    paged(request, table)
    stand = queries.counts([row], person_of(request))[row.pk]
    shown = {
        **told(row),
        "stand": stand,
        "elsewhere": queries.counts([row])[row.pk].total - stand.total,
        "table": table,
        "count": rows.count(),
        "form": form,
        "tabs": _tabs(request, stand, every),
        "open_here": rows.so(Standing.OPEN).count(),
        "answer": answer or AnswerForm(),
        "why": why or WhyForm(prefix="tag"),
        "above": above(),
        "may_keep": may_keep(request),
        "may_answer": may_answer(request) and row.state == Notice.State.OPEN,
        "places": _places(every),
    }
    return render(request, "notices/one.html", shown, status=status)


def told(row: Notice) -> dict[str, Any]:
    """What a notice says, for every page that shows it."""
    said = row.edition
    on = said.by_when if said else None
    return {
        "notice": row,
        "said": said,
        "criteria": said.criteria.filter(dropped_at=None).select_related("device_type__maker") if said else (),
        "packs": queries.packs_on_shelves(queries.lines_of(said)) if said else (),
        "files": NoticeFile.objects.filter(edition__notice=row, dropped_at=None).defer("content").order_by("pk"),
        "editions": row.editions.exclude(opened_at=None),
        "draft": row.editions.filter(opened_at=None).first(),
        "late": on is not None and row.state == Notice.State.OPEN and on < clock.today(),
        "stops": said is not None and said.action == Edition.Action.STOP,
    }


def _tabs(request: HttpRequest, stand: Counts, every: AffectedQuerySet) -> list[Tab]:
    show = request.GET.get("show", "")
    tabs = [Tab("All", with_values(request.GET, show=""), not show, stand.total)]
    for each, number in stand.told:
        tabs.append(Tab(each.label, with_values(request.GET, show=each.value), show == each.value, number))
    if later := every.filter(later=True).count():
        tabs.append(Tab("Came later", with_values(request.GET, show="later"), show == "later", later))
    return tabs


def _places(every: AffectedQuerySet) -> list[tuple[str, int]]:
    """Where the open drivers are, most first."""
    rows = every.so(Standing.OPEN).order_by().values_list("device__place__name")
    return list(rows.annotate(number=Count("pk")).order_by("-number", "device__place__name"))


@guard(May.SEE_FLEET)
@require_safe
def proof(request: HttpRequest, number: str) -> HttpResponseBase:
    """Every driver of the notice with what came of it, as a file."""
    row = notice_of(number)
    rows = lines_seen(request, row).order_by("device__asset_number")
    return csv_out.answer(f"notice-{row.pk}-{clock.today():%Y-%m-%d}", HEADER, driver_rows(row, rows))


@guard(May.SEE_FLEET)
@require_safe
def sheet(request: HttpRequest, number: str) -> HttpResponse:
    """The notice on paper: what to do, and its open drivers by place with room to write."""
    row = notice_of(number)
    rows = lines_seen(request, row).so(Standing.OPEN, Standing.NOT_LOCATED)
    lines = rows.order_by("device__place__site__name", "device__place__name", "device__asset_number")
    return render(request, "notices/sheet.html", {**told(row), "lines": lines, "above": above(row)})


@guard(May.SEE_FLEET)
@require_safe
def file(_request: HttpRequest, number: str, pk: int) -> HttpResponse:
    """A file of the notice, by its content's kind and under a name of our own."""
    row = notice_of(number)
    held = get_object_or_404(NoticeFile, pk=pk, edition__notice=row)
    return download(held, f"notice-{row.pk}-{held.pk}")
