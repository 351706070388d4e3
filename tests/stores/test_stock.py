"""The ledger of stock: what comes and goes, what is refused, and that the balance is always the sum."""

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.db import DatabaseError, IntegrityError, connection, transaction
from django.db.models import Sum
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fleet.audit.actors import Actor
from fleet.audit.models import TrailEntry
from fleet.core.errors import BadValueError, BenchwardError, MoveRefusedError, NotAllowedError
from fleet.people.models import Person
from fleet.people.queries import actor_for
from fleet.people.roles import Role
from fleet.stores import actions, queries
from fleet.stores.models import Movement, Part, Stock
from fleet.web import clock
from tests.bench.test_race import together
from tests.builders import BY, a_bench, a_device, a_person, a_site, a_store
from tests.stores.builders import a_part, in_stock, left


def issue(part: Part, quantity: int, **facts: object) -> list[Movement]:
    return actions.issue(part, quantity, [a_bench()], reference="W0001A", by=BY, **facts)


def days(number: int) -> object:
    return clock.today() + timedelta(days=number)


STEPS = st.lists(st.tuples(st.sampled_from("RIGMCS"), st.integers(1, 5), st.integers(0, 1)), min_size=1, max_size=14)


@pytest.mark.django_db
@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(steps=STEPS)
def test_the_balance_is_the_sum_and_never_below_zero(steps: list[tuple[str, int, int]]) -> None:
    """Whatever comes, goes, moves and is counted: each stock is the sum of its ledger, no line leaves less than 0."""
    with transaction.atomic():
        part, places = a_part(), [a_bench(), a_store()]
        stocks = [in_stock(part, 3, place) for place in places]
        for verb, many, which in steps:
            try:
                _act(verb, stocks[which], places[1 - which], many)
            except BenchwardError:
                continue
        for stock in Stock.objects.filter(shelf__part=part):
            assert stock.quantity == stock.movements.aggregate(n=Sum("change"))["n"] >= 0
            balance = 0
            for line in stock.movements.order_by("pk"):
                balance += line.change
                assert line.balance == balance >= 0
        transaction.set_rollback(True)


def _act(verb: str, stock: Stock, other: object, many: int) -> object:
    acts: dict[str, Callable[[], object]] = {
        "R": lambda: in_stock(stock.shelf.part, many, stock.shelf.place),
        "I": lambda: actions.issue(stock.shelf.part, many, [stock.shelf.place], reference="W0001A", by=BY),
        "G": lambda: actions.give_back(stock, many, reference="W0001A", by=BY),
        "M": lambda: actions.move(stock, other, many, by=BY),
        "C": lambda: actions.count([actions.Found(stock=stock, quantity=many, expected=left(stock))], "Why", by=BY),
        "S": lambda: actions.scrap(stock, many, "Bent", by=BY),
    }
    return acts[verb]()


@pytest.mark.django_db(transaction=True)
def test_one_of_two_gets_the_last(technician: Person, second_technician: Person) -> None:
    """Two technicians take the last one at the same moment: one has it, the other is told that none is left."""
    part = a_part()
    stock = in_stock(part, 1)
    both = [actor_for(technician), actor_for(second_technician)]

    def take(by: Actor) -> object:
        return actions.issue(part, 1, [a_bench()], reference=f"W{by.person_id}", by=by)

    results = together(take, both)
    assert sum(isinstance(result, BadValueError) for result in results) == 1
    assert left(stock) == 0
    assert Movement.objects.filter(kind="issued").count() == 1


@pytest.mark.django_db
def test_the_first_to_expire_is_taken_first_and_the_expired_never() -> None:
    """Of three batches the expired one stays, the next to expire is used up, the rest is taken from the later one."""
    part = a_part(keeps_batch=True, keeps_expiry=True)
    late, soon = in_stock(part, 5, batch="L", expires_on=days(90)), in_stock(part, 2, batch="S", expires_on=days(9))
    gone = in_stock(part, 4, batch="G", expires_on=days(0))
    Stock.objects.filter(pk=gone.pk).update(expires_on=days(-1))
    assert [(line.stock_id, line.change) for line in issue(part, 3)] == [(soon.pk, -2), (late.pk, -1)]
    assert left(gone) == 4
    with pytest.raises(BadValueError, match="Only 4 of"):
        issue(part, 5)
    gone.refresh_from_db()
    with pytest.raises(BadValueError, match="expired on") as refused:
        issue(part, 1, stock=gone)
    assert refused.value.field == "stock"


@pytest.mark.django_db
def test_new_parts_are_taken_before_reused_ones() -> None:
    """A part saved from a retired driver is stock like any other, marked, and taken last."""
    part, device = a_part(), a_device()
    with pytest.raises(MoveRefusedError, match="not retired"):
        actions.save_part(part, a_bench(), device, 1, by=BY)
    device.condition = "retired"
    saved = actions.save_part(part, a_bench(), device, 1, by=BY).stock
    new = in_stock(part, 1)
    assert [line.stock_id for line in issue(part, 2)] == [new.pk, saved.pk]
    assert str(device) in saved.words
    assert TrailEntry.objects.filter(verb="saved part", device_ref=device.pk).exists()


