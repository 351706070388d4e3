"""An instrument found out of its limits: what was measured with it, and the orders that recheck it."""

from datetime import timedelta
from decimal import Decimal

import pytest
from django.test import Client

from fleet.audit.models import TrailEntry
from fleet.bench import actions as bench
from fleet.bench import queries
from fleet.bench.models import FlowTest, Order, Reading
from fleet.core.calibration import Guarded, Way
from fleet.core.errors import BadValueError, MoveRefusedError
from fleet.people.models import Person
from fleet.people.queries import actor_for
from fleet.registry.models import Device
from fleet.stores import actions as stores
from fleet.stores.models import Calibration, Instrument
from fleet.web import clock
from tests.bench.builders import CHECK, a_procedure, as_actor, put, received, signed_in
from tests.builders import BY, a_device, a_site, a_ward
from tests.pages import page
from tests.stores.builders import a_calibration, an_instrument, found_out

pytestmark = pytest.mark.django_db


def read(instrument: Instrument, person: Person, *, days_ago: int, value: str = "1", home: str = "") -> Device:
    """A driver whose delivery was measured with the instrument so many days ago."""
    device = a_device(a_ward(site=a_site(home)) if home else None)
    with clock.at(clock.now() - timedelta(days=days_ago)):
        order = received(device, person, kind="corrective")
        bench.answer_many(
            order, [(order.procedure_version.steps.get(position=2), bench.Answer(value=value, instrument=instrument))],
            by=BY,
        )  # fmt: skip
    return device


@pytest.fixture
def analyser() -> Instrument:
    """An analyser whose last good calibration was 100 days ago, U = 0.5 %."""
    row = an_instrument(number="FLO-01", calibrated=False)
    with clock.at(clock.now() - timedelta(days=399)):
        a_calibration(row, days_ago=1)
    a_calibration(row, days_ago=100)
    return row


def assets(calibration: Calibration, person: Person) -> list[str]:
    return [each.device.asset_number for each in queries.traced(calibration, person).drivers]


def test_what_was_measured_since_the_last_good_calibration_is_found(analyser: Instrument, technician: Person) -> None:
    """From the day of the last good one to the day it was found out, both in; nothing before, nothing after."""
    read_on = {days: read(analyser, technician, days_ago=days) for days in (101, 100, 50, 3, 2)}
    read(an_instrument(), technician, days_ago=50)
    found = queries.traced(found_out(analyser, days_ago=3), technician)
    assert {each.device for each in found.drivers} == {read_on[days] for days in (100, 50, 3)}
    assert (found.since, found.readings) == (clock.today() - timedelta(days=100), 3)


def test_an_instrument_left_unusable_is_in_doubt_until_it_is_good(analyser: Instrument, technician: Person) -> None:
    """A reading taken after an unusable calibration, entered late, is in doubt too."""
    later = read(analyser, technician, days_ago=2)
    assert assets(found_out(analyser, days_ago=9, usable=False), technician) == [later.asset_number]


def test_without_a_good_calibration_everything_is_in_doubt(technician: Person) -> None:
    """A first calibration that finds it out leaves no day on which it is known to have been right."""
    row = an_instrument(calibrated=False, refused_when_overdue=False)
    device = read(row, technician, days_ago=800)
    found = queries.traced(found_out(row), technician)
    assert (found.since, [each.device for each in found.drivers]) == (None, [device])


def test_each_reading_says_how_near_its_limit_it_lies(analyser: Instrument, technician: Person) -> None:
    """In its unit and in uncertainties; the nearest stands first, an answer replaced since says so."""
    far, near = (read(analyser, technician, days_ago=20, value=value) for value in ("1", "4.8"))
    again = near.orders.get()
    bench.answer_many(again, [(again.procedure_version.steps.get(position=2), bench.Answer(value="2"))], by=BY)
    found = queries.traced(found_out(analyser), technician)
    assert [each.device for each in found.drivers] == [near, far]
    taken = found.drivers[0].taken[0]
    assert taken.near is not None
    assert (taken.near.margin, taken.near.times, taken.near.guarded) == (
        Decimal("0.2"),
        Decimal("0.4"),
        Guarded.CANNOT_TELL,
    )
    assert taken.replaced
    assert "0.4 times the uncertainty" in taken.near.words
    assert taken.limits == "-5 to 5 %"


