"""The only writers of the library: added, replaced by a later edition, put right, withdrawn."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final

from django.db import models, transaction

from fleet.audit.actions import Happening, record
from fleet.audit.actors import Actor
from fleet.audit.changes import change, refuse_changed
from fleet.core.errors import BadValueError, ConflictError
from fleet.core.permissions import May
from fleet.documents.models import SUBJECTS, Document, DocumentFile
from fleet.registry.actions.reference import refuse_wrong, with_values
from fleet.web import clock
from fleet.web.uploads import Upload, stored

#: What `edit_document` may change. The file stays: another one is another edition.
FACTS: Final = ("title", "kind", "edition", "dated_on", "language", "address", *SUBJECTS)


@dataclass(frozen=True, slots=True, kw_only=True)
class NewDocument:
    """A document as it is added: `facts` of FACTS, and a file or a web address; `replaces` an earlier edition."""

    facts: Mapping[str, Any] = field(default_factory=dict)
    file: Upload | None = None
    replaces: Document | None = None


@transaction.atomic
def add_document(new: NewDocument, *, by: Actor) -> Document:
    """Add a document. A later edition is about what the earlier one was about, and stands in its place."""
    by.must(May.WORK_ON_BENCH)
    earlier = _held(new.replaces) if new.replaces else None
    facts = dict(new.facts)
    if earlier is not None:
        _refuse_replaced(earlier)
        facts |= {name: getattr(earlier, name) for name in SUBJECTS}
    row = Document(**facts, replaces=earlier, added_at=clock.now(), added_by_name=by.name[:120])
    _check(row, has_file=new.file is not None)
    kept = stored(new.file) if new.file else None
    row.save()
    told = {name: _told(value) for name, value in facts.items() if value not in ("", None)}
    if kept is not None:
        DocumentFile.objects.create(document=row, **kept)
        told |= {"file": kept["name"], "sha256": kept["sha256"]}
    if earlier is not None:
        told["replaces"] = str(earlier)
    record(Happening("added document", row, device_id=row.device_id, after=told), by=by)
    return row


def _refuse_replaced(earlier: Document) -> None:
    if earlier.withdrawn_at:
        raise ConflictError(f"{earlier} was withdrawn. Add the document anew, and say what it is about.")
    later = earlier.later.filter(withdrawn_at__isnull=True).first()
    if later is not None:
        raise ConflictError(f"{earlier} was replaced by {later} already. Replace that edition instead.")


@transaction.atomic
def edit_document(
    document: Document, changes: Mapping[str, Any], *, by: Actor, why: str = "", opened: str | None = None
) -> Document:
    """Put right what is said of a document; `opened`: the fingerprint of FACTS that its form was opened with."""
    by.must(May.WORK_ON_BENCH)
    if wrong := sorted(set(changes) - set(FACTS)):
        raise BadValueError(f"“{wrong[0]}” of a document can't be changed.", field=wrong[0])
    row = _held(document)
    refuse_changed(row, FACTS, opened)
    if row.withdrawn_at:
        raise ConflictError(f"{row} is withdrawn; nothing in it is changed any more.")
    _check(with_values(row, changes), has_file=hasattr(row, "file"))
    before, after = change(row, **changes)
    if after:
        was, now = ({name: _told(value) for name, value in facts.items()} for facts in (before, after))
        record(Happening("changed document", row, device_id=row.device_id, before=was, after=now, why=why), by=by)
    return row


@transaction.atomic
def withdraw_document(document: Document, *, why: str, by: Actor) -> Document:
    """Let a document that was added by mistake count no more; it stays with the reason. Its predecessor holds again."""
    by.must(May.WORK_ON_BENCH)
    row = _held(document)
    if row.withdrawn_at:
        raise ConflictError(f"{row} is withdrawn already.")
    if not why.strip():
        raise BadValueError("Say why it counts no more.", field="why")
    values = {"withdrawn_at": clock.now(), "withdrawn_by_name": by.name[:120], "withdrawn_why": why.strip()}
    before, after = change(row, **values)
    happening = Happening(
        "withdrew document", row, device_id=row.device_id, before=before, after=after, why=why.strip()
    )
    record(happening, by=by)
    return row


def _held(document: Document) -> Document:
    return Document.objects.select_for_update().get(pk=document.pk)


def _check(row: Document, *, has_file: bool) -> None:
    if not any(getattr(row, f"{name}_id") for name in SUBJECTS):
        message = "Say what it is about: a type, a driver, a procedure, an instrument, a company or a plan."
        raise BadValueError(message, field="device_type")
    if has_file == bool(row.address):
        message = (
            "Either the file is kept here or it stands at a web address, not both." if has_file
            else "Choose its file, or give the web address where it stands."
        )  # fmt: skip
        raise BadValueError(message, field="address" if has_file else "file")
    if row.dated_on and row.dated_on > clock.today():
        raise BadValueError("Give the date printed on it; that day has not come yet.", field="dated_on")
    # What it is about was read from the database by the form or the caller.
    refuse_wrong(row, besides=(*SUBJECTS, "replaces"))


def _told(value: Any) -> Any:
    return str(value) if isinstance(value, models.Model) else value
