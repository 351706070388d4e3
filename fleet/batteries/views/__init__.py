"""Pages about packs, runtime tests and forecasts."""

from fleet.batteries.views.backtest import how_good, how_good_csv
from fleet.batteries.views.device import device_pack, device_panel
from fleet.batteries.views.fleet import fleet, fleet_csv
from fleet.batteries.views.how import how
from fleet.batteries.views.limits import life, life_new, limit, limit_new, limits
from fleet.batteries.views.log import log, logged, test
from fleet.batteries.views.outlook import will_not_last, will_not_last_csv
from fleet.batteries.views.packs import act_on_pack, new_pack, pack, packs, packs_csv
from fleet.batteries.views.rack import rack
from fleet.batteries.views.sheet import sheet
from fleet.batteries.views.supply import call_off, order, supply
from fleet.batteries.views.types import types, types_csv

__all__ = [
    "act_on_pack",
    "call_off",
    "device_pack",
    "device_panel",
    "fleet",
    "fleet_csv",
    "how",
    "how_good",
    "how_good_csv",
    "life",
    "life_new",
    "limit",
    "limit_new",
    "limits",
    "log",
    "logged",
    "new_pack",
    "order",
    "pack",
    "packs",
    "packs_csv",
    "rack",
    "sheet",
    "supply",
    "test",
    "types",
    "types_csv",
    "will_not_last",
    "will_not_last_csv",
]
