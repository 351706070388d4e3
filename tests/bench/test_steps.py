"""Answers at a step: the verdict, what is refused, what two technicians see of each other."""

from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from fleet.audit.models import TrailEntry
from fleet.bench import actions as bench
from fleet.bench.models import PartUse, Reading
from fleet.core.errors import BadValueError, ConflictError, MoveRefusedError, NotAllowedError
from fleet.people.models import Person
from tests.bench.builders import FLOW, a_procedure, as_actor, finish, fresh, put, received, step, work
from tests.builders import a_device
from tests.tags.builders import an_open_tag


@pytest.mark.parametrize(
    ("typed", "verdict"), [("-5", "pass"), ("5,0", "pass"), ("5.000001", "fail"), ("-5.1", "fail"), ("0", "pass")]
)
def test_limits_judge_a_reading_unrounded(technician: Person, typed: str, verdict: str) -> None:
    """Limits are inclusive, the value is not rounded first, and what was typed is kept beside the number."""
    order = received(a_device(), technician, kind="corrective")
    reading = put(order, 2, bench.Answer(value=typed, passed=True), technician)
    assert (reading.verdict, reading.as_typed) == (verdict, typed)
    assert Reading.objects.get(pk=reading.pk).value == Decimal(typed.replace(",", "."))


def test_a_reading_without_limits_is_recorded(technician: Person) -> None:
    """Without limits the value passes by being there, unless the person says that it fails."""
    a_procedure("corrective", (bench.NewStep(words="Time to alarm", kind="reading", unit="min"),))
    order = received(a_device(), technician, kind="corrective")
    assert put(order, 1, bench.Answer(value="12"), technician).verdict == "pass"
    assert put(order, 1, bench.Answer(value="12", passed=False), technician).verdict == "fail"


def test_a_check_that_fails_says_what_is_wrong(technician: Person) -> None:
    """Without a note it is not taken, so that whoever meets the driver next reads more than a cross."""
    order = received(a_device(), technician, kind="corrective")
    with pytest.raises(BadValueError, match="Say in the note what is wrong") as refused:
        put(order, 1, bench.Answer(passed=False), technician)
    assert refused.value.field == "note"
    assert not Reading.objects.exists()
    assert put(order, 1, bench.Answer(passed=False, note="cracked"), technician).verdict == "fail"


@pytest.mark.parametrize(
    ("position", "answer", "field", "words"),
    [
        (1, bench.Answer(), "passed", "passed or failed"),
        (2, bench.Answer(), "value", "A number is missing"),
        (2, bench.Answer(value="1,234"), "value", "could be"),
        (2, bench.Answer(value="0.1234567"), "value", "at most 6 decimals"),
        (2, bench.Answer(value="123456789"), "value", "less than 100000000"),
        (2, bench.Answer(na=True, note="  "), "note", "why this step does not apply"),
        (4, bench.Answer(), "note", "Write it down"),
    ],
)
def test_an_unusable_answer_is_refused_by_field(
    technician: Person, position: int, answer: bench.Answer, field: str, words: str
) -> None:
    """Each refusal names its field, says what would be right, and writes nothing."""
    order = received(a_device(), technician, kind="corrective")
    with pytest.raises(BadValueError, match=words) as refused:
        put(order, position, answer, technician)
    assert refused.value.field == field
    assert not Reading.objects.exists()
    assert fresh(order).revision == order.revision


@pytest.mark.parametrize(
    ("unit", "quantity", "typed", "words"),
    [
        ("min", "", "-5", "“-5” is less than nothing: this is a time"),
        ("min", "", "-2 h", "“-2 h” is less than nothing: this is a time"),
        ("µA", "equipment", "-3", "this is equipment leakage current"),
        ("V", "", "-5", ""),
    ],
)
def test_a_magnitude_is_not_negative(technician: Person, unit: str, quantity: str, typed: str, words: str) -> None:
    """A time, a current or a leakage below zero is refused and named; a voltage may be negative."""
    a_procedure("corrective", (bench.NewStep(words="Measure", kind="reading", unit=unit, quantity=quantity),))
    order = received(a_device(), technician, kind="corrective")
    given = bench.Answer(value=typed, passed=True)
    if not words:
        assert put(order, 1, given, technician).value == -5
        return
    with pytest.raises(BadValueError, match=words) as refused:
        put(order, 1, given, technician)
    assert refused.value.field == "value"


def test_a_later_answer_counts_and_the_earlier_stays(technician: Person) -> None:
    """Both answers stay on record; only the last is the latest."""
    order = received(a_device(), technician, kind="corrective")
    put(order, 2, bench.Answer(value="9"), technician)
    put(order, 2, bench.Answer(value="1", changed="Clamp adjusted"), technician)
    kept = Reading.objects.order_by("pk").values_list("as_typed", "verdict", "latest")
    assert list(kept) == [("9", "fail", False), ("1", "pass", True)]


def test_two_technicians_on_different_steps_do_not_disturb_each_other(
    technician: Person, second_technician: Person
) -> None:
    """A form opened before the other answered another step is accepted."""
    order = received(a_device(), technician, kind="corrective")
    put(order, 1, bench.Answer(passed=True), technician, revision=order.revision)
    put(order, 2, bench.Answer(value="1"), second_technician, revision=order.revision)
    assert Reading.objects.filter(latest=True).count() == 2


