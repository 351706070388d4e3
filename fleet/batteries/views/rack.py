"""Log a charging rack of ten drivers at once, all or none."""

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from fleet.audit.actors import Actor
from fleet.batteries import actions, queries
from fleet.batteries.forms import PLACES, Rack
from fleet.batteries.models import RuntimeTest
from fleet.batteries.views.common import FIRST, REFUSED, above
from fleet.core.errors import BadValueError, BenchwardError
from fleet.core.permissions import May
from fleet.people.models import Person
from fleet.people.queries import acting, person_of
from fleet.web import clock
from fleet.web.guards import guard


@guard(May.LOG_RUNTIME_TEST)
@require_http_methods(["GET", "HEAD", "POST"])
def rack(request: HttpRequest) -> HttpResponse:
    """One line that all share, ten rows, everything or nothing."""
    drivers = _asked_for(request)
    form = Rack(request.POST or None, _usual(), drivers[:PLACES])
    if request.method == "POST":
        tests = _log(form, person_of(request), acting(request))
        if tests:
            _forecast(tests)
            messages.success(request, f"{len(tests)} test{'s' if len(tests) > 1 else ''} logged.")
            logged = ",".join(str(test.pk) for test in tests)
            return redirect(f"{reverse('batteries:logged')}?of={logged}")
    refused = request.method == "POST"
    context = {
        "rack": form,
        "first": FIRST,
        "above": above(),
        "drivers": ",".join(drivers[:PLACES]),
        "others": ",".join(drivers[PLACES:]),
        "left_out": len(drivers[PLACES:]),
    }
    return render(request, "batteries/rack.html", context, status=REFUSED if refused else 200)


def _asked_for(request: HttpRequest) -> list[str]:
    """The drivers that the address names, `?devices=A1,A2` or one by one, each once."""
    named = ",".join(request.GET.getlist("devices")).split(",")
    return list(dict.fromkeys(filter(None, map(str.strip, named))))


def _usual() -> dict[str, object]:
    return {"started_on": clock.today(), "syringe_ml": queries.last_syringe()}


def _log(form: Rack, person: Person, by: Actor) -> list[RuntimeTest]:
    """Log every row, or none and say in each row what is wrong with it."""
    pairs = form.read(person)
    for row, new in pairs:
        try:
            actions.check_test(new, by=by)
        except BadValueError as error:
            row.refuse(error)
    if not form.is_sound:
        return []
    try:
        return actions.log_tests([new for _, new in pairs], by=by)
    except BenchwardError as error:
        form.common.add_error(None, str(error))
        return []


def _forecast(tests: list[RuntimeTest]) -> None:
    for device_type in {test.device.device_type for test in tests}:
        actions.refresh_if_quick(device_type)
