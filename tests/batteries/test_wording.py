"""What a runtime, a verdict and a chance are called."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest

from fleet.batteries import wording
from fleet.batteries.models import Forecast, RuntimeTest

START = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
LEVEL = Decimal("0.800")


def a_run(minutes: float, rated: str = "8", **facts: object) -> RuntimeTest:
    """A full test in memory: so many minutes of the rated hours."""
    stop = START + timedelta(minutes=minutes)
    usual = {"rated_hours": Decimal(rated), "stop": "flat", "charge_hours": Decimal(10), "rate": Decimal(5)}
    return RuntimeTest(started_at=START, stopped_at=stop, **{**usual, **facts})


def worth(test: RuntimeTest, level: Decimal = LEVEL) -> str:
    return wording.worth(test, level).replace("\u00a0", " ")


def test_384_of_480_minutes_meets_80_percent() -> None:
    """Exactly the level is enough."""
    assert worth(a_run(384)) == "6 h 24 min of 8 h rated: 80.0 %, meets the replacement level of 80 %"


def test_383_of_480_minutes_does_not() -> None:
    """One minute less is not, whatever it rounds to."""
    assert worth(a_run(383)) == "6 h 23 min of 8 h rated: 79.8 %, does not meet the replacement level of 80 %"


def test_5_h_36_min_of_7_h_is_the_level() -> None:
    """5.6 of 7 h is compared exactly, although 5.6 / 7 is below 0.8 in floats."""
    assert worth(a_run(336, "7")) == "5 h 36 min of 7 h rated: 80.0 %, meets the replacement level of 80 %"


def test_a_near_miss_never_reads_as_the_level() -> None:
    """A fraction that rounds onto the level it misses is told with more decimals."""
    assert "79.98 %, does not meet" in worth(a_run(1439.7, "29.9999"))


def test_a_level_with_a_decimal_is_told_with_it() -> None:
    """82.5 % is not called 82 % or 83 %."""
    assert worth(a_run(396), Decimal("0.825")).endswith("82.5 %, meets the replacement level of 82.5 %")


@pytest.mark.parametrize(
    ("minutes", "facts", "said"),
    [
        (240, {"stop": "by_hand"}, "at least 50.0 %, which does not tell whether it meets"),
        (400, {"stop": "by_hand"}, "at least 83.3 %, meets"),
        (240, {"short_charge": True}, "50.0 %, which does not tell whether it meets"),
        (400, {"outside_table": True}, "83.3 %, which does not tell whether it meets"),
    ],
)
def test_a_test_that_cannot_tell_says_so(minutes: float, facts: dict[str, object], said: str) -> None:
    """A test stopped early is a lower bound; a short charge or an unrated rate condemns no pack."""
    assert said in worth(a_run(minutes, **facts))


def test_each_flag_has_words() -> None:
    """Void, early, short and outside are each told, void first."""
    test = a_run(10, stop="by_hand", short_charge=True, outside_table=True, voided_at=START, voided_why="wrong clock")
    assert [kind for kind, _ in wording.flags(test)] == ["void", "early", "short", "outside"]
    assert wording.kind(test) == "void"
    assert wording.kind(a_run(10)) == "full"


@pytest.mark.parametrize(
    ("chance", "said"),
    [
        (0.0, "less than 1 in 20"),
        (0.0499, "less than 1 in 20"),
        (0.05, "1 in 20"),
        (0.08, "1 in 10"),
        (0.21, "2 in 10"),
        (0.5, "5 in 10"),
        (0.94, "9 in 10"),
        (0.95, "19 in 20 or more"),
    ],
)
def test_a_chance_is_told_in_plain_shares(chance: float, said: str) -> None:
    """A chance is a share of ten, and neither none nor certain."""
    assert wording.chance_words(chance) == said


def test_a_visit_that_is_late_counts_as_today() -> None:
    """The chance before a visit that was missed is the chance of being under the level by now."""
    forecast = Forecast(level=LEVEL, next_visit=date(2026, 11, 1), chance_before_visit=0.3)
    said = wording.chance_before_visit(forecast, date(2026, 11, 25)).replace("\u00a0", " ")
    assert said == "3 in 10 chance of falling under 80 % by today; its visit of 1 Nov 2026 is still to be made"


def test_without_a_visit_there_is_no_chance() -> None:
    """No day, no number."""
    said = wording.chance_before_visit(Forecast(level=LEVEL), date(2026, 11, 25))
    assert said.startswith("No visit is planned")


@pytest.mark.parametrize(
    ("on", "early", "late", "said"),
    [
        (date(2028, 3, 1), date(2027, 3, 1), date(2029, 9, 1), "(8 in 10: between 1 Mar 2027 and 1 Sep 2029)"),
        (date(2028, 3, 1), date(2027, 3, 1), None, "and more than 15 years from now)"),
        (None, date(2030, 3, 1), None, "1 in 10 that it is before 1 Mar 2030"),
        (None, None, None, "not within 15 years"),
    ],
)  # fmt: skip
def test_a_crossing_beyond_the_horizon_has_no_date(
    on: date | None, early: date | None, late: date | None, said: str
) -> None:
    """A date is told only where there is one, with its interval."""
    forecast = Forecast(crossing_on=on, crossing_early=early, crossing_late=late)
    assert said in wording.crossing(forecast).replace("\u00a0", " ")


def test_a_crossing_that_nobody_names_says_why() -> None:
    """Beyond what was tested there is no day, and the words are not those of a long life."""
    why = "Nobody has tested a pack of this type older than 1.6 years: no day is given beyond 4.8 years of age."
    said = wording.crossing(Forecast(crossing_early=date(2028, 3, 1), why_not=why)).replace("\u00a0", " ")
    assert said == f"n{why[1:-1]}; 1 in 10 that it is before 1 Mar 2028"
    days = {"crossing_on": date(2028, 6, 1), "crossing_early": date(2028, 3, 1)}
    assert wording.crossing(Forecast(why_not=why, **days)).endswith("and an age too old to tell)")


def test_an_old_forecast_says_that_it_is_old() -> None:
    """Past 36 hours the words say that a night was missed; before, only when it was made."""
    assert "older" not in wording.made_words(START, START + timedelta(hours=36))
    assert "older than 36 hours" in wording.made_words(START, START + timedelta(hours=36, minutes=1))


@pytest.mark.parametrize(("minutes", "said"), [(0, "0 min"), (48, "48 min"), (420, "7 h"), (1625.9, "27 h 5 min")])
def test_a_runtime_is_never_rounded_up(minutes: float, said: str) -> None:
    """Hours and whole minutes, cut off."""
    assert wording.span(timedelta(minutes=minutes)).replace("\u00a0", " ") == said


def test_a_pack_below_its_level_says_by_what() -> None:
    """Measured so at its latest test, or only expected to be: two different things to a technician."""
    assert wording.below(Forecast()) == ""
    assert wording.below(Forecast(already_below=True)).endswith("by what is expected of it")
    assert wording.below(Forecast(already_below=True, last_test_below=True)).endswith("by its latest test")


@pytest.mark.parametrize(
    ("chance", "limit", "said"),
    [
        (0.21, 0.1, ("2 in 10", "1 in 10")),
        (0.02, 0.05, ("less than 1 in 20", "1 in 20")),
        (0.12, 0.1, ("12 %", "10 %")),
        (0.101, 0.1, ("10.1 %", "10.0 %")),
        (0.045, 0.04, ("4.5 %", "4.0 %")),
        (0.3, 0.043, ("30 %", "4 %")),
    ],
)
def test_a_chance_and_its_limit_never_read_as_equal(chance: float, limit: float, said: tuple[str, str]) -> None:
    """Shares of ten where they tell the two apart, else percent with as many decimals as that takes."""
    assert tuple(words.replace("\u00a0", " ") for words in wording.against(chance, limit)) == said


def test_each_chance_stands_on_its_side_of_the_limit() -> None:
    """Whatever the limit, a chance over it never reads as lower and one under it never as higher."""
    for limit in (0.005, 0.02, 0.043, 0.05, 0.1, 0.125, 0.2, 0.3, 0.5):
        for step in range(1, 100):
            chance, said = step / 100, wording.against(step / 100, limit)
            if chance != limit:
                assert said[0] != said[1], (chance, limit)


@pytest.mark.parametrize(
    ("basis", "used", "said"),
    [
        ("own", 1, "1 full test of this pack, and its type"),
        ("own", 3, "3 full tests of this pack, and its type"),
        ("type", 0, "its type only: this pack was never tested"),
        ("kin", 0, "other types, because too little is measured of this one"),
        ("kin", 2, "2 full tests of this pack, and other types, because too little is measured of this one"),
        ("guess", 0, "what is assumed of its chemistry, because too little is measured of its type"),
    ],
)
def test_each_basis_is_told(basis: str, used: int, said: str) -> None:
    """What a forecast rests on, down to what is only assumed."""
    assert wording.basis(Forecast(basis=basis, tests_used=used), tested=False) == said


def test_a_correction_is_told_only_where_it_changes_what_is_said() -> None:
    """Before and after stand side by side; the same words twice, or no known crossing, are nothing to tell."""
    forecast = Forecast(chance_uncorrected=0.31, chance_before_visit=0.19)
    told = wording.corrected(forecast, 25)
    assert "was 3 in 10 before" in told
    assert "is 2 in 10 after" in told
    assert wording.corrected(forecast, 0) == ""
    assert wording.corrected(Forecast(chance_uncorrected=0.19, chance_before_visit=0.2), 25) == ""


def test_the_forecasts_word_on_a_test_comes_before_its_flags_but_after_void() -> None:
    """A test set aside is marked so, whatever its charge; a void one is void."""
    test = a_run(10, pk=7, short_charge=True)
    aside, jump = Forecast(doubtful=[7]), Forecast(jumps=[7])
    assert [wording.kind(test, each) for each in (None, aside, jump)] == ["short", "aside", "jump"]
    assert wording.kind(a_run(10, pk=7, voided_at=START, voided_why="x"), aside) == "void"
    assert list(wording.flags_by(aside, a_run(10, pk=8))) == []


def test_an_expected_run_is_told_to_ten_minutes() -> None:
    """What is only expected is not told to the minute."""
    assert wording.about(timedelta(hours=6.02)).replace("\u00a0", " ") == "about 6 h"
    assert wording.about(timedelta(minutes=377)).replace("\u00a0", " ") == "about 6 h 20 min"
