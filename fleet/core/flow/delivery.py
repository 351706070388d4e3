"""Flow, mean flow error and trumpet curve of a balance log.

The definitions are those of IEC 60601-2-24:2012 from memory, to be checked against the owned standard: samples every
S = 0.5 min, Q_i = 60 (W_i - W_i-1) / (S d) mL/h, and over each observation window of P minutes the largest and the
smallest mean of 100 (Q_i - r) / r, in m = (T2 - P) / S + 1 windows of the analysis period of T2 minutes.
"""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from fleet.core.battery.arrays import FloatArray, column, first_bad, same_length
from fleet.core.errors import BadValueError, NotEnoughDataError

SAMPLE_MINUTES: Final = 0.5
#: Observation windows, min.
WINDOWS: Final = (2, 5, 11, 19, 31)
_SAMPLE_SECONDS: Final = 60 * SAMPLE_MINUTES
_LAST_HOUR: Final = "last_hour"
_AFTER: Final = "after_"
_HOUR_SAMPLES: Final = 120
_LONGEST_STABILISATION: Final = 99_999
#: A log of whole seconds reaches its last sample although its times are floats.
_ROUNDING: Final = 1e-6


@dataclass(frozen=True, slots=True)
class Liquid:
    """What is weighed: `density` in g/mL and what evaporates from the balance in mg/h. Raises BadValueError."""

    density: float
    evaporation: float = 0.0

    def __post_init__(self) -> None:
        """Refuse what is no liquid."""
        if not (math.isfinite(self.density) and self.density > 0):
            raise BadValueError(f"A density of {self.density} g/mL is none; water has about 0.998.", field="density")
        if not (math.isfinite(self.evaporation) and self.evaporation >= 0):
            message = f"Evaporation of {self.evaporation} mg/h is none; give zero or more."
            raise BadValueError(message, field="evaporation")


@dataclass(frozen=True, slots=True)
class Period:
    """The analysis period: what follows `stabilisation` whole minutes (T1), or the last hour where that is None."""

    stabilisation: int | None = None

    def __post_init__(self) -> None:
        """Refuse a stabilisation that is none."""
        if self.stabilisation is not None and not 0 <= self.stabilisation <= _LONGEST_STABILISATION:
            raise BadValueError("Give the minutes of stabilisation as zero or more.", field="stabilisation")

    @classmethod
    def of(cls, code: str) -> "Period":
        """Read what `code` wrote. Raises BadValueError."""
        if code == _LAST_HOUR:
            return cls()
        minutes = code.removeprefix(_AFTER)
        if minutes == code or not minutes.isdecimal():
            raise BadValueError(f"“{code}” is no analysis period.", field="period")
        return cls(int(minutes))

    @property
    def code(self) -> str:
        """A short text for the record."""
        return _LAST_HOUR if self.stabilisation is None else f"{_AFTER}{self.stabilisation}"

    @property
    def words(self) -> str:
        """The period as a person reads it."""
        return "the last hour" if self.stabilisation is None else f"all after {self.stabilisation} min of stabilisation"


@dataclass(frozen=True, slots=True)
class Window:
    """The trumpet at one observation window: how many windows there are, and the smallest and largest error in %.

    `lowest` and `highest` are None where the window is not computable, and `why_not` says why.
    """

    minutes: int
    count: int
    lowest: float | None
    highest: float | None
    why_not: str = ""


@dataclass(frozen=True, slots=True)
class Delivery:
    """What a driver delivered.

    `flow`: mL/h of each sample of 0.5 min (M,). `start`, `stop`: the samples of the analysis period. `mean_flow` in
    mL/h and `mean_error` in % of the set rate are over that period; `windows` is its trumpet. `widest_gap`: the longest
    time without a reading in it, s.
    """

    flow: FloatArray
    start: int
    stop: int
    mean_flow: float
    mean_error: float
    windows: tuple[Window, ...]
    widest_gap: float

    @property
    def analysed_minutes(self) -> float:
        """How long the analysis period lasts (T2)."""
        return (self.stop - self.start) * SAMPLE_MINUTES


