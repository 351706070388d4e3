"""Runtime tests: new ones are logged; a test on record never changes, a wrong one is voided on its page."""

from collections.abc import Iterator, Sequence
from datetime import datetime
from typing import Any, Final

from django.conf import settings
from django.db.models import Q

from fleet.audit.actors import Actor
from fleet.batteries.actions import NewTest, faults_of, log_tests, unlikely
from fleet.batteries.models import Pack, RuntimeTest
from fleet.exchange.cells import choice, code, moment, number, text
from fleet.exchange.columns import Column, Table, first_rows, note_rows
from fleet.exchange.kinds.common import Kind, Scope, Tell, Verdict, Weighed, batches, find_devices, written
from fleet.exchange.kinds.stays import packs_of_rows
from fleet.registry.models import Device
from fleet.web import clock
from fleet.web.csv_out import Cell

_FLAT, _BY_HAND = RuntimeTest.Stop.RAN_FLAT, RuntimeTest.Stop.BY_HAND
_STOPS: Final = {
    "flat": _FLAT,
    "by_hand": _BY_HAND,
    "ran flat": _FLAT,
    "by hand": _BY_HAND,
    _FLAT.label: _FLAT,
    _BY_HAND.label: _BY_HAND,
}
_ZONE: Final = f"Date and time of day in the time of the hospital ({settings.TIME_ZONE}), or with an offset."

COLUMNS: Final = (
    Column(
        name="device",
        meaning="Asset number of the driver that was run.",
        read=code(30),
        examples=("A00417", "A00418"),
        required=True,
    ),
    Column(
        name="pack",
        meaning="Number of its pack. If empty, the pack that was fitted to the driver on the day of the start.",
        read=code(30),
        examples=("P00417", ""),
    ),
    Column(
        name="started_at",
        meaning=f"When the driver was started, fully charged. {_ZONE}",
        read=moment,
        examples=("2026-03-02 08:00", "2026-03-02 08:05"),
        required=True,
    ),
    Column(
        name="stopped_at",
        meaning="When it stopped. As above.",
        read=moment,
        examples=("2026-03-02 13:36", "2026-03-02 12:40"),
        required=True,
    ),
    Column(
        name="stop",
        meaning="flat: it ran until it stopped by itself; by_hand: somebody stopped it early.",
        read=choice(_STOPS),
        examples=("flat", "by_hand"),
        required=True,
    ),
    Column(
        name="rate",
        meaning="The delivery rate it ran at.",
        unit="mL/h",
        read=number(2, "0.01", "1130"),
        examples=("5", "5"),
        required=True,
    ),
    Column(
        name="syringe_ml",
        meaning="The syringe that was in.",
        unit="mL",
        read=number(1, "1", "60"),
        examples=("50", "50"),
        required=True,
    ),
    Column(
        name="charge_hours",
        meaning="How long it was on charge before. A full charge indicator is no proof of it.",
        unit="h",
        read=number(2, "0", "200"),
        examples=("10", "12.5"),
        required=True,
    ),
    Column(
        name="low_alarm_at",
        meaning="When it gave its low-battery alarm, if somebody noted it.",
        read=moment,
        examples=("2026-03-02 13:05", ""),
    ),
    Column(
        name="ambient_c",
        meaning="Temperature of the room, if known.",
        unit="°C",
        read=number(1, "-10", "50"),
        examples=("21.5", ""),
    ),
    Column(name="rack_position", meaning="Its place on the charging rack.", read=text(20), examples=("3", "")),
    Column(
        name="made_by",
        meaning="Who made the test; whoever sends the file if empty.",
        read=text(120),
        examples=("T. Lindqvarn", ""),
    ),
)
#: What tells whether a test on record is the same test.
_SAME: Final = ("stopped_at", "stop", "rate", "syringe_ml", "charge_hours", "low_alarm_at", "ambient_c")
_Known = dict[tuple[int, datetime], list[tuple[bool, tuple[Any, ...]]]]


