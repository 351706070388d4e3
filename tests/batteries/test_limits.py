"""Risk limits by pool and kind of ward, what prices make of them, and what is assumed of each chemistry."""

from decimal import Decimal
from typing import Any

import pytest
from django.test import Client

from fleet.audit.changes import fingerprint
from fleet.audit.models import TrailEntry
from fleet.batteries import actions, queries
from fleet.batteries.actions.policy import FORECASTS
from fleet.batteries.models import ChemistryLife, RiskLimit
from fleet.batteries.policy_wording import limit_words
from fleet.core.errors import BadValueError, ConflictError, NotAllowedError
from fleet.jobs.models import Job
from fleet.people.models import Person
from fleet.people.queries import actor_for
from tests.batteries.builders import a_fitted_device, a_forecast, a_pack, plain, signed_in, words
from tests.batteries.outlooks import an_outlook
from tests.builders import BY, a_site, a_type, a_ward
from tests.schedules.builders import a_plan

pytestmark = pytest.mark.django_db

PAGE = "/batteries/limits/"


def facts(**changes: Any) -> dict[str, Any]:
    """A limit of 1 in 20 as the action takes it."""
    usual = {
        "limit": Decimal("0.050"),
        "failure_price": None,
        "test_price": None,
        "may_skip_tests": False,
        "longest_untested_months": 24,
        "why": "Agreed with the wards.",
    }
    return {**usual, **changes}


def typed(**changes: str) -> dict[str, str]:
    """The same as the form posts it."""
    return {"limit": "5", "longest_untested_months": "24", "why": "Agreed with the wards.", **changes}


def a_limit(pool: str = "", ward_kind: str = "any", **changes: Any) -> RiskLimit:
    return actions.set_limit(pool, ward_kind, facts(**changes), by=BY)


def a_life(chemistry: str = "NiMH", **changes: Any) -> ChemistryLife:
    stated = {"life_years": Decimal(4), "source": "assumed", "edition": ""}
    row = actions.set_chemistry_life(chemistry, {**stated, **changes}, verified=False, by=BY)
    row.refresh_from_db()
    return row


def verbs() -> list[str]:
    return list(TrailEntry.objects.order_by("pk").values_list("verb", flat=True))


@pytest.mark.parametrize(
    ("chance", "said"),
    [
        (0.1, "1 in 10"), (0.05, "1 in 20"), (0.02, "1 in 50"), (0.2, "2 in 10"), (0.3, "3 in 10"), (0.5, "1 in 2"),
        (0.125, "1 in 8"), (Decimal("0.100"), "1 in 10"), (0.0141, "about 1 in 71 (1.4\xa0%)"),
        (0.13, "about 1 in 8 (13.0\xa0%)"),
    ],
)  # fmt: skip
def test_a_limit_is_said_as_a_share(chance: float, said: str) -> None:
    """Round shares as they are, others as about the nearest, with the percentage."""
    assert limit_words(chance) == said


def test_until_somebody_sets_one_it_is_assumed(desk: Client) -> None:
    """The built-in limit stands on the page with what it is."""
    a_fitted_device()
    page = words(desk, PAGE)
    assert "All drivers" in page
    assert "Assumed until somebody sets one" in page
    assert "1 in 10, assumed" in page


def test_a_limit_is_set_on_its_page(desk: Client, manager: Person) -> None:
    """Typed in percent, kept as a chance, with who set it, and with the trail."""
    answer = desk.post(f"{PAGE}new/", typed(pool="loan", ward_kind="critical", failure_price="900,50"), follow=True)
    row = RiskLimit.objects.get()
    assert (row.pool, row.ward_kind, row.limit, row.failure_price) == (
        "loan",
        "critical",
        Decimal("0.05"),
        Decimal("900.5"),
    )
    assert row.set_by == str(manager)
    page = plain(answer.content)
    assert "The limit is set: 1 in 20." in page
    assert "Loan, critical care" in page
    assert verbs()[-1] == "set risk limit"
    # The widest is still the built-in one, for all others.
    assert "All others" in page


