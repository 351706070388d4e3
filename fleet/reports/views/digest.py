"""The morning e-mail, as it would be sent now."""

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from fleet.people.queries import person_of
from fleet.reports.digest import digest_of
from fleet.web import clock
from fleet.web.guards import signed_in


@signed_in
@require_safe
def digest(request: HttpRequest) -> HttpResponse:
    """What one's own mail would say at this moment."""
    return render(request, "reports/digest.html", {"digest": digest_of(person_of(request), clock.today())})
