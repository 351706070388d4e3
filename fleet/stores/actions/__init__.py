"""The only writers of instruments, calibrations, parts and stock."""

from fleet.stores.actions.instruments import (
    EDITABLE,
    NewCalibration,
    add_instrument,
    edit_instrument,
    record_calibration,
    void_calibration,
    withdraw,
)
from fleet.stores.actions.parts import PART_FACTS, add_part, drop_part, edit_part, keep_at
from fleet.stores.actions.purchases import call_off, mark_ordered
from fleet.stores.actions.stock import (
    Delivered,
    Found,
    count,
    give_back,
    issue,
    move,
    receive,
    save_part,
    scrap,
)

__all__ = [
    "EDITABLE",
    "PART_FACTS",
    "Delivered",
    "Found",
    "NewCalibration",
    "add_instrument",
    "add_part",
    "call_off",
    "count",
    "drop_part",
    "edit_instrument",
    "edit_part",
    "give_back",
    "issue",
    "keep_at",
    "mark_ordered",
    "move",
    "receive",
    "record_calibration",
    "save_part",
    "scrap",
    "void_calibration",
    "withdraw",
]
