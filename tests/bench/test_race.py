"""Two people at the same moment, on two real connections."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

import pytest
from django.db import connection

from fleet.audit.actors import Actor
from fleet.bench import actions as bench
from fleet.bench.models import Order, Reading
from fleet.core.errors import BenchwardError, ConflictError
from fleet.core.orders import Outcome
from fleet.people.models import Person
from tests.bench.builders import again, as_actor, fresh, received, step, work
from tests.builders import a_device

pytestmark = pytest.mark.django_db(transaction=True)


def together(act: Callable[[Actor], object], people: list[Actor]) -> list[object]:
    """Let each person act at the same moment; a refusal stands in place of the result."""
    start = Barrier(len(people))

    def one(by: Actor) -> object:
        start.wait(timeout=10)
        try:
            return act(by)
        except BenchwardError as error:
            return error
        finally:
            connection.close()

    with ThreadPoolExecutor(len(people)) as pool:
        return list(pool.map(one, people))


@pytest.fixture
def both(technician: Person, second_technician: Person) -> list[Actor]:
    """Two technicians."""
    return [as_actor(technician), as_actor(second_technician)]


def test_one_of_two_finishes_an_order(both: list[Actor]) -> None:
    """Two technicians finish the same order at once: one does, the other gets a conflict, the driver returns once."""
    order = work(received(a_device(), both[0], kind="corrective"), both[0])
    given = bench.Completion(outcome=Outcome.REPAIRED, action_taken="Drive cleaned.", minutes=5)
    results = together(lambda by: bench.complete(order, given, revision=order.revision, by=by), both)
    assert sorted(type(result) for result in results if isinstance(result, ConflictError)) == [ConflictError]
    assert sum(isinstance(result, Order) for result in results) == 1
    assert fresh(order).labour.count() == 1
    assert again(order.device).condition == "in_service"


def test_one_of_two_answers_a_step(both: list[Actor]) -> None:
    """Two answers to one step from forms opened together: one counts, the other is told of it."""
    order = received(a_device(), both[0], kind="corrective")
    first = step(order, 1)
    answer = bench.Answer(passed=True)
    results = together(lambda by: bench.answer(order, first, answer, revision=order.revision, by=by), both)
    assert sum(isinstance(result, ConflictError) for result in results) == 1
    assert Reading.objects.count() == 1


def test_received_at_two_benches_at_once_there_is_one_order(both: list[Actor]) -> None:
    """A driver scanned twice at the same moment gets one order."""
    device = a_device()
    received(a_device(), both[0], kind="planned")
    results = together(lambda by: received(device, by, kind="planned"), both)
    assert {type(result) for result in results} == {Order}
    assert Order.objects.filter(device=device).count() == 1


def test_one_answer_sent_from_two_windows_at_once_is_one(both: list[Actor]) -> None:
    """Two open windows of one screen send the kept answer at the same moment: both are told that it is saved."""
    order = received(a_device(), both[0], kind="corrective")
    first, sent = step(order, 1), bench.Sent(order.revision, key="k1")
    answer = bench.Answer(passed=True)
    results = together(lambda by: bench.answer_once(order, first, answer, sent, by=by), [both[0], both[0]])
    assert [type(result) for result in results] == [Reading, Reading]
    assert Reading.objects.count() == 1
