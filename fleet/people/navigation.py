"""The main navigation: one table, of which each person sees the rows that their duties open."""

from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from typing import Final

from django.contrib.auth.models import AnonymousUser
from django.http import HttpRequest
from django.urls import NoReverseMatch, reverse

from fleet.core.permissions import May


@dataclass(frozen=True, slots=True)
class Entry:
    """A page that stands in the navigation for whoever holds one of its duties."""

    label: str
    name: str
    duties: tuple[May, ...]


@dataclass(frozen=True, slots=True)
class Link:
    """What the header shows of an entry."""

    label: str
    url: str
    current: bool


ENTRIES: Final = (
    Entry("Tag a driver", "tags:find", (May.REPORT_FAULT,)),
    Entry("Our drivers", "tags:ours", (May.REPORT_FAULT,)),
    Entry("Bench", "bench:queue", (May.WORK_ON_BENCH,)),
    Entry("Quarantines", "tags:quarantines", (May.LIFT_QUARANTINE, May.WORK_ON_BENCH)),
    Entry("Overdue", "schedules:overdue", (May.SEE_FLEET,)),
    Entry("Batteries", "batteries:will_not_last", (May.SEE_FLEET,)),
    Entry("Alerts", "alerts:list", (May.SEE_FLEET,)),
    Entry("Libraries", "libraries:coverage", (May.SEE_FLEET,)),
    Entry("Turnaround", "reports:turnaround", (May.SEE_REPORTS,)),
    Entry("Register", "registry:devices", (May.SEE_FLEET,)),
    Entry("Records in", "exchange:intakes", (May.IMPORT_RECORDS,)),
    Entry("Jobs", "jobs:runs", (May.SEE_REPORTS,)),
    Entry("People", "people:list", (May.MANAGE_PEOPLE,)),
)


def navigation(request: HttpRequest) -> dict[str, list[Link]]:
    """Context processor: `nav`, the entries this person may open, with the one they are in marked as current."""
    # An error page may come before anybody is known.
    user = getattr(request, "user", AnonymousUser())
    held = [entry for entry in ENTRIES if any(user.has_perm(f"fleet.{duty.value}") for duty in entry.duties)]
    urls = list(_addresses(held))
    inside = [url for _, url in urls if request.path.startswith(url)]
    here = max(inside, key=len, default="")
    return {"nav": [Link(label, url, url == here) for label, url in urls]}


def _addresses(entries: list[Entry]) -> Iterator[tuple[str, str]]:
    for entry in entries:
        with suppress(NoReverseMatch):  # while the rooms are being built; goes when all stand
            yield entry.label, reverse(entry.name)
