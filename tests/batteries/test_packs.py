"""Packs on their pages: the list, one pack's life, fitting, taking out, counting, scrapping."""

from datetime import UTC, date, datetime, timedelta

import pytest
from django.test import Client

from fleet.batteries import actions
from fleet.batteries.models import Fitting, Pack
from fleet.people.models import Person
from fleet.tags.models import Tag
from fleet.web import clock
from tests.batteries.builders import (
    TODAY,
    a_fitted_device,
    a_history,
    a_logged_test,
    a_pack,
    no_forecast,
    plain,
    signed_in,
    words,
)
from tests.builders import BY, a_device, a_maker, a_site, a_type, a_ward
from tests.tags.builders import an_open_tag

pytestmark = pytest.mark.django_db


def in_may(hour: int) -> datetime:
    return TODAY.replace(month=5, hour=hour)


def act(client: Client, pack: Pack, verb: str, **typed: str) -> str:
    """The page that answers an act on a pack."""
    posted = {f"{verb}-{name}": value for name, value in {"on": "2026-03-01", **typed}.items()}
    return plain(client.post(f"/batteries/packs/{pack.number}/{verb}/", posted, follow=True).content)


def test_a_packs_whole_life_stands_on_its_page(bench: Client) -> None:
    """Both stays with their reason, the tests with their marks, the counts of its cycles."""
    device = a_fitted_device()
    pack = device.fittings.get().pack
    a_logged_test(device)
    actions.count_cycles(pack, 412, on=date(2026, 1, 5), by=BY)
    actions.remove(device, on=date(2026, 4, 1), why=Fitting.Why.MOVED, note="loan pool", by=BY, out_of_use=True)
    other = a_device()
    actions.fit(pack, other, on=date(2026, 4, 2), by=BY)
    page = words(bench, f"/batteries/packs/{pack.number}/")
    for said in (
        device.asset_number,
        other.asset_number,
        "Moved to another driver: loan pool",
        "412",
        "Meets its level",
    ):
        assert said in page


def test_each_kind_of_test_is_marked_by_shape_and_word(bench: Client) -> None:
    """Void, stopped early, short charge and outside the table each have a mark and words."""
    device = a_fitted_device()
    a_logged_test(device, stop="by_hand", charge_hours=3, rate=1)
    test = a_logged_test(device, started_at=in_may(4), stopped_at=in_may(9))
    actions.void_test(test, why="wrong driver", by=BY)
    page = words(bench, f"/batteries/packs/{test.pack.number}/")
    for said in ("Stopped early", "Short charge", "Rate outside the table", "Void: wrong driver"):
        assert said in page
    assert page.count("#mark-caution") >= 3


def test_a_pack_goes_in_and_out_of_a_driver(bench: Client) -> None:
    """It is fitted by scanning the driver and taken out with a reason; then it may be scrapped."""
    pack, device = a_pack(), a_device()
    assert f"Pack {pack} is fitted to {device}" in act(bench, pack, "fit", code=device.serial_number, known="on")
    assert f"Pack {pack} is out of {device}" in act(bench, pack, "remove", why="age", on="2026-04-01", out_of_use="on")
    assert "is scrapped" in act(bench, pack, "scrap", why="swollen", on="2026-04-02")
    pack.refresh_from_db()
    assert pack.state == Pack.State.SCRAPPED


def test_a_refused_act_opens_its_form_with_the_reason(bench: Client) -> None:
    """A driver that holds a pack takes no second; an unknown one is not found; nothing is written."""
    pack, full = a_pack(), a_fitted_device()
    page = act(bench, pack, "fit", code=full.asset_number)
    assert "Remove it first" in page
    assert '<details class="screen-only" open><summary>Fit it to a driver' in page
    assert "No driver here is known as" in act(bench, pack, "fit", code="NIX")
    assert not pack.fittings.exists()


def test_cycles_are_counted_and_never_fall(bench: Client) -> None:
    """A lower count later is refused with both numbers."""
    pack = a_pack()
    assert "412 cycles on" in act(bench, pack, "cycles", cycles="412")
    assert "400 on" in act(bench, pack, "cycles", cycles="400", on="2026-04-01")


