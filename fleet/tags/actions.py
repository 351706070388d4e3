"""The only writers of tags, reports, quarantines and their custody record."""

from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from django.db import transaction
from django.utils import timezone

from fleet.alerts import actions as alerts
from fleet.alerts.models import Alert, AlertKind
from fleet.alerts.queries import kinds
from fleet.audit.actions import Happening, record
from fleet.audit.actors import Actor
from fleet.audit.changes import change
from fleet.core.errors import BadValueError, ConflictError, MoveRefusedError
from fleet.core.identifiers import tag_number
from fleet.core.lifecycle import Condition, Facts, Move, joins_open_tag
from fleet.core.permissions import May
from fleet.registry.actions import move, next_number, see, set_quarantined
from fleet.registry.actions.devices import locked
from fleet.registry.models import Device, Place
from fleet.schedules import actions as schedules
from fleet.tags import queries
from fleet.tags.models import CustodyEntry, Quarantine, Tag, TagReport, WardWord, YesNo
from fleet.tags.report import Report, check
from fleet.web import clock

SEEN_BY_REPORT = "ward report"
# A late report from the ward does not carry a driver away from the bench that has it.
_WITH_THE_BENCH = (Condition.ON_BENCH, Condition.WAITING)
_GRAVITY = (YesNo.NO, YesNo.NOT_SURE, YesNo.YES)


@dataclass(frozen=True, slots=True)
class Raised:
    """What came of a report: the tag, whether it was open already, and the report as kept."""

    tag: Tag
    joined: bool
    report: TagReport


@dataclass(frozen=True, slots=True, kw_only=True)
class Custody:
    """One handing over, opening or note. `kept_where` is given when the driver is kept elsewhere from now on."""

    received_by: str
    purpose: str
    given_by: str = ""
    kept_along: str = ""
    kept_where: str = ""
    happened_at: datetime | None = field(default=None)


@transaction.atomic
def raise_tag(device: Device, report: Report, *, by: Actor) -> Raised:
    """Take a ward's report: tag the driver out of use, or join the tag that is open.

    The same key twice gives the same result and writes nothing. Harm, or doubt about it, opens a quarantine. Raises
    BadValueError naming the field, or MoveRefusedError for a retired driver; nothing is written then.
    """
    by.must(May.REPORT_FAULT)
    row = locked(device)
    if known := TagReport.objects.select_related("tag").filter(key=report.key).first():
        return _as_before(row, known)
    check(report, clock.now())
    tag = queries.open_tag(row)
    joined, was_missing = tag is not None, row.condition == Condition.NOT_LOCATED
    if not joins_open_tag(Condition(row.condition)):
        row = move(row, Move.TAG, _facts(row, tag), by=by, place=report.place)
    tag = tag or _new_tag(row, report)
    kept = _keep(tag, report, by, joined=joined)
    if report.place and row.condition not in _WITH_THE_BENCH:
        see(row, report.place, SEEN_BY_REPORT, by=by)
    if was_missing:
        schedules.ask_before_use(row, by=by)
    tag.alerts.add(*_record_alerts(row, report, by))
    if report.harm_possible:
        _quarantine_for(tag, kept, by)
    return Raised(tag, joined, kept)


@transaction.atomic
def found_in_use(device: Device, place: Place, *, by: Actor, note: str = "") -> Raised:
    """Somebody met a driver on a patient that is out of use, or for training only: its tag and custody record say so.

    Whether anybody was harmed is not known here, so it is not said: the ward reports that.
    """
    why = "for training only" if device.pool == Device.Pool.TRAINING else "out of use"
    words = f"Met in use on a patient at {place}, although it is {why}. {note}".strip()
    report = Report(
        what=TagReport.What.IN_USE,
        connected=YesNo.YES,
        harm=YesNo.NO,
        where=str(place)[:120],
        reporter=by.name[:80],
        reach=(place.phone or str(place))[:80],
        words=f"{words} Whether anybody was harmed was not asked.",
        place=place,
    )
    raised = raise_tag(device, report, by=by)
    if quarantine := queries.open_quarantine(device):
        add_custody(quarantine, Custody(received_by=str(place)[:80], purpose=words[:200]), by=by)
    return raised


def _as_before(device: Device, known: TagReport) -> Raised:
    if known.tag.device_id != device.pk:
        raise BadValueError("This form was already sent for another driver. Open the page again.", field="key")
    first = queries.first_report(known.tag)
    return Raised(known.tag, joined=first != known, report=known)


def _facts(device: Device, tag: Tag | None) -> Facts:
    """What this room knows. It knows no orders, and none of its moves asks about them."""
    return Facts(
        open_tags=0 if tag is None else 1,
        quarantine_open=device.quarantined,
        failed_required_steps=0,
        missing_required_steps=0,
        checked=False,
        accepted=device.accepted_on is not None,
        open_orders=0,
    )


def _new_tag(device: Device, report: Report) -> Tag:
    return Tag.objects.create(
        number=tag_number(next_number("tag")),
        device=device,
        place=report.place or device.place,
        opened_at=clock.now(),
        harm=report.harm,
    )


