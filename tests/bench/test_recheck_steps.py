"""A recheck asks for the steps in doubt and what they need; the whole procedure is one press away."""

from datetime import timedelta
from decimal import Decimal

import pytest

from fleet.bench import actions as bench
from fleet.bench import queries
from fleet.bench.models import FlowTest, Order, Reading
from fleet.bench.queries.signing import signatures
from fleet.core.errors import MoveRefusedError
from fleet.people.models import Person
from fleet.registry.models import Device
from fleet.schedules.actions import open_dues
from fleet.schedules.models import Due, Plan
from fleet.stores.models import Instrument
from fleet.web import clock
from tests.alerts.builders import an_alert
from tests.bench.builders import (
    CHECK,
    FLOW,
    LOOK,
    NOTE,
    a_procedure,
    again,
    as_actor,
    finish,
    fresh,
    put,
    received,
    signed_in,
    verbs,
    work,
)
from tests.builders import BY, a_device
from tests.pages import page
from tests.schedules.builders import a_plan
from tests.stores.builders import a_part, an_instrument, found_out

pytestmark = pytest.mark.django_db

BLOCKED = bench.NewStep(words="Time to the alarm", kind="reading", unit="min")
HEARD = bench.NewStep(words="Its alarm is heard")
SERVICE = (NOTE, CHECK, FLOW, BLOCKED, HEARD, LOOK)


@pytest.fixture
def analyser() -> Instrument:
    """An analyser of the bench."""
    return an_instrument(number="FLO-01")


def earlier(kind: str, steps: tuple[bench.NewStep, ...]) -> None:
    """A procedure in force for 30 days."""
    with clock.at(clock.now() - timedelta(days=30)):
        a_procedure(kind, steps)


def a_service(device: Device, *, in_days: int, **facts: object) -> Due:
    """The driver's yearly service, due in so many days."""
    if not Plan.objects.exists():
        a_plan()
    open_dues(device, by=BY)
    day = clock.today() + timedelta(days=in_days)
    Due.objects.filter(device=device).update(opens_on=day, due_on=day, closes_on=day, **facts)
    return Due.objects.get(device=device)


def measured(tool: Instrument, person: Person, *, at: int = 2, kind: str = "corrective") -> Device:
    """A driver whose delivery was measured with the tool 20 days ago, on an order that has ended."""
    device = a_device()
    with clock.at(clock.now() - timedelta(days=20)):
        order = received(device, person, kind=kind)
        work(order, person)
        put(order, at, bench.Answer(value="1", instrument=tool), person)
        finish(order, person)
    return device


def recheck(tool: Instrument, device: Device, person: Person) -> Order:
    """The recheck of a driver, received."""
    calibration = tool.calibrations.filter(as_found="out").first() or found_out(tool, certificate="C-99")
    raised = bench.raise_rechecks(calibration, [device], by=BY)
    assert len(raised.new) == 1
    order = received(again(device), person)
    assert order == raised.new[0]
    return fresh(order)


def open_steps(order: Order) -> list[str]:
    """The words of the steps that wait for an answer."""
    return [line.step.words for line in queries.order_page(fresh(order)).lines if line.reading is None]


def test_only_the_steps_in_doubt_and_the_checks_are_asked_for(analyser: Instrument, technician: Person) -> None:
    """Told across procedures by their words; who looks at page or sheet reads how many of how many, and why."""
    a_procedure("planned", SERVICE)
    order = recheck(analyser, measured(analyser, technician), technician)
    assert order.asked == [2, 3, 5]
    assert open_steps(order) == [CHECK.words, FLOW.words, HEARD.words]
    for address in ("", "sheet/", "stepwise/", "finish/"):
        shown = page(technician, f"/bench/orders/{order}/{address}")
        assert "Only the readings in doubt: 3 of 6 steps, because FLO-01" in shown
        assert "C-99" in shown
    assert "0 of 3" in page(technician, f"/bench/orders/{order}/")


def test_the_driver_returns_by_the_steps_asked_for(analyser: Instrument, technician: Person) -> None:
    """Once they pass, and not before; services stay planned and alerts open, for this was no service."""
    a_procedure("planned", SERVICE)
    device = measured(analyser, technician)
    due_on = a_service(device, in_days=100).due_on
    order = recheck(analyser, device, technician)
    alert = an_alert(again(device))
    put(order, 2, bench.Answer(passed=True), technician)
    put(order, 3, bench.Answer(value="9", instrument=an_instrument()), technician)
    with pytest.raises(MoveRefusedError, match="1 required step"):
        finish(order, technician)
    put(order, 5, bench.Answer(passed=True), technician)
    with pytest.raises(MoveRefusedError, match="failed"):
        finish(order, technician)
    put(order, 3, bench.Answer(value="2", instrument=an_instrument(), changed="Adjusted"), technician)
    done = finish(order, technician)
    assert again(device).condition == "in_service"
    assert [each.holds for each in signatures(done)] == [True]
    assert Due.objects.get(device=device).due_on == due_on
    alert.refresh_from_db()
    assert alert.closed_at is None
    assert queries.findings(clock.today(), clock.today(), technician).overall.services == 0
    assert technician.pk in queries.workers(done)
    assert not Reading.objects.filter(order=done, by=None, verdict="pass").exists()


