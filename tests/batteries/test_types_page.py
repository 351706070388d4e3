"""Types of pack side by side: how long they run, how they fade, what a year with them costs."""

from decimal import Decimal

import pytest
from django.test import Client

from fleet.batteries import actions, queries
from fleet.batteries.models import Forecast, TypeOutlook
from fleet.registry.models import DeviceType
from tests.batteries.builders import a_fitted_device, words
from tests.batteries.outlooks import an_outlook
from tests.builders import BY, a_type

pytestmark = pytest.mark.django_db

PAGE = "/batteries/types/"


def the_row(device_type: DeviceType) -> queries.TypeRow:
    return next(row for row in queries.compared() if row.device_type == device_type)


def order(page: str, *models: str) -> list[str]:
    """The models in the order in which the table names them."""
    return sorted(models, key=lambda model: page.index(f">Tarnwick Instruments {model}</a>"))


def test_a_type_tells_all_that_is_compared(desk: Client) -> None:
    """Hours at the reference rate, fade, life with its range, price, price a year, packs, and what it rests on."""
    kind = a_type()
    a_fitted_device(device_type=kind)
    an_outlook(kind)
    actions.set_supply(kind, {"price": Decimal(60)}, by=BY)
    page = words(desk, PAGE)
    for expected in (
        "1 type of pack compared", "7 h", "at 5 mL/h", "4.5 %", "4.0 years", "8 in 10: 3.1 to 5.6 years", "60.00 EUR",
        # 60 over the 4 years that half of them serve.
        "15.00 EUR", "30 tests of 12 packs",
    ):  # fmt: skip
        assert expected in page, expected
    assert the_row(kind).fitted == 1


def test_what_is_assumed_is_said_plainly(desk: Client) -> None:
    """A type of which nothing was measured stands with its source, and with a caution above the table."""
    kind = a_type()
    an_outlook(kind, basis=Forecast.Basis.ASSUMED, packs_tested=0, tests_used=0, prior_source="a maker's leaflet")
    page = words(desk, PAGE).replace("&#x27;", "'")
    assert "Assumed (source: a maker's leaflet), with no test of its own" in page
    assert "Some of this was never measured here" in page
    assert "Don’t buy by it" in page  # noqa: RUF001 - as the page says it
    assert the_row(kind).is_assumed
    TypeOutlook.objects.update(prior_source="assumed")
    assert the_row(kind).rests_on == "assumed (no source), with no test of its own"


@pytest.mark.parametrize(
    ("basis", "said"),
    [
        (Forecast.Basis.OWN_TESTS, "30 tests of 12 packs"),
        (Forecast.Basis.BORROWED, "other types, with 30 tests of 12 packs of its own: too few to go by alone"),
        (Forecast.Basis.NOT_ENOUGH, "nothing yet: there is no forecast of this type"),
    ],
)
def test_what_the_numbers_rest_on_is_in_words(basis: str, said: str) -> None:
    """Own tests, other types, or nothing."""
    an_outlook(basis=basis)
    assert the_row(a_type()).rests_on == said


def test_what_is_not_known_is_not_made_up(desk: Client) -> None:
    """Before the first night only what is stated of the type stands there."""
    a_type()
    page = words(desk, PAGE)
    assert page.count("not known") == 4
    assert the_row(a_type()).per_year is None
    an_outlook(new_life_high=None)
    assert "8 in 10: over 3.1 years" in words(desk, PAGE)


def test_it_can_be_sorted(desk: Client) -> None:
    """By any number, either way; a type without one stands at an end."""
    for model, life, price in (("TW-10", 4.0, 90), ("TW-20", 6.0, 30), ("TW-30", 5.0, 60)):
        kind = a_type(model)
        an_outlook(kind, new_life_middle=life)
        actions.set_supply(kind, {"price": Decimal(price)}, by=BY)
    models = ("TW-10", "TW-20", "TW-30")
    assert order(words(desk, PAGE), *models) == ["TW-10", "TW-20", "TW-30"]
    assert order(words(desk, f"{PAGE}?sort=middle"), *models) == ["TW-10", "TW-30", "TW-20"]
    assert order(words(desk, f"{PAGE}?sort=-per_year"), *models) == ["TW-10", "TW-30", "TW-20"]
    a_type("TW-40")
    for column in ("hours", "fade", "middle", "price", "per_year", "fitted", "rests_on"):
        for way in ("", "-"):
            assert words(desk, f"{PAGE}?sort={way}{column}").count('data-label="Type"') == 4


def test_a_type_with_cells_is_not_compared(desk: Client) -> None:
    """Exchangeable cells are no packs."""
    a_type("TW-99", power=DeviceType.Power.CELLS)
    assert "0 types of pack compared" in words(desk, PAGE)


def test_a_type_leads_to_its_packs_to_hold(desk: Client) -> None:
    """One click from the comparison to what to order."""
    kind = a_type()
    assert f'href="/batteries/fleet/?type={kind.pk}"' in words(desk, PAGE)


def test_the_file_holds_the_same(desk: Client) -> None:
    """A line a type, with numbers as numbers."""
    kind = a_type()
    an_outlook(kind)
    actions.set_supply(kind, {"price": Decimal("60.50")}, by=BY)
    lines = b"".join(desk.get("/batteries/types.csv").streaming_content).decode("utf-8-sig").splitlines()
    assert lines[0].startswith("Type,Chemistry,")
    assert lines[1] == (
        "Tarnwick Instruments TW-10,NiMH,5.00,7.00,0.045,3.1,4.0,5.6,60.50,15.12,EUR,0,12,30,30 tests of 12 packs"
    )
