"""How much of the planned work was done in its window."""

from datetime import date, timedelta

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from fleet.core.due import add_months
from fleet.core.permissions import May
from fleet.core.share import format_percent
from fleet.people.queries import person_of
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
    form = PeriodForm(request.GET or _last_year())
    first, last = _period(form)
    report = queries.completion(first, last, on=clock.today(), person=person_of(request))
    parts = [("All", report.total), ("Life-support drivers", report.life_support)]
    parts += [(f"Plan: {name}", part) for name, part in report.by_plan.items()]
    parts += [(f"Site: {name}", part) for name, part in report.by_site.items()]
    shown = [result for result in Result if result is Result.ON_TIME or report.total.results.get(result)]
    context = {
        "form": form,
        "report": report,
        "results": shown,
        "parts": [_line(name, part, shown) for name, part in parts],
        "misses": sorted(report.misses, key=lambda miss: (miss.site, miss.closes_on))[:_SHOWN],
        "missed": len(report.misses),
    }
    return render(request, "schedules/completion.html", context)


def _line(
    name: str, part: Completion, shown: list[Result]
) -> tuple[str, Completion, list[tuple[Result, int]], str, str]:
    counts = [(result, part.results.get(result, 0)) for result in shown]
    return name, part, counts, format_percent(part.on_time), format_percent(part.done)


def _period(form: PeriodForm) -> tuple[date, date]:
    """What is asked for; where that is no period, the last twelve whole months."""
    typed = form.cleaned_data if form.is_valid() else _last_year()
    return typed["first"], typed["last"]


def _last_year() -> dict[str, date]:
    this_month = clock.today().replace(day=1)
    return {"first": add_months(this_month, -12), "last": this_month - timedelta(days=1)}
