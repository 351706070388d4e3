"""For how long records of retired drivers are kept at least, and those that are past that time."""

from typing import Final

from django.contrib import messages
from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from fleet.bench import actions
from fleet.bench.queries.retiring import past_retention, retention_rule
from fleet.bench.retire_forms import RetentionForm
from fleet.core.errors import BenchwardError
from fleet.core.permissions import May
from fleet.people.queries import acting, person_of
from fleet.web import clock
from fleet.web.forms import put_beside
from fleet.web.guards import demand, guard

PER_PAGE: Final = 25
REFUSED: Final = 422


@guard(May.SEE_FLEET)
@require_http_methods(["GET", "HEAD", "POST"])
def retention(request: HttpRequest) -> HttpResponse:
    """The rule with who decided it; below, the records past their time, of which none is deleted."""
    rule = retention_rule()
    known = {name: getattr(rule, name) for name in ("years", "decided_by", "decided_on", "source")} if rule else {}
    form = RetentionForm(request.POST or None, initial=known)
    if request.method == "POST":
        demand(request, May.RETIRE_DEVICE)
        if form.is_valid():
            try:
                actions.state_retention(**form.cleaned_data, by=acting(request))
            except BenchwardError as error:
                put_beside(form, error)
            else:
                messages.success(request, "The rule is stated. Nothing is deleted by it.")
                return redirect("bench:retention")
    rows = past_retention(person_of(request), clock.today())
    shown = {
        "rule": rule,
        "form": form,
        "page": Paginator(rows, PER_PAGE).get_page(request.GET.get("page")),
        "above": [("Retired", reverse("bench:retirements"))],
    }
    return render(request, "bench/retention.html", shown, status=REFUSED if form.errors else 200)
