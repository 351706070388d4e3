"""Deliveries: each scan answered in a word, all drivers made together or none, and a record that counts acceptance."""

from datetime import date, timedelta

import pytest

from fleet.audit.models import TrailEntry
from fleet.bench.models import Order
from fleet.core.errors import BadValueError, ConflictError, NotAllowedError
from fleet.core.lifecycle import Condition
from fleet.deliveries import actions, queries
from fleet.deliveries.actions import Heard
from fleet.deliveries.models import Delivery
from fleet.people.models import Person
from fleet.registry import actions as registry
from fleet.registry.models import Device, TypeIdentifier
from fleet.web import clock
from tests.bench.builders import as_actor, finish, received, work
from tests.builders import BY, a_device, a_store, a_type
from tests.deliveries.builders import a_delivery, a_udi, gtin

pytestmark = pytest.mark.django_db


def heard(delivery: Delivery, code: str) -> tuple[Heard, str]:
    answer = actions.scan(delivery, code, by=BY)
    return answer.heard, answer.words


def test_a_serial_is_added_once() -> None:
    """The same serial twice is told by its row, in any case of letters, and adds nothing."""
    delivery = a_delivery("SN-1", "SN-2")
    word, words = heard(delivery, "sn-1")
    assert (word, "row 1" in words) == (Heard.HERE, True)
    assert queries.lines(delivery).count() == 2


def test_a_driver_on_record_is_refused_by_name() -> None:
    """A serial number of the same type that is on record names the driver that bears it, also a retired one."""
    known = a_device(serial_number="SN-OLD")
    word, words = heard(a_delivery(), "SN-OLD")
    assert word is Heard.HERE
    assert known.asset_number in words


def test_the_same_serial_of_another_type_is_another_driver() -> None:
    """Serial numbers are unique for a type, not for all makers."""
    a_device(serial_number="SN-OLD", device_type=a_type("TW-20"))
    assert heard(a_delivery(), "SN-OLD")[0] is Heard.ADDED


def test_a_driver_in_another_open_delivery_is_told() -> None:
    """What somebody else is scanning at the same time is not scanned twice."""
    other = a_delivery("SN-1")
    word, words = heard(a_delivery(), "SN-1")
    assert (word, str(other) in words) == (Heard.HERE, True)


@pytest.mark.parametrize("code", ["", "x" * 41, "(01)05012345678901(21)S1", "https://elsewhere.example/x"])
def test_what_cannot_be_read_says_so(code: str) -> None:
    """An empty scan, one too long, a wrong check digit and an address add nothing."""
    delivery = a_delivery()
    assert heard(delivery, code)[0] is Heard.UNREADABLE
    assert not delivery.lines.exists()


def test_a_udi_without_serial_asks_for_the_serial() -> None:
    """A code that names only the type makes no driver."""
    word, words = heard(a_delivery(), f"(01){gtin()}(10)L7")
    assert (word, "no serial number" in words) == (Heard.UNREADABLE, True)


def test_a_known_identifier_says_type_serial_lot_and_expiry() -> None:
    """Everything that the code carries is kept with the line."""
    kind = a_type("TW-20", di=gtin())
    line = actions.scan(a_delivery(), a_udi("S77", expiry="331231"), by=BY).line
    assert line is not None
    assert (line.serial_number, line.lot, line.expires_on, line.di) == ("S77", "L7", date(2033, 12, 31), gtin())
    assert line.device_type == kind


def test_an_unknown_identifier_is_asked_for_once() -> None:
    """The first scan asks which type it is; told once, the next is known, in other deliveries too."""
    delivery = a_delivery()
    assert heard(delivery, a_udi("S1"))[0] is Heard.TYPE_UNKNOWN
    assert actions.learn(delivery, a_udi("S1"), a_type(), by=BY).heard is Heard.ADDED
    assert heard(delivery, a_udi("S2"))[0] is Heard.ADDED
    assert heard(a_delivery(), a_udi("S3"))[0] is Heard.ADDED
    assert TypeIdentifier.objects.get().device_type == a_type()


def test_a_driver_taken_out_can_be_scanned_again() -> None:
    """Undo takes a driver off the list, keeps the line on record, and lets it be scanned anew."""
    delivery = a_delivery("SN-1")
    actions.take_out(queries.lines(delivery).get(), by=BY)
    assert not queries.lines(delivery).exists()
    assert heard(delivery, "SN-1")[0] is Heard.ADDED
    assert delivery.lines.count() == 2


def test_taken_in_together(storekeeper: Person) -> None:
    """Drivers with our next numbers, each with what the papers say and an acceptance order, by a storekeeper."""
    ends = clock.today() + timedelta(days=730)
    delivery = a_delivery("SN-1", "SN-2", warranty_until=ends, pool=Device.Pool.LOAN)
    devices = actions.finish(delivery, by=as_actor(storekeeper))
    assert [device.serial_number for device in devices] == ["SN-1", "SN-2"]
    assert len({device.asset_number for device in devices}) == 2
    for device in Device.objects.all():
        assert (device.condition, device.wait_reason) == (Condition.WAITING, "acceptance")
        assert (device.warranty_until, device.purchase_order, device.pool) == (ends, "PO-4711", "loan")
        assert device.home == a_store()
        assert Order.objects.get(device=device).kind == "acceptance"


