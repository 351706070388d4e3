"""The whole record of one driver: to read and print, as JSON, and as a bundle with its files (docs/records.md)."""

import json
import zipfile
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from tempfile import TemporaryFile
from typing import Any, Final

from django.db import models
from django.http import HttpRequest, HttpResponse, HttpResponseBase, StreamingHttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.views.decorators.http import require_safe

from fleet.audit.models import TrailEntry
from fleet.core.permissions import May
from fleet.people.queries import person_of
from fleet.registry.models import Device
from fleet.registry.queries import devices
from fleet.reports import queries
from fleet.reports.queries.whole import Attached, Part, Whole, attached, whole
from fleet.reports.wording import told, value_words
from fleet.web import clock
from fleet.web.guards import fetch, guard

FORM: Final = "driver record 1"
_CHUNK: Final = 1 << 16
#: Fields that only serve the machine: they stand in the JSON.
_UNTOLD: Final = frozenset({"id", "sent_key", "key", "revision", "digest", "parts", "device", "latest"})


@dataclass(frozen=True, slots=True)
class Line:
    """One row of the record in words: what it is, and its fields."""

    what: str
    facts: tuple[tuple[str, str], ...]


@guard(May.SEE_REPORTS)
@require_safe
def record(request: HttpRequest, asset: str) -> HttpResponse:
    """Everything the record holds about a driver, to be read and printed."""
    device = fetch(devices(), request, asset_number=asset)
    found, people = whole(device), queries.names()
    files = [(each.path, each.of, len(each.content), each.sha256) for each in attached(found)]
    trail = next(part for part in found.parts if part.model is TrailEntry)
    shown = {
        "device": device,
        "above": [(asset, reverse("reports:device", args=[asset]))],
        "facts": _facts(found, device),
        "parts": [(part, list(_lines(found, part))) for part in found.parts if part is not trail],
        "files": files,
        "trail": [told(entry, people) for entry in trail.rows if isinstance(entry, TrailEntry)],
        "made_at": clock.now(),
    }
    return render(request, "reports/record.html", shown)


@guard(May.SEE_REPORTS)
@require_safe
def record_json(request: HttpRequest, asset: str) -> HttpResponse:
    """The same for a program."""
    device = fetch(devices(), request, asset_number=asset)
    answer = HttpResponse(_json(request, whole(device)), content_type="application/json")
    answer["Content-Disposition"] = f'attachment; filename="{_name(device)}.json"'
    return answer


@guard(May.SEE_REPORTS)
@require_safe
def record_zip(request: HttpRequest, asset: str) -> HttpResponseBase:
    """The same with every attached file."""
    device = fetch(devices(), request, asset_number=asset)
    found = whole(device)
    answer = StreamingHttpResponse(_bundle(_json(request, found), attached(found)), content_type="application/zip")
    answer["Content-Disposition"] = f'attachment; filename="{_name(device)}.zip"'
    return answer


def _bundle(record: str, files: Iterable[Attached]) -> Iterator[bytes]:
    """The bundle in chunks, made on disk: photos of many years need not fit in memory together."""
    with TemporaryFile() as file:
        with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as bundle:
            bundle.writestr("record.json", record)
            for each in files:
                bundle.writestr(each.path, each.content)
        file.seek(0)
        while chunk := file.read(_CHUNK):
            yield chunk


def _name(device: Device) -> str:
    """A file name of ours: an asset number may hold what a path must not."""
    return f"driver-record-{device.pk}"


def _json(request: HttpRequest, found: Whole) -> str:
    files = [
        {"path": each.path, "of": each.of, "bytes": len(each.content), "sha256": each.sha256}
        for each in attached(found)
    ]
    content: dict[str, Any] = {
        "form": FORM,
        "made_at": clock.now().isoformat(),
        "made_by": str(person_of(request)),
        "driver": found.plain(found.device),
        "counts": {part.name: len(part.rows) for part in found.parts},
        "parts": {part.name: [found.plain(row) for row in part.rows] for part in found.parts},
        "files": files,
    }
    return json.dumps(content, ensure_ascii=False, indent=1)


def _lines(found: Whole, part: Part) -> Iterator[Line]:
    for row in part.rows:
        yield Line(str(row), tuple(_facts(found, row)))


def _facts(found: Whole, row: models.Model) -> Iterator[tuple[str, str]]:
    """The fields that hold something, by their words."""
    plain = found.plain(row)
    meta = row._meta  # noqa: SLF001 - Django's public name for it
    for each in (*meta.concrete_fields, *meta.many_to_many):
        value = plain[each.name]
        if each.name in _UNTOLD or value in (None, "", [], {}):
            continue
        words = str(each.verbose_name)
        yield words[:1].upper() + words[1:], _words(each, value)


def _words(each: "models.Field[Any, Any]", value: Any) -> str:
    if isinstance(value, list) and value and isinstance(value[0], dict) and "is" in value[0]:
        return ", ".join(str(other["is"]) for other in value)
    if isinstance(value, dict):
        known = value.get("is") or value.get("file")
        return str(known) if known else json.dumps(value, ensure_ascii=False)
    return value_words(each, value, {})
