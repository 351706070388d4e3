"""The main navigation: one table, of which each person sees the rows that their duties open."""

from dataclasses import dataclass
from typing import Final

from django.contrib.auth.models import AnonymousUser
from django.http import HttpRequest
from django.urls import reverse

from fleet.core.permissions import May


@dataclass(frozen=True, slots=True)
class Entry:
    """A page that stands in the navigation for whoever holds one of its duties."""

    label: str
    name: str
    duties: tuple[May, ...]
    aside: bool = False  # in the menu under one's name, not in the bar


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
    Entry("Rounds", "rounds:rounds", (May.WORK_ON_BENCH,)),
    Entry("Loans", "loans:loans", (May.HAND_OVER,), aside=True),
    Entry("On loan to us", "loans:ours", (May.REPORT_FAULT,), aside=True),
    Entry("Missing accessories", "accessories:missing", (May.HAND_OVER, May.WORK_ON_BENCH), aside=True),
    Entry("Quarantines", "tags:quarantines", (May.LIFT_QUARANTINE, May.WORK_ON_BENCH)),
    Entry("Overview", "reports:overview", (May.SEE_REPORTS,)),
    Entry("Late", "schedules:overdue", (May.SEE_FLEET,)),
    Entry("Batteries", "batteries:will_not_last", (May.SEE_FLEET,)),
    Entry("Alerts", "alerts:list", (May.SEE_FLEET,)),
    Entry("Libraries", "libraries:coverage", (May.SEE_FLEET,)),
    Entry("Register", "registry:devices", (May.SEE_FLEET,)),
    Entry("New drivers", "deliveries:deliveries", (May.HAND_OVER,), aside=True),
    Entry("Parts", "stores:parts", (May.WORK_ON_BENCH, May.KEEP_STORE), aside=True),
    Entry("Instruments", "stores:instruments", (May.WORK_ON_BENCH,), aside=True),
    Entry("Records in", "exchange:intakes", (May.IMPORT_RECORDS,), aside=True),
    Entry("Jobs", "jobs:runs", (May.SEE_REPORTS,), aside=True),
    Entry("Trail", "reports:trail", (May.SEE_TRAIL,), aside=True),
    Entry("Training", "staff:matrix", (May.KEEP_TEAM,), aside=True),
    Entry("People", "people:list", (May.MANAGE_PEOPLE,), aside=True),
)


def navigation(request: HttpRequest) -> dict[str, list[Link]]:
    """Context processor: `nav` for the bar and `nav_aside` for the menu, of what this person may open.

    The entry whose address begins the page's own is marked as current.
    """
    # An error page may come before anybody is known.
    user = getattr(request, "user", AnonymousUser())
    held = [entry for entry in ENTRIES if any(user.has_perm(f"fleet.{duty.value}") for duty in entry.duties)]
    urls = [reverse(entry.name) for entry in held]
    here = max((url for url in urls if request.path.startswith(url)), key=len, default="")
    links: dict[bool, list[Link]] = {False: [], True: []}
    for entry, url in zip(held, urls, strict=True):
        links[entry.aside].append(Link(entry.label, url, url == here))
    return {"nav": links[False], "nav_aside": links[True]}
