"""The score interval of a share against published values."""

import pytest

from fleet.core.proportion import proportion


@pytest.mark.parametrize(
    ("part", "whole", "low", "high"),
    [(81, 263, 0.2553, 0.3662), (15, 148, 0.0624, 0.1605), (0, 20, 0.0, 0.1611), (1, 29, 0.0061, 0.1718)],
)
def test_score_interval(part: int, whole: int, low: float, high: float) -> None:
    """R. G. Newcombe, Statistics in Medicine 17 (1998) 857-872, table I, method 3 (values from memory, 4 decimals)."""
    found = proportion(part, whole)
    assert found is not None
    assert (round(found.low, 4), round(found.high, 4)) == (low, high)


def test_yield_of_14_in_450() -> None:
    """14 findings in 450 services are 3.111 %, by hand; the interval holds it."""
    found = proportion(14, 450)
    assert found is not None
    assert f"{100 * found.share:.3f}" == "3.111"
    assert found.low < found.share < found.high


def test_no_whole_has_no_share() -> None:
    """Nothing done is neither all nor none."""
    assert proportion(0, 0) is None
