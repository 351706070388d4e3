"""The risk score of a type against the published classes and hand-worked sums.

Classes and the rule "12 and more is included": World Health Organization, Introduction to medical equipment inventory
management, 2011, appendix A. The points of each class are from memory, for the copy read had lost its digits; so is the
incident history of Fennigkoh and Smith. The sums are worked by hand.
"""

import pytest

from fleet.core.errors import BadValueError
from fleet.core.risk import Every, Variant, em_score
from fleet.schedules.risk_classes import CLASSES


@pytest.mark.parametrize(
    ("points", "total", "included"),
    [
        ((9, 5, 3), 17, True),  # a syringe driver in intensive care
        ((8, 5, 3), 16, True),  # one in a ward or for palliative care
        ((10, 5, 5), 20, True),  # the most
        ((1, 1, 1), 3, False),  # the least of the published range
        ((6, 3, 3), 12, True),  # the boundary: in
        ((6, 3, 2), 11, False),  # and out
    ],
)
def test_three_terms(points: tuple[int, int, int], total: int, included: bool) -> None:  # noqa: FBT001 - a parameter
    """The sum of three terms, and from 12 on the type is included."""
    score = em_score(*points)
    assert (score.total, score.included, score.variant) == (total, included, Variant.THREE)


@pytest.mark.parametrize(("history", "total"), [(2, 18), (1, 17), (0, 16), (-1, 15), (-2, 14)])
def test_the_fourth_term_moves_a_score_by_up_to_two(history: int, total: int) -> None:
    """A ward's driver of 16 points, with each class of incident history: the variant is told with the sum."""
    score = em_score(8, 5, 3, history)
    assert (score.total, score.variant) == (total, Variant.FOUR)


def test_a_history_of_no_points_is_not_a_history_left_out() -> None:
    """0 points and no history give the same sum by different variants."""
    assert em_score(8, 5, 3, 0).total == em_score(8, 5, 3).total
    assert em_score(8, 5, 3, 0).variant is not em_score(8, 5, 3).variant


@pytest.mark.parametrize("points", [(11, 5, 3), (9, 6, 3), (9, 5, 0), (0, 5, 3), (9, 5, 3, 3)])
def test_points_outside_a_scale_are_refused(points: tuple[int, ...]) -> None:
    """No class has such points, so the score would mean nothing."""
    with pytest.raises(BadValueError, match="outside"):
        em_score(*points)


def test_the_starter_table_says_which_points_are_from_memory() -> None:
    """Each class of the table carries a source, and the points that nobody read say so."""
    assert {row.points for row in CLASSES if row.scale == "function"} == {10, 9, 8, 7, 6, 5, 4, 3, 2}
    assert all(row.source for row in CLASSES)
    assert all(row.from_memory for row in CLASSES)


@pytest.mark.parametrize(
    ("own", "maker", "longer"),
    [
        (Every(12), Every(12), False),
        (Every(6), Every(12), False),
        (Every(24), Every(12), True),
        (Every(12), Every(12, 5000), True),
        (Every(12, 6000), Every(12, 5000), True),
        (Every(12, 5000, 300), Every(12, 5000), False),
        (Every(hours=5000), Every(12), True),
        (Every(12), Every(), False),
    ],
)
def test_what_departs_from_the_maker(own: Every, maker: Every, longer: bool) -> None:  # noqa: FBT001 - a parameter
    """A longer limit, or one of the maker's left out, departs; more often does not. By definition, no source."""
    assert own.longer_than(maker) is longer
