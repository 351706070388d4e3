"""The advice about a pack in one sentence with its reason, what one more test would settle, and what is in doubt.

No sentence here calls a pack fit for use: a forecast is no test, and the maker's instructions and local policy decide.
"""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Final

from fleet.batteries.models import Forecast
from fleet.batteries.wording import against, chance_words, level_percent
from fleet.core.battery.decision import Advice, DecisionRules
from fleet.web import phrases

#: Advice that takes the pack out, now or at a visit.
GOES: Final = frozenset({Advice.REPLACE_NOW, Advice.CALL_IN, Advice.REPLACE_AT_VISIT})
_MARKS: Final = {
    Advice.REPLACE_NOW: "fail",
    Advice.CALL_IN: "caution",
    Advice.REPLACE_AT_VISIT: "caution",
    Advice.TEST_NOW: "coming",
}
_ROUNDING = 1e-9
_UNSURE: Final = ", though that test is likely wrong: test it again, and keep the driver out of use until then"


@dataclass(frozen=True, slots=True)
class Advised:
    """The advice with its reason; `mark` is its shape, empty where nothing is to be done."""

    advice: Advice
    reason: str

    @property
    def mark(self) -> str:
        """The shape beside the words."""
        return _MARKS.get(self.advice, "")

    @property
    def sentence(self) -> str:
        """Both in one: `Replace at the next visit: 2 in 10 chance of ...`."""
        return f"{self.advice.label}: {self.reason}."


@dataclass(frozen=True, slots=True)
class Doubt:
    """What speaks against a forecast's numbers, and the test (its id) to look at, if it is about one."""

    words: str
    test: int | None = None


@dataclass(frozen=True, slots=True)
class LastFull:
    """A pack's latest full test: its day, and whether it was set aside as likely wrong."""

    on: date
    wrong: bool = False


def advised(
    forecast: Forecast, today: date, last_full: LastFull | None, *, assumed_limit: bool = False
) -> Advised | None:
    """The advice about a pack (`last_full`: None if it never had such a test); None when the night gave no advice."""
    if not forecast.advice:
        return None
    advice = Advice(forecast.advice)
    return Advised(advice, _reason(forecast, advice, today, last_full, assumed_limit=assumed_limit))


def _reason(forecast: Forecast, advice: Advice, today: date, last_full: LastFull | None, *, assumed_limit: bool) -> str:
    level = level_percent(forecast.level)
    if forecast.last_test_below:
        return f"its latest test was under {level}" + (_UNSURE if last_full and last_full.wrong else "")
    if forecast.already_below:
        return f"it is expected to be under {level} already, though no test says so"
    if forecast.basis == Forecast.Basis.NOT_ENOUGH and advice is Advice.CALL_IN:
        return "too little is known of it for a number, but its chance is over your limit: test it at once"
    if forecast.basis == Forecast.Basis.NOT_ENOUGH:
        return "too little is known of it to say more"
    chance = chance_against_limit(forecast, advice, today, assumed_limit=assumed_limit)
    if forecast.basis == Forecast.Basis.ASSUMED and advice is Advice.CALL_IN:
        return f"{chance}; that is assumed, as nothing or too little of its type was measured: test it at once"
    return _why_test(forecast, chance, today, last_full) if advice is Advice.TEST_NOW else chance


def _why_test(forecast: Forecast, chance: str, today: date, last_full: LastFull | None) -> str:
    if forecast.basis == Forecast.Basis.ASSUMED:
        return "too little was measured of its type, so most of what is said of it is assumed"
    if _is_beyond(forecast):
        why = "the visit after the next lies beyond the age up to which anything is known of such packs"
        return why if forecast.chance_before_visit is None else f"{why}; {chance}"
    if last_full is None:
        return f"it never had a full test; {chance}"
    if would_settle(forecast):
        return f"{chance}; a test would settle it"
    # The advice asks about a test at the visit, or how long it will be untested by then; both are told by these words.
    last = f"its last full test was on {phrases.day(last_full.on)}, {phrases.ago(last_full.on, today)}"
    return f"{last}, and by its next visit it needs a new one to go by; {chance}"


def _is_beyond(forecast: Forecast) -> bool:
    """Whether a visit is planned of which the forecast says nothing, since nobody has tested packs near that age."""
    return forecast.following_visit is not None and forecast.chance_before_following is None


def would_settle(forecast: Forecast) -> bool:
    """Whether a full test of a pack under its limit may well put it over (what `core.battery.decision` asks)."""
    clears = forecast.test_clears_chance
    return forecast.test_clears_at is not None and clears is not None and 1 - clears > DecisionRules().test_above


