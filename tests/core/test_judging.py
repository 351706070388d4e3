"""Which of several limits judge, by which rule, and how far a value went since the first one."""

import json
from decimal import Decimal

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from fleet.core.errors import BadValueError
from fleet.core.judgement import First, Judgement, read_judgement
from fleet.core.judging import Acceptance, Stated, judge, tightest, way_to_limit
from fleet.core.limits import Limits, Verdict
from fleet.core.safety import Context

NUMBERS = st.decimals(-1000, 1000, places=3)
BOUNDS = st.one_of(st.none(), NUMBERS)


def stated(low: str | None, high: str | None, source: str = "house", verified: str = "") -> Stated:
    """Limits in ohm."""
    bounds = (None if bound is None else Decimal(bound) for bound in (low, high))
    return Stated(Limits(*bounds, "Ω"), source, verified)


@st.composite
def some_limits(draw: st.DrawFn) -> Limits:
    """Limits with at least one side."""
    low, high = draw(BOUNDS), draw(BOUNDS)
    assume(low is not None or high is not None)
    assume(low is None or high is None or low <= high)
    return Limits(low, high, "Ω")


def test_the_tighter_bound_of_each_side_judges_and_is_named() -> None:
    """The profile's low and the maker's high are both the tighter ones, and each says where it comes from."""
    found = tightest([stated("1", "5", "profile"), stated("0.5", "4", "maker")])
    assert found is not None
    assert found.limits.words == "1 to 4 Ω"
    assert found.low_from is not None
    assert found.high_from is not None
    assert (found.low_from.source, found.high_from.source) == ("profile", "maker")
    assert [side.source for side in found.sides] == ["profile", "maker"]


def test_a_looser_limit_of_the_maker_changes_nothing() -> None:
    """The maker wins only where stricter."""
    found = tightest([stated(None, "0.3", "profile"), stated(None, "0.5", "maker")])
    assert found is not None
    assert found.limits.high == Decimal("0.3")
    assert [side.source for side in found.sides] == ["profile"]


def test_verified_only_where_each_bound_in_use_is() -> None:
    """A bound that nobody checked makes the whole unverified; a looser one that does not judge does not."""
    both = tightest([stated("1", None, "one", "Tova"), stated(None, "5", "other")])
    looser = tightest([stated(None, "4", "one", "Tova"), stated(None, "5", "other")])
    assert both is not None
    assert not both.all_verified
    assert looser is not None
    assert looser.all_verified


def test_limits_that_exclude_each_other_are_refused_with_both_sources() -> None:
    """Where no value could pass, somebody has to look at the sources."""
    with pytest.raises(BadValueError, match="at least 7 and at most 4 Ω, by “profile” and “maker”"):
        tightest([stated("7", None, "profile"), stated(None, "4", "maker")])


def test_nothing_stated_is_no_limit() -> None:
    """Then a person judges."""
    assert tightest([]) is None


@given(one=some_limits(), other=some_limits(), value=NUMBERS, wide=st.decimals(0, 50, places=3))
def test_tightening_never_turns_fail_into_pass(one: Limits, other: Limits, value: Decimal, wide: Decimal) -> None:
    """What fails by one limit, or is not proven by it, does not pass by it and another together, by either rule."""
    try:
        both = tightest([Stated(one, "one"), Stated(other, "other")])
    except BadValueError:
        assume(False)
        return
    assert both is not None
    for rule in Acceptance:
        apart = {judge(value, one, wide, rule), judge(value, other, wide, rule)}
        together = judge(value, both.limits, wide, rule)
        assert (together is Verdict.PASS) == (apart == {Verdict.PASS})
        assert (together is Verdict.FAIL) == (Verdict.FAIL in apart)


@given(limits=some_limits(), value=NUMBERS, wide=st.decimals(0, 50, places=3))
def test_the_guarded_rule_is_never_the_milder(limits: Limits, value: Decimal, wide: Decimal) -> None:
    """What passes guarded passes simply, and all rules fail the same; strict differs only without an uncertainty."""
    simple, guarded, strict = (judge(value, limits, wide, rule) for rule in Acceptance)
    assert guarded is strict
    assert guarded is simple or (simple, guarded) == (Verdict.PASS, Verdict.NOT_PROVEN)
    assert judge(value, limits, None, Acceptance.GUARDED) is simple
    unknown = judge(value, limits, None, Acceptance.STRICT)
    assert unknown is (Verdict.FAIL if simple is Verdict.FAIL else Verdict.NOT_PROVEN)


@pytest.mark.parametrize("high", ["0.2", "0.20", "0.200"])
def test_a_value_is_compared_as_read_however_the_limit_is_written(high: str) -> None:
    """0.2004 would be 0.20 when rounded, and fails; 0.2 and 0.2000 pass."""
    limits = Limits(None, Decimal(high), "Ω")
    assert judge(Decimal("0.2004"), limits, None, Acceptance.SIMPLE) is Verdict.FAIL
    assert judge(Decimal("0.2"), limits, None, Acceptance.SIMPLE) is Verdict.PASS
    assert judge(Decimal("0.2000"), limits, None, Acceptance.SIMPLE) is Verdict.PASS


@pytest.mark.parametrize(
    ("first", "value", "way"),
    [
        ("0.10", "0.10", "0"),
        ("0.10", "0.15", "0.5"),
        ("0.10", "0.20", "1"),
        ("0.10", "0.30", "2"),
        ("0.10", "0.01", "0"),
        ("0.20", "0.25", None),
        ("0.25", "0.22", "0"),
    ],
)
def test_the_way_to_the_limit(first: str, value: str, way: str | None) -> None:
    """Of at most 0.2: by hand, (value - first) / (0.2 - first); downwards is no way where that side is open."""
    found = way_to_limit(Decimal(first), Decimal(value), Limits(None, Decimal("0.2"), "Ω"))
    assert found == (None if way is None else Decimal(way))


def test_the_way_to_a_lower_limit() -> None:
    """Insulation falling from 100 to 40 with at least 20 has gone 60 of 80."""
    assert way_to_limit(Decimal(100), Decimal(40), Limits(Decimal(20), None, "MΩ")) == Decimal("0.75")


@given(one=some_limits(), other=some_limits(), value=NUMBERS, first=st.one_of(st.none(), NUMBERS))
def test_a_judgement_stored_is_the_same_when_read(
    one: Limits, other: Limits, value: Decimal, first: Decimal | None
) -> None:
    """Limits, sources, rule, uncertainty, context and first value come back, and say the same of a value."""
    try:
        both = tightest([Stated(one, "one", "Tova"), Stated(other, "other")])
    except BadValueError:
        assume(False)
    began = None if first is None else First(first, "2024-03-01", "WO-1")
    given_ = Judgement(both, Acceptance.GUARDED, Decimal("0.5"), "House", Context("2"), began, Decimal("0.5"))
    again = read_judgement(json.loads(json.dumps(given_.as_stored())))
    assert again == given_
    assert again.has_jumped(value) == given_.has_jumped(value)


def test_a_jump_is_shown_beyond_the_share_and_not_at_it() -> None:
    """From 40 to 100 at most, half the way is 70: that is none, 71 is one; without a first value there is none."""
    limits = tightest([stated(None, "100")])
    judged = Judgement(limits, first=First(Decimal(40), "2024-03-01", "WO-1"), jump_share=Decimal("0.5"))
    assert not judged.has_jumped(Decimal(70))
    assert judged.has_jumped(Decimal(71))
    assert not Judgement(limits, jump_share=Decimal("0.5")).has_jumped(Decimal(99))
    assert read_judgement({}) is None