def deliver(seconds: ArrayLike, grams: ArrayLike, rate: float, liquid: Liquid, period: Period) -> Delivery:
    """Return flow, mean error and trumpet of a log: `seconds` (N,) strictly rising, `grams` (N,), `rate` in mL/h.

    The log is sampled each 0.5 min by straight lines between readings; what evaporated is added to what was weighed.
    A window that is longer than the period, or no longer than its widest gap between readings, is not computable.
    Raises BadValueError for columns that are no log, NotEnoughDataError where it is shorter than the period asks for.
    """
    times, masses = _checked(seconds, grams)
    flow = _flow(times, masses, liquid)
    start, stop = _span(len(flow), period)
    analysed = flow[start:stop]
    gap = _widest_gap(times, times[0] + start * _SAMPLE_SECONDS, times[0] + stop * _SAMPLE_SECONDS)
    windows = tuple(_without_gaps(window, gap) for window in trumpet(analysed, rate))
    mean = float(analysed.mean())
    return Delivery(flow, start, stop, mean, 100 * (mean - rate) / rate, windows, gap)


def trumpet(flow: ArrayLike, rate: float) -> tuple[Window, ...]:
    """Return the trumpet of samples of 0.5 min in mL/h (M,) against the set `rate`; M of 0 computes no window.

    Raises BadValueError for a rate that is not above zero.
    """
    if not (math.isfinite(rate) and rate > 0):
        raise BadValueError(f"A rate of {rate} mL/h delivers nothing; give one above zero.", field="rate")
    errors = 100 * (column(flow, "flow") - rate) / rate
    sums = np.concatenate([[0.0], np.cumsum(errors)])
    return tuple(_window(sums, minutes) for minutes in WINDOWS)


def _window(sums: FloatArray, minutes: int) -> Window:
    samples = round(minutes / SAMPLE_MINUTES)
    count = len(sums) - samples
    if count < 1:
        return Window(minutes, 0, None, None, f"not computable: the period is shorter than {minutes} min")
    means = (sums[samples:] - sums[:-samples]) / samples
    return Window(minutes, count, float(means.min()), float(means.max()))


def _without_gaps(window: Window, gap: float) -> Window:
    """Take back a window no longer than a gap: straight lines over it would hide what happened there."""
    if window.lowest is None or gap <= _SAMPLE_SECONDS + _ROUNDING or window.minutes * 60 > gap:
        return window
    why = f"not computable: for {gap:.0f} s there was no reading"
    return Window(window.minutes, window.count, None, None, why)


def _checked(seconds: ArrayLike, grams: ArrayLike) -> tuple[FloatArray, FloatArray]:
    times, masses = column(seconds, "seconds"), column(grams, "grams")
    same_length(seconds=times, grams=masses)
    for values, name in ((times, "seconds"), (masses, "grams")):
        first_bad(~np.isfinite(values), values, name, "it must be a finite number")
    if len(times) > 1:
        first_bad(np.diff(times, prepend=times[0] - 1) <= 0, times, "seconds", "each must lie after the one before")
    return times, masses


def _flow(times: FloatArray, masses: FloatArray, liquid: Liquid) -> FloatArray:
    samples = math.floor((times[-1] - times[0]) / _SAMPLE_SECONDS + _ROUNDING) if len(times) else 0
    if samples < 1:
        raise NotEnoughDataError("The log is shorter than half a minute, so there is no flow in it.")
    grid = times[0] + _SAMPLE_SECONDS * np.arange(samples + 1)
    gained: FloatArray = np.diff(np.interp(grid, times, masses))
    evaporated = liquid.evaporation / 1000 * SAMPLE_MINUTES / 60
    return (gained + evaporated) * 60 / (SAMPLE_MINUTES * liquid.density)


def _span(samples: int, period: Period) -> tuple[int, int]:
    lasts = f"The log lasts {samples * SAMPLE_MINUTES:g} min"
    if period.stabilisation is None:
        if samples < _HOUR_SAMPLES:
            raise NotEnoughDataError(f"{lasts}, so it has no last hour. Choose the time after stabilisation instead.")
        return samples - _HOUR_SAMPLES, samples
    start = round(period.stabilisation / SAMPLE_MINUTES)
    if start >= samples:
        raise NotEnoughDataError(f"{lasts}; nothing is left after {period.stabilisation} min of stabilisation.")
    return start, samples


def _widest_gap(times: FloatArray, start: float, stop: float) -> float:
    """The longest time between readings of which some part lies within the period."""
    within = (times[1:] > start) & (times[:-1] < stop)
    return float(np.diff(times)[within].max())
