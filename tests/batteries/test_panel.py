"""The driver's battery in words: the advice first, what a test would settle, what is in doubt, what it rests on."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.test import Client

from fleet.batteries.models import RiskLimit
from fleet.registry.models import Device
from fleet.web import clock
from tests.batteries.builders import a_fitted_device, a_forecast, a_logged_test, no_forecast, words
from tests.batteries.test_how import an_outlook

pytestmark = pytest.mark.django_db

REPLACE = {
    "advice": "at_visit",
    "limit": 0.1,
    "chance_before_visit": 0.04,
    "following_visit": date(2028, 3, 14),
    "chance_before_following": 0.21,
    "test_worth": 0.4,
    "test_clears_at": 0.86,
    "test_clears_chance": 0.61,
}


def panel(client: Client, device: Device) -> str:
    return words(client, f"/batteries/device/{device.asset_number}/panel/")


def a_driver(**facts: Any) -> Device:
    """A driver with one full test of March 2026 and a forecast."""
    device = a_fitted_device()
    a_logged_test(device)
    a_forecast(device, **{**REPLACE, **facts})
    return device


def a_limit(limit: str = "0.100") -> None:
    """A limit for everything."""
    RiskLimit.objects.create(limit=Decimal(limit), why="agreed", set_by="Maud Ferrant", set_at=clock.now())


def test_the_advice_comes_first_with_its_reason(bench: Client) -> None:
    """Before any number, by shape and word; then what one more test would settle."""
    a_limit()
    page = panel(bench, a_driver())
    advice = (
        "Replace at the next visit</span>: 2 in 10 chance of falling under 80 % before 14 Mar 2028, the visit after "
        "it; your limit is 1 in 10."
    )
    settled = "A full test now: 86 % or more would let it wait (6 in 10 likely); less, replace it."
    assert page.index("#mark-caution") < page.index(advice) < page.index(settled) < page.index("Expected today")


def test_the_same_sentence_stands_under_the_figure(bench: Client) -> None:
    """Whoever prints or looks at the figure alone has the advice with it, and so has whoever hears it."""
    page = panel(bench, a_driver())
    sentence = "Replace at the next visit: 2 in 10 chance"
    assert f'battery-caption">{sentence}' in page
    assert f'-desc">{sentence}' in page


def test_a_limit_that_nobody_set_is_called_assumed(bench: Client) -> None:
    """It becomes yours with the first that somebody sets."""
    device = a_driver()
    assert "the limit is 1 in 10, assumed until you set one" in panel(bench, device)
    a_limit()
    assert "your limit is 1 in 10" in panel(bench, device)


def test_both_visits_have_their_chance(bench: Client) -> None:
    """The next and the one after, each with its day."""
    page = panel(bench, a_driver())
    assert "Less than 1 in 20 chance of falling under 80 % before 14 Mar 2027" in page
    assert "<dt>The visit after</dt><dd>2 in 10 chance of falling under 80 % before 14 Mar 2028" in page
    assert "then 14 Mar 2028" in page


def test_each_doubt_leads_to_its_test(bench: Client) -> None:
    """A test set aside and one that jumps are named by their day, marked in the figure and linked."""
    device = a_fitted_device()
    start = datetime(2025, 3, 3, 8, 0, tzinfo=UTC)
    aside = a_logged_test(device, started_at=start, stopped_at=start + timedelta(hours=2))
    jump = a_logged_test(device)
    a_forecast(device, **REPLACE, doubtful=[aside.pk], has_set_aside=True, jumps=[jump.pk], has_jump=True)
    page = panel(bench, device)
    assert "The test of 3 Mar 2025 fits neither this pack nor its type and was set aside as likely wrong" in page
    assert "The test of 2 Mar 2026 lies far above what the earlier ones allow" in page
    for test, kind in ((aside, "aside"), (jump, "jump")):
        assert f'href="/batteries/tests/{test.pk}/">Look at this test' in page
        assert page.count(f"battery-point battery-{kind}") == 2  # in the figure and in its legend


def test_a_marked_test_is_marked_on_the_packs_page_too(bench: Client) -> None:
    """In the table of tests its mark stands beside its verdict."""
    device = a_fitted_device()
    test = a_logged_test(device)
    a_forecast(device, **REPLACE, doubtful=[test.pk], has_set_aside=True)
    assert "Set aside as likely wrong</span>" in words(bench, f"/batteries/packs/{test.pack.number}/")


def test_what_it_rests_on_is_said_behind_the_question(bench: Client) -> None:
    """What was assumed before any test, and the chance before and after its correction, stand behind "how"."""
    an_outlook(prior_source="other types of NiMH")
    page = panel(bench, a_driver(chance_before_visit=0.19, chance_uncorrected=0.31, chance_before_following=None))
    behind = page[page.index("How is this computed?") :]
    assert "other types of NiMH" in behind
    assert "was 3 in 10 before it was corrected by how 25 earlier forecasts turned out, and is 2 in 10 after" in behind


@pytest.mark.parametrize(
    ("basis", "said"),
    [("kin", "1 full test of this pack, and other types"), ("guess", "1 full test of this pack, and what is assumed")],
)
def test_a_basis_elsewhere_is_told(bench: Client, basis: str, said: str) -> None:
    """Borrowed from other types, or only assumed: never passed off as its own."""
    assert said in panel(bench, a_driver(basis=basis, tests_used=1))


def test_without_a_number_the_advice_is_still_there(bench: Client) -> None:
    """Too little is measured: test it; and no chance is made up."""
    device = a_fitted_device()
    no_forecast(device, advice="test")
    page = panel(bench, device)
    assert "Test at the next visit</span>: too little is known of it to say more." in page
    assert "Expected today" not in page
    assert "in 10" not in page


def test_a_pack_below_its_level_has_no_chance(bench: Client) -> None:
    """What has happened has no chance; it says what shows it."""
    page = panel(bench, a_driver(advice="replace", already_below=True, last_test_below=True))
    assert "Replace now</span>: its latest test was under 80 %." in page
    assert "chance of falling" not in page


def test_a_row_of_an_earlier_version_still_has_its_words(bench: Client) -> None:
    """A forecast without advice, as the night before the update left it, says what it knows."""
    page = panel(bench, a_driver(advice="", already_below=True, last_test_below=True))
    assert "Below its replacement level by its latest test" in page


def test_the_cautions_stand_with_every_forecast(bench: Client) -> None:
    """No test, no clearance; hot, swollen or leaking packs go at once; whatever the advice is."""
    for advice in ("wait", "skip", "replace"):
        page = panel(bench, a_driver(advice=advice))
        assert "A forecast is not a test" in page
        assert "taken out at once, whatever the forecast says" in page
