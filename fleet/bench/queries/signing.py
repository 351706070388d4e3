"""What a signature under an order covers, and whether it still holds."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

from django.db import models
from django.db.models import Exists, OuterRef

from fleet.audit.models import TrailEntry
from fleet.bench.models import (
    FlowTest,
    Labour,
    OcclusionTest,
    Order,
    PartUse,
    Reading,
    Signature,
    Step,
    StepLimit,
    TrainingTold,
)
from fleet.bench.queries.facts import has_worked, is_worked
from fleet.core.orders import ABSENT_OUTCOMES, Outcome
from fleet.core.sealing import differing, seal, seal_parts

SIGNED: Final = "signed"
_ORDER: Final = "the order"
#: What finishing itself still changes; who finishes is one more whose training is told.
_OF_THE_END: Final = frozenset({_ORDER, "minutes", "training told"})
#: Of an order all counts but its row number and the counter of its changes.
_NOT_CONTENT: Final = frozenset({"id", "revision"})
#: Of what hangs on the record all counts but its row number; an attached file counts by its own digest, not read again.
_ROW: Final = frozenset({"id", "content"})


#: What else hangs on an order: rows, by which of their fields, and to which of the order's. What others are paid is no
#: part of what is signed: bills come late.
_LISTS: Final[dict[str, tuple[Any, str, str]]] = {
    "limits_by_type": (StepLimit, "step__version", "procedure_version_id"),
    "minutes": (Labour, "order", "pk"),
    "parts_used": (PartUse, "order", "pk"),
    "training_told": (TrainingTold, "order", "pk"),
    "flow_tests": (FlowTest, "order", "pk"),
    "occlusion_tests": (OcclusionTest, "order", "pk"),
}


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


def signed_orders() -> models.QuerySet[Order]:
    """Every order that bears a signature."""
    return Order.objects.filter(Exists(Signature.objects.filter(order=OuterRef("pk")))).order_by("pk")


def is_told(signed: Signed) -> bool:
    """Whether the trail tells of an act on the order after it was signed: a change that was made openly."""
    row = signed.signature
    later = TrailEntry.objects.filter(subject_kind="order", subject_id=row.order_id, entered_at__gt=row.signed_at)
    return later.exclude(verb=SIGNED).exists()


def unsigned_digests() -> Iterator[tuple[str, str]]:
    """Signatures that the trail tells of and that are no longer there: order and digest."""
    kept = set(Signature.objects.values_list("digest", flat=True))
    told = TrailEntry.objects.filter(subject_kind="order", verb=SIGNED).order_by("pk")
    for name, after in told.values_list("subject_name", "after").iterator(chunk_size=2000):
        if (digest := str(after.get("digest", ""))) not in kept:
            yield name, digest


def _held(row: Signature, now: dict[str, str], told: set[str]) -> Signed:
    own = digest_of(row)
    covered = now if _ORDER in row.parts else work_of(now)
    return Signed(row, differing(row.parts, covered), forged=own != row.digest or own not in told)


def work_of(parts: dict[str, str]) -> dict[str, str]:
    """Of the parts of a record those that are the work itself: what is signed before a colleague finishes the order."""
    return {name: digest for name, digest in parts.items() if name not in _OF_THE_END}


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
    there = {
        f"has_{name}": Exists(rows.objects.filter(**{of: OuterRef(key)})) for name, (rows, of, key) in _LISTS.items()
    }
    now = Order.objects.annotate(**there).get(pk=order.pk)
    record: dict[str, object] = {_ORDER: _content(now, _NOT_CONTENT)}
    for name, row in _rows(now):
        held = record.setdefault(name.replace("_", " "), [])
        if isinstance(held, list):
            held.append(_content(row, _ROW))
    return seal_parts(record)


def _rows(order: Order) -> Iterator[tuple[str, models.Model]]:
    """Every row that hangs on the record, with the name of its part; of lists that have none, nothing is asked."""
    positions: dict[int, int] = {}
    for step in Step.objects.filter(version=order.procedure_version_id or 0).order_by("position"):
        positions[step.pk] = step.position
        yield "the_procedure", step
    for reading in Reading.objects.filter(order=order).order_by("pk").select_related("file").defer("file__content"):
        yield f"step {positions[reading.step_id]}", reading
        if hasattr(reading, "file"):
            yield f"step {positions[reading.step_id]}", reading.file
    for name, (rows, of, key) in _LISTS.items():
        if getattr(order, f"has_{name}"):
            part = "the_procedure" if rows is StepLimit else name
            yield from ((part, row) for row in rows.objects.filter(**{of: getattr(order, key)}).order_by("pk"))


def _content(row: models.Model, leave: frozenset[str]) -> dict[str, Any]:
    fields = [field for field in row._meta.concrete_fields if field.attname not in leave]  # noqa: SLF001 - public name
    held = {field.attname: field.value_from_object(row) for field in fields}
    return {field.attname: held[field.attname] for field in fields if not _is_blank(held[field.attname], field)}


def _is_blank(value: object, field: "models.Field[Any, Any]") -> bool:
    return value is None or value == "" or (field.has_default() and value == field.get_default())


def meaning_for(order: Order, outcome: Outcome, person_id: int) -> Signature.Meaning:
    """What somebody's signature under the end of an order says: a second person checks what others worked.

    As long as nobody has answered a step there is nothing to check, so whoever signs stands for the record itself.
    """
    if outcome in ABSENT_OUTCOMES:
        return Signature.Meaning.ENDED
    is_second = is_worked(order) and not has_worked(order, person_id)
    return Signature.Meaning.SECOND if is_second else Signature.Meaning.DONE
