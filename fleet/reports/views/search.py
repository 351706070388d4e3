"""Search from every page."""

from typing import Final

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_safe

from fleet.core.permissions import May
from fleet.documents.models import Document
from fleet.documents.queries import documents, naming
from fleet.notices.models import Notice
from fleet.notices.queries import by_number
from fleet.people.models import Person
from fleet.people.queries import person_of
from fleet.reports.queries import search as find
from fleet.stores.models import Part
from fleet.stores.queries import by_label
from fleet.web import clock
from fleet.web.guards import guard

_DOCUMENTS: Final = 10


@guard(May.REPORT_FAULT, May.SEE_FLEET)
@require_safe
def search(request: HttpRequest) -> HttpResponse:
    """Go straight to the driver that is meant; else list those it may be, or say what to try."""
    text = request.GET.get("q", "")
    hits = find(text, person_of(request))
    if hits.only:
        return redirect("reports:device", hits.only.asset_number)
    if hits.tag and not hits.drivers:
        return redirect("tags:tag", hits.tag.number)
    if hits.pack:
        return redirect("batteries:pack", hits.pack.number)
    if not hits.drivers and (part := _part(text, person_of(request))):
        return redirect("stores:part", part.pk)
    if not hits.drivers and (notice := _notice(text, person_of(request))):
        return redirect("notices:one", notice.number)
    shown = {"text": text.strip(), "hits": hits, "documents": _documents(text, person_of(request))}
    return render(request, "reports/search.html", shown)


def _documents(text: str, person: Person) -> list[Document]:
    """The documents in force that the words name, for those who open the library."""
    if not text.strip() or not person.may(May.SEE_FLEET):
        return []
    return list(naming(documents(person).in_force(), text)[:_DOCUMENTS])


def _notice(text: str, person: Person) -> Notice | None:
    """The safety notice that a number of ours or the issuer's reference names, for those who see them."""
    return by_number(text) if person.may(May.SEE_FLEET) else None


def _part(text: str, person: Person) -> Part | None:
    """The part that a label or a number names, for those who see parts."""
    if not (person.may(May.WORK_ON_BENCH) or person.may(May.KEEP_STORE)):
        return None
    scanned = by_label(text, clock.today().year)
    return scanned.part if scanned else None
