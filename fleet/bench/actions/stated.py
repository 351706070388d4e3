"""Procedures from a text file: the starter set at once, a hospital's own as drafts for a second person to approve."""

import tomllib
from collections.abc import Collection
from typing import Final

from django.conf import settings
from django.db import transaction

from fleet.audit.actors import Actor
from fleet.bench.actions.drafts import new_draft, put_lines
from fleet.bench.actions.procedures import check_lines, procedure_for, publish
from fleet.bench.models import OrderKind, Procedure, ProcedureVersion
from fleet.bench.queries.lines import lines_of
from fleet.bench.queries.stated import Stated, edition, read_stated
from fleet.core.errors import BadValueError
from fleet.core.permissions import May
from fleet.web import clock

STARTERS: Final = "fixtures/procedures.toml"
#: The digests of the starters' earlier editions, by code.
FORMER: Final = "fixtures/former_procedures.toml"


@transaction.atomic
def ensure_starter_procedures(by: Actor) -> list[ProcedureVersion]:
    """Publish our own starter procedures (for all types) that are not there yet. Safe to run again.

    One that is there just as an earlier edition of it came gets its new version; one that was changed here, or is being
    written at, stays. They are a beginning to be edited: every limit says where it comes from, none is verified here.
    """
    by.must(May.EDIT_REGISTRY)
    known = set(Procedure.objects.values_list("code", flat=True))
    stated = read_stated((settings.BASE_DIR / STARTERS).read_text(encoding="utf-8"))
    former = tomllib.loads((settings.BASE_DIR / FORMER).read_text(encoding="utf-8"))
    return [
        _publish(each, by)
        for each in stated
        if each.code not in known or _as_it_came(each.code, former.get(each.code, ()))
    ]


def _as_it_came(code: str, former: Collection[str]) -> bool:
    """Whether the newest version of a procedure, in force, says what an earlier edition of its starter said."""
    newest = ProcedureVersion.objects.filter(procedure__code=code).order_by("-number").first()
    if newest is None or newest.state != ProcedureVersion.State.APPROVED or newest.in_force_from is None:
        return False
    return newest.in_force_from <= clock.today() and edition(lines_of(newest), newest.source) in former


def _publish(stated: Stated, by: Actor) -> ProcedureVersion:
    return publish(
        stated.code,
        stated.name,
        stated.kind,
        stated.device_type,
        stated.lines,
        in_force_from=clock.today(),
        source=stated.source,
        by=by,
    )


@transaction.atomic
def import_drafts(text: str, *, by: Actor) -> list[ProcedureVersion]:
    """Make a draft of each procedure of a file, all or none; each is approved by somebody who did not write at it.

    A procedure that says what its newest approved version says is left, so the same file twice changes nothing.
    Raises BadValueError naming procedure, step and field.
    """
    by.must(May.WORK_ON_BENCH)
    return [_draft(each, by) for each in read_stated(text) if not _stands(each)]


def _draft(stated: Stated, by: Actor) -> ProcedureVersion:
    try:
        check_lines(stated.lines, stated.source)
        procedure = procedure_for(stated.code, stated.name, OrderKind(stated.kind), stated.device_type)
        draft = new_draft(procedure, by, source=stated.source, changes=stated.changes)
        return put_lines(draft, stated.lines, "read from a file", by=by, keep=False)
    except BadValueError as error:
        raise BadValueError(f"[{stated.code}]: {error}", field="file") from error


def _stands(stated: Stated) -> bool:
    """Whether the newest approved version of the procedure says just this."""
    rows = ProcedureVersion.objects.filter(procedure__code=stated.code, state=ProcedureVersion.State.APPROVED)
    newest = rows.order_by("-number").first()
    if newest is None or newest.source != stated.source:
        return False
    return tuple(lines_of(newest)) == stated.lines
