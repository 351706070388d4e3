"""An entry of the trail in words: what was done, and each changed field from what to what."""

import json
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from functools import cache
from typing import Any, Final, TypeAlias

from django.apps import apps
from django.db import models
from django.urls import reverse
from django.utils import timezone

from fleet.audit.actors import Source
from fleet.audit.models import TrailEntry
from fleet.core.identifiers import hyphenated
from fleet.web import phrases

Field: TypeAlias = "models.Field[Any, Any]"

NOTHING: Final = "nothing"
_DAY: Final = re.compile(r"\d{4}-\d{2}-\d{2}")
_MOMENT: Final = re.compile(r"\d{4}-\d{2}-\d{2}T.+")
#: An act on the first is told with fields of the others, too.
_TOLD_WITH: Final = {
    "tag": ("tagreport",),
    "quarantine": ("custodyentry",),
    "order": ("labour", "partuse"),
    "pack": ("fitting", "cyclecount"),
}
#: Fields that only serve the machine.
_UNTOLD: Final = frozenset({"revision", "key", "digest"})
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
    "delivery": "deliveries:one",
    "loan": "loans:one",
    "retirement": "bench:retirement",
    "missing": "accessories:one",
    "runtimetest": "batteries:test",
}


@dataclass(frozen=True, slots=True)
class Change:
    """One field, from what to what. `before` is empty where there was nothing before."""

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
    def who(self) -> str:
        """Who did it. That a person's act came out of a file is said; of jobs, commands and labels the name says it."""
        return f"{self.entry.actor}, from a file" if self.entry.source == Source.IMPORT else self.entry.actor

    @property
    def late(self) -> str:
        """That it was entered later than done, by how much from a day on, and when; empty where it was not."""
        if not self.entry.late:
            return ""
        words = phrases.later(self.entry.done_at, self.entry.entered_at) or "entered late"
        return f"{words}, {phrases.moment(timezone.localtime(self.entry.entered_at))}"

    @property
    def in_words(self) -> str:
        """The changes in one line."""
        return "; ".join(f"{change.name}: {_arrow(change)}" for change in self.changes)


def told(entry: TrailEntry, people: Mapping[int, str]) -> Told:
    """The entry in words; `people` names the persons that it tells of by their id."""
    return Told(
        entry,
        done=entry.verb[:1].upper() + entry.verb[1:],
        of=subject_words(entry),
        url=_address(entry),
        changes=tuple(_changes(entry, people)),
    )


def kind_words(subject_kind: str) -> str:
    """What kind of record it is: "runtime test"."""
    model = _models().get(subject_kind)
    return str(model._meta.verbose_name) if model else subject_kind  # noqa: SLF001 - Django's public name for it - Django's public name for it


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


def _changes(entry: TrailEntry, people: Mapping[int, str]) -> Iterator[Change]:
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
        was = "" if _is_blank(before) else value_words(field, before, people)
        yield Change(_named(field, name), was, value_words(field, after, people))


def _is_blank(value: Any) -> bool:
    return value is None or value in ("", [], {})


def _named(field: "Field | None", name: str) -> str:
    words = str(field.verbose_name) if field is not None else name.replace("_", " ")
    return words[:1].upper() + words[1:]


def value_words(field: "Field | None", value: Any, people: Mapping[int, str]) -> str:
    """A kept value as a reader says it: choices by their label, dates unambiguous, nothing as "nothing"."""
    if _is_blank(value):
        return NOTHING
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(field, models.ForeignKey) and value in people:
        return people[value]
    if isinstance(value, float):
        return phrases.quantity(value)
    if isinstance(value, list):
        return ", ".join(map(str, value))
    choices = dict(field.flatchoices) if field is not None else {}
    return str(choices[value]) if value in choices else _dated(str(value))


def _dated(text: str) -> str:
    """A date or an instant, written as the trail writes them, in words; any other text as it is."""
    try:
        if _MOMENT.fullmatch(text):
            return phrases.moment(timezone.localtime(datetime.fromisoformat(text)))
        return phrases.day(date.fromisoformat(text)) if _DAY.fullmatch(text) else text
    except ValueError:  # a day that no calendar has, a moment without its zone: told as it was kept
        return text


def _field(kind: str, name: str) -> "Field | None":
    for each in (kind, *_TOLD_WITH.get(kind, ())):
        model = _models().get(each)
        known = {field.name: field for field in model._meta.fields} if model else {}  # noqa: SLF001 - Django's public name for it - Django's own name
        if found := known.get(name) or known.get(name.removesuffix("_id")):
            return found
    return None


@cache
def _models() -> dict[str, type[models.Model]]:
    return {str(model._meta.model_name): model for model in apps.get_app_config("fleet").get_models()}  # noqa: SLF001 - Django's public name for it
