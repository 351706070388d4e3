"""The only writers of loans: lent, put off, taken back, ended by the bench."""

from dataclasses import dataclass
from datetime import date

from django.db import transaction

from fleet.accessories import actions as accessories
from fleet.accessories.actions import Counted
from fleet.accessories.models import Tally
from fleet.audit.actions import Happening, record
from fleet.audit.actors import Actor
from fleet.audit.changes import change
from fleet.core.errors import BadValueError, ConflictError, MoveRefusedError
from fleet.core.permissions import May
from fleet.loans import queries
from fleet.loans.models import Loan
from fleet.registry import actions as registry
from fleet.registry.actions.devices import locked
from fleet.registry.models import Device, Place
from fleet.tags import actions as tags
from fleet.tags.models import Decontamination, TagReport, YesNo
from fleet.tags.report import Report
from fleet.web import clock

#: How the register names this way of seeing a driver.
SOURCE = "loan"


@dataclass(frozen=True, slots=True, kw_only=True)
class Lending:
    """To whom a driver is lent, and until when. A place, a person or other house, or both."""

    due_back: date
    to_place: Place | None = None
    borrower: str = ""
    reach: str = ""
    state_out: str = ""
    along: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Return:
    """How a driver came back. `harm`: whether anybody was harmed, asked where something is wrong with it."""

    back: Loan.Back
    returned_to: Place
    back_words: str = ""
    harm: str = ""


@dataclass(frozen=True, slots=True)
class Returned:
    """A loan that is back: the tag that was raised, if one was, and what was missing."""

    loan: Loan
    tag_number: str
    missing: tuple[str, ...]


@transaction.atomic
def lend(device: Device, given: Lending, counted: Counted, *, by: Actor) -> Loan:
    """Lend a driver of a pool. Raises MoveRefusedError or BadValueError that says what would be right."""
    by.must(May.HAND_OVER)
    row = locked(device)
    if against := queries.against_lending(row):
        raise MoveRefusedError(against)
    if given.due_back < clock.today():
        raise BadValueError("This day has passed. Say by when it is to come back.", field="due_back")
    if given.to_place is None and not given.borrower.strip():
        raise BadValueError("Say who has it: a ward, or a person or other house.", field="to_place")
    if given.to_place is None and not given.reach.strip():
        raise BadValueError("Say how to reach them, since no ward answers for it.", field="reach")
    loan = Loan.objects.create(
        device=row,
        to_place=given.to_place,
        borrower=given.borrower.strip(),
        reach=given.reach.strip(),
        lent_at=clock.now(),
        due_back=given.due_back,
        state_out=given.state_out.strip(),
        along=given.along.strip(),
        by_id=by.person_id,
        by_name=by.name[:120],
    )
    accessories.count(row, counted, Tally.Occasion.LOAN_OUT, by=by)
    if given.to_place is not None:
        registry.see(row, given.to_place, SOURCE, by=by)
    after = {"lent to": loan.whom, "due_back": given.due_back, "along": loan.along}
    record(Happening("lent", loan, device_id=row.pk, after=after), by=by)
    return loan


@transaction.atomic
def put_off(loan: Loan, due_back: date, *, why: str, by: Actor) -> Loan:
    """Let a borrower keep a driver longer, with the reason."""
    row = _held(loan, by)
    if due_back < clock.today():
        raise BadValueError("This day has passed. Give today or a later day.", field="due_back")
    if not why.strip():
        raise BadValueError("Say why it stays out longer.", field="why")
    before, after = change(row, due_back=due_back)
    record(
        Happening("put off return", row, device_id=row.device_id, before=before, after=after, why=why.strip()), by=by
    )
    return row


@transaction.atomic
def take_back(loan: Loan, given: Return, counted: Counted, *, by: Actor) -> Returned:
    """Take a driver back. One that is not clean, or not right, is tagged out of use until the bench has seen to it."""
    row = _held(loan, by)
    if given.back is Loan.Back.BENCH:
        raise BadValueError("Say how it looks: right and clean, not cleaned, or something is wrong.", field="back")
    if given.back is Loan.Back.WRONG and not given.back_words.strip():
        raise BadValueError("Say what is wrong with it, for the bench.", field="back_words")
    if given.back is Loan.Back.WRONG and given.harm not in YesNo.values:
        raise BadValueError("Say whether anyone was harmed, or might have been.", field="harm")
    from_place = row.to_place or row.device.place
    lacking = accessories.count(row.device, counted, Tally.Occasion.LOAN_BACK, by=by, place=from_place)
    _close(row, given, by)
    registry.see(row.device, given.returned_to, SOURCE, by=by)
    number = "" if given.back is Loan.Back.FINE else _tag(row, given, by)
    return Returned(row, number, tuple(str(each.accessory) for each in lacking))


def _tag(row: Loan, given: Return, by: Actor) -> str:
    dirty = given.back is Loan.Back.NOT_CLEAN
    words = given.back_words.strip() or "Came back from a loan and was not cleaned."
    raised = tags.raise_tag(
        row.device,
        Report(
            what=TagReport.What.OTHER,
            connected=YesNo.NO,
            harm=given.harm or YesNo.NO,
            where=str(given.returned_to)[:120],
            reporter=by.name[:80],
            reach=f"whoever keeps {given.returned_to}"[:80],
            words=f"Back from {row.whom}. {words}",
            decontamination=Decontamination.NOT_CLEANED if dirty else Decontamination.UNKNOWN,
            place=given.returned_to,
        ),
        by=by,
    )
    return raised.tag.written


@transaction.atomic
def end_at_bench(device: Device, bench: Place, *, by: Actor) -> Loan | None:
    """A lent driver came to the bench, or was retired: its loan is over. None if none was open."""
    if not by.duties & {May.WORK_ON_BENCH, May.RETIRE_DEVICE}:
        by.must(May.WORK_ON_BENCH)
    loan = queries.open_loan(device)
    if loan is None:
        return None
    row = Loan.objects.select_for_update().get(pk=loan.pk)
    _close(row, Return(back=Loan.Back.BENCH, returned_to=bench), by)
    return row


def _close(row: Loan, given: Return, by: Actor) -> None:
    before, after = change(
        row,
        returned_at=clock.now(),
        returned_to=given.returned_to,
        back=given.back.value,
        back_words=given.back_words.strip(),
        back_by_name=by.name[:120],
    )
    record(Happening("came back from loan", row, device_id=row.device_id, before=before, after=after), by=by)


def _held(loan: Loan, by: Actor) -> Loan:
    """Lock an open loan, its driver first, for somebody who hands drivers over."""
    by.must(May.HAND_OVER)
    device = locked(loan.device)
    row = Loan.objects.select_for_update().get(pk=loan.pk)
    if row.returned_at is not None:
        raise ConflictError(f"{device} is back already, taken by {row.back_by_name}.")
    row.device = device
    return row
