"""The instrument named at a step: asked for, remembered, refused, marked, shown."""

from datetime import timedelta
from decimal import Decimal

import pytest

from fleet.audit.models import TrailEntry
from fleet.bench import actions as bench
from fleet.bench.actions.reference import set_policy
from fleet.bench.models import Order, Reading
from fleet.core.errors import BadValueError
from fleet.people.models import Person
from fleet.stores import actions as stores
from fleet.stores.models import Instrument
from fleet.web import clock
from tests.bench.builders import CHECK, FLOW, NOTE, a_procedure, fresh, put, received, signed_in
from tests.builders import BY, a_bench, a_device, a_site, a_ward
from tests.pages import page
from tests.stores.builders import a_calibration, an_instrument, found_out

pytestmark = pytest.mark.django_db

NEEDED = bench.NewStep(
    words="Delivery error, weighed",
    kind="reading",
    unit="%",
    low=Decimal(-5),
    high=Decimal(5),
    limit_source="common practice, no source",
    instrument_kind="balance",
)


def started(person: Person, *steps: bench.NewStep) -> Order:
    """A driver on the bench with a repair of these steps."""
    a_procedure("corrective", steps or (CHECK, FLOW, NEEDED, NOTE), code="corrective-list")
    return received(a_device(), person, kind="corrective")


def a_balance(**facts: object) -> Instrument:
    return an_instrument(**{"name": "Balance", "kind": "balance", **facts})


def measured(with_: Instrument | None, value: str = "1.2") -> bench.Answer:
    return bench.Answer(value=value, instrument=with_)


def overdue(**facts: object) -> Instrument:
    row = a_balance(calibrated=False, **facts)
    a_calibration(row, days_ago=400, due_on=clock.today() - timedelta(days=1))
    return row


def test_a_reading_keeps_its_instrument(technician: Person) -> None:
    """Named by choice where none is needed; none is as good."""
    order, analyser = started(technician), an_instrument()
    assert put(order, 2, measured(analyser), technician).instrument == analyser
    again = put(order, 2, measured(None), technician)
    assert (again.instrument, again.instrument_overdue) == (None, False)


def test_a_step_that_needs_a_kind_is_not_answered_without_it(technician: Person) -> None:
    """None named, or one of another kind, is refused beside the field; not applicable needs none."""
    order = started(technician)
    for wrong, words in ((None, "Name the balance"), (an_instrument(), "of another kind: flow analyser")):
        with pytest.raises(BadValueError, match=words) as refused:
            put(order, 3, measured(wrong), technician)
        assert refused.value.field == "instrument"
    assert not order.readings.exists()
    assert put(order, 3, bench.Answer(na=True, note="No balance here"), technician).instrument is None
    assert put(order, 3, measured(a_balance()), technician).verdict == Reading.Verdict.PASS


def test_a_refused_reading_says_what_to_do(technician: Person) -> None:
    """Name it, or have it entered: on the step's page the sentence stands with the form, and nothing is saved."""
    order = started(technician)
    sent = {"revision": order.revision, "value": "1.2", "verdict": "limits"}
    answer = signed_in(technician).post(f"/bench/orders/{order}/steps/3/", sent)
    assert answer.status_code == 422
    told = answer.content.decode()
    assert "Name the balance that you used; without it the reading is not saved" in told
    assert "Have it entered under Instruments first" in told
    assert not order.readings.exists()


def test_local_policy_may_mark_instead(technician: Person) -> None:
    """Stated above the home it holds there; the reading is taken, and page, sheet and trail say what it lacks."""
    order = started(technician)
    set_policy(order.device.home.site, {"unnamed": "marked"}, by=BY)
    reading = put(order, 3, measured(None), technician)
    assert (reading.instrument, reading.instrument_unnamed, reading.verdict) == (None, True, "pass")
    for address in ("", "sheet/"):
        assert "o instrument named" in page(technician, f"/bench/orders/{order}/{address}")
    set_policy(order.device.home, {"unnamed": "refused"}, by=BY)
    with pytest.raises(BadValueError, match="Name the balance"):
        put(order, 3, measured(None), technician)
    assert not put(order, 3, measured(a_balance()), technician).instrument_unnamed


