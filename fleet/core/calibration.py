"""Whether an instrument is in date, and what its uncertainty leaves of a verdict.

Two rules of decision (own words, after JCGM 106 and ILAC-G8, from memory):

* Simple acceptance: a reading within its limits passes, whatever the instrument's uncertainty.
* Guarded acceptance: with the expanded uncertainty U of the instrument, a reading passes from
  low + U to high - U, fails below low - U or above high + U, and in between nobody can tell. Bounds belong to the
  surer side: low + U passes, and low - U cannot be told.

`guarded` is the remark beside every reading; which of the two gives the verdict is the place's policy (`core.judging`).
Values are decimals and are never rounded.
"""

from datetime import date, timedelta
from decimal import Decimal
from typing import Final

from fleet.core.errors import BadValueError
from fleet.core.limits import Limits
from fleet.core.units import convert, same_kind
from fleet.core.words import Worded

#: How far ahead a calibration counts as due soon (own choice).
SOON_DAYS: Final = 30
#: A stated uncertainty in this unit is a share of the reading.
PERCENT: Final = "%"


class DueState(Worded):
    """How the calibration of an instrument stands on a day."""

    IN_DATE = "in_date", "In date"
    SOON = "soon", "Due within 30 days"
    OVERDUE = "overdue", "Overdue"
    NEVER = "never", "Never calibrated"
    UNUSABLE = "unusable", "Not within its limits"
    WITHDRAWN = "withdrawn", "Withdrawn"


class Guarded(Worded):
    """What guarded acceptance says of a reading."""

    PASS = "pass", "Pass"
    FAIL = "fail", "Fail"
    CANNOT_TELL = "cannot_tell", "Cannot tell within the instrument's uncertainty"


class Way(Worded):
    """Which way an instrument was found off."""

    HIGH = "high", "It read high"
    LOW = "low", "It read low"
    UNKNOWN = "unknown", "Not known"


def due_state(due_on: date | None, on: date, *, usable: bool = True, withdrawn: bool = False) -> DueState:
    """Return how an instrument stands on a day.

    `due_on` is that of its last calibration that holds, None when it has none; `usable`: it left that one within its
    limits. The due day itself is still in date (own choice); overdue begins the day after.
    """
    if withdrawn:
        return DueState.WITHDRAWN
    if due_on is None:
        return DueState.NEVER
    if not usable:
        return DueState.UNUSABLE
    if due_on < on:
        return DueState.OVERDUE
    return DueState.SOON if due_on <= on + timedelta(days=SOON_DAYS) else DueState.IN_DATE


def expanded(value: Decimal, stated: Decimal | None, stated_unit: str, unit: str) -> Decimal | None:
    """Return the expanded uncertainty U at a reading, in the reading's `unit`; None where it is not known.

    `stated_unit` is the reading's own unit, or begins with "%": a share of the reading. A reading that is itself in %
    (a delivery error) is a share of what was measured already, so U is `stated` in percentage points there, to first
    order. Another unit of the same kind is converted, one of another kind gives None. Raises BadValueError below 0.
    """
    if stated is None:
        return None
    if stated < 0:
        raise BadValueError("An uncertainty is not below zero.", field="uncertainty")
    told = stated_unit.strip()
    if told == unit.strip():
        return stated
    if not told.startswith(PERCENT):
        return convert(stated, told, unit) if same_kind(told, unit) else None
    return stated if unit.strip() == PERCENT else abs(value) * stated / 100


def guarded(value: Decimal, limits: Limits, uncertainty: Decimal) -> Guarded:
    """Return what guarded acceptance says of a reading; all in the unit of the limits, U not below 0.

    PASS from low + U to high - U, FAIL below low - U or above high + U, else CANNOT_TELL. With U = 0 it is simple
    acceptance. Limits closer together than 2 U pass nothing.
    """
    sides = [side for side in _margins(value, limits) if side is not None]
    if any(side < -uncertainty for side in sides):
        return Guarded.FAIL
    return Guarded.PASS if all(side >= uncertainty for side in sides) else Guarded.CANNOT_TELL


def margin(value: Decimal, limits: Limits) -> Decimal:
    """Return how far a reading lies inside the nearer limit, in its unit; below 0 how far outside."""
    return min(side for side in _margins(value, limits) if side is not None)


def corrected(value: Decimal, error: Decimal, way: Way) -> Decimal | None:
    """Return what a reading would be without an error not below 0, all in one unit; None where its way is not known.

    What read high showed too much, so the true value is the reading less the error: 4.9 mL read 0.3 mL high is 4.6 mL.
    What read low showed too little, so it is the reading and the error: 4.9 mL read 0.3 mL low is 5.2 mL.
    """
    if way is Way.UNKNOWN:
        return None
    return value - error if way is Way.HIGH else value + error


def could_turn(value: Decimal, limits: Limits, error: Decimal, way: Way) -> bool:
    """Return whether the true value of a reading may lie outside its limits, though the instrument was off so far only.

    `error`: the most it was off, not below 0, in the unit of the limits. The true value lies between the reading and
    `corrected`, both included, and limits belong to what passes. So with limits 4.5 to 5.5 mL and 0.3 mL:

    * high: 4.7 - 0.3 = 4.4 lies below 4.5 and could have failed; 5.4 - 0.3 = 5.1 could not; 4.8 - 0.3 = 4.5 passes.
    * low: 5.4 + 0.3 = 5.7 lies above 5.5 and could have failed; 4.7 + 0.3 = 5.0 could not.
    * not known: either, so a reading nearer a limit than the error; one outside its limits is told too.

    Where the way is known, a reading that lay outside its limits failed already and was turned by nothing.
    """
    low, high = _margins(value, limits)
    sides = [side for side in (low, high) if side is not None]
    if way is Way.UNKNOWN:
        return any(side < error for side in sides)
    toward = low if way is Way.HIGH else high
    return toward is not None and toward < error and min(sides) >= 0


def _margins(value: Decimal, limits: Limits) -> tuple[Decimal | None, Decimal | None]:
    low = None if limits.low is None else value - limits.low
    high = None if limits.high is None else limits.high - value
    return low, high
