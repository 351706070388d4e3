"""Contracts to try things on."""

from collections.abc import Sequence
from datetime import timedelta
from typing import Any

from fleet.contracts.actions import Covers, NewContract, add_contract
from fleet.contracts.models import Contract
from fleet.registry.models import Device, Place
from fleet.web import clock
from tests.builders import BY, a_maker, a_type


def a_contract(
    name: str = "Full care", *, sites: Sequence[Place] = (), devices: Sequence[Device] = (), **facts: Any
) -> Contract:
    """A contract of everything for the usual type, from a hundred days ago on for a year; 30 days of notice."""
    today, renews = clock.today(), facts.pop("renews", None)
    given = {
        "name": name,
        "kind": "full",
        "party": a_maker(),
        "begins_on": today - timedelta(days=100),
        "ends_on": today + timedelta(days=265),
        "notice_days": 30,
        **facts,
    }
    covers = Covers(device_types=() if devices else [a_type()], sites=sites, devices=devices)
    return add_contract(NewContract(facts=given, covers=covers, renews=renews), by=BY)
