"""The trumpet curve of IEC 60601-2-24 (definition from memory, to be checked against the owned standard).

S = 0.5 min, Q_i = 60 (W_i - W_i-1) / (S d), and over each window of P minutes the largest and smallest mean of
100 (Q_i - r) / r in m = (T2 - P) / S + 1 windows. The vectors were worked by hand from that definition.
"""

from decimal import Decimal

import numpy as np
import pandas as pd
import pytest

from fleet.core.flow import (
    WINDOWS,
    Liquid,
    Period,
    PressureUnit,
    deliver,
    minutes_to_alarm,
    to_kpa,
    trumpet,
)

HOUR = 120
MINUTES = [2, 5, 11, 19, 31]


def highest(flow: np.ndarray, rate: float) -> list[float | None]:
    return [window.highest for window in trumpet(flow, rate)]


def lowest(flow: np.ndarray, rate: float) -> list[float | None]:
    return [window.lowest for window in trumpet(flow, rate)]


def test_the_windows_of_an_hour() -> None:
    """An hour holds 117, 111, 99, 83 and 59 windows of 2, 5, 11, 19 and 31 min."""
    windows = trumpet(np.full(HOUR, 5.0), 5)
    assert list(WINDOWS) == [window.minutes for window in windows] == MINUTES
    assert [window.count for window in windows] == [117, 111, 99, 83, 59]