def _keep(tag: Tag, report: Report, by: Actor, *, joined: bool) -> TagReport:
    kept = TagReport.objects.create(
        tag=tag,
        key=report.key,
        person_id=by.person_id,
        happened_at=_moment(report),
        reported_at=clock.now(),
        **report.fields(),
    )
    before, after = change(tag, harm=max(tag.harm, report.harm, key=_GRAVITY.index))
    told = {**report.fields(), "tag": tag.number, **after}
    verb = "reported on a tagged driver" if joined else "raised tag"
    happening = Happening(verb, tag, device_id=tag.device_id, before=before, after=told, done_at=kept.happened_at)
    record(happening, by=by)
    return kept


def _moment(report: Report) -> datetime:
    return min(report.happened_at or clock.now(), clock.now())


def _record_alerts(device: Device, report: Report, by: Actor) -> list[Alert]:
    return [
        alerts.record(
            device,
            kind,
            at=_moment(report),
            screen_text=report.screen_text.strip(),
            source=Alert.Source.WARD,
            seen_by=report.reporter.strip(),
            by=by,
        )
        for kind in _kinds_of(report)
    ]


def _kinds_of(report: Report) -> list[AlertKind]:
    """The alerts named in the report; a driver that asked for maintenance raised at least that one."""
    named = list(dict.fromkeys(report.alert_kinds))
    if report.what == TagReport.What.ASKED and not any(kind.asks_for_service for kind in named):
        named += kinds().filter(asks_for_service=True)[:1]
    return named


def _quarantine_for(tag: Tag, report: TagReport, by: Actor) -> None:
    quarantine = open_quarantine(
        tag.device,
        reason=f"Harm: {report.get_harm_display().lower()}. {report.get_what_display()}. {report.words}".strip(),
        tag=tag,
        incident_reference=report.incident_reference,
        kept_where=report.where,
        by=by,
    )
    if report.incident_reference and not quarantine.incident_reference:
        note_incident(quarantine, report.incident_reference, by=by)


@transaction.atomic
def clear(tag: Tag, *, order_number: str, by: Actor) -> Tag:
    """Clear a tag with the order that answered it. Only the bench calls it; refused while a quarantine is open."""
    by.must(May.WORK_ON_BENCH)
    device = locked(tag.device)
    row = Tag.objects.select_for_update(of=("self",)).get(pk=tag.pk)
    if row.cleared_at:
        raise ConflictError(f"Tag {row.written} was cleared already, by order {row.cleared_by_order}.")
    if queries.open_quarantine(device):
        raise MoveRefusedError(f"Cannot clear tag {row.written}: a quarantine is open. Lift it first, with a reason.")
    if not order_number:
        raise BadValueError("Name the order that answers this tag.", field="order_number")
    before, after = change(row, cleared_at=clock.now(), cleared_by_order=order_number)
    record(Happening("cleared tag", row, device_id=row.device_id, before=before, after=after), by=by)
    return row


@transaction.atomic
def expect_back(tag: Tag, on: date | None, *, by: Actor) -> Tag:
    """Tell the ward when the bench expects the driver back; None when that is not known any more."""
    by.must(May.WORK_ON_BENCH)
    row = Tag.objects.select_for_update(of=("self",)).get(pk=tag.pk)
    if row.cleared_at:
        raise ConflictError(f"Tag {row.written} is cleared; its driver is not expected any more.")
    if on and on < clock.today():
        raise BadValueError("This day has passed. Give today or a later day, or leave it empty.", field="expected_back")
    before, after = change(row, expected_back=on)
    if after:
        record(Happening("told the ward when", row, device_id=row.device_id, before=before, after=after), by=by)
    return row


@transaction.atomic
def say_use(device: Device, *, in_use: bool, by: Actor) -> WardWord:
    """Write down the ward's word on a driver in service: in use now, or idle and to be fetched."""
    by.must(May.REPORT_FAULT)
    row = locked(device)
    if row.condition != Condition.IN_SERVICE:
        raise MoveRefusedError(
            f"{row} is {Condition(row.condition).phrase}; only of a driver in service is this asked."
        )
    facts = {"in_use": in_use, "at": clock.now(), "place": row.place}
    word = WardWord.objects.create(device=row, by_name=by.name[:120], **facts)
    told = {"use": "in use" if in_use else "idle", "where": str(row.place)}
    record(Happening("ward told its use", word, device_id=row.pk, after=told), by=by)
    return word


@transaction.atomic
def report_missing(device: Device, *, why: str, by: Actor) -> Device:
    """Record that a driver cannot be found; `why` says where was looked."""
    if not why.strip():
        raise BadValueError("Say where you looked, and when it was last seen.", field="why")
    row = locked(device)
    return move(row, Move.REPORT_MISSING, _facts(row, queries.open_tag(row)), why=why.strip(), by=by)


@transaction.atomic
def report_found(device: Device, place: Place, *, by: Actor) -> Device:
    """Record where a missing driver was found. It stays out of use until the bench has checked it."""
    row = locked(device)
    found = move(row, Move.FIND, _facts(row, queries.open_tag(row)), place=place, by=by)
    schedules.ask_before_use(found, by=by)
    return see(found, place, SEEN_BY_REPORT, by=by)


