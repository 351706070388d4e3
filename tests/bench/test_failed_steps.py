"""A step that failed: what an answer that passes over it must say, and where that is seen."""

from decimal import Decimal

import pytest
from django.test import Client

from fleet.bench import actions as bench
from fleet.bench.models import Order, Reading
from fleet.bench.queries import facts, standing
from fleet.bench.queries.signing import signatures
from fleet.core.errors import BadValueError, ConflictError, MoveRefusedError
from fleet.core.orders import Outcome
from fleet.people.models import Person
from fleet.web import clock
from tests.bench.builders import (
    a_procedure,
    again,
    as_actor,
    finish,
    fresh,
    put,
    received,
    signed_in,
    step,
    work,
)
from tests.builders import a_device

FAILS = bench.Answer(value="9.4")
WHY = "Plunger clamp adjusted, measured again with 50 mL"


@pytest.fixture
def order(technician: Person) -> Order:
    """A repair whose delivery step (2) failed."""
    made = received(a_device(), technician, kind="corrective")
    put(made, 2, FAILS, technician)
    return made


@pytest.fixture
def at_bench(technician: Person) -> Client:
    """The technician's browser."""
    return signed_in(technician)


def test_a_pass_over_a_failure_says_what_changed(order: Order, technician: Person) -> None:
    """Without the reason nothing is written; with it, it stays with the answer and in its words."""
    with pytest.raises(BadValueError, match=r"Step 2 failed before \(9.4 %, fail\)") as refused:
        put(order, 2, bench.Answer(value="0.1"), technician)
    assert refused.value.field == "changed"
    assert put(order, 2, bench.Answer(value="0.1", changed=WHY), technician).changed == WHY


def test_not_applicable_takes_no_failure_away(order: Order, technician: Person) -> None:
    """It is refused over the failure of a required step; one on record from before still counts as failed."""
    with pytest.raises(BadValueError, match="takes no failure away"):
        put(order, 2, bench.Answer(na=True, note="No 50 mL syringe to hand"), technician)
    Reading.objects.filter(order=order).update(latest=False)
    Reading.objects.create(order=order, step=step(order, 2), verdict="na", note="Left out", taken_at=clock.now())
    assert (standing(order).failed, facts(order.device, order).failed_required_steps) == (1, 1)
    for position, answer in {1: bench.Answer(passed=True), 3: bench.Answer(passed=True)}.items():
        put(order, position, answer, technician)
    put(order, 4, bench.Answer(note="2.4.1"), technician)
    with pytest.raises(MoveRefusedError, match="1 required step has failed"):
        finish(order, technician)
    put(order, 2, bench.Answer(value="0.1", changed=WHY), technician)
    finish(order, technician)


def test_a_failure_is_not_lost_with_its_driver(order: Order, technician: Person) -> None:
    """Ended as not located, the failure waits: other work does not return the driver, work of the same kind does."""
    device = order.device
    finish(order, technician, outcome=Outcome.NOT_LOCATED)
    cleaned = work(received(device, technician, kind="cleaning"), technician)
    with pytest.raises(MoveRefusedError, match=rf"order {order} \(repair\) ended as not located with a failure"):
        finish(cleaned, technician)
    repair = received(device, technician, kind="corrective")
    finish(cleaned, technician, stays=True)
    finish(work(repair, technician), technician, outcome=Outcome.REPAIRED)
    assert again(device).condition == "in_service"


def test_a_step_that_may_fail_or_fails_again_asks_for_nothing(order: Order, technician: Person) -> None:
    """The reason belongs to a pass at a step that must pass, and is kept with nothing else."""
    assert put(order, 2, bench.Answer(value="8", changed=WHY), technician).changed == ""
    put(order, 3, bench.Answer(passed=False, note="speaker dead"), technician)
    assert put(order, 3, bench.Answer(passed=True), technician).verdict == "pass"