def test_the_policy_is_stated_on_its_page(manager: Person) -> None:
    """Chosen at a place, shown there and in the list with where it comes from."""
    site = a_site()
    typed = {"unnamed": "marked", "acceptance": "", "profile": "", "jump_share": ""}
    assert signed_in(manager).post(f"/bench/reference-limits/places/{site.pk}/", typed).status_code == 302
    ward = a_ward()
    assert "from Mereford General" in page(manager, "/bench/reference-limits/places/")
    assert "Taken and marked" in page(manager, f"/bench/reference-limits/places/{ward.pk}/")


def test_nothing_is_measured_at_a_check(technician: Person) -> None:
    """An instrument at a look at the case is a slip."""
    with pytest.raises(BadValueError, match="Nothing is measured"):
        put(started(technician), 1, bench.Answer(passed=True, instrument=an_instrument()), technician)


def test_an_overdue_instrument_is_refused_or_marks_the_reading(technician: Person) -> None:
    """As its policy says: refused by default; taken and marked where it may be used; the due day is still in date."""
    order = started(technician)
    with pytest.raises(BadValueError, match="is overdue for calibration"):
        put(order, 3, measured(overdue()), technician)
    lenient = overdue(refused_when_overdue=False)
    assert put(order, 3, measured(lenient), technician).instrument_overdue
    last_day = a_balance(calibrated=False)
    a_calibration(last_day, days_ago=300, due_on=clock.today())
    assert not put(order, 3, measured(last_day), technician).instrument_overdue


def test_never_calibrated_is_as_overdue(technician: Person) -> None:
    """Refused by default, marked where its policy takes it."""
    order = started(technician)
    with pytest.raises(BadValueError, match="was never calibrated"):
        put(order, 3, measured(a_balance(calibrated=False)), technician)
    lenient = a_balance(calibrated=False, refused_when_overdue=False)
    assert put(order, 3, measured(lenient), technician).instrument_overdue


def test_withdrawn_or_out_of_its_limits_is_always_refused(technician: Person) -> None:
    """No policy lets a reading be taken with one that is known to be wrong, or is gone."""
    order = started(technician)
    gone, wrong = a_balance(refused_when_overdue=False), a_balance(refused_when_overdue=False)
    stores.withdraw(gone, "Dropped", by=BY)
    found_out(wrong, usable=False)
    with pytest.raises(BadValueError, match="is withdrawn"):
        put(order, 3, measured(gone), technician)
    with pytest.raises(BadValueError, match="not within its limits"):
        put(order, 3, measured(wrong), technician)


def test_the_instrument_stands_beside_the_reading(technician: Person) -> None:
    """On the order, on the printed sheet and in the trail, with its mark when it was overdue."""
    order, row = started(technician), overdue(number="BAL-07", refused_when_overdue=False)
    put(order, 3, measured(row), technician)
    assert "BAL-07" in page(technician, f"/bench/orders/{order}/")
    assert "Instrument overdue" in page(technician, f"/bench/orders/{order}/")
    assert "1.2 %, with BAL-07 (overdue for calibration), pass" in page(technician, f"/bench/orders/{order}/sheet/")
    told = TrailEntry.objects.filter(verb="answered").last()
    assert told is not None
    assert told.after["steps"] == {"3": "1.2 %, with BAL-07 (overdue for calibration), pass"}


def test_a_reading_too_near_its_limit_is_remarked_and_passes(technician: Person) -> None:
    """Simple acceptance decides; the guard band of U = 0.5 % is a remark, on the order and on the sheet."""
    order, row = started(technician), a_balance()
    assert put(order, 3, measured(row, "4.4"), technician).verdict == Reading.Verdict.PASS
    assert "Cannot tell" not in page(technician, f"/bench/orders/{order}/sheet/")
    assert put(order, 3, measured(row, "4.6"), technician).verdict == Reading.Verdict.PASS
    assert "Cannot tell" in page(technician, f"/bench/orders/{order}/sheet/")
    assert "Cannot tell" in page(technician, f"/bench/orders/{order}/")


