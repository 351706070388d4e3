"""The advice in one sentence, what a test would settle, and what is in doubt."""

from datetime import date
from decimal import Decimal
from typing import Any

import pytest

from fleet.batteries import advising
from fleet.batteries.advising import LastFull
from fleet.batteries.models import Forecast
from fleet.core.battery.decision import Advice

TODAY = date(2026, 11, 25)
FULL = LastFull(date(2024, 11, 20))


def a_row(**facts: Any) -> Forecast:
    """A forecast in memory: 21 % by March 2027, 34 % by March 2028, the limit 1 in 10."""
    usual = {
        "basis": "own",
        "level": Decimal("0.800"),
        "advice": "at_visit",
        "next_visit": date(2027, 3, 14),
        "chance_before_visit": 0.04,
        "following_visit": date(2028, 3, 14),
        "chance_before_following": 0.21,
        "limit": 0.1,
        "test_worth": 0.4,
        "test_clears_at": 0.853,
        "test_clears_chance": 0.61,
    }
    return Forecast(**{**usual, **facts})


def sentence(last_full: LastFull | None = FULL, *, assumed_limit: bool = False, **facts: Any) -> str:
    found = advising.advised(a_row(**facts), TODAY, last_full, assumed_limit=assumed_limit)
    assert found is not None
    return found.sentence.replace("\u00a0", " ")


def settled(**facts: Any) -> str:
    return advising.settled_by_a_test(a_row(**facts)).replace("\u00a0", " ")


def doubts(days: dict[int, date] | None = None, **facts: Any) -> list[tuple[str, int | None]]:
    found = advising.doubts(a_row(**facts), days or {}, TODAY)
    return [(doubt.words.replace("\u00a0", " "), doubt.test) for doubt in found]


@pytest.mark.parametrize(
    ("facts", "said"),
    [
        (
            {"advice": "replace", "already_below": True, "last_test_below": True},
            "Replace now: its latest test was under 80 %.",
        ),
        (
            {"advice": "replace", "already_below": True},
            "Replace now: it is expected to be under 80 % already, though no test says so.",
        ),
        (
            {"advice": "call_in", "chance_before_visit": 0.34},
            "Call in before its visit: 3 in 10 chance of falling under 80 % before 14 Mar 2027; your limit is 1 in 10.",
        ),
        (
            {"advice": "call_in", "chance_before_visit": 0.34, "next_visit": date(2026, 11, 1)},
            ("Call in before its visit: 3 in 10 chance of falling under 80 % by today, its visit of 1 Nov 2026 is "
            "still to be made; your limit is 1 in 10."),
        ),
        (
            {},
            ("Replace at the next visit: 2 in 10 chance of falling under 80 % before 14 Mar 2028, the visit after it; "
            "your limit is 1 in 10."),
        ),
        (
            {"limit": 0.043, "limit_by_cost": True},
            ("Replace at the next visit: 21 % chance of falling under 80 % before 14 Mar 2028, the visit after it; "
            "your limit, which follows from the prices, is 4 %."),
        ),
        (
            {"limit": None},
            "Replace at the next visit: 2 in 10 chance of falling under 80 % before 14 Mar 2028, the visit after it.",
        ),
        (
            {"advice": "test", "chance_before_following": 0.09},
            ("Test at the next visit: 9 % chance of falling under 80 % before 14 Mar 2028, the visit after it; your "
            "limit is 10 %; a test would settle it."),
        ),
        (
            {"advice": "test", "basis": "guess"},
            "Test at the next visit: too little was measured of its type, so most of what is said of it is assumed.",
        ),
        (
            {"advice": "test", "chance_before_following": 0.02, "test_clears_at": None},
            ("Test at the next visit: its last full test was on 20 Nov 2024, 2 years ago, and by its next visit it "
            "needs a new one to go by; less than 1 in 20 chance of falling under 80 % before 14 Mar 2028, the visit "
            "after it; your limit is 1 in 10."),
        ),
        (
            {"advice": "call_in", "basis": "none", "chance_before_visit": None, "chance_before_following": None},
            ("Call in before its visit: too little is known of it for a number, but its chance is over your limit: "
            "test it at once."),
        ),
        (
            {"advice": "call_in", "basis": "guess", "chance_before_visit": 0.34},
            ("Call in before its visit: 3 in 10 chance of falling under 80 % before 14 Mar 2027; your limit is 1 in "
            "10; that is assumed, as nothing or too little of its type was measured: test it at once."),
        ),
        (
            {"advice": "test", "basis": "none"},
            "Test at the next visit: too little is known of it to say more.",
        ),
        (
            {"advice": "skip", "chance_before_following": 0.01},
            ("Next test may be skipped: less than 1 in 20 chance of falling under 80 % before 14 Mar 2028, the visit "
            "after it; your limit is 1 in 10."),
        ),
        (
            {"advice": "wait", "following_visit": None, "chance_before_following": None},
            "Leave it in: less than 1 in 20 chance of falling under 80 % before 14 Mar 2027; your limit is 1 in 10.",
        ),
        (
            {
                "advice": "wait",
                "next_visit": None,
                "following_visit": None,
                "chance_before_visit": None,
                "chance_before_following": None,
            },
            "Leave it in: no visit is planned for this driver, so there is no day to give a chance for.",
        ),
    ],
)  # fmt: skip
def test_each_advice_is_one_sentence_with_its_reason(facts: dict[str, Any], said: str) -> None:
    """What to do, by which chance, by which day, against which limit; and what is missing says so."""
    assert sentence(**facts) == said


