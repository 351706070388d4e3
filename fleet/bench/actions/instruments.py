"""The instrument named at a step: of the right kind, and calibrated, or marked where its policy lets it be used."""

from typing import Final

from fleet.bench.models import LimitPolicy, Reading
from fleet.bench.queries import may_name
from fleet.bench.queries.judging import Judges
from fleet.core.calibration import DueState
from fleet.core.errors import BadValueError
from fleet.stores.models import Instrument
from fleet.stores.queries import state_on
from fleet.web import clock

_NEVER_USED: Final = {
    DueState.WITHDRAWN: "is withdrawn",
    DueState.UNUSABLE: "was not within its limits when it left its last calibration",
}
#: What a safety test, of a current or a resistance, is never measured with.
_NO_SAFETY_TESTER: Final = frozenset(
    {
        Instrument.Kind.BALANCE,
        Instrument.Kind.FLOW,
        Instrument.Kind.PRESSURE,
        Instrument.Kind.TIMER,
        Instrument.Kind.THERMOMETER,
    }
)
_LATE: Final = {DueState.OVERDUE: "is overdue for calibration", DueState.NEVER: "was never calibrated"}


def name_instrument(reading: Reading, instrument: Instrument | None, judges: Judges) -> None:
    """Put an instrument on a reading that is not saved yet.

    Raises BadValueError (field "instrument") where one is needed and missing and the policy of the driver's home does
    not have such a reading marked, is of another kind, cannot measure what
    the step asks for, is withdrawn or left
    its calibration out of its limits, or is overdue or was never calibrated and its policy refuses that; where its
    policy takes it, the reading is marked.
    """
    step = reading.step
    if instrument is None:
        if step.instrument_kind:
            _without(reading, judges)
        return
    if not may_name(step):
        raise _wrong("Nothing is measured at this step; name no instrument.")
    if step.instrument_kind and instrument.kind != step.instrument_kind:
        needed, given = step.get_instrument_kind_display().lower(), instrument.get_kind_display().lower()
        raise _wrong(f"This step needs: {needed}. {instrument} is of another kind: {given}.")
    if step.quantity and instrument.kind in _NO_SAFETY_TESTER:
        given = instrument.get_kind_display().lower()
        raise _wrong(f"{instrument} is a {given} and measures no safety test. Name the analyser or meter you used.")
    reading.instrument = instrument
    reading.instrument_overdue = is_late(instrument)


def _without(reading: Reading, judges: Judges) -> None:
    """Refuse a reading without the instrument that it needs, or mark it where the policy of the driver's home does."""
    if judges.policy.unnamed == LimitPolicy.Unnamed.MARKED:
        reading.instrument_unnamed = True
        return
    what = str(reading.step.get_instrument_kind_display()).lower()
    raise _wrong(
        f"Name the {what} that you used; without it the reading is not saved. Is it not on the list? Have it entered "
        "under Instruments first."
    )


def is_late(instrument: Instrument) -> bool:
    """Whether its calibration has run out; refuses where nothing may be measured with it."""
    state = state_on(instrument, clock.today())
    if state in _NEVER_USED or (state in _LATE and instrument.refused_when_overdue):
        why = _NEVER_USED.get(state) or _LATE[state]
        raise _wrong(f"{instrument} {why}; no reading is taken with it. Use another one.")
    return state in _LATE


def _wrong(message: str) -> BadValueError:
    return BadValueError(message, field="instrument")
