"""How often one caller may do one thing."""

import secrets

from fleet.web.throttle import too_often


def something() -> str:
    """A name that no other run of the tests has counted."""
    return secrets.token_hex(8)


def test_the_limit_is_the_last_one_let_through() -> None:
    """Three in a span: the third goes through, the fourth does not."""
    what = something()
    assert [too_often(what, 3, 60) for _ in range(4)] == [False, False, False, True]


def test_each_caller_is_counted_alone() -> None:
    """One caller's haste holds up nobody else."""
    hasty = something()
    for _ in range(3):
        too_often(hasty, 1, 60)
    assert not too_often(something(), 1, 60)


def test_a_span_that_ends_while_counting_starts_the_next() -> None:
    """With no span left the count begins anew instead of failing."""
    assert not too_often(something(), 1, 0)
