"""What is the bench's own of an answer that a screen kept: the revision it was typed on, and what was scanned."""

from typing import Final

from django.http import HttpRequest

from fleet.bench.actions import Sent
from fleet.people import kept
from fleet.stores.models import Instrument, InstrumentQuerySet

ANOTHERS_WORDS: Final = (
    f"{kept.ANOTHERS_WORDS.removesuffix('.')}: let them sign in and answer it, or measure again and answer it yourself."
)


def sent(request: HttpRequest, revision: int) -> Sent:
    """The answer as it came: the revision it was typed on, its key, its wait, and if its screen kept an earlier one."""
    given = kept.kept(request)
    return Sent(revision, key=given.key, held=given.held, knows_own="knows_own" in request.POST)


def scanned(request: HttpRequest, offered: InstrumentQuerySet) -> Instrument | None:
    """The instrument whose label was scanned for this step, where it is one of those offered."""
    asked = request.GET.get("instrument", "")
    return offered.filter(pk=int(asked)).first() if asked.isdecimal() else None
