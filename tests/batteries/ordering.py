"""Types with packs in stock and replacements asked for, and the order that follows."""

from collections.abc import Sequence
from datetime import date

from django.test import Client

from fleet.batteries import actions, queries
from fleet.core.battery.decision import Advice
from fleet.registry.models import DeviceType
from fleet.web import clock
from tests.batteries.builders import a_fitted_device, a_forecast, a_pack, words
from tests.batteries.outlooks import an_outlook
from tests.builders import BY, a_type


def with_stock(
    count: int, device_type: DeviceType | None = None, on_order: Sequence[tuple[int, date]] = (), **supply: object
) -> DeviceType:
    """A type with so many packs in stock, 2 needed a month, and what is on order and stated of its supply."""
    kind = device_type or a_type()
    a_fitted_device(device_type=kind)
    for _ in range(count):
        a_pack(kind)
    an_outlook(kind)
    for quantity, expected_on in on_order:
        actions.order_packs(kind, quantity, expected_on, by=BY)
    if supply:
        actions.set_supply(kind, supply, by=BY)
    return kind


def asked_of(device_type: DeviceType, advice: Advice, visit: date | None = date(2027, 3, 14), count: int = 1) -> None:
    """So many fitted packs with such an advice."""
    for _ in range(count):
        a_forecast(a_fitted_device(device_type=device_type), advice=advice.value, next_visit=visit)


def the_order(device_type: DeviceType) -> queries.Order:
    """The order of a type; there must be one."""
    stand = next(stand for stand in queries.stands() if stand.device_type == device_type)
    order = queries.order_of(stand, clock.today())
    assert order is not None
    return order


def shown(client: Client, query: str = "") -> str:
    """The words of the page of packs to hold."""
    return words(client, f"/batteries/fleet/?{query}")