@pytest.mark.django_db
def test_the_bench_shelf_is_taken_from_before_the_store() -> None:
    """The places are taken in their order: what lies at hand goes first."""
    part = a_part()
    store, bench = in_stock(part, 2, a_store()), in_stock(part, 1)
    actions.issue(part, 2, [a_bench(), a_store()], reference="W0001A", by=BY)
    assert (left(bench), left(store)) == (0, 1)


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("facts", "field"),
    [
        ({"batch": "", "expires_on": "later"}, "batch"),
        ({"batch": "B", "expires_on": None}, "expires_on"),
        ({"batch": "B", "expires_on": "past"}, "expires_on"),
        ({"batch": "B", "expires_on": "later", "quantity": 0}, "quantity"),
    ],
)
def test_a_delivery_that_lacks_what_is_recorded_is_refused(facts: dict[str, object], field: str) -> None:
    """Without its batch, without its day, expired already, or of none."""
    part = a_part(keeps_batch=True, keeps_expiry=True)
    when = {"later": days(30), "past": days(-1), None: None}[facts.pop("expires_on")]
    line = actions.Delivered(**{"part": part, "quantity": 1, "expires_on": when, **facts})
    with pytest.raises(BadValueError) as refused:
        actions.receive(a_bench(), [line], by=BY)
    assert refused.value.field == field
    assert not Stock.objects.exists()


@pytest.mark.django_db
def test_a_count_corrects_with_a_reason_and_keeps_what_moved_meanwhile() -> None:
    """The sheet said 5, 4 were found, one was issued before the entry: 3 are left, and the line says why."""
    part = a_part()
    stock = in_stock(part, 5)
    issue(part, 1)
    found = [actions.Found(stock=stock, quantity=4, expected=5)]
    with pytest.raises(BadValueError, match="say why"):
        actions.count(found, " ", by=BY)
    line = actions.count(found, "One fell behind the drawer", by=BY)[0]
    assert (line.change, line.balance, line.why) == (-1, 3, "One fell behind the drawer")
    again = actions.count([actions.Found(stock=stock, quantity=3, expected=3)], "", by=BY)[0]
    assert (again.change, again.balance) == (0, 3)


@pytest.mark.django_db
def test_the_ledger_cannot_be_changed_or_overdrawn() -> None:
    """The database itself refuses to change or delete a line, and a stock below zero."""
    stock = in_stock(a_part(), 1)
    for act in (lambda: Movement.objects.update(change=9), Movement.objects.all().delete):
        with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
            act()
    with pytest.raises(IntegrityError), transaction.atomic():
        Stock.objects.filter(pk=stock.pk).update(quantity=-1)
    assert connection.is_usable()


@pytest.mark.django_db
def test_a_move_keeps_batch_and_expiry() -> None:
    """What is brought from the store to the bench is the same batch there."""
    part = a_part(keeps_batch=True)
    store = in_stock(part, 4, a_store(), batch="B7")
    actions.move(store, a_bench(), 3, by=BY)
    assert list(Stock.objects.order_by("pk").values_list("batch", "quantity", "shelf__place__kind")) == [
        ("B7", 1, "store"), ("B7", 3, "bench"),
    ]  # fmt: skip
    with pytest.raises(BadValueError, match="Only 1"):
        actions.move(store, a_bench(), 2, by=BY)


@pytest.mark.django_db
def test_what_arrives_closes_what_is_on_order_for_the_site() -> None:
    """Of five on order for the store three come to the bench, then the rest: closed; another site's stays open."""
    part, soon = a_part(), days(10)
    ours = actions.mark_ordered(part, a_store(), 5, soon, by=BY)
    theirs = actions.mark_ordered(part, a_bench(a_site("Corran Vale")), 5, soon, by=BY)
    in_stock(part, 3)
    ours.refresh_from_db()
    assert (ours.outstanding, ours.closed_on) == (2, None)
    in_stock(part, 4, a_store())
    ours.refresh_from_db()
    theirs.refresh_from_db()
    assert (ours.outstanding, ours.closed_on) == (0, clock.today())
    assert theirs.outstanding == 5
    with pytest.raises(MoveRefusedError):
        actions.call_off(ours, "Mistake", by=BY)
    assert actions.call_off(theirs, "Not made any more", by=BY).closed_why


@pytest.mark.django_db
def test_who_keeps_the_store_and_who_takes_from_it(technician: Person, storekeeper: Person) -> None:
    """A storekeeper receives, counts and scraps and does not issue; a technician issues and gives back, no more."""
    part = a_part()
    stock, bench, store = in_stock(part, 2), actor_for(technician), actor_for(storekeeper)
    for forbidden in (
        lambda: actions.receive(a_bench(), [actions.Delivered(part=part, quantity=1)], by=bench),
        lambda: actions.scrap(stock, 1, "Bent", by=bench),
        lambda: actions.issue(part, 1, [a_bench()], reference="W0001A", by=store),
    ):
        with pytest.raises(NotAllowedError):
            forbidden()
    actions.issue(part, 1, [a_bench()], reference="W0001A", by=bench)
    actions.give_back(stock, 1, reference="W0001A", by=bench)
    actions.scrap(stock, 1, "Bent", by=store)
    assert left(stock) == 1


@pytest.mark.django_db
def test_the_plot_is_worked_back_from_what_lies_there_now() -> None:
    """Two came ten days ago and one went three days ago: 0, 2, 1, 1."""
    part = a_part()
    reader = a_person(Role.ADMINISTRATOR, everywhere=True)
    with clock.at(clock.now() - timedelta(days=10)):
        in_stock(part, 2)
    with clock.at(clock.now() - timedelta(days=3)):
        issue(part, 1)
    lines = queries.stock_history(part, reader, days(-20), clock.today())
    assert [line.quantity for line in lines] == [0, 2, 1, 1]
