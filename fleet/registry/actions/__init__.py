"""The only writers of places, types and devices."""

from fleet.registry.actions.devices import (
    NewDevice,
    accept,
    add_device,
    add_devices,
    edit_device,
    move,
    note_due,
    note_dues,
    note_firmware,
    note_running_hours,
    renew_label,
    see,
    set_quarantined,
)
from fleet.registry.actions.reference import (
    NewType,
    add_device_type,
    add_party,
    add_place,
    edit_device_type,
    next_number,
)

__all__ = [
    "NewDevice",
    "NewType",
    "accept",
    "add_device",
    "add_device_type",
    "add_devices",
    "add_party",
    "add_place",
    "edit_device",
    "edit_device_type",
    "move",
    "next_number",
    "note_due",
    "note_dues",
    "note_firmware",
    "note_running_hours",
    "renew_label",
    "see",
    "set_quarantined",
]