def test_a_change_of_what_was_asked_breaks_the_signature(analyser: Instrument, technician: Person) -> None:
    """What was asked for is part of what is signed."""
    a_procedure("planned", SERVICE)
    order = recheck(analyser, measured(analyser, technician), technician)
    for position, answer in {
        2: bench.Answer(passed=True),
        3: bench.Answer(value="2"),
        5: bench.Answer(passed=True),
    }.items():
        put(order, position, answer, technician)
    done = finish(order, technician)
    Order.objects.filter(pk=done.pk).update(asked=[2])
    assert not signatures(done)[0].holds


def test_the_whole_procedure_is_one_press_away(analyser: Instrument, technician: Person) -> None:
    """The press carries its reason; who and why stand on order and sheet, and the steps left out are open again."""
    a_procedure("planned", SERVICE)
    order = recheck(analyser, measured(analyser, technician), technician)
    put(order, 2, bench.Answer(passed=True), technician)
    browser, act = signed_in(technician), f"/bench/orders/{order}/act/widen/"
    assert browser.post(act, {"widen-why": "for fun"}).status_code == 422
    assert browser.post(act, {"widen-why": "It is to be serviced anyway"}).status_code == 302
    assert open_steps(order) == [NOTE.words, FLOW.words, BLOCKED.words, HEARD.words, LOOK.words]
    for address in ("", "sheet/"):
        assert "It is to be serviced anyway (Tova Lindqvarn" in page(technician, f"/bench/orders/{order}/{address}")
    assert "widened to the whole procedure" in verbs(order)
    with pytest.raises(MoveRefusedError, match="required step"):
        finish(order, technician)
    assert browser.post(act, {"widen-why": "It is to be serviced anyway"}).status_code == 422
    work(order, technician)
    assert finish(order, technician).state == "done"


def test_no_kit_is_taken_for_a_few_readings(analyser: Instrument, technician: Person) -> None:
    """Neither its page nor the list of what open work will take counts a kit, until the whole is asked for."""
    a_procedure("planned", SERVICE)
    order = recheck(analyser, measured(analyser, technician), technician)
    bench.set_kit(order.procedure_version.procedure, {a_part(): 1}, by=BY)
    today = clock.today()
    assert (queries.kit_wanted(order), queries.will_take(technician, today, today)) == ([], {})
    whole = bench.widen(order, "Local policy asks for all of it", by=as_actor(technician))
    assert len(queries.kit_wanted(whole)) == 1
    assert len(queries.will_take(technician, today, today)) == 1


def test_a_step_left_out_may_be_answered_and_counts(analyser: Instrument, technician: Person) -> None:
    """One that is answered as failed keeps the driver on the bench."""
    a_procedure("planned", SERVICE)
    order = recheck(analyser, measured(analyser, technician), technician)
    for position, answer in {
        2: bench.Answer(passed=True),
        3: bench.Answer(value="2"),
        5: bench.Answer(passed=True),
    }.items():
        put(order, position, answer, technician)
    put(order, 4, bench.Answer(value="3", passed=False, note="late"), technician)
    assert "4 of 4" in page(technician, f"/bench/orders/{order}/")
    with pytest.raises(MoveRefusedError, match="failed"):
        finish(order, technician)


def test_what_is_worked_out_takes_its_inputs_along(analyser: Instrument, technician: Person) -> None:
    """A value in doubt asks for what is worked out from it, and that for its other numbers; no further."""
    volume = bench.NewStep(words="Volume", kind="reading", unit="mL", key="volume")
    wanted = bench.NewStep(words="Set volume", kind="reading", unit="mL", key="wanted")
    error = bench.NewStep(words="Error", kind="computed", unit="%", formula="100 * (volume - wanted) / wanted")
    twice = bench.NewStep(words="Twice", kind="computed", unit="mL", formula="2 * wanted")
    earlier("planned", (volume, wanted, error, twice, BLOCKED, CHECK))
    device = measured(analyser, technician, at=1, kind="planned")
    order = recheck(analyser, device, technician)
    assert order.asked == [1, 2, 3, 6]
    put(order, 1, bench.Answer(value="4.9"), technician)
    put(order, 2, bench.Answer(value="5"), technician)
    assert open_steps(order) == [CHECK.words]


