"""A small demonstration hospital, built once for the tests of this folder, and what is compared of two of them."""

import hashlib
import re
from dataclasses import dataclass
from datetime import date
from io import StringIO
from typing import Any

from django.apps import apps
from django.core.management import call_command
from django.db import models

from fleet.audit.models import TrailEntry
from fleet.batteries.models import Pack, RuntimeTest
from fleet.bench.models import Order, Reading
from fleet.libraries.models import Carried, CoverageSnapshot
from fleet.registry.models import Device
from fleet.schedules.models import Due
from fleet.tags.models import Tag, TagReport

UNTIL = date(2026, 3, 18)
FEW = 40
SEED = 5
# Fields that tell the story; ids and password hashes do not.
STORY: dict[type[models.Model], tuple[str, ...]] = {
    Device: (
        "asset_number", "serial_number", "device_type__model", "home__code", "place__code", "condition", "accepted_on",
        "next_due", "last_seen_at", "last_seen_source", "firmware",
    ),
    Due: ("device__asset_number", "plan__name", "due_on", "closes_on", "late_since", "deferred_from"),
    Order: ("number", "kind", "state", "outcome", "found", "raised_at", "received_at", "completed_at"),
    Reading: ("order__number", "step__position", "as_typed", "verdict", "latest"),
    Tag: ("number", "device__asset_number", "opened_at", "harm", "cleared_at"),
    TagReport: ("tag__number", "key", "what", "words", "reporter"),
    Pack: ("number", "date_code", "state"),
    RuntimeTest: ("pack__number", "started_at", "stopped_at", "stop", "fraction", "voided_at"),
    Carried: ("device__asset_number", "version__number", "seen_at"),
    CoverageSnapshot: ("day", "place__code", "current", "behind", "unknown", "not_seen"),
    TrailEntry: ("entered_at", "done_at", "actor", "verb", "subject_name", "why"),
}  # fmt: skip
# Loans and deliveries bear the number of their row, and PostgreSQL counts on after a build was undone.
ROW_NUMBERS = re.compile(r"'(?:Loan|Delivery) \d+'")


@dataclass(frozen=True)
class Demo:
    """What came of `manage.py demo`: its words, and the digest of another build with the same seed."""

    words: str
    twin: str


def run(**options: Any) -> str:
    """Run `manage.py demo` for the small hospital, or with other options; its words are returned."""
    words = StringIO()
    call_command("demo", **{"devices": FEW, "seed": SEED, "until": UNTIL, **options}, stdout=words, stderr=words)
    return words.getvalue()


def digest() -> str:
    """One line that differs if any count or any field of the story differs."""
    told = hashlib.sha256()
    for model in apps.get_app_config("fleet").get_models():
        told.update(f"{model.__name__}: {model._default_manager.count()}\n".encode())  # noqa: SLF001 - Django's name
    for kind, fields in STORY.items():
        for row in kind._default_manager.order_by("pk").values_list(*fields).iterator():  # noqa: SLF001 - as above
            told.update(ROW_NUMBERS.sub("its number", f"{row}\n").encode())
    return told.hexdigest()