@pytest.mark.parametrize(
    ("changes", "wrong"),
    [
        ({"limit": "60"}, "Give at most 50 %"),
        ({"limit": "0,1"}, "Give at least 0.5 %"),
        ({"limit": "few"}, "Enter a number"),
        ({"why": ""}, "This field is required"),
        ({"why": "x" * 201}, "at most 200 letters; these are 201"),
        ({"longest_untested_months": "0"}, "greater than or equal to 1"),
        ({"failure_price": "-1"}, "greater than or equal to 0"),
    ],
)
def test_what_cannot_stand_is_refused_beside_its_field(desk: Client, changes: dict[str, str], wrong: str) -> None:
    """Nothing is saved, and what was typed is still there."""
    answer = desk.post(f"{PAGE}new/", typed(pool="", ward_kind="any", **changes))
    assert answer.status_code == 422
    assert wrong in plain(answer.content)
    assert not RiskLimit.objects.exists()


def test_a_pool_and_a_kind_of_ward_have_one_limit(desk: Client) -> None:
    """A second one is refused in words, and after a drop it may come."""
    row = a_limit("loan")
    answer = desk.post(f"{PAGE}new/", typed(pool="loan", ward_kind="any"))
    assert "A limit for these drivers stands already. Change that one." in plain(answer.content)
    actions.drop_limit(row, why="Review", by=BY)
    assert desk.post(f"{PAGE}new/", typed(pool="loan", ward_kind="any")).status_code == 302


def test_a_change_keeps_what_was_before_in_the_trail(desk: Client) -> None:
    """Only what differs is told; who changed it stands beside it."""
    row = a_limit()
    page = words(desk, f"{PAGE}{row.pk}/")
    assert 'value="5"' in page
    opened = fingerprint(row, actions.LIMIT_FACTS)
    desk.post(f"{PAGE}{row.pk}/", typed(limit="10", opened=opened))
    row.refresh_from_db()
    assert row.limit == Decimal("0.1")
    entry = TrailEntry.objects.latest("pk")
    assert (entry.verb, entry.before, entry.after) == ("changed risk limit", {"limit": "0.050"}, {"limit": "0.1"})


def test_saving_the_same_leaves_no_trail() -> None:
    """Nothing changed is nothing done."""
    row = a_limit()
    before = (row.set_at, len(verbs()))
    changed = actions.change_limit(row, facts(), by=BY)
    assert (changed.set_at, len(verbs())) == before


def test_two_who_change_it_at_once_do_not_overwrite_each_other(desk: Client) -> None:
    """The second is told what stands now; saving again counts."""
    row = a_limit()
    opened = fingerprint(row, actions.LIMIT_FACTS)
    actions.change_limit(row, facts(limit=Decimal("0.2")), by=BY, opened=opened)
    with pytest.raises(ConflictError):
        actions.change_limit(row, facts(limit=Decimal("0.3")), by=BY, opened=opened)
    answer = desk.post(f"{PAGE}{row.pk}/", typed(limit="30", opened=opened))
    page = plain(answer.content)
    assert answer.status_code == 422
    assert "was changed by somebody else" in page
    assert "On record now, where it differs" in page
    held = fingerprint(RiskLimit.objects.get(), actions.LIMIT_FACTS)
    assert held in page
    assert desk.post(f"{PAGE}{row.pk}/", typed(limit="30", opened=held)).status_code == 302
    assert RiskLimit.objects.get().limit == Decimal("0.3")


def test_a_dropped_limit_stays_on_record(desk: Client) -> None:
    """It has a date and a reason in the trail, can be read, and can't be changed any more."""
    row = a_limit("clinical", why="Trial of last spring")
    assert desk.post(f"{PAGE}{row.pk}/", {"drop": "1", "drop-why": ""}).status_code == 422
    page = plain(desk.post(f"{PAGE}{row.pk}/", {"drop": "1", "drop-why": "Trial is over"}, follow=True).content)
    assert "Limits that hold no longer" in page
    assert "Trial of last spring" in page
    entry = TrailEntry.objects.latest("pk")
    assert (entry.verb, entry.why) == ("dropped risk limit", "Trial is over")
    assert desk.get(f"{PAGE}{row.pk}/").status_code == 404
    with pytest.raises(BadValueError, match="dropped already"):
        actions.change_limit(row, facts(limit=Decimal("0.2")), by=BY)


