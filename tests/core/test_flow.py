"""A balance log is read without losing anything, and occlusions are put in numbers."""

from decimal import Decimal

import numpy as np
import pytest

from fleet.core.errors import BadValueError, NotEnoughDataError
from fleet.core.flow import (
    BalanceLog,
    Liquid,
    Period,
    PressureUnit,
    deliver,
    minutes_to_alarm,
    read_log,
    stored_ml,
    to_kpa,
)

WATER = Liquid(0.998)
PLAIN = "0,0.000\n30,0.042\n60,0.083\n"
NAMED = "Zone;Weight (mg);Time (min)\na;0;0\na;42;0,5\na;83;1\n"
TABBED = "time\tmass\n0\t0,000\n30\t0,042\n60\t0,083\n"
CLOCK = "time,grams\n23:59:30,0.000\n00:00:00,0.042\n00:00:30,0.083\n"
CLOCK_SHORT = "time,grams\n9:59,0.000\n10:00:00,0.042\n"
DATED = "timestamp;g\n2026-11-25 08:00:00;+ 0.000 g\n2026-11-25 08:00:30;+ 0.042 g\n2026-11-25T08:01:00;+ 0.083 g\n"
QUOTED = '"seconds","grams"\n"0","0,000"\n"30","0,042"\n"60","0,083"\n'
MARKED = "\ufeffseconds,grams\r\n0,0.000\r\n\r\n30,0.042\r\n60,0.083\r\n"


@pytest.mark.parametrize("text", [PLAIN, NAMED, TABBED, CLOCK, DATED, QUOTED, MARKED])
def test_the_usual_ways_to_write_a_log_are_read(text: str) -> None:
    """Commas or semicolons, either decimal mark, names or none, clocks over midnight: the same seconds and grams."""
    log = read_log(text)
    assert log.seconds.tolist() == [0, 30, 60]
    assert log.grams.tolist() == pytest.approx([0, 0.042, 0.083], rel=1e-12)
    assert log.findings == ()


def test_a_clock_without_seconds_is_read() -> None:
    """9:59 is a time of day as well."""
    assert read_log(CLOCK_SHORT).seconds.tolist() == [0, 60]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "empty"),
        ("0,1\n", "at least two readings"),
        ("0,1\n1,x\n2,3\n", "row 2 (“x”)"),
        ("0,1\n1,\n2,3\n", "row 2 (“”)"),
        ("0,1\n1,nan\n", "row 2 (“nan”)"),
        ("0,1\n1,inf\n", "row 2 (“inf”)"),
        ("seconds,grams\n0,1\n\n2,x\n", "row 4 (“x”)"),
        ("0,5,12,3\n", "Row 1 has 4 columns"),
        ("0,1\n1,2,3\n2,3\n", "columns as the first has: 2."),
        ("seconds,grams\n0,1\n1\n2,3\n", "columns as the first has: 3."),
        ("a,b\n1,2\n", "No column is named “seconds”"),
        ("seconds,b\n1,2\n", "No column is named “grams”"),
        ("5,1\n4,2\n", "goes back at row 2"),
        ("time,grams\n08:00:10,1\n08:00:05,2\n", "goes back at row 3"),
        ("time,grams\n08:00:00,1\n25.11. 8:00,2\n", "row 3 (“25.11. 8:00”)"),
        ("time,grams\n24:00:00,1\n24:00:01,2\n", "row 2 (“24:00:00”)"),
        ("0;1,5\n1;1.6\n", "Row 1 has a comma in its number and row 2 a point"),
        ("7,1\n7,2\n", "same time"),
    ],
)
def test_what_cannot_be_read_is_refused_with_its_row(text: str, words: str) -> None:
    """Nothing is guessed and no row is dropped: the message names the row."""
    with pytest.raises(BadValueError) as refused:
        read_log(text)
    assert words in str(refused.value)
    assert refused.value.field == "log"


def test_a_long_log_is_read_as_its_rows_are_read_one_by_one() -> None:
    """The quick way and the careful way, which a blank line or a quoted cell asks for, give the same log."""
    rng = np.random.default_rng(2)
    rows = [f"{at},{mass!r}" for at, mass in enumerate(np.cumsum(rng.normal(0.001, 0.02, 500)).tolist())]
    text = "seconds,grams\n" + "\n".join(rows)
    quick, careful = read_log(text), read_log(text.replace("seconds", '"seconds"'))
    assert (quick.seconds == careful.seconds).all()
    assert (quick.grams == careful.grams).all()
    assert quick.findings == careful.findings
    assert quick.odd == careful.odd > 20


def test_many_unreadable_rows_are_counted() -> None:
    """The first five are named, the others counted."""
    with pytest.raises(BadValueError, match=r"row 6 .* and 2 more"):
        read_log("0,1\n" + "".join(f"{at},x\n" for at in range(1, 8)))


def log_of(seconds: list[float], grams: list[float]) -> BalanceLog:
    return read_log("\n".join(f"{second};{gram}" for second, gram in zip(seconds, grams, strict=True)))


def test_gaps_falls_jumps_and_second_readings_are_told_by_row() -> None:
    """A log with oddities is read; each oddity names its row."""
    seconds = [0.0, 10, 20, 20, 30, 40, 100, 110, 120]
    grams = [0.0, 0.01, 0.02, 0.02, 0.03, 0.04, 0.1, 0.05, 0.9]
    log = log_of(seconds, grams)
    told = {finding.row: finding.words for finding in log.findings}
    assert sorted(told) == [4, 7, 8, 9]
    assert "same moment" in told[4]
    assert "no reading for 60 s" in told[7]
    assert "falls by 0.050 g" in told[8]
    assert "jumps by 0.850 g" in told[9]
    assert log.odd == 4
    assert log.seconds.tolist() == [0, 10, 20, 30, 40, 100, 110, 120]