def test_two_technicians_on_one_step_learn_of_each_other(technician: Person, second_technician: Person) -> None:
    """The second is refused with who answered what, and nothing of theirs is written."""
    order = received(a_device(), technician, kind="corrective")
    put(order, 2, bench.Answer(value="1.5"), technician, revision=order.revision)
    with pytest.raises(ConflictError, match=r"Tova Lindqvarn answered \(step 2: 1.5 %, pass\)"):
        put(order, 2, bench.Answer(value="9"), second_technician, revision=order.revision)
    assert Reading.objects.get().as_typed == "1.5"
    assert put(order, 2, bench.Answer(value="9"), second_technician).verdict == "fail"


def test_an_old_form_does_not_finish_a_changed_order(technician: Person, second_technician: Person) -> None:
    """Whoever finishes from a page older than the last change is told who changed what."""
    order = work(received(a_device(), technician, kind="corrective"), technician)
    put(order, 2, bench.Answer(value="9"), second_technician)
    given = bench.Completion(outcome="repaired")
    with pytest.raises(ConflictError, match=r"Bram Ostley answered \(step 2: 9 %, fail\)"):
        bench.complete(order, given, revision=order.revision, by=as_actor(technician))
    assert fresh(order).state == "started"


def test_a_step_of_another_procedure_is_refused(technician: Person) -> None:
    """Only the steps frozen on the order can be answered."""
    order = received(a_device(), technician, kind="corrective")
    foreign = step(received(a_device(), technician, kind="planned"), 1)
    with pytest.raises(BadValueError, match="is no step of order"):
        bench.answer(order, foreign, bench.Answer(passed=True), revision=order.revision, by=as_actor(technician))


def test_answers_together_are_all_or_none(technician: Person) -> None:
    """One unusable answer among several leaves nothing half written."""
    order = received(a_device(), technician, kind="corrective")
    answers = [(step(order, 1), bench.Answer(passed=True)), (step(order, 2), bench.Answer(value="much"))]
    with pytest.raises(BadValueError, match="is not a number"):
        bench.answer_many(order, answers, by=as_actor(technician))
    assert not Reading.objects.exists()


def test_a_finished_order_takes_no_answer_minutes_or_part(technician: Person) -> None:
    """What is done stays as it was done."""
    order = finish(work(received(a_device(), technician, kind="corrective"), technician), technician)
    actor = as_actor(technician)
    with pytest.raises(MoveRefusedError):
        put(order, 1, bench.Answer(passed=False), technician)
    with pytest.raises(MoveRefusedError):
        bench.add_labour(order, 5, by=actor)
    with pytest.raises(MoveRefusedError):
        bench.add_part(order, bench.Part(name="Clamp"), by=actor)


@pytest.mark.parametrize("minutes", [0, -5, 1441])
def test_minutes_that_cannot_be_are_refused(technician: Person, minutes: int) -> None:
    """Minutes lie between one and a day."""
    order = received(a_device(), technician, kind="corrective")
    with pytest.raises(BadValueError, match="from 1 to 1440"):
        bench.add_labour(order, minutes, by=as_actor(technician))


def test_a_nurse_answers_no_step(technician: Person, ward_nurse: Person) -> None:
    """A step needs the bench's duty, whatever door is used."""
    order = received(a_device(), technician, kind="corrective")
    with pytest.raises(NotAllowedError):
        put(order, 1, bench.Answer(passed=True), ward_nurse)


def test_the_trail_tells_each_answer(technician: Person) -> None:
    """Who answered which step with what stands in the device's trail."""
    order = received(a_device(), technician, kind="corrective")
    put(order, 2, bench.Answer(value="1.5", note="syringe A"), technician)
    entry = TrailEntry.objects.filter(device_ref=order.device_id).latest("id")
    assert (entry.verb, entry.actor) == ("answered", "Tova Lindqvarn")
    assert entry.after["steps"] == {"2": "1.5 %, pass: syringe A"}


def test_no_part_goes_in_under_quarantine(technician: Person) -> None:
    """A driver that is kept as it is takes no part, and nothing is recorded."""
    device = a_device()
    an_open_tag(device, harm="yes")
    order = received(device, technician, kind="corrective")
    with pytest.raises(MoveRefusedError, match="quarantine is open"):
        bench.add_part(order, bench.Part(name="Plunger grip"), by=as_actor(technician))
    assert not PartUse.objects.exists()


def test_limits_of_steps_answered_together_are_read_once(technician: Person) -> None:
    """Six readings with limits, answered together, cost as many statements as two."""

    def statements(readings: int) -> int:
        device = a_device()
        a_procedure("planned", (FLOW,) * readings, code=f"flow-{readings}", device_type=device.device_type)
        order = received(device, technician, kind="planned")
        answers = [(step(order, 1 + number), bench.Answer(value="0")) for number in range(readings)]
        with CaptureQueriesContext(connection) as told:
            bench.answer_many(order, answers, by=as_actor(technician))
        return len(told)

    assert statements(6) == statements(2)