def chance_against_limit(forecast: Forecast, advice: Advice, today: date, *, assumed_limit: bool = False) -> str:
    """Say the chance that the advice rests on, by which day, beside the limit in force; or why there is no chance."""
    chance, by = chance_of_advice(forecast, advice, today)
    if chance is None:
        return "no visit is planned for this driver, so there is no day to give a chance for"
    if forecast.limit is None:
        return f"{chance_words(chance)} chance of falling under {level_percent(forecast.level)} {by}"
    said, limit = against(chance, forecast.limit)
    under = f"{said} chance of falling under {level_percent(forecast.level)} {by}"
    if forecast.limit_by_cost:
        return f"{under}; your limit, which follows from the prices, is {limit}"
    if assumed_limit:
        return f"{under}; the limit is {limit}, assumed until you set one"
    return f"{under}; your limit is {limit}"


def chance_of_advice(forecast: Forecast, advice: Advice, today: date) -> tuple[float | None, str]:
    """The chance that the advice rests on and the words for its day: the next visit's, or that of the one after."""
    if advice is not Advice.CALL_IN and forecast.chance_before_following is not None and forecast.following_visit:
        return forecast.chance_before_following, f"before {phrases.day(forecast.following_visit)}, the visit after it"
    if forecast.next_visit is None:
        return None, ""
    visit = phrases.day(forecast.next_visit)
    by = f"by today, its visit of {visit} is still to be made" if forecast.next_visit <= today else f"before {visit}"
    return forecast.chance_before_visit, by


def settled_by_a_test(forecast: Forecast) -> str:
    """Say what one full test now would settle; empty where that was not worked out."""
    if not forecast.advice or forecast.test_worth is None:
        return ""
    at, chance = forecast.test_clears_at, forecast.test_clears_chance
    if at is None or chance is None:
        # A doubt asks for a test all the same.
        doubtful = forecast.has_jump or forecast.has_set_aside or forecast.bound_contradicted
        return "" if doubtful else "A test now would not change this."
    needed = _needed(at)
    lets = "would let it wait" if Advice(forecast.advice) in GOES else "lets it stay in"
    return f"A full test now: {needed} or more {lets} ({chance_words(chance)} likely); less, replace it."


def _needed(at: float) -> str:
    """The fraction from which a test clears, rounded up: the percentage told is never one that does not clear."""
    return phrases.percent(math.ceil(at * 100 - _ROUNDING) / 100, 0)


def why_on_sheet(forecast: Forecast, today: date) -> str:
    """Say in short why a test of this pack settles something: `near its limit: 8 % against 10 %; ...`."""
    if not forecast.advice or forecast.limit is None:
        return "a test would settle what to do"
    advice = Advice(forecast.advice)
    chance, _ = chance_of_advice(forecast, advice, today)
    if chance is None:
        return "a test would settle what to do"
    said, limit = against(chance, forecast.limit)
    if chance <= forecast.limit:
        return f"near its limit: {said} against {limit}; a test would settle it"
    over = f"over its limit: {said} against {limit}"
    at = forecast.test_clears_at
    return over if at is None else f"{over}; a test of {_needed(at)} or more would let it wait"


def doubt_in_short(forecast: Forecast) -> str:
    """Say in short which doubt another test would settle."""
    if forecast.has_jump:
        return "a test lies far above the earlier ones: test again"
    if forecast.has_set_aside:
        return "a test was set aside as likely wrong: test again"
    return "ran longer than expected when it was stopped early"


def doubts(forecast: Forecast, days: Mapping[int, date], today: date) -> Iterator[Doubt]:
    """Give what speaks against a forecast's numbers, which stand unchanged beside it; `days` of the pack's tests."""
    for pk in forecast.jumps:
        when = f" of {phrases.day(days[pk])}" if pk in days else ""
        yield Doubt(
            f"The test{when} lies far above what the earlier ones allow: test again, or was the pack replaced and "
            "nobody logged it?" + (" It is set aside until then." if pk in forecast.doubtful else ""),
            pk,
        )
    yield from _set_aside(forecast, days)
    if forecast.bound_contradicted:
        yield Doubt("A test stopped early ran longer than this forecast gives much chance: test the pack again.")
    if forecast.crossing_early and forecast.crossing_early <= today and not forecast.already_below:
        level, since = level_percent(forecast.level), phrases.day(forecast.crossing_early)
        yield Doubt(f"It may be under {level} already: the days on which it may pass that begin on {since}.")


def _set_aside(forecast: Forecast, days: Mapping[int, date]) -> Iterator[Doubt]:
    for pk in forecast.doubtful:
        if pk in forecast.jumps:
            continue
        when = f" of {phrases.day(days[pk])}" if pk in days else ""
        yield Doubt(
            f"The test{when} fits neither this pack nor its type and was set aside as likely wrong: look at it, "
            "void it if it is.",
            pk,
        )
    if forecast.has_set_aside and not forecast.doubtful:
        yield Doubt("A test of this pack fits neither the pack nor its type and was set aside as likely wrong.")
