"""What a forecast makes of tests that are not plain, of doubtful ones, and of a pack's latest."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from fleet.core.battery.bend.histories import OUTSIDE_TABLE, SHORT_CHARGE
from fleet.core.battery.forecast import forecast
from fleet.core.errors import BadValueError
from tests.core.battery_cases import LEVEL, changed, drawn_type, usual, with_packs, with_test


@pytest.mark.parametrize(("bound", "contradicted"), [(0.3, False), (1.25, True)])
def test_a_test_stopped_early_is_a_bound(bound: float, *, contradicted: bool) -> None:
    """A short run stopped by hand changes next to nothing; one longer than the forecast allows is marked."""
    case, before = usual()
    found = changed(with_test(case.tests, 0, 0.4, bound, early=True), case.packs)
    assert bool(found.bound_contradicted[0]) is contradicted
    assert not found.bound_contradicted[1:].any()
    if not contradicted:
        assert_allclose(found.fraction_today, before.fraction_today, atol=2e-3)


def test_a_long_run_stopped_early_speaks_for_the_pack() -> None:
    """An untested pack that ran 0.95 of its rating at five years, then was stopped, is forecast to last longer."""
    case, _ = usual()
    packs = with_packs(case.packs, 5.0, 5.5)
    without, found = changed(case.tests, packs), changed(with_test(case.tests, 40, 5.0, 0.95, early=True), packs)
    assert found.fraction_today[-1] > without.fraction_today[-1] + 0.03
    assert found.chance_before_visit[-1] < without.chance_before_visit[-1]
    assert not found.own_tests[-1]


@pytest.mark.parametrize("kind", [SHORT_CHARGE, OUTSIDE_TABLE])
def test_a_test_off_in_kind_says_less(kind: int) -> None:
    """A low run after a short charge or outside the table moves a pack less than a plain one, and is no verdict."""
    case, before = usual()
    age = float(case.packs.age_today[3])
    low = float(before.fraction_today[3]) - 0.06
    missing = 0.5 if kind == SHORT_CHARGE else 0.0
    plain = changed(with_test(case.tests, 3, age, low), case.packs)
    found = changed(with_test(case.tests, 3, age, min(low, LEVEL - 0.01), kind=kind, shortfall=missing), case.packs)
    assert abs(found.fraction_today[3] - before.fraction_today[3]) < before.fraction_today[3] - plain.fraction_today[3]
    assert not found.last_test_below[3] or before.last_test_below[3]


@pytest.mark.parametrize(("seed", "wrong"), [(0, 0.0), (1, 0.05), (2, 1.28), (3, 50.0)])
def test_one_wrong_test_does_not_wreck_the_type(seed: int, wrong: float) -> None:
    """A gross error is set aside and named; the other packs' forecasts hardly move."""
    case = drawn_type(seed, packs=30)
    before = forecast(case.tests, case.packs, level=LEVEL)
    found = forecast(with_test(case.tests, 0, 0.2, wrong), case.packs, level=LEVEL)
    assert found.set_aside[-1]
    assert_array_equal(found.set_aside[:-1], before.set_aside)
    assert found.has_set_aside[0]
    assert_allclose(found.fraction_today, before.fraction_today, atol=0.015)


def test_several_wrong_tests_do_not_hide_one_another() -> None:
    """Wrong tests in four packs at once are all found and nothing else is."""
    case = drawn_type(28, packs=14)
    tests = case.tests
    for pack in range(4):
        tests = with_test(tests, pack, 0.1, 0.35)
    found = forecast(tests, case.packs, level=LEVEL)
    assert_array_equal(np.flatnonzero(found.set_aside), len(case.tests.pack) + np.arange(4))


def test_a_small_miss_is_no_gross_error() -> None:
    """One test that misses by two and a half times the usual error is kept."""
    case, _ = usual()
    true = float(case.true_fraction(np.full(40, 0.4))[0])
    assert not changed(with_test(case.tests, 0, 0.4, true - 0.05), case.packs).set_aside[-1]