def test_the_narrowest_limit_holds() -> None:
    """Pool and ward, then pool, then ward, then any."""
    rows = {
        "both": a_limit("loan", "critical"), "pool": a_limit("loan"), "ward": a_limit("", "critical"), "any": a_limit(),
    }  # fmt: skip
    found = [
        queries.narrowest(rows.values(), pool, critical=critical)
        for pool, critical in (("loan", True), ("loan", False), ("spare", True), ("spare", False))
    ]
    assert found == [rows["both"], rows["pool"], rows["ward"], rows["any"]]
    assert queries.narrowest([rows["both"]], "spare", critical=False) is None


def test_the_page_says_which_holds_where_and_for_how_many(manager: Person) -> None:
    """Each pool in each kind of ward that has drivers of the reader's, in service; a driver elsewhere counts there."""
    a_limit("", "critical", limit=Decimal("0.02"))
    care = a_ward("Intensive care", critical=True)
    a_fitted_device(home=care)
    a_fitted_device(home=care)
    a_fitted_device(pool="loan")
    a_fitted_device(home=a_ward("Ward 9", a_site("Corran Vale")))
    rows = [(row.pool, row.wards, row.line.words if row.line else "", row.drivers) for row in queries.holdings(manager)]
    assert rows == [("Clinical", "Critical care", "1 in 50", 2), ("Loan", "Not critical care", "", 1)]


def test_prices_make_a_break_even(desk: Client) -> None:
    """What a place costs from visit to visit over that and a failure, s / (s + c), and the sentence says the same."""
    kind = a_type()
    a_fitted_device(device_type=kind)
    an_outlook(kind)
    a_plan(kind)
    actions.set_supply(kind, {"price": Decimal(60)}, by=BY)
    a_limit(failure_price=Decimal(885))
    (row,) = queries.weighed()
    # More than a pack's price over its life, 60 / 4, since failures cost too.
    assert row.put_off > 15
    assert row.break_even == pytest.approx(row.put_off / (row.put_off + 885))
    page = words(desk, PAGE)
    assert f"A place for a pack of {kind} costs about {row.yearly:.2f} EUR a year" in page
    assert f"The two weigh the same at a chance of {limit_words(row.break_even)}".replace("\xa0", " ") in page


def test_the_limit_set_is_the_most_that_prices_may_make_it() -> None:
    """Where a failure is cheap the break-even is large, and the limit set holds."""
    an_outlook()
    a_plan()
    a_pack(price=Decimal(60))
    a_limit(failure_price=Decimal(15))
    (row,) = queries.weighed()
    assert row.break_even > 0.5
    assert (row.holds, row.is_capped) == ("1 in 20", True)


def test_without_a_price_nothing_is_weighed(desk: Client) -> None:
    """A limit with the price of a failure needs a pack's price, a life and a plan."""
    a_limit(failure_price=Decimal(900))
    an_outlook()
    assert queries.weighed() == []
    assert "No limit is weighed against prices yet." in words(desk, PAGE)


def test_a_test_may_be_skipped_only_with_the_caution(desk: Client) -> None:
    """What the maker or the policy asks for is made anyway, and that stands before the tick and beside the limit."""
    assert "Before a test is skipped" in words(desk, f"{PAGE}new/")
    a_limit(may_skip_tests=True)
    page = words(desk, PAGE)
    assert "yes, when the forecast is sure" in page
    assert "A test that the maker's instructions or local policy ask for is made" in plain(
        page.replace("&#x27;", "'").encode()
    )


def test_who_may_not_set_limits_reads_them(technician: Person, storekeeper: Person) -> None:
    """Reading is for all who see the fleet; the pages to change are not offered and refuse."""
    row = a_limit()
    for person in (technician, storekeeper):
        client = signed_in(person)
        assert "Change or drop" not in words(client, PAGE)
        for address in (f"{PAGE}new/", f"{PAGE}{row.pk}/", f"{PAGE}chemistries/new/"):
            assert client.get(address).status_code == 403
        actor = actor_for(person)
        for refused in (
            lambda by: actions.set_limit("spare", "any", facts(), by=by),
            lambda by: actions.change_limit(row, facts(limit=Decimal("0.2")), by=by),
            lambda by: actions.drop_limit(row, why="Review", by=by),
            lambda by: actions.set_chemistry_life("NiMH", {"life_years": Decimal(4)}, verified=True, by=by),
        ):
            with pytest.raises(NotAllowedError):
                refused(actor)


