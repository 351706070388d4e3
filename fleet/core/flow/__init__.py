"""Delivered flow weighed on a balance, the trumpet curve of its error, and occlusion tests."""

from fleet.core.flow.delivery import SAMPLE_MINUTES, WINDOWS, Delivery, Liquid, Period, Window, deliver, trumpet
from fleet.core.flow.log import BalanceLog, Finding, read_log
from fleet.core.flow.occlusion import PressureUnit, minutes_to_alarm, stored_ml, to_kpa

__all__ = [
    "SAMPLE_MINUTES",
    "WINDOWS",
    "BalanceLog",
    "Delivery",
    "Finding",
    "Liquid",
    "Period",
    "PressureUnit",
    "Window",
    "deliver",
    "minutes_to_alarm",
    "read_log",
    "stored_ml",
    "to_kpa",
    "trumpet",
]
