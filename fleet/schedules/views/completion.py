"""How much of the planned work was done in its window, and the drivers behind each number."""

from collections.abc import Iterable, Iterator
from datetime import date, timedelta
from itertools import chain
from typing import Any, Final, cast
from urllib.parse import urlencode

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_safe

from fleet.core.due import add_months
from fleet.core.permissions import May
from fleet.core.share import format_percent
from fleet.people.queries import person_of
from fleet.schedules import queries
from fleet.schedules.forms import PeriodForm
from fleet.schedules.queries import DONE, GROUPS, Asked, Completion, Left, Outcome, Part, Report, Result
from fleet.web import bars, clock, csv_out, phrases
from fleet.web.guards import guard

PER_PAGE: Final = 50
MOST_BARS: Final = 13
_PARTS: Final = (("plan", "By plan", "Plan"), ("type", "By type", "Type"), ("site", "By site", "Site"))
_WARDS: Final = ("home", "By ward", "Ward")
_WORDS: Final = {
    "scheduled": "Scheduled",
    "done": "Done, late and early ones too",
    "not_done": "Not done",
    "missed": "Not done on time",
    "deferred": "Had been put off",
    "left": "Not counted",
}
_HEADER: Final = (
    "Asset", "Type", "Home", "Site", "Life-support", "Work", "Due on", "Window ended", "Done on", "How it ended",
    "Put off",
)  # fmt: skip


@guard(May.SEE_REPORTS)
@require_safe
def completion(request: HttpRequest) -> HttpResponse:
    """Completion of a period, whole and in parts, by month, with what was not counted; each number leads to drivers."""
    form, report = _reported(request)
    shown = [result for result in Result if result is Result.ON_TIME or report.total.results.get(result)]
    months = report.months
    context = {
        "form": form,
        "report": report,
        "total": report.total,
        "query": urlencode(_query(report.asked)),
        "on_time": format_percent(report.total.on_time, 3),
        "of_located": format_percent(report.total.done_of_located, 3),
        "columns": _columns(shown),
        "sum": _sum(report, shown),
        "first": [_line(report.asked, part, shown) for part in _first(report)],
        "parts": [(title, column, _lines(report, name, shown)) for name, title, column in _PARTS],
        "wards": (_WARDS[1], _WARDS[2], _lines(report, _WARDS[0], shown)),
        "months": [_line(report.asked, part, shown, month=part.key) for part in months],
        "plot": _plot(months),
        "most_bars": MOST_BARS,
        "left": [(left.label, *_counted(report, left)) for left in Left],
        "missed": _address(report.asked, "missed"),
        "put_off": _address(report.asked, "deferred"),
    }
    return render(request, "schedules/completion.html", context)


@guard(May.SEE_REPORTS)
@require_safe
def completion_drivers(request: HttpRequest) -> HttpResponse:
    """The dues behind one number by name; `?as=csv` is the same list as a file."""
    form, report = _reported(request)
    result = request.GET.get("result", "")
    words = _words(result)
    keys = {name: request.GET[name] for name in GROUPS if name in request.GET and name != "type"}
    rows = report.chosen(result, **keys) if words else []
    if request.GET.get("as") == "csv":
        return cast("HttpResponse", csv_out.answer("planned-work", _HEADER, _cells(rows)))
    query = request.GET.copy()
    query["as"] = "csv"
    context = {
        "form": form,
        "report": report,
        "words": words or "No such list",
        "narrowed": _narrowed(rows, keys),
        "count": len(rows),
        "page": Paginator(rows, PER_PAGE).get_page(request.GET.get("page")),
        "csv": query.urlencode(),
        "above": [("Done on time", f"{reverse('schedules:completion')}?{urlencode(_query(report.asked))}")],
    }
    return render(request, "schedules/completion_drivers.html", context)


#: What each result counts. "Late" and the like are explained once, below the first table.
_COUNTS: Final[dict[Result, str]] = {
    Result.ON_TIME: "done within its window, its last day included",
    Result.LATE: "done after its window ended",
    Result.EARLY: "done before its window opened",
    Result.NOT_FOUND: "not done: the last visit did not find the driver, or it counts as not located",
    Result.IN_USE: "not done: in use on a patient at the last visit",
    Result.PARTS: "not done: parts were missing at the last visit",
    Result.REFUSED: "not done: the ward would not part with it at the last visit",
    Result.OPEN: "not done, and no visit is recorded",
}


def _columns(shown: Iterable[Result]) -> list[tuple[str, list[Result]]]:
    """The columns in the two groups that make up the scheduled."""
    groups: dict[str, list[Result]] = {}
    for result in shown:
        groups.setdefault("Done" if result in DONE else "Not done", []).append(result)
    return list(groups.items())


