"""Everything that the record holds about one driver, found by the relations of the models and not by a list of rooms.

A model that points to the driver, or to a row that does, is part of it: a room that is added tomorrow is in the copy
from its first migration on. What is left out stands below with its reason.
"""

import hashlib
import zlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any, Final, TypeAlias
from uuid import UUID

from django.db import models

from fleet.audit.models import TrailEntry
from fleet.batteries.models import Pack
from fleet.bench.models import FlowTest, ReadingFile
from fleet.contracts.models import Contract
from fleet.core.files import ENDINGS
from fleet.documents.models import DocumentFile
from fleet.registry.models import Device
from fleet.reports.queries.trail import history

Row: TypeAlias = dict[str, Any]
Model: TypeAlias = type[models.Model]

#: Relations that lead on to other drivers, by model and field.
_NOT_FOLLOWED: Final = {
    ("partuse", "stock"): "a part that was saved from it, used on another driver: the order of that driver tells it",
}


@dataclass(frozen=True, slots=True)
class Attached:
    """A file of the record: its name in the copy, its content and which row it belongs to."""

    path: str
    content: bytes
    of: str

    @property
    def sha256(self) -> str:
        """The digest of the content."""
        return hashlib.sha256(self.content).hexdigest()


@dataclass(frozen=True, slots=True)
class Part:
    """The rows of one kind, in the order in which they were made."""

    model: Model
    rows: tuple[models.Model, ...]

    @property
    def name(self) -> str:
        """The kind as programs call it."""
        return str(self.model._meta.model_name)  # noqa: SLF001 - Django's public name for it

    @property
    def words(self) -> str:
        """The kind as people call it."""
        return str(self.model._meta.verbose_name_plural)  # noqa: SLF001 - Django's public name for it


@dataclass(slots=True)
class Whole:
    """The driver and every part of its record that has rows."""

    device: Device
    parts: tuple[Part, ...]
    _names: dict[tuple[Model, Any], str] = field(default_factory=dict)

    def plain(self, row: models.Model) -> Row:
        """Every field of a row as JSON holds it; what it points to with its name beside the id."""
        meta = row._meta  # noqa: SLF001 - Django's public name for it
        held: Row = {each.name: self._value(row, each) for each in meta.concrete_fields}
        for many in meta.many_to_many:
            others = getattr(row, many.name).all()
            # A contract lists other drivers too: they are no part of this one's record.
            others = others.filter(pk=self.device.pk) if many.related_model is Device else others
            held[many.name] = [{"id": other.pk, "is": str(other)} for other in others]
        return held

    def _value(self, row: models.Model, each: "models.Field[Any, Any]") -> Any:
        value = each.value_from_object(row)
        if isinstance(each, models.ForeignKey) and value is not None:
            return {"id": value, "is": self._name(row, each, value)}
        if isinstance(each, models.BinaryField):
            return {"file": _path(row, each)}
        return _plain(value)

    def _name(self, row: models.Model, each: "models.ForeignKey[Any, Any]", value: Any) -> str:
        """What the row points to, in words; asked for once."""
        key = (each.related_model, value)
        if key not in self._names:
            self._names[key] = str(getattr(row, each.name))
        return self._names[key]


def whole(device: Device) -> Whole:
    """Everything that the record holds about a driver."""
    found: dict[Model, set[Any]] = {Device: {device.pk}}
    packs = Pack.objects.filter(fittings__device=device).values_list("pk", flat=True)
    _follow(Device, found[Device], found)
    found[Pack] = set(packs)
    _follow(Pack, found[Pack], found)
    found[Contract] = set(device.contracts.values_list("pk", flat=True))
    del found[Device]
    parts = [Part(model, tuple(_in_order(model, pks))) for model, pks in found.items() if pks]
    parts.append(Part(TrailEntry, tuple(history(device).order_by("pk"))))
    return Whole(device, tuple(sorted(parts, key=lambda part: part.words)))


def _follow(model: Model, pks: set[Any], found: dict[Model, set[Any]]) -> None:
    """Find the rows that point to these, and the rows that point to those."""
    for other, each in pointing_to(model):
        rows = other._default_manager.filter(**{f"{each}__in": pks})  # noqa: SLF001 - Django's public name for it
        new = set(rows.values_list("pk", flat=True)) - found.setdefault(other, set())
        if new:
            found[other] |= new
            _follow(other, new, found)


def pointing_to(model: Model) -> Iterator[tuple[Model, str]]:
    """The models and fields that point to a model and belong to it.

    What points to a driver itself belongs to that driver alone, whatever else it points to.
    """
    for relation in model._meta.related_objects:  # noqa: SLF001 - Django's public name for it
        other, each = relation.related_model, relation.field
        name = str(other._meta.model_name)  # noqa: SLF001 - as above
        foreign = isinstance(each, models.ForeignKey) and (name, each.name) not in _NOT_FOLLOWED
        if foreign and (model is Device or not _has_driver(other)):
            yield other, each.name


def _has_driver(model: Model) -> bool:
    fields = model._meta.concrete_fields  # noqa: SLF001 - as above
    return any(isinstance(each, models.ForeignKey) and each.related_model is Device for each in fields)


def _in_order(model: Model, pks: set[Any]) -> models.QuerySet[models.Model]:
    return model._default_manager.filter(pk__in=pks).order_by("pk")  # noqa: SLF001 - as above


def _plain(value: Any) -> Any:
    if isinstance(value, Decimal):
        return f"{value:f}"
    if isinstance(value, datetime):
        return value.astimezone(UTC).isoformat()
    if isinstance(value, date):
        return value.isoformat()
    return str(value) if isinstance(value, UUID) else value


#: How the bytes of a field become a file that opens: its ending, and what is done to the bytes first.
_OPENED: Final[dict[Model, Callable[[Any], tuple[str, Callable[[bytes], bytes]]]]] = {
    ReadingFile: lambda row: (ENDINGS.get(row.kind, "bin"), bytes),
    DocumentFile: lambda row: (ENDINGS.get(row.kind, "bin"), bytes),
    FlowTest: lambda _row: ("csv", zlib.decompress),
}


def _opened(row: models.Model) -> tuple[str, Callable[[bytes], bytes]]:
    return _OPENED[type(row)](row) if type(row) in _OPENED else ("bin", bytes)


def _path(row: models.Model, each: "models.Field[Any, Any]") -> str:
    """A name of ours: what the sender called a file is a field of its row and no path."""
    return f"files/{row._meta.model_name}-{row.pk}-{each.name}.{_opened(row)[0]}"  # noqa: SLF001 - as above


def attached(record: Whole) -> Iterator[Attached]:
    """The files of the record, one after another."""
    for part in record.parts:
        binary = [each for each in part.model._meta.concrete_fields if isinstance(each, models.BinaryField)]  # noqa: SLF001 - as above
        for row in part.rows if binary else ():
            for each in binary:
                content = _opened(row)[1](bytes(each.value_from_object(row)))
                yield Attached(_path(row, each), content, str(row))