def test_a_latest_test_that_is_terrible_is_not_called_good() -> None:
    """The type is spared a latest test of 0.2, the pack is not: it is below the level and to be looked at."""
    case, _ = usual()
    found = changed(with_test(case.tests, 2, float(case.packs.age_today[2]), 0.2), case.packs)
    assert found.has_set_aside[2]
    assert found.last_test_below[2]
    assert found.already_below[2]
    assert not found.uncertain[2]


def test_a_latest_test_that_is_too_good_is_a_jump() -> None:
    """A test far above the earlier ones asks whether a new pack went in; it does not raise the forecast much."""
    case, before = usual()
    pack = 1
    found = changed(with_test(case.tests, pack, float(case.packs.age_today[pack]), 1.29), case.packs)
    assert found.jump[-1]
    assert_array_equal(found.jump[:-1], before.jump)
    assert found.has_jump[pack]
    assert found.set_aside[-1]
    assert found.fraction_today[pack] == pytest.approx(before.fraction_today[pack], abs=0.02)


def test_a_low_test_is_no_jump() -> None:
    """A surprise downwards is no sign of a new pack."""
    case, before = usual()
    found = changed(with_test(case.tests, 1, float(case.packs.age_today[1]), 0.3), case.packs)
    assert_array_equal(found.has_jump, before.has_jump)


def test_a_latest_test_under_the_level_counts_whatever_the_model_makes_of_it() -> None:
    """One minute under the level at the latest test is already below, although the type's forecast is better."""
    case, _ = usual()
    packs = with_packs(case.packs, 0.5)
    found = changed(with_test(case.tests, 40, 0.5, 383 / 480), packs)
    assert found.last_test_below[-1]
    assert found.already_below[-1]
    assert found.fraction_today[-1] > LEVEL
    assert not changed(with_test(case.tests, 40, 0.5, 384 / 480), packs).last_test_below[-1]


def test_the_verdict_of_a_test_is_of_what_was_measured() -> None:
    """Tests brought to the reference temperature decide the forecast, never whether the latest was under the level."""
    case, known = usual()
    tests, packs = with_test(case.tests, 40, 0.5, 0.81), with_packs(case.packs, 0.5)
    measured = np.append(case.tests.fraction, 0.79)
    found = forecast(tests, packs, level=LEVEL, fit=known.fit, measured=measured)
    assert found.last_test_below[-1]
    assert not forecast(tests, packs, level=LEVEL, fit=known.fit).last_test_below[-1]


def test_tests_that_are_no_values_do_not_make_up_the_minimum() -> None:
    """A type with none but early-stopped or short-charge tests has no pack with a full test."""
    case, known = usual()
    early = replace(case.tests, bound=~case.tests.bound)
    short = replace(case.tests, kind=np.full(len(case.tests.pack), SHORT_CHARGE))
    for tests in (early, short):
        found = forecast(tests, case.packs, level=LEVEL, fit=known.fit)
        assert "0 packs with a full runtime test, 8 needed" in found.lacking


def test_an_interval_that_begins_before_the_last_test_says_so() -> None:
    """A pack just above its level may be below already: its interval begins before its test. One far above isn't."""
    case, _ = usual()
    tests = with_test(with_test(case.tests, 40, 3.0, 0.805), 41, 1.0, 1.0)
    found = changed(tests, with_packs(with_packs(case.packs, 3.0), 1.0))
    assert_array_equal(found.low_is_past[-2:], [True, False])


def test_a_test_of_an_unknown_pack_is_refused() -> None:
    """Each test must belong to one of the packs given."""
    case, _ = usual()
    with pytest.raises(BadValueError, match=r"pack\[\d+\] is 40; there are 40 packs, counted from 0"):
        forecast(with_test(case.tests, 40, 1.0, 0.9), case.packs)