def test_one_sample_of_forty_percent_too_much() -> None:
    """One sample of +40 % in the middle: 10, 4, 1.8182, 1.0526 and 0.6452 %, and every window of 31 min holds it."""
    flow = np.full(HOUR, 5.0)
    flow[HOUR // 2] = 7.0
    assert highest(flow, 5) == pytest.approx([10, 4, 1.8182, 1.0526, 0.6452], abs=5e-5)
    assert lowest(flow, 5) == pytest.approx([0, 0, 0, 0, 0.6452], abs=5e-5)


def test_samples_that_alternate() -> None:
    """4.5 and 5.5 mL/h in turn are 5 over each window: no error anywhere."""
    flow = np.tile([4.5, 5.5], HOUR // 2)
    assert highest(flow, 5) == pytest.approx([0] * 5, abs=1e-9)
    assert lowest(flow, 5) == pytest.approx([0] * 5, abs=1e-9)


def test_a_flow_that_is_always_too_small() -> None:
    """4.85 at 5 mL/h is -3 % over each window, both ways."""
    flow = np.full(HOUR, 4.85)
    assert highest(flow, 5) == pytest.approx([-3] * 5)
    assert lowest(flow, 5) == pytest.approx([-3] * 5)


def test_a_square_wave() -> None:
    """Ten minutes of 10 % more and less in turn (a period of 10 min): 10, 10, 0.9091, 0.5263, 0.3226 %."""
    flow = np.tile(np.repeat([5.5, 4.5], 10), HOUR // 20)
    assert highest(flow, 5) == pytest.approx([10, 10, 0.9091, 0.5263, 0.3226], abs=5e-5)
    assert lowest(flow, 5) == pytest.approx([-10, -10, -0.9091, -0.5263, -0.3226], abs=5e-5)


def test_the_smallest_case_by_hand() -> None:
    """Five samples of 6, 4, 5, 5, 8 at 5 mL/h: windows of 2 min hold four: (20-20-0-0)/4 = 0 and (-20+60)/4 = 10 %."""
    two, *longer = trumpet([6.0, 4.0, 5.0, 5.0, 8.0], 5)
    assert (two.count, two.lowest, two.highest) == (2, pytest.approx(0), pytest.approx(10))
    assert all(window.lowest is None and window.highest is None and window.count == 0 for window in longer)
    assert all("shorter than" in window.why_not for window in longer)


@pytest.mark.parametrize(("samples", "count"), [(61, 0), (62, 1), (63, 2)])
def test_a_window_longer_than_the_data_is_not_computable(samples: int, count: int) -> None:
    """30.5 min hold no window of 31 min, 31 min hold one."""
    window = trumpet(np.full(samples, 5.0), 5)[-1]
    assert window.count == count
    assert (window.lowest is None) is (count == 0)


def test_the_mean_error_need_not_lie_in_the_trumpet() -> None:
    """One sample of +40 % of 120: the mean error 0.3333 % is under the smallest error of 31 min, 0.6452 %."""
    flow = np.full(HOUR, 5.0)
    flow[HOUR // 2] = 7.0
    grams = np.concatenate([[0.0], np.cumsum(flow)]) / HOUR
    delivery = deliver(30.0 * np.arange(HOUR + 1), grams, 5, Liquid(1.0), Period())
    assert delivery.mean_error == pytest.approx(1 / 3)
    assert delivery.windows[-1].lowest == pytest.approx(40 / 62)


def test_a_larger_driver_with_larger_errors_has_the_same_trumpet() -> None:
    """Flow and rate ten times as large: the same percentages."""
    flow = np.random.default_rng(4).normal(5, 0.3, 200)
    assert highest(flow * 10, 50) == pytest.approx(highest(flow, 5))
    assert lowest(flow * 10, 50) == pytest.approx(lowest(flow, 5))


@pytest.mark.parametrize("seed", range(5))
def test_an_independent_reference_agrees(seed: int) -> None:
    """Masses weighed each second: resampled and rolled by pandas, the flow, its error and the trumpet are the same."""
    rng = np.random.default_rng(seed)
    seconds = np.arange(0.0, 3 * 3600 + 1)
    grams = np.cumsum(np.clip(rng.normal(5 / 3600, 1e-3, len(seconds)), 0, None)) * 0.998
    delivery = deliver(seconds, grams, 5, Liquid(0.998, 2.0), Period(60))

    weighed = pd.Series(grams + 0.002 * seconds / 3600, index=pd.to_timedelta(seconds, unit="s"))
    flow = weighed.resample("30s").first().diff().dropna() * 60 / (0.5 * 0.998)
    flow = flow[flow.index > pd.Timedelta(minutes=60)]
    assert delivery.mean_error == pytest.approx(100 * (flow.mean() - 5) / 5, rel=1e-9)
    for window in delivery.windows:
        means = (100 * (flow - 5) / 5).rolling(2 * window.minutes).mean().dropna()
        assert window.count == len(means)
        assert (window.lowest, window.highest) == (pytest.approx(means.min()), pytest.approx(means.max()))


@pytest.mark.parametrize(("rate", "minutes"), [("0.5", 48), ("1", 24), ("5", "4.8")])
def test_the_time_to_an_occlusion_alarm(rate: str, minutes: int | str) -> None:
    """0.4 mL are stored in 48 min at 0.5 mL/h, in 24 at 1 and in 4.8 at 5 (stored volume = rate x time)."""
    assert minutes_to_alarm(Decimal("0.4"), Decimal(rate)) == Decimal(minutes)


@pytest.mark.parametrize(
    ("value", "unit", "kpa"),
    [
        ("1", "psi", "6.8948"),
        ("300", "mmHg", "39.997"),
        ("20", "psi", "137.90"),
        ("1", "bar", "100"),
        ("7", "kPa", "7"),
    ],
)
def test_pressures_in_kpa(value: str, unit: str, kpa: str) -> None:
    """1 psi is 6.8948 kPa, 300 mmHg are 39.997 kPa, 1 bar is 100 kPa (NIST SP 811, appendix B, from memory)."""
    found = to_kpa(Decimal(value), PressureUnit(unit))
    assert found.quantize(Decimal(kpa)) == Decimal(kpa)


def test_one_bar_is_750_06_mmhg() -> None:
    """And 14.504 psi."""
    assert float(to_kpa(Decimal(1), PressureUnit.BAR) / to_kpa(Decimal(1), PressureUnit.MMHG)) == pytest.approx(
        750.06, abs=5e-3
    )
    assert float(to_kpa(Decimal(1), PressureUnit.BAR) / to_kpa(Decimal(1), PressureUnit.PSI)) == pytest.approx(
        14.504, abs=5e-4
    )
