"""When to order a part and how many: small cases worked by hand, and what must hold of all."""

from hypothesis import given
from hypothesis import strategies as st

from fleet.core.reorder import Lot, Supply, balances, reorder

WEEK = Supply(minimum=2, lot=5, lead_days=7)


def days(*takes: tuple[int, int], length: int = 36) -> list[int]:
    """So many taken on a day, nothing on the others."""
    found = [0] * length
    for day, many in takes:
        found[day] += many
    return found


def test_nothing_is_ordered_while_the_stock_stays_at_its_minimum() -> None:
    """Five lie there, three are taken, two are the minimum: enough."""
    assert reorder([Lot(5)], {}, days((10, 3)), WEEK).by_day is None


def test_the_order_arrives_before_the_stock_falls_under_its_minimum() -> None:
    """Under the minimum on day 20 by one: order by day 13 one lot of five."""
    found = reorder([Lot(5)], {}, days((10, 3), (20, 1)), WEEK)
    assert (found.by_day, found.quantity, found.low_on_day, found.too_late) == (13, 5, 20, False)


def test_what_comes_is_counted_from_its_day() -> None:
    """Five come on day 15, so nothing is ordered; on day 25 they come after the need, and are enough again by then."""
    assert reorder([Lot(5)], {15: 5}, days((10, 3), (20, 1)), WEEK).by_day is None
    late = reorder([Lot(5)], {25: 5}, days((10, 3), (20, 1)), WEEK)
    assert (late.by_day, late.quantity) == (13, 5)


def test_under_the_minimum_until_the_delivery_on_its_way_nothing_more_is_ordered() -> None:
    """One is left today, five come in three days, sooner than any new order: wait for them."""
    found = reorder([Lot(1)], {3: 5}, days(), WEEK)
    assert (found.by_day, found.quantity, found.low_on_day) == (None, 0, 0)


def test_a_batch_that_expires_unused_is_lost() -> None:
    """Of six, four expire on day 9: two are taken before, none of them after; three needed later are lacking one."""
    takes = days((5, 2), (12, 3))
    assert balances([Lot(4, last_day=9), Lot(2)], {}, takes)[4:13] == [6, 4, 4, 4, 4, 4, 2, 2, -1]


def test_lots_are_rounded_up_and_lateness_is_told() -> None:
    """None left, six taken in three days, the minimum two: eight needed, ten ordered today, and six will lack."""
    found = reorder([], {}, days((3, 6)), WEEK)
    assert (found.by_day, found.quantity, found.lowest, found.too_late) == (0, 10, -6, True)


@given(
    lots=st.lists(st.builds(Lot, st.integers(0, 9), st.none() | st.integers(0, 40)), max_size=4),
    arrivals=st.dictionaries(st.integers(0, 35), st.integers(1, 9), max_size=3),
    takes=st.lists(st.integers(0, 3), min_size=12, max_size=36),
    supply=st.builds(Supply, st.integers(0, 6), st.integers(1, 6), st.integers(0, 10)),
)
def test_the_order_placed_in_time_keeps_the_minimum(
    lots: list[Lot], arrivals: dict[int, int], takes: list[int], supply: Supply
) -> None:
    """Ordered as advised, the stock is at its minimum from the arrival to the last day, in whole lots."""
    found = reorder(lots, arrivals, takes, supply)
    if found.by_day is None:
        left = balances(lots, arrivals, takes)
        assert all(count >= supply.minimum for count in left[supply.lead_days :]) or found.low_on_day is not None
        return
    assert found.quantity % supply.lot == 0
    assert found.quantity > 0
    arrives = found.by_day + supply.lead_days
    with_it = {**arrivals, arrives: arrivals.get(arrives, 0) + found.quantity}
    assert all(count >= supply.minimum for count in balances(lots, with_it, takes)[arrives:])
