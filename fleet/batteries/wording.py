"""Runtimes, verdicts and forecasts as a reader says them. No forecast is called a test, and no number is invented."""

import math
from collections.abc import Iterator
from datetime import date, datetime, timedelta
from decimal import Decimal
from fractions import Fraction
from typing import Final

from django.utils import timezone

from fleet.batteries.models import Forecast, RuntimeTest
from fleet.core.battery.runtime import meets_level
from fleet.web import phrases
from fleet.web.phrases import NO_BREAK

#: A forecast is made each night; one that missed a night and half a day is said to be old.
OLD_AFTER: Final = timedelta(hours=36)
#: A chance under the first, or over the second, is not told in tenths.
_RARE, _NEARLY_SURE = 0.05, 0.95
_ONE_IN_TEN = 0.075
#: Limits that are told in the same shares as a chance; beside any other both are told in percent.
_ROUND_LIMITS: Final = (0.05, 0.1, 0.2, 0.3, 0.4, 0.5)
_DECIMALS: Final = (1, 2, 3, 4)
_TEN_MINUTES: Final = timedelta(minutes=10)
_ELSEWHERE: Final = {
    Forecast.Basis.BORROWED.value: "other types, because too little is measured of this one",
    Forecast.Basis.ASSUMED.value: "what is assumed of its chemistry, because too little is measured of its type",
}