def chosen(person: Person, order: Order, position: int) -> object:
    """The instrument that the form of a step presumes."""
    return signed_in(person).get(f"/bench/orders/{order}/?step={position}").context["form"].initial["instrument"]


def test_the_last_instrument_of_its_kind_is_remembered(technician: Person, second_technician: Person) -> None:
    """By this person on this bench, at any step that needs the kind; another person starts with none."""
    first, second, row = started(technician), received(a_device(), technician, kind="corrective"), a_balance()
    a_balance()
    put(first, 3, measured(row), technician)
    assert chosen(technician, second, 3) == row
    assert chosen(second_technician, second, 3) is None


def test_where_no_kind_is_needed_the_same_step_remembers(technician: Person) -> None:
    """And forgets when the last answer named none."""
    first, second, row = started(technician), received(a_device(), technician, kind="corrective"), an_instrument()
    put(first, 2, measured(row), technician)
    assert chosen(technician, second, 2) == row
    put(first, 2, measured(None), technician)
    assert chosen(technician, second, 2) is None


def test_the_step_is_answered_by_its_page(technician: Person) -> None:
    """A refused instrument stands beside what was typed; a good one is saved and leads on."""
    order, late, good = started(technician), overdue(number="BAL-08"), a_balance()
    client, address = signed_in(technician), f"/bench/orders/{order}/steps/3/"
    sent = {"revision": fresh(order).revision, "value": "1.5", "verdict": "limits"}
    refused = client.post(address, {**sent, "instrument": late.pk})
    assert refused.status_code == 422
    assert "BAL-08 Balance is overdue for calibration" in refused.content.decode()
    assert 'value="1.5"' in refused.content.decode()
    assert client.post(address, {**sent, "instrument": good.pk}).status_code == 302
    assert order.readings.get(latest=True).instrument == good


def test_only_instruments_of_ones_places_are_offered(technician: Person) -> None:
    """Those of the kind needed, none of another site, none withdrawn; what is overdue says so."""
    order, gone = started(technician), a_balance(number="BAL-GONE")
    stores.withdraw(gone, "Dropped", by=BY)
    a_balance(number="BAL-FAR", place=a_bench(a_site("Corran Vale")))
    an_instrument(number="FLO-01")
    overdue(number="BAL-LATE")
    a_balance(number="BAL-HERE")
    shown = page(technician, f"/bench/orders/{order}/?step=3")
    assert "BAL-LATE Balance (overdue)" in shown
    assert "BAL-HERE Balance<" in shown
    assert not any(number in shown for number in ("BAL-GONE", "BAL-FAR", "FLO-01"))


def test_a_step_that_needs_none_has_no_extra_stop(technician: Person) -> None:
    """The choice stands after the note and is left out by the tab key; the step that needs one has it in its way."""
    order = started(technician)
    assert "Measured with" not in page(technician, f"/bench/orders/{order}/?step=2")
    a_balance()
    free = page(technician, f"/bench/orders/{order}/?step=2")
    assert 'name="instrument" tabindex="-1"' in free
    assert free.index('name="note"') < free.index('name="instrument"')
    needed = page(technician, f"/bench/orders/{order}/?step=3")
    assert 'name="instrument" tabindex' not in needed
    assert needed.index('name="instrument"') < needed.index('name="note"')
    assert "Measured with" not in page(technician, f"/bench/orders/{order}/?step=1")


def test_a_procedure_names_only_kinds_that_are(technician: Person) -> None:
    """A hospital's own file that asks for a theodolite is refused in words."""
    odd = bench.NewStep(words="Height", kind="reading", unit="mm", instrument_kind="theodolite")
    with pytest.raises(BadValueError, match="no kind of instrument"):
        started(technician, odd)