def test_numbers_follow_the_first_one_given() -> None:
    """With a first asset number stated, the others follow it in the order of scanning."""
    devices = actions.finish(a_delivery("SN-1", "SN-2", first_asset="MG-099"), by=BY)
    assert [device.asset_number for device in devices] == ["MG-099", "MG-100"]


def test_nothing_is_made_when_a_row_stands_against_it() -> None:
    """A number that is taken and a serial that came on record meanwhile are told by row, and no driver is made."""
    delivery = a_delivery("SN-1", "SN-2", "SN-3", first_asset="MG-001")
    a_device(asset_number="MG-002")
    a_device(serial_number="SN-3")
    before = Device.objects.count()
    with pytest.raises(BadValueError, match=r"Row 2: Asset number MG-002 .* Row 3: Serial SN-3 is on record"):
        actions.finish(delivery, by=BY)
    assert Device.objects.count() == before
    assert Order.objects.count() == 0


def test_an_empty_delivery_is_not_taken_in() -> None:
    """Something must have come."""
    with pytest.raises(BadValueError, match="Scan at least one"):
        actions.finish(a_delivery(), by=BY)


def test_what_is_taken_in_is_a_record() -> None:
    """Nothing is scanned into it, taken out of it, corrected or dropped any more, nor is it taken in twice."""
    delivery = a_delivery("SN-1")
    line = queries.lines(delivery).get()
    actions.finish(delivery, by=BY)
    for act in (
        lambda: actions.scan(delivery, "SN-2", by=BY),
        lambda: actions.take_out(line, by=BY),
        lambda: actions.correct(delivery, {"purchase_order": "PO-1"}, by=BY),
        lambda: actions.drop(delivery, why="wrong", by=BY),
        lambda: actions.finish(delivery, by=BY),
    ):
        with pytest.raises(ConflictError, match="taken in already"):
            act()


def test_the_record_counts_what_is_accepted(technician: Person) -> None:
    """A driver whose acceptance order is finished counts, the others do not yet."""
    delivery = a_delivery("SN-1", "SN-2")
    devices = actions.finish(delivery, by=BY)
    finish(work(received(devices[0], technician), technician), technician)
    assert queries.delivery_page(Delivery.objects.get(pk=delivery.pk)).accepted == 1


def test_correcting_the_type_moves_the_plain_serials() -> None:
    """The type of a serial scanned without UDI is the delivery's; a UDI's own type stays."""
    other, by_code = a_type("TW-20"), a_type("TW-30", di=gtin())
    delivery = a_delivery("SN-1", a_udi("S1"))
    actions.correct(delivery, {"device_type": other}, by=BY)
    assert [line.device_type for line in queries.lines(delivery)] == [other, by_code]


@pytest.mark.parametrize(
    ("facts", "field"),
    [
        ({"delivered_on": date(2999, 1, 1)}, "delivered_on"),
        ({"warranty_until": date(2001, 1, 1)}, "warranty_until"),
        ({"first_asset": "SD"}, "first_asset"),
    ],
)
def test_impossible_papers_are_refused(facts: dict[str, object], field: str) -> None:
    """A day to come, a warranty that ended before, a first number nothing can follow."""
    with pytest.raises(BadValueError) as refused:
        a_delivery(**facts)
    assert refused.value.field == field


def test_dropping_needs_a_reason() -> None:
    """A delivery that is not taken in says why, and stays on record."""
    delivery = a_delivery("SN-1")
    with pytest.raises(BadValueError, match="Say why"):
        actions.drop(delivery, why=" ", by=BY)
    assert actions.drop(delivery, why="Sent back", by=BY).dropped_at


def test_a_ward_takes_nothing_in(ward_nurse: Person) -> None:
    """Only whoever hands drivers over may."""
    with pytest.raises(NotAllowedError):
        actions.scan(a_delivery(), "SN-1", by=as_actor(ward_nurse))


def test_a_doubtful_code_stands_against_the_delivery_until_its_label_was_compared() -> None:
    """A serial that may have swallowed a date is named by its row until a person says that the label reads so."""
    delivery = a_delivery()
    registry.learn_identifier(delivery.device_type, "09506000134352", by=BY)
    scanned = actions.scan(delivery, "010950600013435221RV000617290200", by=BY)
    assert scanned.line is not None
    assert scanned.line.warnings
    with pytest.raises(BadValueError, match="Row 1: Compare serial RV000617290200 with its label"):
        actions.finish(delivery, by=BY)
    assert queries.delivery_page(delivery).doubtful == 1
    assert actions.compared(delivery, scanned.line.pk, by=BY) == 1
    assert actions.compared(delivery, by=BY) == 0
    assert TrailEntry.objects.get(verb="compared with label").before["serial_number"] == "RV000617290200"
    assert len(actions.finish(delivery, by=BY)) == 1