def test_flow_tests_are_traced_too(analyser: Instrument, technician: Person) -> None:
    """A test weighed with it counts; one that was voided does not."""
    orders = [received(a_device(), technician, kind="corrective") for _ in range(2)]
    for order, voided_at in zip(orders, (None, clock.now()), strict=True):
        FlowTest.objects.create(
            order=order, rate=Decimal(5), syringe_ml=Decimal(50), instrument=analyser, density=Decimal(1),
            evaporation=Decimal(0), period="last_hour", log=b"", log_name="a.csv", verdict="pass",
            taken_at=clock.now(), by_name="Tova Lindqvarn", voided_at=voided_at,
            voided_why="Leak" if voided_at else "",
        )  # fmt: skip
    found = queries.traced(found_out(analyser), technician)
    assert [each.device for each in found.drivers] == [orders[0].device]
    assert found.drivers[0].taken[0].what.startswith("Flow test at 5")
    assert queries.devices_in_doubt(analyser.calibrations.latest("pk")) == {orders[0].device_id}


def worked_out(device: Device, person: Person, tool: Instrument, other: Instrument) -> Order:
    """An acceptance whose third step is worked out from the first, and whose fourth from the third and the second."""
    volume = bench.NewStep(words="Volume", kind="reading", unit="mL", key="volume")
    wanted = bench.NewStep(words="Set volume", kind="reading", unit="mL", key="wanted")
    double = bench.NewStep(words="Twice", kind="computed", unit="mL", formula="2 * volume", key="double")
    error = bench.NewStep(words="Error", kind="computed", unit="%", formula="100 * (double - wanted) / wanted")
    a_procedure("acceptance", (CHECK, volume, wanted, double, error), code="acceptance-list")
    order = received(device, person, kind="acceptance")
    put(order, 2, bench.Answer(value="4.9", instrument=tool), person)
    put(order, 3, bench.Answer(value="10", instrument=other), person)
    return order


def test_what_was_worked_out_names_and_follows_the_instruments_of_its_readings(
    analyser: Instrument, technician: Person
) -> None:
    """A computed reading is in the trace of each instrument behind it, also through another, and names them."""
    balance = an_instrument(number="BAL-01")
    order = worked_out(a_device(), technician, analyser, balance)
    lines = {line.step.position: line for line in queries.order_page(order).lines}
    assert [str(each.instrument.number) for each in lines[4].instruments] == ["FLO-01"]
    assert {str(each.instrument.number) for each in lines[5].instruments} == {"FLO-01", "BAL-01"}
    assert steps_in_doubt(found_out(analyser), technician) == {"Volume", "Twice", "Error"}
    assert steps_in_doubt(found_out(balance), technician) == {"Set volume", "Error"}
    shown = page(technician, f"/bench/orders/{order}/sheet/")
    assert shown.count("From a reading with FLO-01") == 2
    assert "from a reading with" in page(technician, f"/bench/orders/{order}/")


def test_a_computed_reading_measured_again_with_another_instrument(analyser: Instrument, technician: Person) -> None:
    """What was worked out first stays in the trace, as answered again since; the new rests on the other instrument."""
    balance = an_instrument(number="BAL-01")
    order = worked_out(a_device(), technician, analyser, balance)
    put(order, 2, bench.Answer(value="5", instrument=balance), technician)
    driver = queries.traced(found_out(analyser), technician).drivers[0]
    assert all(taken.replaced for taken in driver.taken)
    assert len(driver.taken) == 3
    lines = {line.step.position: line for line in queries.order_page(order).lines}
    assert [str(each.instrument.number) for each in lines[5].instruments] == ["BAL-01"]


def steps_in_doubt(calibration: Calibration, person: Person) -> set[str]:
    """The words of the steps in the trace."""
    drivers = queries.traced(calibration, person).drivers
    return {taken.what.partition(": ")[2] for each in drivers for taken in each.taken}


def test_rechecks_are_raised_in_one_step_with_their_reason(analyser: Instrument, technician: Person) -> None:
    """A planned order each, saying instrument, certificate and what was found; the calibration's trail lists them."""
    devices = [read(analyser, technician, days_ago=20) for _ in range(3)]
    calibration = found_out(analyser, certificate="C-99")
    raised = bench.raise_rechecks(calibration, devices[:2], by=actor_for(technician))
    assert [order.device for order in raised.new] == devices[:2]
    for order in raised.new:
        assert order.kind == "planned"
        for words in ("FLO-01", "C-99", "Reads 3 % low"):
            assert words in order.reported
    told = TrailEntry.objects.get(verb="raised rechecks")
    assert told.after["orders"] == [order.number for order in raised.new]


