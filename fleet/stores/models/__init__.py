"""What the bench keeps: test instruments with their calibration, and parts with their stock."""

from fleet.stores.models.instruments import Calibration, Instrument, InstrumentQuerySet
from fleet.stores.models.parts import (
    Movement,
    Part,
    Purchase,
    PurchaseQuerySet,
    Shelf,
    ShelfQuerySet,
    Stock,
    StockQuerySet,
)

__all__ = [
    "Calibration",
    "Instrument",
    "InstrumentQuerySet",
    "Movement",
    "Part",
    "Purchase",
    "PurchaseQuerySet",
    "Shelf",
    "ShelfQuerySet",
    "Stock",
    "StockQuerySet",
]
