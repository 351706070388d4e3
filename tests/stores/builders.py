"""Instruments and their calibrations, parts and their stock, made by the room's own actions."""

from datetime import timedelta
from decimal import Decimal
from itertools import count
from typing import Any

from fleet.registry.models import Place
from fleet.stores import actions
from fleet.stores.models import Calibration, Instrument, Part, Stock
from fleet.web import clock
from tests.builders import BY, a_bench

_number = count(1)


def an_instrument(*, calibrated: bool = True, **facts: Any) -> Instrument:
    """A flow analyser of Mereford General's bench, U = 0.5 %, calibrated 100 days ago unless told otherwise."""
    given = {
        "number": f"T-{next(_number):03d}",
        "name": "Flow analyser",
        "kind": Instrument.Kind.FLOW,
        "uncertainty": Decimal("0.5"),
        "uncertainty_unit": "%",
        **facts,
    }
    given.setdefault("place", None)
    given["place"] = given["place"] or a_bench()
    row = actions.add_instrument(given, by=BY)
    if calibrated:
        a_calibration(row, days_ago=100)
    return row


def a_calibration(instrument: Instrument, *, days_ago: int = 0, **facts: Any) -> Calibration:
    """A calibration so many days ago, found within its limits unless told otherwise."""
    given = {
        "done_on": clock.today() - timedelta(days=days_ago),
        "certificate": f"C-{next(_number):04d}",
        "laboratory": "Ostrel Calibration",
        "as_found": Calibration.AsFound.WITHIN,
        **facts,
    }
    return actions.record_calibration(instrument, actions.NewCalibration(**given), by=BY)


def found_out(instrument: Instrument, *, days_ago: int = 0, **facts: Any) -> Calibration:
    """A calibration that found the instrument out of its limits; it left within them unless told otherwise."""
    given = {"as_found": Calibration.AsFound.OUT, "found_words": "Reads 3 % low above 10 mL/h", **facts}
    return a_calibration(instrument, days_ago=days_ago, **given)


def a_part(name: str = "Keypad", **facts: Any) -> Part:
    """A part that fits every type and costs 58, kept nowhere yet."""
    given = {"number": f"P-{next(_number):04d}", "name": name, "price": Decimal(58), **facts}
    types = given.pop("types", None)
    return actions.add_part(given, types=types, by=BY)


def in_stock(part: Part, quantity: int, place: Place | None = None, **facts: Any) -> Stock:
    """So many of a part received at Mereford General's bench, of one batch and expiry; the stock they are now in."""
    line = actions.Delivered(part=part, quantity=quantity, **facts)
    moved = actions.receive(place or a_bench(), [line], by=BY)[0]
    return Stock.objects.select_related("shelf__place__site", "shelf__part").get(pk=moved.stock_id)


def left(stock: Stock) -> int:
    """How many of a stock the database has."""
    return Stock.objects.get(pk=stock.pk).quantity
