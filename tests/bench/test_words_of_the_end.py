"""How an order ends in words that fit its kind, and what those words exclude."""

import pytest

from fleet.bench.models import Order
from fleet.core.errors import BadValueError
from fleet.core.lifecycle import WaitReason
from fleet.core.orders import Outcome, outcome_label
from fleet.people.models import Person
from fleet.web import clock
from tests.bench.builders import finish, fresh, received, signed_in, work
from tests.builders import a_device
from tests.tags.builders import an_open_tag


@pytest.mark.parametrize(
    ("kind", "words"),
    [("acceptance", "Accepted"), ("planned", "Done, nothing wrong"), ("corrective", "No fault found")],
)
def test_each_kind_of_work_ends_in_words_of_its_own(kind: str, words: str) -> None:
    """The code is one for all; only an order that answers a report finds no fault."""
    assert outcome_label(Outcome.NO_FAULT_FOUND, kind) == words
    assert Order(kind=kind, outcome="no_fault_found").get_outcome_display() == words


def test_no_fault_found_beside_a_fault_is_asked_back(technician: Person) -> None:
    """What contradicts itself is refused beside what was found, and nothing is finished."""
    order = work(received(a_device(), technician, kind="corrective"), technician)
    with pytest.raises(BadValueError, match="contradict each other") as refused:
        finish(order, technician, Outcome.NO_FAULT_FOUND, found="electronics")
    assert refused.value.field == "found"
    assert fresh(order).state == "started"


def test_whoever_may_not_retire_reads_who_may(technician: Person, manager: Person) -> None:
    """The page says what this person may end the order as, and nothing more."""
    order = received(a_device(), technician, kind="corrective")
    address = f"/bench/orders/{order}/finish/"
    assert "Retiring is for a manager" in signed_in(technician).get(address).content.decode()
    assert "not located or retired." in signed_in(manager).get(address).content.decode()


def test_a_wait_for_parts_says_for_which_and_the_ward_reads_it(technician: Person) -> None:
    """Without the part it is refused; with it the ward reads that it waits, and the day if there is one."""
    device = a_device()
    tag = an_open_tag(device)
    order = received(device, technician)
    client, act = signed_in(technician), f"/bench/orders/{order}/act/wait/"
    refused = client.post(act, {"wait-wait_reason": WaitReason.PARTS.value})
    assert "Say which part it waits for" in refused.content.decode()
    day = clock.today()
    given = {"wait-why": "Plunger clamp, order 4711", "wait-expected_back": f"{day:%Y-%m-%d}"}
    assert client.post(act, {"wait-wait_reason": WaitReason.PARTS.value, **given}).status_code == 302
    tag.refresh_from_db()
    assert tag.expected_back == day
