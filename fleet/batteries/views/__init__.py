"""Pages about packs, runtime tests and forecasts."""

from fleet.batteries.views.device import device_pack, device_panel
from fleet.batteries.views.how import how
from fleet.batteries.views.log import log, logged, test
from fleet.batteries.views.outlook import will_not_last, will_not_last_csv
from fleet.batteries.views.packs import act_on_pack, new_pack, pack, packs, packs_csv
from fleet.batteries.views.rack import rack
from fleet.batteries.views.sheet import sheet

__all__ = [
    "act_on_pack",
    "device_pack",
    "device_panel",
    "how",
    "log",
    "logged",
    "new_pack",
    "pack",
    "packs",
    "packs_csv",
    "rack",
    "sheet",
    "test",
    "will_not_last",
    "will_not_last_csv",
]
