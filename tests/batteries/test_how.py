"""How is this computed: the method, and a type's own numbers."""

from datetime import timedelta
from typing import Any

import numpy as np
import pytest
from django.test import Client

from fleet.batteries.models import TypeOutlook
from fleet.core.battery.bend.fit import DRAWS, FEW_DRAWS, MOST_PACKS
from fleet.core.battery.bend.histories import PLAIN
from fleet.core.battery.bend.parameters import assumed_prior
from fleet.web import clock
from tests.batteries.builders import a_fitted_device, a_forecast, words
from tests.builders import a_type

pytestmark = pytest.mark.django_db


def an_outlook(**facts: Any) -> TypeOutlook:
    """What a night left of the usual type."""
    usual = {
        "device_type": a_type(),
        "made_at": clock.now() - timedelta(hours=6),
        "basis": "own",
        "prior_source": "other types of NiMH",
        "packs_tested": 12,
        "tests_used": 31,
        "packs_fitted": 14,
        "new_life_low": 3.1,
        "new_life_middle": 4.2,
        "new_life_high": 6.04,
        "fade_first_year": 0.041,
        "numbers": [
            {
                "name": "A test repeats to",
                "symbol": "s",
                "value": 0.0213,
                "low": 0.018,
                "high": 0.0254,
                "unit": "of the rating",
            },
            {"name": "Power of the bend", "symbol": "p", "value": 2.04, "low": 1.6, "high": None, "unit": ""},
        ],
        "correction_a": 1.31,
        "correction_b": 0.92,
        "correction_ranks": 25,
    }
    return TypeOutlook.objects.create(**{**usual, **facts})


def shown(client: Client, query: str = "") -> str:
    return words(client, f"/batteries/how/?{query}")


@pytest.mark.parametrize(
    "anchor",
    [
        "type",
        "in",
        "tests",
        "fade",
        "prior",
        "crossing",
        "correction",
        "advice",
        "worth",
        "demand",
        "limits",
        "references",
    ],
)
def test_each_part_of_the_method_is_there_and_listed(bench: Client, anchor: str) -> None:
    """The list at the top leads to a heading of the page."""
    page = shown(bench)
    assert f'href="#{anchor}"' in page
    assert f'id="{anchor}"' in page


def test_what_is_assumed_is_what_the_forecasts_assume(bench: Client) -> None:
    """The method's text states the numbers of the prior as they are in the program."""
    prior = assumed_prior(1.0)
    middle, (less, more) = prior.numbers(prior.mean), (prior.mean - prior.sd, prior.mean + prior.sd)
    low, high = prior.numbers(less), prior.numbers(more)
    page = shown(bench)
    for said in (
        f"steady fade {middle.mean[1, 0]:.2f} in a life within a factor of {high.mean[1, 0] / middle.mean[1, 0]:.0f}",
        f"the bend costs {middle.bend[0]:.2f} in a life within a factor of {high.bend[0] / middle.bend[0]:.0f}",
        f"with a power of {middle.power[0]:.1f} ({low.power[0]:.1f} to {high.power[0]:.1f})",
        f"packs differ in it by {np.sqrt(middle.bend_spread[0]):.0%}".replace("%", " %"),
        f"a test repeats to {np.sqrt(middle.noise[PLAIN, 0]):.0%}".replace("%", " %"),
        f"{middle.gross[0] * 100:.0f} tests in 100 are wrong",
        f"{DRAWS} sets of them ({FEW_DRAWS} where {MOST_PACKS} tested packs or more",
    ):
        assert said in page, said


def test_without_a_type_no_number_is_invented(bench: Client) -> None:
    """Nothing is chosen: the page says so and shows the method all the same."""
    an_outlook()
    page = shown(bench)
    assert "No type is chosen" in page
    assert "<caption>Numbers fitted" not in page


def test_a_types_numbers_stand_with_their_ranges(bench: Client) -> None:
    """Value, low and high with the decimals they need, the life of a new pack, the correction and what it rests on."""
    an_outlook()
    page = shown(bench, f"type={a_type().pk}")
    for said in (
        "A test repeats to",
        '"Value">0.0213<',
        '"Low">0.0180<',
        '"High">0.0254<',
        '"Value">2.040<',
        '"High">—<',
        "4.2 years in the middle (8 in 10: 3.1 to 6.0 years)",
        "a = 1.31, b = 0.92, from 25 known crossings",
        "31 tests of 12 packs, 14 fitted now",
        "Other types of NiMH",
        "4.1 %",
    ):
        assert said in page, said


def test_no_correction_says_why(bench: Client) -> None:
    """With too few known crossings the correction changes nothing, and the page says that."""
    an_outlook(correction_a=1, correction_b=1, correction_ranks=0, numbers=[])
    page = shown(bench, f"type={a_type().pk}")
    assert "none: too few crossings are known" in page
    assert "No number is on record for this type" in page


def test_an_alarm_of_the_type_stands_there(bench: Client) -> None:
    """Whoever asks how a number came about is told that recent tests went against it."""
    an_outlook(alarms=[{"kind": "drift", "label": "", "tests": 20, "words": "9 of 20 recent tests fell outside."}])
    assert "9 of 20 recent tests fell outside." in shown(bench, f"type={a_type().pk}")


@pytest.mark.parametrize("query", ["type=x", "type=999999"])
def test_a_type_that_is_none_shows_none(bench: Client, query: str) -> None:
    """A mistyped address is answered by the method, with what is wrong beside the choice."""
    an_outlook()
    page = shown(bench, query)
    assert "No type is chosen" in page
    assert "Select a valid choice" in page


def test_pages_with_a_forecast_lead_here(bench: Client) -> None:
    """Panel, pack page and the lists link to it, the first two with their type chosen."""
    device = a_fitted_device()
    a_forecast(device)
    pack = device.fittings.get().pack
    own = f"/batteries/how/?type={a_type().pk}#type"
    assert own in words(bench, f"/batteries/device/{device.asset_number}/panel/")
    assert own in words(bench, f"/batteries/packs/{pack.number}/")
    assert "/batteries/how/" in words(bench, "/batteries/")


def test_what_is_only_assumed_is_called_that(bench: Client) -> None:
    """The night's short name of an assumption is told in full; a stated life stands with its source."""
    an_outlook(prior_source="assumed")
    assert "Wide assumptions, measured on no fleet" in shown(bench, f"type={a_type().pk}")
    TypeOutlook.objects.update(prior_source="NiMH: 4.0 years, assumed")
    assert "NiMH: 4.0 years, assumed" in shown(bench, f"type={a_type().pk}")