def test_a_drivers_pack_is_swapped_on_one_page(bench: Client) -> None:
    """Out with the reason, then in by its number; a pack of another type is not offered."""
    device, new = a_fitted_device(), a_pack()
    address = f"/batteries/device/{device.asset_number}/pack/"
    asked = words(bench, address)
    assert "Why it is taken out" in asked
    assert "Tag it out of use with this" in asked
    out = {"why": "worn", "on": "2026-03-01"}
    assert "cannot stay there without a pack" in plain(bench.post(address, out).content)
    assert device.fittings.get().removed_on is None
    out_now = plain(bench.post(address, {**out, "out_of_use": "on"}, follow=True).content)
    assert "Fit a pack to" in out_now
    tag = Tag.objects.get(device=device, cleared_at=None)
    assert f"It is tagged out of use: write {tag.written} on a paper tag." in out_now
    foreign = a_pack(a_type("Sable"))
    refused = plain(bench.post(address, {"code": foreign.number, "on": "2026-03-01"}).content)
    assert "No free pack of this driver" in refused
    done = bench.post(address, {"code": new.number, "on": "2026-03-01", "known": "on"})
    assert device.fittings.get(removed_on=None).pack == new
    assert done.headers["Location"] == f"/devices/{device.asset_number}/"


def test_a_quarantined_drivers_battery_stays_in(bench: Client) -> None:
    """The page warns before the pack of a driver in quarantine is touched."""
    device = a_fitted_device()
    type(device).objects.filter(pk=device.pk).update(condition="out_of_use", quarantined=True)
    assert "take the battery out unless safety needs it" in words(
        bench, f"/batteries/device/{device.asset_number}/pack/"
    )


def test_a_quarantined_drivers_battery_is_taken_out_only_with_words(bench: Client) -> None:
    """Where safety needed it out, the note says so; nothing goes in until the quarantine is lifted."""
    device, new = a_fitted_device(), a_pack()
    an_open_tag(device, harm="not_sure")
    address = f"/batteries/device/{device.asset_number}/pack/"
    today = clock.today().isoformat()
    refused = plain(bench.post(address, {"why": "fault", "on": today}).content)
    assert "leave its battery in" in refused
    bench.post(address, {"why": "fault", "on": today, "note": "hot; the safety officer agreed"})
    assert not device.fittings.filter(removed_on=None).exists()
    assert "No pack is fitted" in plain(bench.post(address, {"code": new.number, "on": today}).content)
    assert not device.fittings.filter(removed_on=None).exists()


def test_a_new_pack_is_added_to_the_stock(storekeeper: Person) -> None:
    """The storekeeper adds one; a number that is taken is refused beside its field."""
    client, taken = signed_in(storekeeper), a_pack()
    typed = {"for_type": a_type().pk, "maker": a_maker("Fennick Cells").pk, "part_number": "FC-7", "chemistry": "NiMH"}
    assert "is in stock" in plain(client.post("/batteries/packs/new/", typed, follow=True).content)
    refused = plain(client.post("/batteries/packs/new/", {**typed, "number": taken.number}).content)
    assert "belongs to another pack" in refused
    assert Pack.objects.count() == 2


def test_the_list_narrows_by_state_age_and_tests(bench: Client) -> None:
    """Each filter leaves the packs it names; age counts from the making, or the first fitting."""
    old, new = a_fitted_device(date(2020, 3, 1)), a_fitted_device(date(2026, 3, 1))
    stock = a_pack(made_on=date(2022, 6, 1))
    a_logged_test(old)
    numbers = {name: row.fittings.get().pack.number for name, row in {"old": old, "new": new}.items()}
    numbers["stock"] = stock.number
    for query, left in {
        "state=stock": {"stock"},
        "age=0": {"new"},
        "age=4": {"stock"},
        "age=6": {"old"},
        "tested=never": {"new", "stock"},
        "tested=yes": {"old"},
        f"number={stock.number}": {"stock"},
    }.items():
        with clock.at(TODAY):
            page = words(bench, f"/batteries/packs/?{query}")
        assert {name for name, number in numbers.items() if f"/batteries/packs/{number}/" in page} == left, query


def test_the_list_can_be_saved(bench: Client) -> None:
    """The file has a header and the narrowed rows."""
    device = a_fitted_device()
    a_pack()
    lines = b"".join(bench.get("/batteries/packs.csv?state=fitted").streaming_content).decode().splitlines()
    assert lines[0].startswith("\ufeffPack,State,For")
    assert len(lines) == 2
    assert device.asset_number in lines[1]


