"""Two people at the same moment: the database lets one through, and the other reads a sentence instead of an error."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

import pytest
from django.apps import apps
from django.db import IntegrityError, connection, connections, models
from django.http import HttpResponse
from django.test import Client, RequestFactory
from django.urls import reverse

from fleet.batteries.models import Fitting
from fleet.bench.models import Order
from fleet.people.models import Person
from fleet.registry.models import Device
from fleet.stores.models import Stock
from fleet.web import clock
from fleet.web.collisions import GENERAL, SENTENCES, UNREACHED, CollisionError, Telling, in_words, options
from tests.batteries.builders import a_pack
from tests.bench.builders import signed_in
from tests.builders import a_device, a_type, a_ward
from tests.stores.builders import a_part, in_stock

pytestmark = pytest.mark.django_db(transaction=True)


def at_once(*acts: Callable[[], object]) -> list[object]:
    """Let each act on a connection of its own at the same moment; a refusal stands in place of the result."""
    start = Barrier(len(acts))

    def one(act: Callable[[], object]) -> object:
        with connections["default"].execute_wrapper(in_words):
            start.wait(timeout=20)
            try:
                return act()
            except IntegrityError as error:
                return error
            finally:
                connection.close()

    with ThreadPoolExecutor(len(acts)) as pool:
        return list(pool.map(one, acts))


def refusals(results: list[object]) -> list[str]:
    return [str(result) for result in results if isinstance(result, CollisionError)]


def test_one_asset_number_added_twice_at_once() -> None:
    """Two drivers under one asset number: one is kept, the other is refused with what to do."""
    a, b = a_device(), a_device()

    def renamed(device: Device) -> int:
        return Device.objects.filter(pk=device.pk).update(asset_number="TWICE")

    results = at_once(lambda: renamed(a), lambda: renamed(b))
    assert refusals(results) == [SENTENCES["device.asset_number"]]
    assert Device.objects.filter(asset_number="TWICE").count() == 1


def test_two_packs_fitted_to_one_driver_at_once() -> None:
    """A driver holds one pack; whoever comes second reads that somebody was quicker."""
    device, packs = a_device(), [a_pack(), a_pack()]

    def fitted(at: int) -> Fitting:
        return Fitting.objects.create(device=device, pack=packs[at], fitted_on=clock.today())

    results = at_once(lambda: fitted(0), lambda: fitted(1))
    assert refusals(results) == [SENTENCES["fitting_one_pack_per_device"]]
    assert Fitting.objects.filter(device=device, removed_on=None).count() == 1


def test_two_orders_of_one_kind_opened_at_once() -> None:
    """One order of a kind is open on a driver; the second is led to the first."""
    device = a_device()

    def raised(number: str) -> Order:
        return Order.objects.create(number=number, device=device, kind="planned", raised_at=clock.now())

    results = at_once(lambda: raised("W1"), lambda: raised("W2"))
    assert refusals(results) == [SENTENCES["order_open_once_per_kind"]]


def test_two_people_add_one_driver_by_the_page_at_once(manager: Person, administrator: Person) -> None:
    """Both send the same new driver: one is added, and the other's page is a refusal in words, never a fault."""
    typed = {
        "serial_number": "SN1", "asset_number": "TWICE", "device_type": a_type().pk, "home": a_ward().pk,
        "pool": "clinical", "owner": "hospital",
    }  # fmt: skip
    clients = [signed_in(manager), signed_in(administrator)]

    def sent(client: Client) -> HttpResponse:
        return client.post(reverse("registry:device_new"), typed)

    answers = at_once(lambda: sent(clients[0]), lambda: sent(clients[1]))
    added, refused = sorted(answers, key=lambda answer: answer.status_code != 302)
    assert added.status_code == 302
    assert refused.status_code in {200, 409, 422}
    assert Device.objects.filter(asset_number="TWICE").count() == 1


def test_a_collision_that_no_view_catches_is_a_page_in_words(rf: RequestFactory, manager: Person) -> None:
    """The page says what happened and that nothing was saved."""
    request = rf.get("/")
    request.user = manager
    answer = Telling(lambda _request: HttpResponse()).process_exception(request, CollisionError(GENERAL))
    assert answer is not None
    assert answer.status_code == 409
    assert "Nothing of yours was saved" in answer.content.decode()


def test_other_refusals_of_the_database_stay_faults() -> None:
    """A condition that every row must meet is the program's business, not the reader's."""
    device = a_device()
    with connection.execute_wrapper(in_words), pytest.raises(IntegrityError) as refused:
        Device.objects.filter(pk=device.pk).update(condition="lost")
    assert not isinstance(refused.value, CollisionError)


def constraints() -> set[str]:
    known = set()
    for model in apps.get_models():
        if options(model).app_label != "fleet":
            continue
        known |= {each.name for each in options(model).constraints if isinstance(each, models.UniqueConstraint)}
        known |= {
            f"{options(model).model_name}.{field.name}"
            for field in options(model).concrete_fields
            if field.unique and not field.primary_key
        }
    return known


def test_each_constraint_has_a_sentence_or_a_reason_why_nobody_meets_it() -> None:
    """Whoever adds a constraint says what a person who runs into it reads; one that is renamed takes that along."""
    assert set(SENTENCES) | set(UNREACHED) == constraints()
    assert not set(SENTENCES) & set(UNREACHED)


def test_a_constraint_over_expressions_is_told_by_its_name() -> None:
    """A second stock of one part, place and batch is a collision in words, though its constraint names no column."""
    held = in_stock(a_part(), 3)
    with connection.execute_wrapper(in_words), pytest.raises(CollisionError) as refused:
        Stock.objects.create(shelf=held.shelf, batch=held.batch, expires_on=held.expires_on)
    assert str(refused.value) == SENTENCES["stock_once_per_batch"]
