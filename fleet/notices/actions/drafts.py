"""Writing a notice down: its facts, its criteria and the file it came as, in a draft that nothing counts yet."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from django.db import transaction

from fleet.audit.actions import Happening, record
from fleet.audit.actors import Actor
from fleet.audit.changes import change, refuse_changed
from fleet.core.errors import BadValueError, ConflictError, MoveRefusedError
from fleet.core.matching import check
from fleet.core.permissions import May
from fleet.notices.models import Criterion, Edition, Notice, NoticeFile
from fleet.registry import actions as registry
from fleet.registry.models import DeviceType
from fleet.web import clock
from fleet.web.uploads import Upload, stored

#: What is stated of a notice.
FACTS: Final = (
    "title", "issuer", "reference", "issued_on", "received_on", "source", "gravity", "action", "words", "by_when",
    "on_the_spot", "raises_orders", "take_along", "changes",
)  # fmt: skip
_NEEDED: Final = {
    "title": "Give the notice a title.",
    "issuer": "Say who issued it: the maker, or which authority.",
    "words": "Say what is to be done, in words that a technician can follow.",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Which:
    """Drivers as they are typed: a type, and what narrows it down."""

    device_type: DeviceType
    serial_from: str = ""
    serial_to: str = ""
    serials: tuple[str, ...] = ()
    software: tuple[str, ...] = ()
    pack_part_number: str = ""
    code_from: str = ""
    code_to: str = ""


@transaction.atomic
def begin(facts: Mapping[str, Any], *, by: Actor) -> Notice:
    """Write a notice down as a draft. Raises BadValueError naming the field that cannot be used."""
    by.must(May.KEEP_NOTICES)
    _check(facts)
    row = Notice.objects.create(number=f"N{registry.next_number('notice'):03d}")
    edition = Edition.objects.create(notice=row, written_by_name=by.name[:120], **facts)
    change(row, edition=edition)
    record(Happening("wrote down safety notice", row, after=dict(facts)), by=by)
    return row


@transaction.atomic
def edit(edition: Edition, facts: Mapping[str, Any], *, by: Actor, opened: str | None = None) -> Edition:
    """Change what a draft says. `opened` is the fingerprint of FACTS that a form was opened with."""
    row = _draft(edition, by)
    refuse_changed(row, FACTS, opened)
    _check(facts)
    before, after = change(row, **facts)
    if after:
        record(Happening("changed draft of safety notice", row.notice, before=before, after=after), by=by)
    return row


@transaction.atomic
def add_criterion(edition: Edition, which: Which, *, by: Actor) -> Criterion:
    """Add a line of drivers to a draft. Raises BadValueError for a range that ends before it begins."""
    row = _draft(edition, by)
    stated = {name: getattr(which, name) for name in Which.__dataclass_fields__}
    line = Criterion(edition=row, **{**stated, "serials": list(which.serials), "software": list(which.software)})
    check(line.line)
    line.save(force_insert=True)
    record(Happening("stated drivers of safety notice", row.notice, after={"drivers": str(line)}), by=by)
    return line


@transaction.atomic
def drop_criterion(criterion: Criterion, *, by: Actor) -> None:
    """Take a line out of a draft."""
    row = _draft(criterion.edition, by)
    change(Criterion.objects.get(pk=criterion.pk), dropped_at=clock.now())
    record(Happening("took drivers out of safety notice", row.notice, before={"drivers": str(criterion)}), by=by)


@transaction.atomic
def attach(edition: Edition, given: Upload, *, by: Actor) -> NoticeFile:
    """Attach the notice as it was received. Raises BadValueError (field "file") unless it is a PDF or a photo."""
    row = _draft(edition, by)
    kept = NoticeFile.objects.create(edition=row, **stored(given))
    told = {"file": kept.name, "size": kept.size, "sha256": kept.sha256}
    record(Happening("attached file to safety notice", row.notice, after=told), by=by)
    return kept


@transaction.atomic
def correct(notice: Notice, *, by: Actor) -> Edition:
    """Begin a new edition of a notice that was opened, with what the last one says. A draft there is gone on with."""
    by.must(May.KEEP_NOTICES)
    row = Notice.objects.select_for_update(of=("self",)).select_related("edition").get(pk=notice.pk)
    if held := row.editions.filter(opened_at=None).first():
        return held
    last = row.edition
    if last is None:
        raise ConflictError(f"{row} says nothing yet that could be corrected.")
    facts = {name: getattr(last, name) for name in FACTS if name != "changes"}
    fresh = Edition.objects.create(notice=row, number=last.number + 1, written_by_name=by.name[:120], **facts)
    for line in last.criteria.filter(dropped_at=None):
        line.pk, line.edition, line._state.adding = None, fresh, True  # noqa: SLF001 - Django's documented way to copy
        line.save(force_insert=True)
    record(Happening("began correcting safety notice", row, after={"edition": fresh.number}), by=by)
    return fresh


def _draft(edition: Edition, by: Actor) -> Edition:
    """Lock a draft for somebody who keeps notices."""
    by.must(May.KEEP_NOTICES)
    row = Edition.objects.select_for_update(of=("self",)).select_related("notice").get(pk=edition.pk)
    if row.opened_at is not None:
        raise MoveRefusedError(f"{row} is open and is not changed any more. Correct the notice by a new edition.")
    if row.notice.state == Notice.State.CLOSED and row.notice.opened_at is None:
        raise MoveRefusedError(f"{row.notice} was put aside as not used. Write a new one.")
    return row


def _check(facts: Mapping[str, Any]) -> None:
    for name, words in _NEEDED.items():
        if not str(facts.get(name, "")).strip():
            raise BadValueError(words, field=name)
    issued, received, by_when = facts["issued_on"], facts["received_on"], facts.get("by_when")
    if received > clock.today():
        raise BadValueError("It cannot have been received later than today.", field="received_on")
    if issued > received:
        raise BadValueError("It was received before this day. Give the day it was issued.", field="issued_on")
    if by_when and by_when < issued:
        raise BadValueError("This day lies before the notice was issued.", field="by_when")
