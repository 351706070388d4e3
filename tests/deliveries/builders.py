"""Deliveries begun and scanned into by the room's own actions."""

from typing import Any

from fleet.core.udi import gs1_check_digit
from fleet.deliveries import actions
from fleet.deliveries.models import Delivery
from fleet.registry.actions import add_party
from fleet.registry.models import Party
from fleet.web import clock
from tests.builders import BY, a_store, a_type


def a_supplier(name: str = "Bellwick Supplies") -> Party:
    """A company that sells drivers."""
    return Party.objects.filter(name=name).first() or add_party(name, "bellwick", by=BY, supplies=True)


def a_delivery(*codes: str, **facts: Any) -> Delivery:
    """A delivery of today to the store, with these codes scanned."""
    given = {"device_type": a_type(), "place": a_store(), "supplier": a_supplier(), "delivered_on": clock.today()}
    row = actions.begin({**given, "purchase_order": "PO-4711", **facts}, by=BY)
    for code in codes:
        actions.scan(row, code, by=BY)
    return row


def gtin(body: str = "0501234567890") -> str:
    """A GTIN-14 whose check digit fits."""
    return body + gs1_check_digit(body)


def a_udi(serial: str, *, lot: str = "L7", expiry: str = "", di: str = "") -> str:
    """A UDI as a scanner hands it over from a label: bracketed GS1 element strings."""
    return f"(01){di or gtin()}" + (f"(17){expiry}" if expiry else "") + f"(10){lot}(21){serial}"