def test_a_life_is_not_verified_until_somebody_says_so(desk: Client, manager: Person) -> None:
    """The mark stands until a person ticks that they have checked it, and comes back when the value changes."""
    row = a_life()
    assert "Not verified" in words(desk, PAGE)
    address = f"{PAGE}chemistries/{row.pk}/"
    sent = {"life_years": "4,0", "source": "assumed", "edition": "", "opened": fingerprint(row, actions.LIFE_FACTS)}
    desk.post(address, {**sent, "verified": "on"})
    row.refresh_from_db()
    assert row.verified_by == str(manager)
    assert row.verified_on is not None
    assert "Not verified" not in words(desk, PAGE)
    desk.post(address, {**sent, "life_years": "4.5"})
    row.refresh_from_db()
    assert (row.life_years, row.verified_by, row.verified_on) == (Decimal("4.5"), "", None)
    assert verbs()[-3:] == ["stated life of a chemistry"] * 3


def test_a_life_saved_unchanged_stays_verified() -> None:
    """To look at it and save is no change, and leaves no trail."""
    actions.set_chemistry_life("NiMH", {"life_years": Decimal(4), "source": "Maker"}, verified=True, by=BY)
    before = len(verbs())
    row = actions.set_chemistry_life("NiMH", {"life_years": Decimal(4), "source": "Maker"}, verified=False, by=BY)
    assert row.verified_by == BY.name
    assert len(verbs()) == before


def test_a_life_changed_by_two_is_refused_to_the_second(desk: Client) -> None:
    """Also where both state it for the first time."""
    row = a_life()
    opened = fingerprint(row, actions.LIFE_FACTS)
    a_life(life_years=Decimal(5))
    sent = {"life_years": "6", "source": "assumed", "opened": opened}
    page = plain(desk.post(f"{PAGE}chemistries/{row.pk}/", sent).content)
    assert "was changed by somebody else" in page
    fresh = fingerprint(ChemistryLife(), actions.LIFE_FACTS)
    answer = desk.post(f"{PAGE}chemistries/new/", {**sent, "chemistry": "NiMH", "opened": fresh})
    assert "was changed by somebody else" in plain(answer.content)
    assert ChemistryLife.objects.get().life_years == 5


def test_chemistries_of_packs_without_a_life_are_offered(desk: Client) -> None:
    """A pack of a chemistry that nobody stated anything of leads to its form."""
    a_pack(chemistry="Li-ion")
    assert f'href="{PAGE}chemistries/new/?chemistry=Li-ion"' in words(desk, PAGE)
    assert 'value="Li-ion"' in words(desk, f"{PAGE}chemistries/new/?chemistry=Li-ion")
    opened = fingerprint(ChemistryLife(), actions.LIFE_FACTS)
    sent = {"chemistry": "Li-ion", "life_years": "5", "source": "assumed", "opened": opened}
    desk.post(f"{PAGE}chemistries/new/", sent)
    assert ChemistryLife.objects.get().life_years == 5
    assert "?chemistry=Li-ion" not in words(desk, PAGE)


def test_what_is_decided_has_the_forecasts_made_anew_at_once() -> None:
    """Advice does not wait for the night: a limit that is set, changed or dropped raises the job, a same one not."""
    a_forecast(a_fitted_device())
    row = a_limit()
    actions.change_limit(row, facts(), by=BY)
    assert Job.objects.filter(kind=FORECASTS).count() == 1
    actions.change_limit(row, facts(limit=Decimal("0.100")), by=BY)
    actions.drop_limit(row, why="Trial over", by=BY)
    assert Job.objects.filter(kind=FORECASTS).count() == 3


def test_before_the_first_forecast_nothing_is_made_anew() -> None:
    """A hospital that states its limits before its first night raises no job for it."""
    a_limit()
    assert not Job.objects.exists()
