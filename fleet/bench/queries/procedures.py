"""Procedures as a shelf: what is in force, what comes, what is being written, what was replaced; and what differs."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from difflib import SequenceMatcher
from typing import Final

from django.db.models import Count, Q, QuerySet

from fleet.bench.models import Procedure, ProcedureVersion
from fleet.bench.queries.facts import InForce
from fleet.bench.queries.lines import NewStep, lines_of

State = ProcedureVersion.State
#: What a difference tells of, in the words of the form.
_TOLD: Final = {
    "words": "what to do", "kind": "kind", "caution": "caution", "unit": "unit", "decimals": "decimals",
    "low": "lower limit", "high": "upper limit", "limit_source": "source of the limits", "quantity": "reference limits",
    "limits": "limits by type", "passing": "options that pass", "failing": "options that fail", "formula": "formula",
    "key": "name in formulas", "required": "must pass", "instrument_kind": "instrument",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Shelf:
    """One procedure with its versions by what they are on a day; each list newest first.

    `instead`: the version of another procedure that orders are started with, though this one has a version in force.
    """

    procedure: Procedure
    in_force: ProcedureVersion | None
    coming: tuple[ProcedureVersion, ...]
    open: ProcedureVersion | None
    replaced: tuple[ProcedureVersion, ...]
    instead: ProcedureVersion | None = None

    @property
    def newest(self) -> ProcedureVersion | None:
        """The version that a reader most likely looks for."""
        return self.in_force or next(iter(self.coming), None) or self.open or next(iter(self.replaced), None)


def procedures() -> QuerySet[Procedure]:
    """Every procedure with its versions at hand, the newest first, and how many there are (`count`)."""
    rows = Procedure.objects.select_related("device_type__maker").prefetch_related("versions")
    return rows.annotate(count=Count("versions")).order_by("kind", "name")


def shelves(
    on: date, *, words: str = "", kind: str = "", device_type: int | None = None, state: str = ""
) -> list[Shelf]:
    """The procedures on a day, narrowed to a kind of work, a type (its own and those for all) and words in them.

    `state`: those with a version that is so.
    """
    rows = procedures()
    if state:
        rows = rows.filter(pk__in=ProcedureVersion.objects.filter(state=state).values("procedure"))
    if kind:
        rows = rows.filter(kind=kind)
    if device_type is not None:
        rows = rows.filter(Q(device_type=device_type) | Q(device_type=None))
    for word in words.split():
        found = Q(name__icontains=word) | Q(code__icontains=word) | Q(versions__steps__words__icontains=word)
        rows = rows.filter(pk__in=Procedure.objects.filter(found).values("pk"))
    worked = InForce(on)
    return [shelf(row, on, worked) for row in rows]


def waiting_for_approval() -> QuerySet[ProcedureVersion]:
    """The drafts that wait for a second person to approve them."""
    return ProcedureVersion.objects.filter(state=State.WAITING)


def displaced_by(draft: ProcedureVersion, on: date) -> ProcedureVersion | None:
    """The version of another procedure that orders would be started with on a day, were the draft not approved."""
    return _another(draft.procedure, InForce(on))


def _another(procedure: Procedure, worked: InForce) -> ProcedureVersion | None:
    held = worked.of(procedure.device_type_id, procedure.kind)
    return held if held is not None and held.procedure_id != procedure.pk else None


def shelf(procedure: Procedure, on: date, worked: InForce | None = None) -> Shelf:
    """One procedure on a day; `worked` where what is in force was read already."""
    approved = [each for each in procedure.versions.all() if each.state == State.APPROVED]
    begun = sorted((each for each in approved if _from(each) <= on), key=_age, reverse=True)
    return Shelf(
        procedure,
        in_force=begun[0] if begun else None,
        coming=tuple(sorted((each for each in approved if _from(each) > on), key=_age, reverse=True)),
        open=next((each for each in procedure.versions.all() if each.state in {State.DRAFT, State.WAITING}), None),
        replaced=tuple(begun[1:]),
        instead=_another(procedure, worked or InForce(on)) if begun else None,
    )


def _from(version: ProcedureVersion) -> date:
    return version.in_force_from or date.max


def _age(version: ProcedureVersion) -> tuple[date, int]:
    return (_from(version), version.number)


def state_words(version: ProcedureVersion, held: Shelf) -> str:
    """What a version is: "In force", "To come", "Replaced", "Draft", "Waiting for approval" or "Withdrawn".

    One in force that another procedure displaced says by which.
    """
    if version.state != State.APPROVED:
        return str(version.get_state_display())
    if version == held.in_force:
        return f"Replaced by {held.instead.procedure}" if held.instead else "In force"
    return "To come" if version in held.coming else "Replaced"


def draft_of(code: str) -> QuerySet[ProcedureVersion]:
    """The open draft of a procedure, with what its page shows."""
    rows = ProcedureVersion.objects.filter(procedure__code=code, state__in=[State.DRAFT, State.WAITING])
    return rows.select_related("procedure__device_type__maker", "approved_by")


@dataclass(frozen=True, slots=True)
class Difference:
    """How a step differs from the version in force: `what` is same, new, changed or gone; `details` say what from what.

    `position` is the step's in the newer version; 0 for a step that is gone.
    """

    what: str
    position: int
    line: NewStep
    details: tuple[str, ...] = ()


def differences(before: Sequence[NewStep], after: Sequence[NewStep]) -> list[Difference]:
    """How the steps `after` differ from those `before`, in the order of the newer; what is gone stands where it was."""
    matcher = SequenceMatcher(None, [line.words for line in before], [line.words for line in after], autojunk=False)
    found: list[Difference] = []
    for _tag, old_from, old_to, new_from, new_to in matcher.get_opcodes():
        found += _block(list(before[old_from:old_to]), list(after[new_from:new_to]), new_from)
    return found


def _block(old: list[NewStep], new: list[NewStep], start: int) -> Iterator[Difference]:
    """Steps that stand at one place; as many as there are of both are pairs, the rest is new or gone."""
    for index, line in enumerate(new):
        position = start + index + 1
        if index >= len(old):
            yield Difference("new", position, line)
        elif details := tuple(_details(old[index], line)):
            yield Difference("changed", position, line, details)
        else:
            yield Difference("same", position, line)
    yield from (Difference("gone", 0, line) for line in old[len(new) :])


def _details(old: NewStep, new: NewStep) -> Iterator[str]:
    for name, told in _TOLD.items():
        before, after = getattr(old, name), getattr(new, name)
        if before != after:
            yield f"{told}: {_said(before)} → {_said(after)}"


def _said(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, tuple):
        return ", ".join(str(getattr(each, "device_type", each)) for each in value) or "none"
    return str(value) if value not in ("", None) else "none"


def differences_to_force(draft: ProcedureVersion, on: date) -> list[Difference]:
    """How a draft differs from the version in force, or from nothing."""
    in_force = shelf(draft.procedure, on).in_force
    return differences(lines_of(in_force) if in_force else [], lines_of(draft))


def given_up(before: ProcedureVersion, draft: ProcedureVersion) -> list[str]:
    """The required steps of a version that a draft does not have, or does not require, in their words."""
    kept = {line.words for line in lines_of(draft) if line.required}
    return [line.words for line in lines_of(before) if line.required and line.words not in kept]
