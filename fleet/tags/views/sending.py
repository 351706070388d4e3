"""What the signed-in report page and the label page share: first values, sending, and what this session has sent."""

from typing import Any

from django.contrib.auth.models import AnonymousUser
from django.db.models import QuerySet
from django.http import HttpRequest

from fleet.audit.actors import Actor
from fleet.core.errors import BenchwardError
from fleet.people.models import Person
from fleet.registry.models import Device, Place
from fleet.tags.actions import Raised, raise_tag
from fleet.tags.forms import ReportForm
from fleet.tags.models import Tag, TagReport
from fleet.tags.queries import first_report, place_in_words
from fleet.web.forms import put_beside

_REPORTER = "reporter"
_SENT = "sent reports"
_SENT_KEPT = 20


def report_form(request: HttpRequest, device: Device, wards: QuerySet[Place] | None = None) -> ReportForm:
    """The form as posted, or with what is known of the reporter filled in."""
    data = request.POST if request.method == "POST" else None
    return ReportForm(
        data,
        wards=wards,
        initial={**_known(request.user), **request.session.get(_REPORTER, {}), **_spot(device, wards)},
    )


def _known(person: Person | AnonymousUser) -> dict[str, str]:
    if not isinstance(person, Person):
        return {}
    return {"reporter": str(person), "reach": person.phone}


def _spot(device: Device, wards: QuerySet[Place] | None) -> dict[str, Any]:
    return {"place": device.place_id} if wards is not None else {}


def send(request: HttpRequest, device: Device, form: ReportForm, *, by: Actor) -> Raised | None:
    """Raise the tag if a usable form was posted; None otherwise, with the reason on the form and nothing typed lost."""
    if not form.is_valid():
        return None
    try:
        raised = raise_tag(device, form.report(place_in_words(form.cleaned_data["where"], device)), by=by)
    except BenchwardError as error:
        put_beside(form, error)
        return None
    _remember(request, form, raised)
    return raised


def _remember(request: HttpRequest, form: ReportForm, raised: Raised) -> None:
    request.session[_REPORTER] = {name: form.cleaned_data[name] for name in ReportForm.KEPT}
    sent = {**request.session.get(_SENT, {}), raised.tag.number: raised.report.pk}
    request.session[_SENT] = dict(list(sent.items())[-_SENT_KEPT:])


def sent_report(request: HttpRequest, tag: Tag) -> TagReport | None:
    """The report on this tag that this session has sent, if it has."""
    return tag.reports.filter(pk=request.session.get(_SENT, {}).get(tag.number)).first()


def sent_joined(request: HttpRequest, tag: Tag) -> bool:
    """Whether what this session has sent last joined a tag that somebody's earlier report had raised."""
    mine = sent_report(request, tag)
    return mine is not None and mine != first_report(tag)