@transaction.atomic
def open_quarantine(  # noqa: PLR0913 - each is one fact of the same record
    device: Device,
    *,
    reason: str,
    by: Actor,
    tag: Tag | None = None,
    aware_on: date | None = None,
    incident_reference: str = "",
    kept_where: str = "",
) -> Quarantine:
    """Keep a driver as it is. A quarantine that is open already is returned as it stands.

    `aware_on` is the day the hospital became aware, today unless given. A driver in service is tagged first.
    """
    by.must(May.REPORT_FAULT)
    row = locked(device)
    if standing := queries.open_quarantine(row):
        return standing
    if row.condition == Condition.IN_SERVICE:
        raise MoveRefusedError(f"{row} is in service. Tag it first: a quarantine keeps a driver that is out of use.")
    if not reason.strip():
        raise BadValueError("Say why the driver must be kept as it is.", field="reason")
    facts: dict[str, Any] = {
        "reason": reason.strip(),
        "aware_on": _past_day(aware_on),
        "incident_reference": incident_reference.strip(),
        "kept_where": kept_where.strip(),
    }
    quarantine = Quarantine.objects.create(device=row, tag=tag, opened_at=clock.now(), **facts)
    set_quarantined(row, quarantined=True, by=by)
    record(Happening("opened quarantine", quarantine, device_id=row.pk, after=facts, why=facts["reason"]), by=by)
    return quarantine


def _past_day(day: date | None) -> date:
    if day and day > clock.today():
        raise BadValueError("The hospital cannot become aware later than today.", field="aware_on")
    return day or clock.today()


@transaction.atomic
def note_incident(quarantine: Quarantine, reference: str, *, by: Actor) -> Quarantine:
    """Record the local incident number of a quarantine, or correct it; the trail keeps the one before."""
    by.must(May.REPORT_FAULT)
    row = _locked_open(quarantine)
    if not reference.strip():
        raise BadValueError("Write the number your incident system gave.", field="incident_reference")
    before, after = change(row, incident_reference=reference.strip())
    if after:
        record(Happening("noted incident number", row, device_id=row.device_id, before=before, after=after), by=by)
    return row


@transaction.atomic
def correct_awareness(quarantine: Quarantine, on: date, *, why: str, by: Actor) -> Quarantine:
    """Correct the day the hospital became aware, with the reason; the trail keeps the one before."""
    by.must(May.LIFT_QUARANTINE)
    if not why.strip():
        raise BadValueError("Say how it is known that the hospital was aware on that day.", field="why")
    row = _locked_open(quarantine)
    before, after = change(row, aware_on=_past_day(on))
    if after:
        happening = Happening(
            "corrected awareness", row, device_id=row.device_id, before=before, after=after, why=why.strip()
        )
        record(happening, by=by)
    return row


@transaction.atomic
def lift_quarantine(quarantine: Quarantine, *, why: str, by: Actor) -> Quarantine:
    """End a quarantine with a reason. The driver stays out of use: only a bench order returns it to service."""
    by.must(May.LIFT_QUARANTINE)
    if not why.strip():
        raise BadValueError("Say who released the driver for work, and on what ground.", field="why")
    row = _locked_open(quarantine)
    before, after = change(row, lifted_at=clock.now(), lifted_by_id=by.person_id, lifted_why=why.strip())
    set_quarantined(row.device, quarantined=False, by=by)
    happening = Happening(
        "lifted quarantine", row, device_id=row.device_id, before=before, after=after, why=why.strip()
    )
    record(happening, by=by)
    return row


@transaction.atomic
def add_custody(quarantine: Quarantine, entry: Custody, *, by: Actor) -> CustodyEntry:
    """Write down who handed a quarantined driver to whom, or who opened or looked at it, and what for."""
    by.must(May.WORK_ON_BENCH)
    for name, meaning in (("received_by", "who has the driver now"), ("purpose", "what for")):
        if not getattr(entry, name).strip():
            raise BadValueError(f"Say {meaning}.", field=name)
    moment = entry.happened_at or clock.now()
    if moment > clock.now():
        raise BadValueError("A handing over cannot be later than now.", field="happened_at")
    row = _locked_open(quarantine)
    told = {name: getattr(entry, name).strip() for name in ("given_by", "received_by", "purpose", "kept_along")}
    kept = CustodyEntry.objects.create(quarantine=row, happened_at=moment, **told)
    before, after = change(row, kept_where=entry.kept_where.strip() or row.kept_where)
    happening = Happening(
        "added custody entry", row, device_id=row.device_id, before=before, after={**told, **after}, done_at=moment
    )
    record(happening, by=by)
    return kept


def _locked_open(quarantine: Quarantine) -> Quarantine:
    row = Quarantine.objects.select_for_update(of=("self",)).select_related("device").get(pk=quarantine.pk)
    if row.lifted_at:
        moment = timezone.localtime(row.lifted_at)
        raise ConflictError(f"This quarantine was lifted on {moment:%-d %b %Y at %H:%M}. Its record is closed.")
    return row
