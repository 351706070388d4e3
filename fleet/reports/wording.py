"""An entry of the trail in words: what was done, and each changed field from what to what."""

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from typing import Any, Final, TypeAlias

from django.apps import apps
from django.core.exceptions import FieldDoesNotExist
from django.db import models
from django.urls import reverse
from django.utils import timezone
from django.utils.dateparse import parse_date, parse_datetime

from fleet.audit.models import TrailEntry
from fleet.core.identifiers import hyphenated
from fleet.web import phrases

Field: TypeAlias = "models.Field[Any, Any]"

NOTHING: Final = "nothing"
#: Fields that only serve the machine.
_UNTOLD: Final = frozenset({"revision", "key"})
#: Subjects with a page of their own, addressed by their name or by their id.
_PAGES_BY_NAME: Final = {
    "order": "bench:order",
    "tag": "tags:tag",
    "pack": "batteries:pack",
    "device": "reports:device",
}
_PAGES_BY_ID: Final = {
    "quarantine": "tags:quarantine",
    "due": "schedules:one",
    "alert": "alerts:one",
    "runtimetest": "batteries:test",
}


@dataclass(frozen=True, slots=True)
class Change:
    """One field, from what to what. `before` is empty where there was nothing to compare with."""

    name: str
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class Told:
    """One entry of the trail as a page shows it. `of` is what it was done to, with `url` where that has a page."""

    entry: TrailEntry
    done: str
    of: str
    url: str
    changes: tuple[Change, ...]

    @property
    def in_words(self) -> str:
        """The changes in one line."""
        return "; ".join(f"{change.name}: {_arrow(change)}" for change in self.changes)


def told(entry: TrailEntry) -> Told:
    """The entry in words."""
    return Told(
        entry,
        done=entry.verb[:1].upper() + entry.verb[1:],
        of=subject_words(entry),
        url=_address(entry),
        changes=tuple(_changes(entry)),
    )


def kind_words(subject_kind: str) -> str:
    """What kind of record it is: "runtime test"."""
    model = _models().get(subject_kind)
    return str(model._meta.verbose_name) if model else subject_kind  # noqa: SLF001 - Django's public name for it


def subject_words(entry: TrailEntry) -> str:
    """The record's own name, a tag's number as it stands on paper."""
    return hyphenated(entry.subject_name) if entry.subject_kind == "tag" else entry.subject_name


def plain(fields: Mapping[str, Any]) -> str:
    """Recorded fields as they were kept, for a file that another program reads; empty when there are none."""
    return json.dumps(fields, ensure_ascii=False, sort_keys=True) if fields else ""


def _arrow(change: Change) -> str:
    return f"{change.before} → {change.after}" if change.before else change.after


def _address(entry: TrailEntry) -> str:
    kind = entry.subject_kind
    if kind in _PAGES_BY_NAME and entry.subject_name:
        return reverse(_PAGES_BY_NAME[kind], args=[entry.subject_name])
    return reverse(_PAGES_BY_ID[kind], args=[entry.subject_id]) if kind in _PAGES_BY_ID and entry.subject_id else ""


def _changes(entry: TrailEntry) -> Iterator[Change]:
    for name in dict.fromkeys([*entry.before, *entry.after]):
        before, after = entry.before.get(name), entry.after.get(name)
        if name in _UNTOLD or (_is_blank(before) and _is_blank(after)):
            continue
        if isinstance(after, dict):
            yield from (
                Change(f"{name.rstrip('s').capitalize()} {key}", "", str(value)) for key, value in after.items()
            )
            continue
        field = _field(entry.subject_kind, name)
        compared = name in entry.before
        yield Change(_named(field, name), value_words(field, before) if compared else "", value_words(field, after))


def _is_blank(value: Any) -> bool:
    return value is None or value in ("", [], {})


def _named(field: "Field | None", name: str) -> str:
    words = str(field.verbose_name) if field is not None else name.replace("_", " ")
    return words[:1].upper() + words[1:]


def value_words(field: "Field | None", value: Any) -> str:
    """A kept value as a reader says it: choices by their label, dates unambiguous, nothing as "nothing"."""
    if _is_blank(value):
        return NOTHING
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return phrases.quantity(value)
    if isinstance(value, list):
        return ", ".join(map(str, value))
    choices = dict(field.flatchoices) if field is not None else {}
    return str(choices[value]) if value in choices else _dated(str(value))


def _dated(text: str) -> str:
    """A date or an instant in words; any other text as it is."""
    try:
        if moment := parse_datetime(text):
            return _moment(moment)
        on = parse_date(text)
    except ValueError:
        return text
    return phrases.day(on) if on else text


def _moment(moment: datetime) -> str:
    return phrases.moment(timezone.localtime(moment) if timezone.is_aware(moment) else moment)


def _field(kind: str, name: str) -> "Field | None":
    model = _models().get(kind)
    if model is None:
        return None
    try:
        field = model._meta.get_field(name)  # noqa: SLF001 - Django's public name for it
    except FieldDoesNotExist:
        return None
    return field if isinstance(field, models.Field) else None


@cache
def _models() -> dict[str, type[models.Model]]:
    return {str(model._meta.model_name): model for model in apps.get_app_config("fleet").get_models()}  # noqa: SLF001