def test_a_steady_log_of_a_fast_rate_has_nothing_odd() -> None:
    """At 1200 mL/h a step of each second exceeds what would be a jump at a slow rate, and is none."""
    seconds = [float(at) for at in range(100)]
    assert log_of(seconds, [at / 3 for at in seconds]).findings == ()


def test_findings_beyond_the_first_twenty_are_counted() -> None:
    """A log full of gaps does not flood the page, and says how many there are."""
    log = log_of([40.0 * at for at in range(31)], [0.01 * at for at in range(31)])
    assert (len(log.findings), log.odd) == (20, 30)


def test_density_and_evaporation_are_corrected() -> None:
    """At 5 mL/h of 0.998 g/mL the balance gains 4.99 g/h; 10 mg/h more have gone into the air."""
    seconds = np.arange(0.0, 3601.0)
    delivery = deliver(seconds, seconds * 4.99 / 3600, 5, Liquid(0.998, 10), Period(0))
    assert delivery.mean_flow == pytest.approx(5.0 + 0.010 / 0.998, rel=1e-9)
    assert delivery.mean_error == pytest.approx(100 * 0.010 / 0.998 / 5, rel=1e-6)


def test_flow_is_taken_each_half_minute_whatever_the_readings_are() -> None:
    """A log each second, and one each 7 s with a rest at the end, hold the same steady flow."""
    for step in (1.0, 7.0):
        seconds = np.arange(0.0, 1810.0, step)
        delivery = deliver(seconds, seconds * 5 * 0.998 / 3600, 5, WATER, Period(0))
        assert len(delivery.flow) == 60
        assert delivery.flow == pytest.approx(5.0, rel=1e-9)


def test_the_analysis_period_is_stated_either_way() -> None:
    """Of 120 min, the last hour and all after 60 min are the same samples; after 90 min there are 60."""
    seconds = np.arange(0.0, 7201.0)
    grams = np.where(seconds < 3600, 0.0, (seconds - 3600) * 0.998 * 5 / 3600)
    last_hour, after = (deliver(seconds, grams, 5, WATER, period) for period in (Period(), Period(60)))
    assert (last_hour.start, last_hour.stop) == (after.start, after.stop) == (120, 240)
    assert last_hour.mean_error == pytest.approx(0, abs=1e-9)
    assert deliver(seconds, grams, 5, WATER, Period(90)).analysed_minutes == 30
    assert deliver(seconds, grams, 5, WATER, Period(0)).mean_error == pytest.approx(-50)


@pytest.mark.parametrize("period", [Period(), Period(0), Period(120)])
def test_a_period_is_kept_as_a_short_text(period: Period) -> None:
    """What is stored says which period it was."""
    assert Period.of(period.code) == period
    assert len(period.code) <= 12


@pytest.mark.parametrize("code", ["", "after_", "after_-1", "hour", "after_1.5"])
def test_no_other_text_is_a_period(code: str) -> None:
    """A period that was not written by us is refused."""
    with pytest.raises(BadValueError):
        Period.of(code)


@pytest.mark.parametrize(("minutes", "period"), [(59.5, Period()), (30, Period(30)), (0.25, Period(0))])
def test_a_log_shorter_than_its_period_is_refused(minutes: float, period: Period) -> None:
    """Nothing is computed over a period that is not there."""
    with pytest.raises(NotEnoughDataError):
        deliver([0, minutes * 60], [0, 1], 5, WATER, period)


def test_a_window_no_longer_than_a_gap_is_not_computable() -> None:
    """Over 3 min without a reading the flow could have stopped and caught up: 2 min can't be told, 5 min can."""
    seconds = np.concatenate([np.arange(0.0, 1800.0), np.arange(1980.0, 3601.0)])
    delivery = deliver(seconds, seconds * 5 * 0.998 / 3600, 5, WATER, Period(0))
    two, five, *_ = delivery.windows
    assert two.lowest is None
    assert two.highest is None
    assert "181 s" in two.why_not
    assert five.highest == pytest.approx(0, abs=1e-9)
    before = deliver(seconds, seconds * 5 * 0.998 / 3600, 5, WATER, Period(34))
    assert before.windows[0].lowest is not None


@pytest.mark.parametrize(
    ("seconds", "grams"), [([0, 60, 60], [0, 1, 2]), ([0, 60], [0, np.nan]), ([0, 60, 120], [0, 1])]
)
def test_columns_that_are_no_log_are_refused(seconds: list[float], grams: list[float]) -> None:
    """Times must rise, masses must be numbers, and there are as many of both."""
    with pytest.raises(BadValueError):
        deliver(seconds, grams, 5, WATER, Period(0))


@pytest.mark.parametrize(("density", "evaporation"), [(0, 0), (-1, 0), (np.nan, 0), (1, -1), (1, np.inf)])
def test_a_liquid_that_is_none_is_refused(density: float, evaporation: float) -> None:
    """A density above zero, and no dew."""
    with pytest.raises(BadValueError):
        Liquid(density, evaporation)


def test_what_is_stored_is_rate_times_time() -> None:
    """48 min at 0.5 mL/h store 0.4 mL, and a volume below zero or a rate of zero is refused."""
    assert stored_ml(Decimal("0.5"), 48 * 60) == Decimal("0.4")
    with pytest.raises(BadValueError):
        stored_ml(Decimal(0), 1)
    with pytest.raises(BadValueError):
        minutes_to_alarm(Decimal(-1), Decimal(5))


def test_a_pressure_that_is_no_number_is_refused() -> None:
    """NaN is no pressure."""
    with pytest.raises(BadValueError):
        to_kpa(Decimal("NaN"), PressureUnit.PSI)