def span(hours: timedelta | Decimal) -> str:
    """Say a runtime in hours and whole minutes, never rounded up: `5 h 36 min`, `7 h`, `48 min`."""
    seconds = hours.total_seconds() if isinstance(hours, timedelta) else hours * 3600
    whole, minutes = divmod(int(seconds) // 60, 60)
    parts = [f"{whole}{NO_BREAK}h"] if whole else []
    parts += [f"{minutes}{NO_BREAK}min"] if minutes or not whole else []
    return NO_BREAK.join(parts)


def about(hours: timedelta) -> str:
    """Say a runtime that is only expected, to ten minutes: `about 6 h 20 min`."""
    return f"about {span(_TEN_MINUTES * round(hours / _TEN_MINUTES))}"


def level_percent(level: Decimal) -> str:
    """Say a replacement level: `80 %`, `82.5 %`."""
    return phrases.percent(level, 0 if level * 100 == int(level * 100) else 1)


def meets(test: RuntimeTest, level: Decimal) -> bool:
    """Whether the driver ran at least `level` of its rated runtime, compared exactly."""
    return meets_level(_hours(test.ran), test.rated_hours, level)


def is_value(test: RuntimeTest) -> bool:
    """Whether the test is a value of its pack: run flat after a full charge, at a rate the type's table covers."""
    return test.stop == RuntimeTest.Stop.RAN_FLAT and not test.short_charge and not test.outside_table


def worth(test: RuntimeTest, level: Decimal) -> str:
    """Say what a test is worth: `5 h 36 min of 7 h rated: 80.0 %, meets the replacement level of 80 %`."""
    least = "" if test.stop == RuntimeTest.Stop.RAN_FLAT else "at least "
    share = _share_beside(test, level)
    return f"{span(test.ran)} of {span(test.rated_hours)} rated: {least}{share}, {verdict(test, level)}"


def verdict(test: RuntimeTest, level: Decimal) -> str:
    """Say whether the pack meets the level, or why this test cannot tell."""
    wanted = f"the replacement level of {level_percent(level)}"
    if test.outside_table:
        return f"which does not tell whether it meets {wanted}"
    if meets(test, level):
        return f"meets {wanted}"
    return f"does not meet {wanted}" if is_value(test) else f"which does not tell whether it meets {wanted}"


def flags(test: RuntimeTest) -> Iterator[tuple[str, str]]:
    """Give each mark of a test: its kind (of `figure.Kind`) and the words."""
    if test.voided_at:
        yield "void", f"Void: {test.voided_why}"
    if test.stop == RuntimeTest.Stop.BY_HAND:
        yield "early", "Stopped early by hand: it would have run longer"
    if test.short_charge:
        yield "short", f"Short charge: {phrases.quantity(test.charge_hours, 'h')} before the test"
    if test.outside_table:
        yield "outside", f"{phrases.quantity(test.rate, 'mL/h')} lies outside the type's rated runtimes"


def flags_by(forecast: Forecast | None, test: RuntimeTest) -> Iterator[tuple[str, str]]:
    """Give the marks that a forecast puts on a test that counts, as `flags` does."""
    if forecast is None or test.voided_at:
        return
    if test.pk in forecast.jumps:
        yield "jump", "Far above what the earlier tests allow"
    if test.pk in forecast.doubtful:
        yield "aside", "Set aside as likely wrong: it fits neither this pack nor its type"


def kind(test: RuntimeTest, forecast: Forecast | None = None) -> str:
    """Say which mark a test has in the figure: void, what the forecast makes of it, the first of its flags, `full`."""
    if test.voided_at:
        return "void"
    return next((kind for kind, _ in (*flags_by(forecast, test), *flags(test))), "full")


def chance_words(chance: float) -> str:
    """Say a chance as a share of ten: `2 in 10`; near the ends `less than 1 in 20`, `19 in 20 or more`."""
    if chance < _RARE:
        return "less than 1 in 20"
    if chance >= _NEARLY_SURE:
        return "19 in 20 or more"
    return "1 in 20" if chance < _ONE_IN_TEN else f"{round(chance * 10)} in 10"


def against(chance: float, limit: float) -> tuple[str, str]:
    """Say a chance and the limit beside it so that the two never read as equal, or the wrong way round."""
    said = chance_words(chance), chance_words(limit)
    if said[0] != said[1] and any(math.isclose(limit, share) for share in _ROUND_LIMITS):
        return said
    for decimals in (0, 1, 2):
        said = phrases.percent(chance, decimals), phrases.percent(limit, decimals)
        if said[0] != said[1]:
            break
    return said


def chance_before_visit(forecast: Forecast, today: date) -> str:
    """Say the chance of having crossed the level by the next visit, or why there is none to give."""
    if forecast.next_visit is None:
        return "No visit is planned for this driver, so there is no day to give a chance for."
    if forecast.chance_before_visit is None:
        return ""
    under = f"{chance_words(forecast.chance_before_visit)} chance of falling under {level_percent(forecast.level)}"
    if forecast.next_visit <= today:
        return f"{under} by today; its visit of {phrases.day(forecast.next_visit)} is still to be made"
    return f"{under} before {phrases.day(forecast.next_visit)}"


def chance_before_following(forecast: Forecast) -> str:
    """Say the chance by the visit after the next; empty where that is not known."""
    if forecast.following_visit is None or forecast.chance_before_following is None:
        return ""
    under = f"{chance_words(forecast.chance_before_following)} chance of falling under {level_percent(forecast.level)}"
    return f"{under} before {phrases.day(forecast.following_visit)}"


def crossing(forecast: Forecast) -> str:
    """Say when the level is expected to be passed, with its 80 % interval; a day beyond the horizon has no name."""
    if forecast.crossing_on is None and forecast.why_not:
        early = f"; 1 in 10 that it is before {phrases.day(forecast.crossing_early)}" if forecast.crossing_early else ""
        return f"{forecast.why_not[0].lower()}{forecast.why_not[1:].rstrip('.')}{early}"
    if forecast.crossing_on is None:
        if forecast.crossing_early is None:
            return "not within 15 years"
        return f"not within 15 years; 1 in 10 that it is before {phrases.day(forecast.crossing_early)}"
    return f"{phrases.day(forecast.crossing_on)} (8 in 10: between {crossing_interval(forecast, ' and ')})"


def crossing_interval(forecast: Forecast, to: str = " to ") -> str:
    """The first and last day of the interval that holds 8 in 10 of such packs."""
    endless = "an age too old to tell" if forecast.why_not else "more than 15 years from now"
    late = phrases.day(forecast.crossing_late) if forecast.crossing_late else endless
    early = phrases.day(forecast.crossing_early) if forecast.crossing_early else "the first day"
    return f"{early}{to}{late}"


def basis(forecast: Forecast, *, tested: bool) -> str:
    """Say what a forecast rests on; a pack without a full test has its type's, whatever else was tried on it."""
    own = f"{forecast.tests_used} full test{'' if forecast.tests_used == 1 else 's'} of this pack"
    if forecast.basis == Forecast.Basis.OWN_TESTS:
        return f"{own}, and its type"
    if forecast.basis in _ELSEWHERE:
        return f"{own}, and {_ELSEWHERE[forecast.basis]}" if forecast.tests_used else _ELSEWHERE[forecast.basis]
    return "its type only: this pack has no full test" if tested else "its type only: this pack was never tested"


def prior(source: str) -> str:
    """Say what is taken of a type before its own tests, by its source as the night names it; empty where unknown."""
    return "wide assumptions, measured on no fleet" if source == "assumed" else source


def below(forecast: Forecast) -> str:
    """Say why a pack counts as below its level: by its latest test, or only by what is expected of it."""
    if not forecast.already_below:
        return ""
    why = "by its latest test" if forecast.last_test_below else "by what is expected of it"
    return f"Below its replacement level {why}"


def corrected(forecast: Forecast, known: int) -> str:
    """Say what the correction by `known` earlier crossings did to the chance; empty where it did nothing."""
    before, after = forecast.chance_uncorrected, forecast.chance_before_visit
    if before is None or after is None or not known or chance_words(before) == chance_words(after):
        return ""
    return (
        f"The chance before the next visit was {chance_words(before)} before it was corrected by how {known} earlier "
        f"forecasts turned out, and is {chance_words(after)} after."
    )


def made_words(made_at: datetime, now: datetime) -> str:
    """Say when a forecast was made, and that it is old when it missed a night."""
    made = timezone.localtime(made_at)
    words = f"Forecast made {phrases.moment(made)}, {phrases.moment_ago(made, timezone.localtime(now))}"
    return f"{words}: older than 36 hours, so a night was missed." if is_old(made_at, now) else f"{words}."


def is_old(made_at: datetime, now: datetime) -> bool:
    """Whether a forecast missed its last night."""
    return now - made_at > OLD_AFTER


def years(since: date | None, today: date) -> str:
    """Say an age in years: `3.2 years`."""
    return phrases.NOT_KNOWN if since is None else f"{max((today - since).days, 0) / 365.25:.1f}{NO_BREAK}years"


def _share_beside(test: RuntimeTest, level: Decimal) -> str:
    """Say the share of the rated runtime so that it never looks like the level where it misses it."""
    share = Decimal(_hours(test.ran).numerator) / Decimal(_hours(test.ran).denominator) / test.rated_hours
    said = [phrases.percent(share, decimals) for decimals in _DECIMALS]
    same = {phrases.percent(level, decimals) for decimals in _DECIMALS}
    return said[0] if meets(test, level) else next((words for words in said if words not in same), said[-1])


def _hours(ran: timedelta) -> Fraction:
    return Fraction(ran // timedelta(microseconds=1), 3_600_000_000)
