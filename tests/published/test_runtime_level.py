"""A reading against the 0.80 level, hand-worked: 384 of 480 minutes is 0.80 (common practice, no source)."""

from decimal import Decimal

import pytest

from fleet.core.limits import Limits, Verdict, verdict


@pytest.mark.parametrize(("minutes", "expected"), [(384, Verdict.PASS), (383, Verdict.FAIL)])
def test_runtime_level_is_judged_unrounded(minutes: int, expected: Verdict) -> None:
    """384 of 480 minutes is 0.80 and meets it; 383 is 0.7979, which rounds to 0.80 and does not meet it."""
    level = Limits(Decimal("0.80"), None, "")
    assert verdict(Decimal(minutes) / 480, level) is expected
