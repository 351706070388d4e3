"""Packs and their tests, what the night expects of them, and what the hospital decides about them."""

from fleet.batteries.models.outlook import Backtest, Forecast, ForecastQuerySet, TypeOutlook
from fleet.batteries.models.packs import (
    CycleCount,
    Fitting,
    FittingQuerySet,
    Pack,
    PackQuerySet,
    RuntimeTest,
    RuntimeTestQuerySet,
)
from fleet.batteries.models.policy import ChemistryLife, PackPurchase, PackSupply, RiskLimit

__all__ = [
    "Backtest",
    "ChemistryLife",
    "CycleCount",
    "Fitting",
    "FittingQuerySet",
    "Forecast",
    "ForecastQuerySet",
    "Pack",
    "PackPurchase",
    "PackQuerySet",
    "PackSupply",
    "RiskLimit",
    "RuntimeTest",
    "RuntimeTestQuerySet",
    "TypeOutlook",
]