class TestPanel:
    """The battery on the driver's page."""

    def test_it_says_what_is_expected_and_why(self, bench: Client) -> None:
        """Fraction, crossing, chance in plain words, what it rests on, pack, last test and the figure."""
        device = a_history()[0]
        actions.refresh_forecasts(at=clock.now())
        page = words(bench, f"/batteries/device/{device.asset_number}/panel/")
        for said in ("Expected today", "8 in 10: between", "3 full tests of this pack, and its type", "battery-fan"):
            assert said in page
        assert "<html" not in page

    def test_an_untested_pack_says_so(self, bench: Client) -> None:
        """A forecast from the type alone is called that."""
        a_history()
        device = a_fitted_device()
        actions.refresh_forecasts(at=clock.now())
        page = words(bench, f"/batteries/device/{device.asset_number}/panel/")
        assert "Its type only: this pack was never tested" in page
        assert "No runtime test of this pack is on record" in page

    def test_not_enough_data_shows_no_number(self, bench: Client) -> None:
        """The reason stands there, the points do, and no percentage of an expectation, date or chance."""
        device = a_fitted_device()
        a_logged_test(device)
        no_forecast(device)
        page = words(bench, f"/batteries/device/{device.asset_number}/panel/")
        assert "2 packs with a full runtime test, 8 needed" in page
        assert "battery-full" in page
        for number in ("Expected today", "chance", "battery-fan", "8 in 10"):
            assert number not in page

    def test_what_speaks_against_the_numbers_stands_beside_them(self, bench: Client) -> None:
        """A test far off its pack's line is set aside by the night, and the panel asks to look at it."""
        device = a_history()[0]
        start = datetime(2025, 3, 3, 8, 0, tzinfo=UTC)
        a_logged_test(device, started_at=start, stopped_at=start + timedelta(hours=2))
        actions.refresh_forecasts(at=clock.now())
        page = words(bench, f"/batteries/device/{device.asset_number}/panel/")
        assert "The test of 3 Mar 2025 fits neither this pack nor its type and was set aside as likely wrong" in page
        assert "Its latest test was under" not in page

    def test_a_low_latest_test_says_that_it_is_below(self, bench: Client) -> None:
        """The latest test under the level marks the pack, whatever is expected of it."""
        device = a_history()[0]
        start = datetime(2026, 6, 3, 8, 0, tzinfo=UTC)
        a_logged_test(device, started_at=start, stopped_at=start + timedelta(hours=5.5))
        actions.refresh_forecasts(at=clock.now())
        page = words(bench, f"/batteries/device/{device.asset_number}/panel/")
        assert "Replace now</span>: its latest test was under 80 %." in page

    def test_an_old_forecast_says_so(self, bench: Client) -> None:
        """After 36 hours without a new one the panel says that a night was missed."""
        device = a_history()[0]
        actions.refresh_forecasts(at=clock.now())
        device.forecasts.update(made_at=TODAY.replace(year=2026, month=1))
        assert "older than 36 hours" in words(bench, f"/batteries/device/{device.asset_number}/panel/")

    def test_a_driver_without_a_pack(self, bench: Client) -> None:
        """The panel says that no pack is on record and leads to recording one."""
        page = words(bench, f"/batteries/device/{a_device().asset_number}/panel/")
        assert "No pack is on record for this driver" in page
        assert "Record its pack" in page


class TestDuties:
    """Who may touch a pack, and who may know of it."""

    def test_an_outsider_finds_no_pack_of_ours(self, outsider: Person) -> None:
        """A pack in a driver of another site does not exist; one that was never fitted lies in a store for all."""
        device, stock, client = a_fitted_device(), a_pack(), signed_in(outsider)
        pack = device.fittings.get().pack
        assert client.get(f"/batteries/packs/{pack.number}/").status_code == 404
        assert client.post(f"/batteries/packs/{pack.number}/remove/", {}).status_code == 404
        assert client.get(f"/batteries/device/{device.asset_number}/panel/").status_code == 404
        assert client.get(f"/batteries/device/{device.asset_number}/pack/").status_code == 404
        page = words(client, "/batteries/packs/")
        assert stock.number in page
        assert pack.number not in page

    def test_a_pack_that_moved_shows_only_the_stays_one_may_know(self, outsider: Person) -> None:
        """The other site sees its own stay, that there was another, and whose tests are not its own."""
        ours, theirs = a_fitted_device(), a_device(a_ward("Ward 1", a_site("Corran Vale")))
        pack = ours.fittings.get().pack
        a_logged_test(ours)
        actions.remove(ours, on=date(2026, 4, 1), why=Fitting.Why.MOVED, by=BY, out_of_use=True)
        actions.fit(pack, theirs, on=date(2026, 4, 2), by=BY)
        page = words(signed_in(outsider), f"/batteries/packs/{pack.number}/")
        assert theirs.asset_number in page
        assert ours.asset_number not in page
        assert "1 stay at another site" in page
        assert page.count("another site") == 2

    def test_a_storekeeper_keeps_packs(self, storekeeper: Person) -> None:
        """Packs are the store's business as much as the bench's."""
        pack = a_pack()
        assert "is scrapped" in act(signed_in(storekeeper), pack, "scrap", why="swollen")

    def test_an_unknown_act_is_no_page(self, bench: Client) -> None:
        """An address with a verb of its own invention is answered with 404."""
        assert bench.post(f"/batteries/packs/{a_pack().number}/polish/", {}).status_code == 404
