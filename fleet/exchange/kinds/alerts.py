"""Alerts that drivers raised. The trail tells which sightings are on record: a file sent twice counts none twice."""

from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import Final

from fleet.alerts.actions import NewAlert, record_many
from fleet.alerts.models import Alert, AlertKind
from fleet.alerts.queries import kinds, open_alerts
from fleet.audit.actors import Actor
from fleet.audit.models import TrailEntry
from fleet.exchange.cells import code, moment, text, whole
from fleet.exchange.columns import Column, Table, first_rows, resolve
from fleet.exchange.kinds.common import Kind, Scope, Tell, Verdict, Weighed, batches, find_devices, written
from fleet.registry.models import Device
from fleet.web.csv_out import Cell

COLUMNS: Final = (
    Column(
        name="device",
        meaning="Asset number of the driver that raised it.",
        read=code(30),
        examples=("A00417", "A00418"),
        required=True,
    ),
    Column(
        name="kind",
        meaning="What it raised, by our code or in our words (the list is on the page of alerts).",
        read=text(80),
        examples=("battery-weak", "asked-for-maintenance"),
        required=True,
    ),
    Column(
        name="seen_at",
        meaning="When it was seen, the last time if several; with the time of day.",
        read=moment,
        examples=("2026-10-03 07:40", "2026-10-04 15:10"),
        required=True,
    ),
    Column(
        name="first_seen_at",
        meaning="When it was seen first, if several times.",
        read=moment,
        examples=("2026-10-01 22:15", ""),
    ),
    Column(name="times", meaning="How often; once if empty.", read=whole(1, 1_000_000), examples=("3", "")),
    Column(
        name="screen_text",
        meaning="What the screen said, word for word. No patient names.",
        read=text(200),
        examples=("BATTERY LOW", ""),
    ),
    Column(
        name="seen_by",
        meaning="Who saw it, or where it was read.",
        read=text(120),
        examples=("night staff, ward 4", "log of the driver"),
        required=True,
    ),
)
_RECORDED: Final = ("alert recorded", "alert seen again")
_Sight = tuple[int, int, datetime]


def weigh(table: Table, scope: Scope) -> Weighed:
    """Weigh each row: a new sighting, one that the trail knows, or refused."""
    devices = find_devices(table, scope)
    names = {name: kind for kind in kinds() for name in (kind.code, kind.words)}
    found = resolve(table, "kind", names, "kind of alert")
    sights = [
        (device.pk, kind.pk, at) if device and kind and at else None
        for device, kind, at in zip(devices, found, table.column("seen_at"), strict=True)
    ]
    first_rows(table, sights, "seen_at", "The same alert of this driver at this moment stands already")
    known = _known({device.pk for device in devices if device})
    news: list[NewAlert] = []
    verdicts = [
        _weigh_row(table, index, devices[index], found[index], same=sights[index] in known, news=news)
        for index in table.indexes()
    ]

    def write(by: Actor, tell: Tell) -> None:
        written(news, lambda part: record_many(part, by=by), tell)

    return Weighed(verdicts, write)


def _known(devices: set[int]) -> set[_Sight]:
    """Each sighting on record: driver, kind and moment, whatever has become of the alert since."""
    found: set[_Sight] = set()
    for part in batches(devices):
        kind_of = dict(Alert.objects.filter(device__in=part).order_by().values_list("pk", "kind_id"))
        told = TrailEntry.objects.filter(device_ref__in=part, subject_kind="alert", verb__in=_RECORDED).order_by()
        for device, alert, at in told.values_list("device_ref", "subject_id", "done_at"):
            found.add((device or 0, kind_of.get(alert or 0, 0), at))
    return found


def _weigh_row(  # noqa: PLR0913 - a row with what is known of it, and where new ones go
    table: Table, index: int, device: Device | None, kind: AlertKind | None, *, same: bool, news: list[NewAlert]
) -> Verdict:
    if device is None or kind is None or index in table.refused:
        return Verdict.REFUSED
    if same:
        return Verdict.SAME
    last = table.column("seen_at")[index]
    first = table.column("first_seen_at")[index] or last
    if first > last:
        table.refuse(index, "first_seen_at", "The first time lies after the last.")
    if device.retired_on:
        table.refuse(index, "device", f"{device} is retired; check the number.")
    if index in table.refused:
        return Verdict.REFUSED
    news.append(
        NewAlert(
            device=device,
            kind=kind,
            first_at=first,
            last_at=last,
            seen_by=table.column("seen_by")[index],
            times=table.column("times")[index] or 1,
            screen_text=table.column("screen_text")[index] or "",
        )
    )
    return Verdict.NEW


def rows_out(scope: Scope) -> Iterator[Sequence[Cell]]:
    """Every open alert, in the columns of the template."""
    for row in open_alerts(person=scope.person).iterator(chunk_size=2000):
        cells: dict[str, Cell] = {"device": row.device.asset_number, "kind": row.kind.code, "seen_at": row.last_at}
        cells |= {"first_seen_at": row.first_at, "times": row.times, "screen_text": row.screen_text}
        cells["seen_by"] = row.seen_by
        yield [cells[column.name] for column in COLUMNS]


KIND: Final = Kind(
    code="alerts",
    about="What drivers raised. A row joins the open alert of its kind on that driver, or opens one; one that asks "
    "for maintenance makes the next service due now. A file of alerts sent out holds the open ones.",
    columns=COLUMNS,
    weigh=weigh,
    rows=rows_out,
    page="alerts:list",
)