def test_a_computed_failure_that_passes_is_explained_too(technician: Person) -> None:
    """The readings that a failed computed step takes ask what changed, and it is kept with the computed one."""
    steps = (
        bench.NewStep(words="Volume", kind="reading", unit="mL", key="volume"),
        bench.NewStep(
            words="Twice", kind="computed", unit="mL", formula="2 * volume", high=Decimal(20), limit_source="s"
        ),
    )
    a_procedure("corrective", steps)
    order = received(a_device(), technician, kind="corrective")
    put(order, 1, bench.Answer(value="12", passed=True), technician)
    with pytest.raises(BadValueError, match="Step 2 failed before"):
        put(order, 1, bench.Answer(value="5", passed=True), technician)
    put(order, 1, bench.Answer(value="5", passed=True, changed=WHY), technician)
    assert Reading.objects.get(step__position=2, latest=True).changed == WHY


def test_the_page_asks_for_the_reason_and_shows_the_failure(order: Order, at_bench: Client) -> None:
    """The step's form, also in the way through all steps, has its field; a pass without it keeps what was typed."""
    for page in (f"/bench/orders/{order}/?step=2", f"/bench/orders/{order}/stepwise/?step=1"):
        assert 'name="changed"' in at_bench.get(page).content.decode()
    assert 'name="changed"' not in at_bench.get(f"/bench/orders/{order}/?step=1").content.decode()
    sent = {"revision": fresh(order).revision, "value": "0.1", "verdict": "limits"}
    refused = at_bench.post(f"/bench/orders/{order}/steps/2/", sent)
    assert refused.status_code == 422
    assert 'value="0.1"' in refused.content.decode()
    assert at_bench.post(f"/bench/orders/{order}/steps/2/", {**sent, "changed": WHY}).status_code == 302


def test_whoever_signs_sees_what_failed_at_first(order: Order, technician: Person, at_bench: Client) -> None:
    """The finish page, the steps and the sheet list the failed answer, the reason and the answer that counts."""
    put(order, 2, bench.Answer(value="0.1", changed=WHY), technician)
    rest = {1: bench.Answer(passed=True), 3: bench.Answer(passed=True), 4: bench.Answer(note="2.4.1")}
    for position, answer in rest.items():
        put(order, position, answer, technician)
    for page in ("finish/", "", "sheet/"):
        text = at_bench.get(f"/bench/orders/{order}/{page}").content.decode()
        assert "9.4 %, fail" in text
        assert WHY in text


def test_the_same_person_in_two_windows_is_told(order: Order, technician: Person) -> None:
    """A form opened before one's own later answer is refused; one that a screen kept and corrects is not."""
    opened = order.revision
    put(order, 1, bench.Answer(passed=False, note="speaker dead"), technician)
    with pytest.raises(ConflictError, match="answered after you opened it: Tova Lindqvarn"):
        put(order, 1, bench.Answer(passed=False, note="speaker dead"), technician, revision=opened)
    given = bench.Answer(passed=False, note="speaker dead")
    sent = bench.Sent(opened, knows_own=True)
    assert bench.answer_once(order, step(order, 1), given, sent, by=as_actor(technician)).note == "speaker dead"


def test_a_note_that_the_step_asks_for_is_asked_for(technician: Person, at_bench: Client) -> None:
    """Without the syringe the reading is not saved, and the refusal stands at the note; nothing is judged unasked."""
    caution = "Name the syringe in the note: accuracy depends on it"
    a_procedure("corrective", (bench.NewStep(words="Flow", kind="reading", unit="%", caution=caution),))
    order = received(a_device(), technician, kind="corrective")
    address, sent = f"/bench/orders/{order}/steps/1/", {"revision": order.revision, "value": "1"}
    refused = at_bench.post(address, sent)
    assert refused.context["form"].errors.keys() == {"note", "verdict"}
    assert at_bench.post(address, {**sent, "verdict": "pass", "note": "50 mL"}).status_code == 302


def test_a_signed_reason_is_part_of_the_record(order: Order, technician: Person) -> None:
    """Changing the reason afterwards breaks the signature."""
    put(order, 2, bench.Answer(value="0.1", changed=WHY), technician)
    for position in (1, 3):
        put(order, position, bench.Answer(passed=True), technician)
    put(order, 4, bench.Answer(note="2.4.1"), technician)
    done = finish(order, technician)
    Reading.objects.filter(order=done, latest=True, step__position=2).update(changed="other")
    assert not signatures(done)[0].holds