def test_a_visit_beyond_all_that_is_known_is_the_reason_to_test() -> None:
    """It is not said that no visit is planned."""
    said = sentence(advice="test", chance_before_following=None)
    assert said.startswith("Test at the next visit: the visit after the next lies beyond the age up to which")
    assert "chance of falling under 80 % before 14 Mar 2027" in said
    assert sentence(advice="test", chance_before_following=None, chance_before_visit=None).endswith("such packs.")


def test_every_advice_has_a_sentence() -> None:
    """None of them ends up without a reason, and none calls a pack fit for use."""
    for advice in Advice:
        said = sentence(advice=advice.value)
        assert said.startswith(f"{advice.label}: ")
        assert "safe" not in said
        assert "fit for" not in said


def test_a_pack_without_a_full_test_is_sent_to_its_first() -> None:
    """The reason names that first."""
    assert sentence(None, advice="test").startswith("Test at the next visit: it never had a full test; ")


def test_an_assumed_limit_is_not_called_yours() -> None:
    """Until somebody sets a limit it is the program's, and says so."""
    assert sentence(assumed_limit=True).endswith("the limit is 1 in 10, assumed until you set one.")


def test_without_advice_there_is_no_sentence() -> None:
    """A night that gave none leaves the page without one, and without what a test would settle."""
    assert advising.advised(a_row(advice=""), TODAY, FULL) is None
    assert settled(advice="") == ""


@pytest.mark.parametrize(
    ("facts", "said"),
    [
        ({}, "A full test now: 86 % or more would let it wait (6 in 10 likely); less, replace it."),
        (
            {"test_clears_at": 0.86},
            "A full test now: 86 % or more would let it wait (6 in 10 likely); less, replace it.",
        ),
        (
            {"advice": "wait", "test_clears_chance": 0.9},
            "A full test now: 86 % or more lets it stay in (9 in 10 likely); less, replace it.",
        ),
        ({"test_clears_at": None, "test_clears_chance": None}, "A test now would not change this."),
        ({"test_worth": None}, ""),
    ],
)
def test_what_one_more_test_would_settle(facts: dict[str, Any], said: str) -> None:
    """The percentage is rounded up, so that what is told does clear."""
    assert settled(**facts) == said


def test_a_sound_forecast_has_no_doubts() -> None:
    """Nothing stands beside numbers that nothing speaks against."""
    assert doubts() == []


def test_each_doubt_names_its_test_by_its_day() -> None:
    """A jump and a test set aside are told by day with the test to look at, and each says what to do."""
    days = {7: date(2026, 3, 3), 9: date(2025, 5, 1)}
    jump, aside = doubts(days, jumps=[7], has_jump=True, doubtful=[9], has_set_aside=True)
    assert jump == (
        (
            "The test of 3 Mar 2026 lies far above what the earlier ones allow: test again, or was the pack replaced "
            "and nobody logged it?"
        ),
        7,
    )
    assert aside[0].startswith("The test of 1 May 2025 fits neither this pack nor its type")
    assert "void it if it is" in aside[0]
    assert aside[1] == 9


def test_a_test_set_aside_without_its_name_is_still_told() -> None:
    """An older row knows only that there is one."""
    assert doubts(has_set_aside=True)[0][1] is None


def test_a_longer_run_than_expected_asks_for_a_test() -> None:
    """Stopped early, and still longer than the forecast gives much chance."""
    assert doubts(bound_contradicted=True) == [
        ("A test stopped early ran longer than this forecast gives much chance: test the pack again.", None)
    ]


def test_an_interval_that_begins_in_the_past_says_so() -> None:
    """The pack may be under its level already; one that is known to be below has that in its advice."""
    (told,) = doubts(crossing_early=date(2026, 10, 1))
    assert told[0].startswith("It may be under 80 % already")
    assert "1 Oct 2026" in told[0]
    assert doubts(crossing_early=date(2026, 10, 1), already_below=True) == []
    assert doubts(crossing_early=date(2026, 12, 1)) == []


@pytest.mark.parametrize(
    ("facts", "said"),
    [
        (
            {"advice": "test", "chance_before_following": 0.09},
            "near its limit: 9 % against 10 %; a test would settle it",
        ),
        ({}, "over its limit: 2 in 10 against 1 in 10; a test of 86 % or more would let it wait"),
        ({"test_clears_at": None}, "over its limit: 2 in 10 against 1 in 10"),
        ({"limit": None}, "a test would settle what to do"),
    ],
)
def test_the_sheet_says_why_in_short(facts: dict[str, Any], said: str) -> None:
    """Chance against limit, and what a test would do about it."""
    assert advising.why_on_sheet(a_row(**facts), TODAY).replace("\u00a0", " ") == said


def test_a_low_latest_test_that_is_likely_wrong_is_made_again() -> None:
    """It still condemns the pack, until another says otherwise; the sentence says both."""
    last = LastFull(date(2026, 3, 3), wrong=True)
    said = sentence(last, advice="replace", already_below=True, last_test_below=True)
    assert said.startswith(
        "Replace now: its latest test was under 80 %, though that test is likely wrong: test it again"
    )
    assert "out of use until then" in said


def test_a_doubt_is_not_told_twice_nor_against_itself() -> None:
    """A test that both jumps and is set aside is named once; a page that asks for a test doesn't call one useless."""
    ((words, test),) = doubts(jumps=[7], has_jump=True, doubtful=[7], has_set_aside=True)
    assert "set aside until then" in words
    assert test == 7
    assert settled(test_clears_at=None, has_jump=True) == ""
