"""What is sent out can be taken in again and is the same record, whatever its texts hold."""

from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

import pytest
from django.db.models import QuerySet
from hypothesis import given, settings
from hypothesis import strategies as st

from fleet.alerts import actions as alerts
from fleet.alerts.models import Alert
from fleet.batteries import actions as batteries
from fleet.batteries.models import CycleCount, Fitting, Pack, RuntimeTest
from fleet.exchange.cells import Ways, code
from fleet.exchange.cells import text as long_text
from fleet.exchange.columns import Column, parse
from fleet.exchange.kinds import KINDS, Scope
from fleet.exchange.reading import read
from fleet.registry.models import Device
from fleet.web import csv_out
from tests.alerts.builders import a_kind
from tests.batteries.builders import a_fitted_device, a_logged_test, a_pack
from tests.builders import BY, a_device
from tests.exchange.builders import checked, counts, taken_in

pytestmark = pytest.mark.django_db
AWKWARD = "'=1+1; \"quoted\", |bars| äß€ 'tis"


def sent_out(kind: str) -> bytes:
    """The file of everything of a kind."""
    found = KINDS[kind]
    rows = found.rows(Scope(None))
    return "".join(csv_out.lines([column.name for column in found.columns], rows)).encode()


def a_whole_record() -> None:
    """Drivers, packs, tests, alerts and counts with every fact and awkward texts."""
    a_kind()
    device = a_fitted_device(
        asset_number="00417",
        serial_number="-12",
        lot="+1",
        cost_centre="=SUM(A1)",
        udi=AWKWARD,
        purchase_order="1,234;5",
        pool="loan",
        price=Decimal("1450.50"),
        currency="EUR",
        firmware="'3.2",
        firmware_seen_at=datetime(2026, 4, 20, 10, 15, 30, 123456, tzinfo=UTC),
        running_hours=Decimal("8120.5"),
        running_hours_at=datetime(2026, 4, 20, 10, 15, tzinfo=UTC),
        warranty_until=date(2031, 1, 1),
        own_replacement_level=Decimal("0.850"),
    )
    a_pack(number="00012", date_code="@12", made_on=date(2023, 1, 16), price=Decimal(58))
    a_logged_test(device, ambient_c=Decimal("-2.5"), rack_position="=3", made_by="T. Lindqvarn")
    at = datetime(2026, 3, 2, 8, tzinfo=UTC)
    more: dict[str, Any] = {"source": Alert.Source.WARD, "seen_by": "=ward", "by": BY}
    alerts.record(device, a_kind(), at=at, screen_text=AWKWARD, times=3, **more)
    alerts.record(device, a_kind(), at=at.replace(day=9), **more)
    batteries.count_cycles(Pack.objects.get(number="00012"), 312, on=date(2026, 4, 20), by=BY)


@pytest.mark.parametrize("kind", KINDS)
def test_what_was_sent_out_is_already_known(kind: str) -> None:
    """Taken in where it came from, every row is known and none would change."""
    a_whole_record()
    new, same, changed, refused = counts(checked(kind, sent_out(kind)))
    assert (new, changed, refused) == (0, 0, 0)
    assert same >= 1


@pytest.mark.django_db(transaction=True)
def test_an_empty_record_becomes_the_same() -> None:
    """Taken in elsewhere, in the order of the list, each kind is sent out again byte for byte."""
    a_whole_record()
    files = {kind: sent_out(kind) for kind in KINDS}
    for model in (CycleCount, Alert, RuntimeTest, Fitting, Pack, Device):
        QuerySet(model).delete()
    for kind, content in files.items():
        taken_in(kind, content)
    assert {kind: sent_out(kind) for kind in KINDS} == files


NOTE = Column(name="note", meaning="", read=long_text(40))
TEXTS = st.text(st.characters(codec="utf-8", exclude_categories=["Cc", "Cs", "Zl", "Zp"]), max_size=40)


@settings(max_examples=60, deadline=None)
@given(text=TEXTS)
def test_any_text_survives(text: str) -> None:
    """A text of a record, trimmed as a form trims it, comes back as it went out."""
    kept = text.strip()
    file = "".join(csv_out.lines(["number", "note"], [["A1", kept]])).encode()
    sheet = read(file, ["number", "note"])
    table = parse(sheet, [Column(name="number", meaning="", read=code(9)), NOTE], Ways())
    assert table.problems == []
    assert table.column("note") == [kept or None]


def test_drivers_that_wait_are_sent_out_without_acceptance() -> None:
    """They come back waiting, not in service."""
    a_device()
    Device.objects.update(accepted_on=None, condition="waiting", wait_reason="acceptance")
    file = sent_out("devices")
    assert counts(checked("devices", file)) == (0, 1, 0, 0)
    assert b"2024-03-01" not in file