def weigh(table: Table, scope: Scope) -> Weighed:
    """Weigh each row: a new test, one on record and the same, or refused."""
    devices = find_devices(table, scope)
    starts = table.column("started_at")
    packs = packs_of_rows(table, scope, devices, [start and clock.local_day(start) for start in starts])
    keys = [(pack.pk, start) if pack and start else None for pack, start in zip(packs, starts, strict=True)]
    first_rows(table, keys, "started_at", "A test of this pack that started then stands already")
    known = _known({pack.pk for pack in packs if pack})
    news: dict[int, NewTest] = {}
    verdicts = [
        _weigh_row(table, index, devices[index], packs[index], known=known, news=news) for index in table.indexes()
    ]

    far_off = [index for index, is_far in zip(news, unlikely(list(news.values())), strict=True) if is_far]
    note_rows(
        table,
        far_off,
        "the runtime is far from what a new pack is expected to last. Compare start, stop and rate with what was "
        "written down; what is committed is kept as it stands and counts in the forecasts.",
    )

    def write(by: Actor, tell: Tell) -> None:
        written(list(news.values()), lambda part: log_tests(part, by=by, taken_over=True), tell)

    return Weighed(verdicts, write)


def _known(packs: set[int]) -> _Known:
    found: _Known = {}
    for part in batches(packs):
        rows = RuntimeTest.objects.filter(pack__in=part).order_by()
        for pack, start, voided, *facts in rows.values_list("pack_id", "started_at", "voided_at", *_SAME):
            found.setdefault((pack, start), []).append((voided is not None, tuple(facts)))
    return found


def _weigh_row(  # noqa: PLR0913 - a row with what is known of it, and where new ones go
    table: Table, index: int, device: Device | None, pack: Pack | None, *, known: _Known, news: dict[int, NewTest]
) -> Verdict:
    if device is None or pack is None or index in table.refused:
        return Verdict.REFUSED
    facts = {name: table.column(name)[index] for name in (*_SAME, "started_at", "rack_position", "made_by")}
    facts |= {name: facts[name] or "" for name in ("rack_position", "made_by")}
    new = NewTest(device=device, pack=pack, **facts)
    for name, words in faults_of(new):
        table.refuse(index, name, words[0].upper() + words[1:])
    verdict = _verdict(table, index, new, known.get((pack.pk, new.started_at), []))
    if verdict is Verdict.NEW:
        news[index] = new
    return verdict


def _verdict(table: Table, index: int, new: NewTest, known: list[tuple[bool, tuple[Any, ...]]]) -> Verdict:
    stated = tuple(getattr(new, name) for name in _SAME)
    # A test that was voided since its file came in must not come back when the file is sent again.
    if any(_agree(stated, facts) for _, facts in known):
        return Verdict.SAME
    for voided, facts in known:
        if not voided:
            pairs = zip(_SAME, stated, facts, strict=True)
            name = next(name for name, here, there in pairs if here is not None and here != there)
            words = f"A test of pack {new.pack} with this start is on record with another {name}."
            table.refuse(index, name, f"{words} If that one is wrong, void it on its page with the reason.")
    return Verdict.REFUSED if index in table.refused else Verdict.NEW


def _agree(stated: tuple[Any, ...], facts: tuple[Any, ...]) -> bool:
    return all(here is None or here == there for here, there in zip(stated, facts, strict=True))


def rows_out(scope: Scope) -> Iterator[Sequence[Cell]]:
    """Every test that is not voided, in the columns of the template."""
    mine = Q() if scope.person is None else Q(pk__in=RuntimeTest.objects.all().within(scope.person).values("pk"))
    tests = RuntimeTest.objects.filter(mine, voided_at__isnull=True).select_related("device", "pack")
    for row in tests.order_by("started_at", "pk").iterator(chunk_size=2000):
        cells: dict[str, Cell] = {name: getattr(row, name) for name in (*_SAME, "started_at", "rack_position")}
        cells |= {"device": row.device.asset_number, "pack": row.pack.number, "made_by": row.by_name}
        yield [cells[column.name] for column in COLUMNS]


KIND: Final = Kind(
    code="tests",
    about="Runtime tests: fully charged, then run at a stated rate until the driver stops. A test on record is never "
    "changed by a file. A file of tests sent out leaves out voided ones.",
    columns=COLUMNS,
    weigh=weigh,
    rows=rows_out,
    page="batteries:will_not_last",
)