def _sum(report: Report, shown: Iterable[Result]) -> list[dict[str, Any]]:
    """How the scheduled fall into done and not done, and each of these into its columns, with what each counts."""
    numbers = {"Done": ("done", report.total.met), "Not done": ("not_done", report.total.not_done)}
    return [
        {
            "name": name,
            "number": numbers[name][1],
            "url": _address(report.asked, numbers[name][0]),
            "parts": [
                (each.label, report.total.results.get(each, 0), _address(report.asked, each.value), _COUNTS[each])
                for each in results
            ],
        }
        for name, results in _columns(shown)
    ]


def _reported(request: HttpRequest) -> tuple[PeriodForm, Report]:
    """What is asked for; where that is no period, the last twelve whole months."""
    person = person_of(request)
    form = PeriodForm({**_last_year(), **request.GET.dict()}, person=person)
    typed = form.cleaned_data if form.is_valid() else _last_year()
    asked = Asked(
        first=typed["first"],
        last=typed["last"],
        person=person,
        place=typed.get("place"),
        device_type=typed.get("type"),
    )
    return form, queries.completion(asked, on=clock.today())


def _last_year() -> dict[str, Any]:
    this_month = clock.today().replace(day=1)
    return {"first": add_months(this_month, -12), "last": this_month - timedelta(days=1)}


def _query(asked: Asked) -> dict[str, str]:
    held = {"first": asked.first.isoformat(), "last": asked.last.isoformat()}
    held |= {"place": str(asked.place.pk)} if asked.place else {}
    return held | ({"type": str(asked.device_type.pk)} if asked.device_type else {})


def _address(asked: Asked, result: str, **keys: str) -> str:
    """Where the drivers behind a number are listed."""
    return f"{reverse('schedules:completion_drivers')}?{urlencode({**_query(asked), 'result': result, **keys})}"


def _first(report: Report) -> Iterator[Part]:
    yield Part("All", "", report.total)
    yield from sorted(report.by("life"), key=lambda part: part.key, reverse=True)


def _lines(report: Report, group: str, shown: Iterable[Result]) -> list[dict[str, Any]]:
    return [_line(report.asked, part, shown, **{group: part.key}) for part in report.by(group)]


def _line(asked: Asked, part: Part, shown: Iterable[Result], **keys: str) -> dict[str, Any]:
    """One line of a table, each number with the address of the drivers behind it."""
    held: Completion = part.completion
    keys = keys or ({"life": part.key} if part.key else {})
    counts = [(str(result.label), held.results.get(result, 0), result.value) for result in shown]
    numbers = [*counts, ("Put off, counted before", held.deferred, "deferred")]
    return {
        "name": _month(part.key) if "month" in keys else part.name,
        "scheduled": held.scheduled,
        "url": _address(asked, "scheduled", **keys),
        "on_time": format_percent(held.on_time),
        "done": format_percent(held.done),
        "counts": [(label, number, _address(asked, result, **keys)) for label, number, result in numbers],
    }


def _counted(report: Report, left: Left) -> tuple[int, str]:
    return len(report.chosen(left.value)), _address(report.asked, left.value)


def _plot(months: list[Part]) -> str:
    each = [
        bars.Bar(_month(part.key).split()[0], float(100 * share) if share is not None else None, _short(share))
        for part in months[-MOST_BARS:]
        for share in [part.completion.on_time]
    ]
    return bars.bars(each, "Share of planned work done on time, by month", "percent", top=100)


def _short(share: Any) -> str:
    """`92`, `> 99`: the percent sign stands in the caption."""
    return "" if share is None else format_percent(share, 0).removesuffix(" %")


def _month(key: str) -> str:
    """`Mar 2027` of `2027-03`."""
    return phrases.day(date.fromisoformat(f"{key}-01")).split(phrases.NO_BREAK, 1)[1].replace(phrases.NO_BREAK, " ")


def _words(result: str) -> str:
    known = {each.value: each.label for each in chain(Result, Left)}
    return {**known, **_WORDS}.get(result, "")


def _narrowed(rows: list[Outcome], keys: dict[str, str]) -> list[str]:
    """The parts that the list was narrowed to, in words."""
    named = [GROUPS[name](rows[0])[0] for name in keys if rows and name != "month"]
    return named + ([_month(keys["month"])] if rows and "month" in keys else [])


def _cells(rows: Iterable[Outcome]) -> Iterator[list[csv_out.Cell]]:
    for row in rows:
        yield [
            row.asset_number, row.type, row.home, row.site, "yes" if row.life_support else "no", row.plan, row.due_on,
            row.closes_on, row.done_on, row.result.label, "yes" if row.deferred else "no",
        ]  # fmt: skip
