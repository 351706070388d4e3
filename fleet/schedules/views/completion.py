"""How much of the planned work was done in its window."""

from datetime import date
from typing import cast

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from fleet.core.due import add_months
from fleet.core.permissions import May
from fleet.core.share import format_percent
from fleet.people.models import Person
from fleet.schedules import queries
from fleet.schedules.forms import PeriodForm
from fleet.schedules.queries import Completion, Result
from fleet.web import clock
from fleet.web.guards import guard

_SHOWN = 200


@guard(May.SEE_REPORTS)
@require_safe
def completion(request: HttpRequest) -> HttpResponse:
    """Completion of a period, with each due not done on time by name."""
    form = PeriodForm(request.GET or None)
    first, last = _period(form)
    report = queries.completion(first, last, on=clock.today(), person=cast("Person", request.user))
    parts = [("All", report.total), ("Life-support drivers", report.life_support)]
    parts += [(f"Plan: {name}", part) for name, part in report.by_plan.items()]
    parts += [(f"Site: {name}", part) for name, part in report.by_site.items()]
    context = {
        "form": form,
        "report": report,
        "results": list(Result),
        "parts": [_line(name, part) for name, part in parts],
        "misses": sorted(report.misses, key=lambda miss: (miss.site, miss.closes_on))[:_SHOWN],
        "missed": len(report.misses),
    }
    return render(request, "schedules/completion.html", context)


def _line(name: str, part: Completion) -> tuple[str, Completion, list[tuple[Result, int]], str, str]:
    counts = [(result, part.results.get(result, 0)) for result in Result]
    return name, part, counts, format_percent(part.on_time), format_percent(part.done)


def _period(form: PeriodForm) -> tuple[date, date]:
    """What is asked for, or the last twelve whole months."""
    if form.is_valid():
        return form.cleaned_data["first"], form.cleaned_data["last"]
    this_month = clock.today().replace(day=1)
    return add_months(this_month, -12), date.fromordinal(this_month.toordinal() - 1)
