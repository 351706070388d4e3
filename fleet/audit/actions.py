"""Writing the trail. Called by every action in the house, inside that action's transaction."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from django.core.serializers.json import DjangoJSONEncoder
from django.db import models

from fleet.audit.actors import Actor
from fleet.audit.models import TrailEntry
from fleet.web import clock

# An entry made within this span of the act counts as made at once; later ones are marked as late.
PROMPT = timedelta(minutes=15)
BATCH = 2000

_plain = DjangoJSONEncoder()


@dataclass(frozen=True, slots=True)
class Happening:
    """What to write down. `before` and `after` hold only the fields that changed."""

    verb: str
    subject: models.Model
    device_id: int | None = None
    before: Mapping[str, Any] = field(default_factory=dict)
    after: Mapping[str, Any] = field(default_factory=dict)
    why: str = ""
    done_at: datetime | None = None


def record(happening: Happening, *, by: Actor) -> TrailEntry:
    """Write one act to the trail and return its row."""
    entry = _entry(happening, by)
    entry.save(force_insert=True)
    return entry


def record_many(happenings: Iterable[Happening], *, by: Actor) -> int:
    """Write many acts in few statements; the count is returned."""
    entries = [_entry(happening, by) for happening in happenings]
    TrailEntry.objects.bulk_create(entries, batch_size=BATCH)
    return len(entries)


def _entry(happening: Happening, by: Actor) -> TrailEntry:
    entered_at = clock.now()
    done_at = happening.done_at or entered_at
    return TrailEntry(
        entered_at=entered_at,
        done_at=done_at,
        late=entered_at - done_at > PROMPT,
        person_id=by.person_id,
        actor=by.name[:120],
        source=by.source.value,
        verb=happening.verb,
        subject_kind=happening.subject._meta.model_name or "",  # noqa: SLF001 - Django's public name for it
        subject_id=happening.subject.pk,
        subject_name=str(happening.subject)[:120],
        device_ref=happening.device_id,
        before=_jsonable(happening.before),
        after=_jsonable(happening.after),
        why=happening.why,
    )


def _jsonable(fields: Mapping[str, Any]) -> dict[str, Any]:
    return {name: _value(value) for name, value in fields.items()}


def _value(value: Any) -> Any:
    if value is None or isinstance(value, (bool, int, float, str, list, dict)):
        return value
    if isinstance(value, models.Model):
        return str(value)
    return _plain.default(value)
