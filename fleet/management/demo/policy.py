"""What the hospital decided about its batteries, how it buys packs, and what lies on its shelf."""

from datetime import date, timedelta
from decimal import Decimal
from functools import partial
from typing import Any, Final

from fleet.batteries import actions as batteries
from fleet.batteries.models import RiskLimit
from fleet.management.demo.cells import new_pack
from fleet.management.demo.diary import local
from fleet.management.demo.world import World
from fleet.registry.models import Device
from fleet.web import clock

#: Days before the end on which limits were set, and on which the last box of packs was taken into stock.
_DECIDED: Final = 400
_DELIVERED: Final = 24
_ASSUMED: Final = "assumed; no source"
_LIVES: Final = {"NiMH": Decimal("4.0"), "Li-ion": Decimal("5.0")}
#: Invented: with these and the packs' prices the limit comes out between 2 and 20 in 100 for every type.
_FAILURE_PRICE: Final = Decimal("380.00")
_TEST_PRICE: Final = Decimal("18.00")
_LIMITS: Final[tuple[tuple[str, str, dict[str, Any]], ...]] = (
    ("", RiskLimit.WardKind.ANY, {"limit": Decimal("0.100"), "why": "Agreed by the device committee"}),
    (
        "",
        RiskLimit.WardKind.CRITICAL,
        {
            "limit": Decimal("0.050"),
            "failure_price": _FAILURE_PRICE,
            "test_price": _TEST_PRICE,
            "why": "A driver change there interrupts vasoactive infusions",
        },
    ),
    (
        Device.Pool.TRAINING,
        RiskLimit.WardKind.ANY,
        {"limit": Decimal("0.300"), "may_skip_tests": True, "why": "Never used on patients"},
    ),
)
#: Packs taken onto the shelf by type, and those on order with the days from the end until they come.
_SHELF: Final = {
    "TW-10": (14, ((12, 12), (8, 40))),
    "Lento 3": (6, ()),
    "Sable": (9, ()),
    "Sable N": (2, ()),
}
_LEAD_DAYS: Final = 35


def plan_policy(world: World) -> None:
    """Plan the committee's decisions, the terms of supply and the last box of packs."""
    end = clock.local_day(world.diary.end)
    world.diary.plan(local(end - timedelta(days=_DECIDED), 14), partial(_decide, world))
    world.diary.plan(local(end - timedelta(days=_DELIVERED), 10), partial(_take_in, world, end))


def _decide(world: World) -> None:
    for pool, ward_kind, facts in _LIMITS:
        batteries.set_limit(pool, ward_kind, facts, by=world.crew.manager)
    for chemistry, life in _LIVES.items():
        facts = {"life_years": life, "source": _ASSUMED, "edition": ""}
        batteries.set_chemistry_life(chemistry, facts, verified=False, by=world.crew.manager)


def _take_in(world: World, end: date) -> None:
    for name, (on_shelf, on_order) in _SHELF.items():
        model = world.hospital.models[name]
        for number in range(on_shelf):
            made = clock.today() - timedelta(days=40 + number % 3)
            batteries.add_pack(new_pack(world.hospital, model, made), by=world.crew.storekeeper)
        supply = {
            "lead_days": _LEAD_DAYS,
            "multiple": 2,
            "price": model.pack_price,
        }
        batteries.set_supply(model.kind, supply, by=world.crew.storekeeper)
        for many, days in on_order:
            batteries.order_packs(model.kind, many, end + timedelta(days=days), by=world.crew.storekeeper)
