"""What a signature under an order covers, and whether it still holds."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Final

from django.db import models

from fleet.audit.models import TrailEntry
from fleet.bench.models import FlowTest, Labour, OcclusionTest, Order, PartUse, Reading, Signature, Step
from fleet.bench.queries.facts import workers
from fleet.core.orders import ABSENT_OUTCOMES, Outcome
from fleet.core.sealing import differing, seal, seal_parts

SIGNED: Final = "signed"
#: Of an order all counts but its row number and the counter of its changes.
_NOT_CONTENT: Final = frozenset({"id", "revision"})
#: What a step asked for. Who looked at its limits since is no change of the work.
_ASKED: Final = ("position", "kind", "words", "unit", "low", "high", "required")


@dataclass(frozen=True, slots=True)
class Signed:
    """A signature, and what differs now from what was signed; `forged` where it is not the one the trail tells of."""

    signature: Signature
    changed: tuple[str, ...]
    forged: bool

    @property
    def holds(self) -> bool:
        """Whether the record is as it was signed."""
        return not self.changed and not self.forged


def signatures(order: Order) -> list[Signed]:
    """The signatures under an order, the first first, each held against the record as it is now."""
    rows = list(order.signatures.all())
    if not rows:
        return []
    now, told = parts_of(order), _told(order)
    return [_held(row, now, told) for row in rows]


def _held(row: Signature, now: dict[str, str], told: set[str]) -> Signed:
    own = digest_of(row)
    return Signed(row, differing(row.parts, now), forged=own != row.digest or own not in told)


def _told(order: Order) -> set[str]:
    """The digests that the trail, which nobody can change, holds for an order."""
    entries = TrailEntry.objects.filter(subject_kind="order", subject_id=order.pk, verb=SIGNED)
    return {str(after.get("digest", "")) for after in entries.values_list("after", flat=True)}


def digest_of(row: Signature) -> str:
    """One digest over the parts, who signed, when and as what."""
    bound = (row.order_id, row.by_id, row.by_name, str(row.meaning), row.signed_at, row.parts)
    return seal(bound)


def parts_of(order: Order) -> dict[str, str]:
    """The digest of each part of an order's record as the database holds it now.

    Fields that are empty or at their default are left out, so that a field added in a later version voids nothing.
    """
    record: dict[str, object] = {"the order": _content(Order.objects.get(pk=order.pk), _NOT_CONTENT)}
    if order.procedure_version_id:
        record["the procedure"] = list(Step.objects.filter(version=order.procedure_version_id).values(*_ASKED))
    answers = Reading.objects.filter(order=order).order_by("step__position", "pk").select_related("step")
    for reading in answers:
        held = record.setdefault(f"step {reading.step.position}", [])
        if isinstance(held, list):
            held.append(_content(reading))
    for name, rows in _lists(order):
        if contents := [_content(row) for row in rows]:
            record[name] = contents
    return seal_parts(record)


def _lists(order: Order) -> Iterable[tuple[str, Iterable[models.Model]]]:
    yield "minutes", Labour.objects.filter(order=order).order_by("pk")
    yield "parts used", PartUse.objects.filter(order=order).order_by("pk")
    yield "flow tests", FlowTest.objects.filter(order=order).order_by("pk")
    yield "occlusion tests", OcclusionTest.objects.filter(order=order).order_by("pk")


def _content(row: models.Model, leave: frozenset[str] = frozenset()) -> dict[str, Any]:
    fields = [field for field in row._meta.concrete_fields if field.attname not in leave]  # noqa: SLF001 - public name
    held = {field.attname: field.value_from_object(row) for field in fields}
    return {field.attname: held[field.attname] for field in fields if not _is_blank(held[field.attname], field)}


def _is_blank(value: object, field: "models.Field[Any, Any]") -> bool:
    return value is None or value == "" or (field.has_default() and value == field.get_default())


def meaning_for(order: Order, outcome: Outcome, person_id: int) -> Signature.Meaning:
    """What somebody's signature under the end of an order says: who answered none of its steps is a second person."""
    if outcome in ABSENT_OUTCOMES:
        return Signature.Meaning.ENDED
    return Signature.Meaning.DONE if person_id in workers(order) else Signature.Meaning.SECOND
