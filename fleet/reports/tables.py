"""The trail as rows of a file."""

from collections.abc import Iterable, Iterator
from datetime import datetime

from django.utils import timezone

from fleet.audit.models import TrailEntry
from fleet.reports.wording import kind_words, plain, subject_words, told
from fleet.web.csv_out import Cell

TRAIL_HEADER = (
    "Entered at", "Done at", "Entered late", "Who", "By way of", "What", "Kind of record", "Record", "Changes in words",
    "Before", "After", "Why",
)  # fmt: skip


def trail_rows(entries: Iterable[TrailEntry]) -> Iterator[tuple[Cell, ...]]:
    """The rows of TRAIL_HEADER, one an entry; before and after also as they were kept."""
    for entry in entries:
        yield (
            _instant(entry.entered_at),
            _instant(entry.done_at),
            "late" if entry.late else "",
            entry.actor,
            entry.source,
            entry.verb,
            kind_words(entry.subject_kind),
            subject_words(entry),
            told(entry).in_words,
            plain(entry.before),
            plain(entry.after),
            entry.why,
        )


def _instant(moment: datetime) -> str:
    """Local time with its offset, so that no hour of a changed clock is told twice."""
    return timezone.localtime(moment).isoformat(sep=" ", timespec="seconds")