def test_pressed_twice_nothing_is_doubled(analyser: Instrument, technician: Person) -> None:
    """The second time every driver has its order; the trail says nothing new."""
    devices = [read(analyser, technician, days_ago=20) for _ in range(2)]
    calibration = found_out(analyser)
    first = bench.raise_rechecks(calibration, devices, by=BY)
    second = bench.raise_rechecks(calibration, devices, by=BY)
    assert (second.new, second.there) == ([], first.new)
    assert Order.objects.filter(kind="planned").count() == 2
    assert TrailEntry.objects.filter(verb="raised rechecks").count() == 1


def test_a_planned_order_open_already_takes_the_reason(analyser: Instrument, technician: Person) -> None:
    """No second order: the open one says what to measure again, and its own words stay."""
    device = read(analyser, technician, days_ago=20)
    held = bench.raise_order(device, "planned", by=BY, reported="Yearly service")
    raised = bench.raise_rechecks(found_out(analyser), [device], by=BY)
    held.refresh_from_db()
    assert (raised.new, raised.noted) == ([], [held])
    assert held.reported.startswith("Yearly service\nRecheck: FLO-01")


def test_what_is_not_in_doubt_is_not_rechecked(analyser: Instrument, technician: Person) -> None:
    """Another driver, no driver, a calibration that was good or was entered by mistake."""
    device = read(analyser, technician, days_ago=20)
    calibration = found_out(analyser)
    with pytest.raises(BadValueError, match="was not measured"):
        bench.raise_rechecks(calibration, [a_device()], by=BY)
    with pytest.raises(BadValueError, match="Tick the drivers"):
        bench.raise_rechecks(calibration, [], by=BY)
    with pytest.raises(MoveRefusedError):
        bench.raise_rechecks(a_calibration(an_instrument()), [device], by=BY)
    stores.void_calibration(calibration, "Mistake", by=BY)
    with pytest.raises(MoveRefusedError):
        bench.raise_rechecks(calibration, [device], by=BY)
    assert not Order.objects.filter(kind="planned").exists()


def address(calibration: Calibration) -> str:
    return f"/bench/calibrations/{calibration.pk}/trace/"


def test_the_page_lists_and_raises_for_those_ticked(analyser: Instrument, technician: Person) -> None:
    """Some of them, with a count of what was raised; the page then leads to the order instead of a tick."""
    one, other = (read(analyser, technician, days_ago=20, value=value) for value in ("4.9", "1"))
    where = address(found_out(analyser))
    shown = page(technician, where)
    for words in (one.asset_number, other.asset_number, "On the bench", "cannot tell within the uncertainty", "Step 2"):
        assert words in shown
    client: Client = signed_in(technician)
    answer = client.post(where, {"device": [one.pk]}, follow=True).content.decode()
    assert "1 recheck order is raised." in answer
    order = Order.objects.get(kind="planned")
    assert f'<a href="/bench/orders/{order}/">{order}</a>' in answer
    assert client.post(where, {}).status_code == 422


def test_all_that_have_no_recheck_are_raised_in_one_press(analyser: Instrument, technician: Person) -> None:
    """Nothing need be ticked; a driver that has its recheck already gets no second one."""
    devices = [read(analyser, technician, days_ago=20) for _ in range(3)]
    calibration = found_out(analyser)
    bench.raise_rechecks(calibration, devices[:1], by=BY)
    answer = signed_in(technician).post(address(calibration), {"all": "1"}, follow=True).content.decode()
    assert "2 recheck orders are raised." in answer
    assert Order.objects.filter(kind="planned").count() == 3


def test_only_what_the_error_could_have_turned_is_ticked(analyser: Instrument, technician: Person) -> None:
    """Without the error none is ticked; with it those whose margin is smaller; a bare number is refused."""
    near, far = (read(analyser, technician, days_ago=20, value=value) for value in ("3.7", "1"))
    where = address(found_out(analyser))
    bare = page(technician, where)
    assert f'value="{near.pk}" checked' not in bare
    assert 'name="device" value' in bare
    marked = page(technician, f"{where}?off=2.1+%25")
    assert f'value="{near.pk}" checked' in marked
    assert f'value="{far.pk}">' in marked
    assert marked.index(near.asset_number) < marked.index(far.asset_number)
    assert "1 driver could have failed" in marked
    assert "Write the unit behind the number" in page(technician, f"{where}?off=2.1")


