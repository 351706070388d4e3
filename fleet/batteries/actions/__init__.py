"""The only writers of packs, runtime tests, cycle counts and forecasts."""

from fleet.batteries.actions.backtests import MONTHS as BACKTEST_MONTHS
from fleet.batteries.actions.backtests import run_backtests
from fleet.batteries.actions.forecasts import refresh_forecasts, refresh_if_quick, remove_from_retired
from fleet.batteries.actions.packs import (
    NewFitting,
    NewPack,
    add_pack,
    add_packs,
    count_cycles,
    count_cycles_of_many,
    fit,
    fit_many,
    remove,
    scrap,
)
from fleet.batteries.actions.policy import (
    LIFE_FACTS,
    LIMIT_FACTS,
    SUPPLY_FACTS,
    change_limit,
    drop_limit,
    set_chemistry_life,
    set_limit,
    set_supply,
)
from fleet.batteries.actions.purchases import call_off_packs, order_packs
from fleet.batteries.actions.tests import NewTest, check_test, faults_of, log_test, log_tests, unlikely, void_test

__all__ = [
    "BACKTEST_MONTHS",
    "LIFE_FACTS",
    "LIMIT_FACTS",
    "SUPPLY_FACTS",
    "NewFitting",
    "NewPack",
    "NewTest",
    "add_pack",
    "add_packs",
    "call_off_packs",
    "change_limit",
    "check_test",
    "count_cycles",
    "count_cycles_of_many",
    "drop_limit",
    "faults_of",
    "fit",
    "fit_many",
    "log_test",
    "log_tests",
    "order_packs",
    "refresh_forecasts",
    "refresh_if_quick",
    "remove",
    "remove_from_retired",
    "run_backtests",
    "scrap",
    "set_chemistry_life",
    "set_limit",
    "set_supply",
    "unlikely",
    "void_test",
]