def test_a_step_no_longer_in_the_procedure_is_said(analyser: Instrument, technician: Person) -> None:
    """The procedure in force judges; what it measures no more is named with its order, and the rest is narrowed."""
    old = bench.NewStep(words="Delivery error at 1 mL/h", kind="reading", unit="%")
    earlier("corrective", (CHECK, FLOW, old))
    device = measured(analyser, technician)
    put_old = device.orders.get()
    row = Reading.objects.get(order=put_old, step__words=old.words)
    Reading.objects.filter(pk=row.pk).update(instrument=analyser)
    a_procedure("planned", SERVICE)
    order = recheck(analyser, device, technician)
    assert order.asked == [2, 3, 5]
    assert f"“Delivery error at 1 mL/h” (order {put_old})" in order.asked_words


def test_what_belongs_to_no_step_asks_for_the_whole(analyser: Instrument, technician: Person) -> None:
    """A flow test in doubt, or nothing that the procedure in force measures: the order says why it is whole."""
    a_procedure("planned", (NOTE, CHECK, BLOCKED))
    order = recheck(analyser, measured(analyser, technician), technician)
    assert order.asked == []
    assert "none of the readings in doubt is a step" in page(technician, f"/bench/orders/{order}/")
    a_procedure("planned", SERVICE)
    device = measured(analyser, technician)
    FlowTest.objects.create(
        order=device.orders.get(), rate=Decimal(5), syringe_ml=Decimal(50), instrument=analyser, density=Decimal(1),
        evaporation=Decimal(0), period="last_hour", log=b"", log_name="a.csv", verdict="pass", taken_at=clock.now(),
        by_name="Tova Lindqvarn",
    )  # fmt: skip
    whole = recheck(analyser, device, technician)
    assert (whole.asked, len(open_steps(whole))) == ([], 6)
    assert "Flow test at 5" in whole.asked_words


def test_another_reason_keeps_the_whole(analyser: Instrument, technician: Person) -> None:
    """An order that was open before, or a service that is due with it, is never cut down."""
    a_procedure("planned", SERVICE)
    device = measured(analyser, technician)
    bench.raise_order(device, "planned", by=BY)
    bench.raise_rechecks(found_out(analyser), [device], by=BY)
    order = fresh(received(again(device), technician))
    assert (order.asked, "another reason" in order.asked_words) == ([], True)
    served = measured(analyser, technician)
    a_service(served, in_days=0)
    order = recheck(analyser, served, technician)
    assert (order.asked, "“Yearly service” is due with it" in order.asked_words) == ([], True)


def test_a_service_that_comes_due_meanwhile_widens_it(analyser: Instrument, technician: Person) -> None:
    """Received again with a service due, all of it is asked; a service owed before use stops the return until then."""
    a_procedure("planned", SERVICE)
    device = measured(analyser, technician)
    order = recheck(analyser, device, technician)
    a_service(device, in_days=3, before_use=True)
    for position, answer in {
        2: bench.Answer(passed=True),
        3: bench.Answer(value="2"),
        5: bench.Answer(passed=True),
    }.items():
        put(order, position, answer, technician)
    with pytest.raises(MoveRefusedError, match="service"):
        finish(order, technician)
    a_service(device, in_days=0)
    received(again(device), technician)
    widened = fresh(order)
    assert (widened.asked, widened.due is not None) == ([], True)
    assert "Another reason for the service came up" in widened.widened_why
    work(widened, technician)
    finish(widened, technician)
    assert Due.objects.get(device=device).last_done_on == clock.today()


def test_a_second_instrument_adds_its_steps(analyser: Instrument, technician: Person) -> None:
    """An open recheck, begun, asks for what the second puts in doubt too; what it named before stays."""
    earlier("corrective", (CHECK, FLOW, BLOCKED))
    a_procedure("planned", SERVICE)
    timer = an_instrument(number="TIM-01", kind="timer")
    device = measured(analyser, technician)
    Reading.objects.filter(order__device=device, step__words=BLOCKED.words).update(instrument=timer)
    order = recheck(analyser, device, technician)
    assert order.asked == [2, 3, 5]
    raised = bench.raise_rechecks(found_out(timer, certificate="C-98"), [device], by=as_actor(technician))
    assert raised.noted == [order]
    both = fresh(order)
    assert both.asked == [2, 3, 4, 5]
    assert "C-98" in both.asked_words
    assert BLOCKED.words in open_steps(order)