def test_an_error_with_its_way_marks_one_side_only(analyser: Instrument, technician: Person) -> None:
    """Limits -5 to 5 %: read 2.1 % high, 3.7 was 1.6 and -3.7 may have been -5.8; read low the other."""
    above, below = (read(analyser, technician, days_ago=20, value=value) for value in ("3.7", "-3.7"))
    where = address(found_out(analyser))
    ticked = {
        way: [each for each in (above, below) if f'value="{each.pk}" checked' in page(technician, f"{where}?{query}")]
        for way, query in {
            "high": "off=2.1+%25&way=high", "low": "off=2.1+%25&way=low", "unknown": "off=2.1+%25&way=unknown",
            "unsaid": "off=2.1+%25",
        }.items()
    }  # fmt: skip
    assert ticked == {"high": [below], "low": [above], "unknown": [above, below], "unsaid": [above, below]}
    high = page(technician, f"{where}?off=2.1+%25&way=high")
    assert "Could have failed" in high
    assert "would have" not in high
    assert "If it was off by all of that: 1.6" in high
    assert "If it was off by all of that: \u22125.8" in high
    assert "off by all of that" not in page(technician, f"{where}?off=2.1+%25")
    assert "Leave the sign out" in page(technician, f"{where}?off=-2.1+%25&way=high")


def test_what_is_worked_out_is_judged_both_ways(analyser: Instrument, technician: Person) -> None:
    """A delivery time read high makes a flow low: its own way is not known, so no corrected value is told."""
    order = worked_out(a_device(), technician, analyser, an_instrument(number="BAL-01"))
    taken = {each.what: each for each in queries.taken_on(found_out(analyser), order.device_id)}
    off = queries.Off(Decimal("0.3"), "mL", Way.HIGH)
    assert taken["Step 2: Volume"].corrected(off).startswith("4.6")
    assert taken["Step 4: Twice"].corrected(off) == ""


def test_a_recheck_has_a_name_and_says_on_the_driver_that_it_is_open(analyser: Instrument, technician: Person) -> None:
    """The order is called Recheck, says why on top, and the driver's page leads to it with the reason."""
    one = read(analyser, technician, days_ago=20, value="4.9")
    calibration = found_out(analyser)
    order = bench.raise_rechecks(calibration, [one], by=as_actor(technician)).new[0]
    assert order.get_kind_display() == "Recheck"
    assert "A recheck is asked for" in page(technician, f"/bench/orders/{order}/")
    told = page(technician, f"/devices/{one}/")
    assert "A recheck is open" in told
    assert "was found out of its limits" in told


def test_the_trace_is_taken_out_as_a_file(analyser: Instrument, technician: Person) -> None:
    """A line for each reading, numbers as numbers."""
    device = read(analyser, technician, days_ago=20, value="4.8")
    answer = signed_in(technician).get(f"{address(found_out(analyser))}?as=csv")
    lines = b"".join(answer.streaming_content).decode().splitlines()
    assert len(lines) == 2
    assert lines[1].startswith(device.asset_number)
    assert ",0.2" in lines[1]
    assert "Cannot tell within the instrument's uncertainty" in lines[1]


def test_an_empty_trace_says_so(analyser: Instrument, technician: Person) -> None:
    """Nothing was measured with it: said in words, with no button."""
    shown = page(technician, address(found_out(analyser)))
    assert "Nothing on record was measured with it in that time" in shown
    assert "Raise recheck orders" not in shown


def test_a_good_calibration_has_no_trace(analyser: Instrument, technician: Person, ward_nurse: Person) -> None:
    """404 for one found within its limits; 403 for a ward."""
    client = signed_in(technician)
    assert client.get(address(analyser.calibrations.latest("done_on"))).status_code == 404
    assert signed_in(ward_nurse).get(address(found_out(analyser))).status_code == 403


def test_drivers_of_other_places_are_counted_and_not_shown(analyser: Instrument, technician: Person) -> None:
    """Who sees this site only is told that others must look, and raises nothing for what they don't see."""
    far = read(analyser, technician, days_ago=20, home="Corran Vale")
    Device.objects.filter(pk=far.pk).update(place=far.home)
    calibration = found_out(analyser)
    shown = page(technician, address(calibration))
    assert far.asset_number not in shown
    assert "1 more driver of places you do not see was measured with it" in shown
    assert signed_in(technician).post(address(calibration), {"device": [far.pk]}).status_code == 422


def test_an_unnamed_instrument_leaves_no_trace(analyser: Instrument, technician: Person) -> None:
    """A reading whose instrument nobody named is in no list, and its driver is not rechecked by guess."""
    put(received(a_device(), technician, kind="corrective"), 2, bench.Answer(value="1"), technician)
    assert Reading.objects.exists()
    assert assets(found_out(analyser), technician) == []
