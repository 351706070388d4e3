"""Who is away when: everybody notes their own days, whoever keeps team records those of colleagues."""

from django.contrib import messages
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST

from fleet.core.errors import BenchwardError
from fleet.core.permissions import May
from fleet.people import actions, queries
from fleet.people.forms import AbsenceForm
from fleet.people.models import Absence, Person
from fleet.people.queries import acting, person_of
from fleet.web import clock, phrases
from fleet.web.forms import put_beside
from fleet.web.guards import signed_in


@signed_in
@require_http_methods(["GET", "HEAD", "POST"])
def away(request: HttpRequest) -> HttpResponse:
    """The absences that go on or are to come, and a form for more."""
    person = person_of(request)
    people = _kept(person)
    form = AbsenceForm(request.POST or None, people=people, own=person)
    if request.method == "POST" and form.is_valid() and _noted(request, form):
        return redirect("people:away")
    rows = queries.absences(people, clock.today())
    context = {
        "form": form,
        "rows": rows,
        "today": clock.today(),
        "keeps": person.may(May.KEEP_TEAM),
        "above": [("Your account", reverse("people:account"))],
    }
    return render(request, "people/away.html", context)


def _kept(person: Person) -> QuerySet[Person]:
    """Those whose absences a person enters: their own, or with the duty all colleagues'."""
    if person.may(May.KEEP_TEAM):
        return queries.colleagues(person)
    return Person.objects.filter(pk=person.pk)


def _noted(request: HttpRequest, form: AbsenceForm) -> bool:
    try:
        row = actions.note_absence(**form.cleaned_data, by=acting(request))
    except BenchwardError as error:
        put_beside(form, error)
        return False
    messages.success(
        request, f"{row.person} is noted as away from {phrases.day(row.first)} to {phrases.day(row.last)}."
    )
    return True


@signed_in
@require_POST
def withdraw(request: HttpRequest, pk: int) -> HttpResponse:
    """Take an absence back."""
    row = get_object_or_404(Absence, pk=pk, person__in=_kept(person_of(request)))
    actions.withdraw_absence(row, by=acting(request))
    messages.success(request, f"{row.person} is no longer noted as away on these days.")
    return redirect("people:away")
