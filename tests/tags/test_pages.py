"""The ward's pages for somebody who is signed in."""

from datetime import timedelta

import pytest
from django.test import Client

from fleet.core.lifecycle import Condition, Facts, Move
from fleet.people.models import Person
from fleet.registry.actions import move
from fleet.registry.models import Device
from fleet.registry.queries import label_token
from fleet.tags.actions import clear, report_missing
from fleet.tags.models import Tag
from fleet.web import clock
from tests.builders import BY, a_bench, a_device, a_site, a_ward
from tests.tags.builders import a_raised_tag, an_open_tag, signed_in, typed

pytestmark = pytest.mark.django_db
CHECKED = Facts(
    open_tags=0,
    quarantine_open=False,
    failed_required_steps=0,
    missing_required_steps=0,
    checked=True,
    accepted=True,
    open_orders=0,
)


@pytest.fixture
def nurse(ward_nurse: Person) -> Client:
    return signed_in(ward_nurse)


def text(client: Client, address: str) -> str:
    answer = client.get(address, follow=True)
    assert answer.status_code == 200
    return answer.content.decode()


def repaired(device: Device) -> Tag:
    """The driver went over the bench and is back in service."""
    tag = an_open_tag(device)
    move(device, Move.RECEIVE, CHECKED, place=a_bench(), by=BY)
    clear(tag, order_number="W0001Z", by=BY)
    move(device, Move.RETURN, CHECKED, place=device.home, by=BY)
    return tag


def test_reporting_is_one_short_post(nurse: Client, ward_nurse: Person) -> None:
    """Name and reach are filled in from the person; after sending the number stands there to be written down."""
    device = a_device()
    page = text(nurse, f"/tags/report/{device.asset_number}/")
    assert 'value="Nell Averby"' in page
    assert 'value="bleep 100"' in page
    answer = nurse.post(f"/tags/report/{device.asset_number}/", typed(place=str(device.home_id)), follow=True)
    tag = Tag.objects.get()
    assert f'ident-big">{tag.written}<' in answer.content.decode()
    assert "paper tag" in answer.content.decode()
    assert tag.reports.get().person == ward_nurse


def test_the_form_offers_own_wards_and_where_the_driver_is_on_record(nurse: Client) -> None:
    """A driver that wandered can be reported where it is, and no other ward is listed."""
    a_ward("Ward 7")
    page = text(nurse, f"/tags/report/{a_device(place=a_ward('Ward 9')).asset_number}/")
    assert "Ward 4</option>" in page
    assert "Ward 9</option>" in page
    assert "Ward 7</option>" not in page


@pytest.mark.parametrize("page", ["/tags/report/{asset}/", "/tags/missing/{asset}/", "/tags/found/{asset}/"])
def test_an_outsider_finds_no_driver_of_ours(page: str, outsider: Person) -> None:
    """Outside one's places a driver does not exist, whether it is read or written."""
    address = page.format(asset=a_device().asset_number)
    client = signed_in(outsider)
    assert client.get(address).status_code == 404
    assert client.post(address, typed(why="x")).status_code == 404
    assert not Tag.objects.exists()


@pytest.mark.parametrize("page", ["/tags/{number}/", "/tags/{number}/slip/", "/tags/{number}/sent/"])
def test_an_outsider_finds_no_tag_of_ours(page: str, outsider: Person) -> None:
    """Nor does its tag."""
    tag = an_open_tag(a_device())
    assert signed_in(outsider).get(page.format(number=tag.number)).status_code == 404


def test_an_outsiders_lists_are_empty(outsider: Person) -> None:
    """Neither the tagged drivers nor the quarantines of another site are listed."""
    device = a_device()
    an_open_tag(device, harm="yes")
    client = signed_in(outsider)
    assert device.asset_number not in text(client, "/tags/ours/")
    assert device.asset_number not in text(client, "/tags/quarantines/")
    assert "Nothing in your places answers" in text(client, f"/tags/?code={device.asset_number}")


def test_a_person_without_the_duty_is_refused(ward_nurse: Person) -> None:
    """A signed-in person without any role may not report."""
    ward_nurse.groups.clear()
    assert signed_in(ward_nurse).get("/tags/").status_code == 403


def test_the_start_finds_by_asset_serial_tag_and_label(nurse: Client) -> None:
    """Whatever is typed or scanned leads to the driver or to its tag."""
    device = a_device(serial_number="ZX-900")
    tag = an_open_tag(a_device())
    report_page = f"/tags/report/{device.asset_number}/"
    for code, leads_to in (
        (device.asset_number.lower(), report_page),
        (f"{device.asset_number[:2]} {device.asset_number[2:4]}-{device.asset_number[4:]}", report_page),
        ("ZX-900", report_page),
        (f"tag {tag.written.lower()}", f"/tags/{tag.number}/"),
        (f"https://benchward.example/r/{label_token(device)}/", f"/r/{label_token(device)}/"),
    ):
        assert nurse.get("/tags/", {"code": code}).headers["Location"] == leads_to


def test_the_start_says_whom_to_tell_of_a_driver_it_does_not_find(nurse: Client) -> None:
    """A driver that cannot be tagged here gets a paper tag all the same, and the bench's number stands beside it."""
    bench = a_bench()
    bench.phone = "ext. 4711"
    bench.save()
    page = text(nurse, "/tags/?code=nonsense")
    assert "Fix a paper tag" in page
    assert "ext. 4711" in page


@pytest.mark.parametrize("code", ["nonsense", "https://elsewhere.example/r/", "/r/x/y/z/", " "])
def test_the_start_says_when_it_finds_nothing(nurse: Client, code: str) -> None:
    """What leads nowhere stays on the page, with words what to try."""
    page = text(nurse, f"/tags/?code={code}")
    assert ("Nothing in your places answers" in page) == bool(code.strip())


def test_the_start_lists_the_drivers_last_seen_in_own_wards(nurse: Client) -> None:
    """Drivers of the nurse's ward are one tap away; those of another are not listed."""
    here, there = a_device(), a_device(home=a_ward("Ward 9"))
    page = text(nurse, "/tags/")
    assert here.asset_number in page
    assert there.asset_number not in page


def test_our_drivers_says_where_each_is(nurse: Client) -> None:
    """A tagged driver that the bench has stands there with its condition, place and number."""
    device = a_device()
    tag = an_open_tag(device)
    move(device, Move.RECEIVE, CHECKED, place=a_bench(), by=BY)
    page = text(nurse, "/tags/ours/")
    assert device.asset_number in page
    assert "On the bench" in page
    assert "At Bench" in page
    assert tag.written in page


def test_our_drivers_shows_what_came_back(nurse: Client) -> None:
    """A returned driver is listed for 7 days, then no longer."""
    device = a_device()
    with clock.at(clock.now() - timedelta(days=6)):
        repaired(device)
    assert "back since" in text(nurse, "/tags/ours/")
    with clock.at(clock.now() + timedelta(days=2)):
        assert device.asset_number not in text(nurse, "/tags/ours/")


def test_our_drivers_shows_what_is_held_without_a_tag(nurse: Client) -> None:
    """A missing driver without a tag is listed too, with the way to say that it was found."""
    device = a_device()
    report_missing(device, why="Looked everywhere.", by=BY)
    page = text(nurse, "/tags/ours/")
    assert "Not located" in page
    assert f"/tags/found/{device.asset_number}/" in page


def test_our_drivers_is_clear_when_there_are_none(nurse: Client) -> None:
    """An empty list says so."""
    a_device()
    assert "No driver of your places is tagged." in text(nurse, "/tags/ours/")


def test_our_drivers_asks_no_more_for_more_drivers(
    nurse: Client, django_assert_max_num_queries: pytest.FixtureRequest
) -> None:
    """The page's queries don't grow with its rows."""
    for _ in range(8):
        an_open_tag(a_device())
    with django_assert_max_num_queries(14):
        nurse.get("/tags/ours/")


def test_missing_and_found_from_the_pages(ward_nurse: Person) -> None:
    """The ward's searches on three days over two weeks give a driver up, and it is found with a place."""
    device, address = a_device(), "/tags/missing/{}/"
    for ago in (15, 8, 0):
        with clock.at(clock.now() - timedelta(days=ago)):
            nurse = signed_in(ward_nurse)
            nurse.post(address.format(device.asset_number), {"place": str(device.home_id), "why": "All bays."})
    assert Device.objects.get(pk=device.pk).condition == Condition.NOT_LOCATED
    nurse.post(f"/tags/found/{device.asset_number}/", {"place": str(a_ward().pk)})
    assert Device.objects.get(pk=device.pk).condition == Condition.OUT_OF_USE


def test_a_refusal_is_shown_beside_the_form(nurse: Client) -> None:
    """A driver that is not missing can't be found; the page says why and keeps what was chosen."""
    device = a_device()
    page = nurse.post(f"/tags/found/{device.asset_number}/", {"place": str(a_ward().pk)}).content.decode()
    assert "the driver is in service" in page
    nowhere = nurse.post(f"/tags/missing/{device.asset_number}/", {"why": "All bays."}).content.decode()
    assert "This field is required" in nowhere
    assert "All bays." in nowhere


def test_a_tag_shows_each_report(nurse: Client) -> None:
    """Ward and bench read all that was said on one page."""
    device = a_device()
    tag = an_open_tag(device, words="Drops seen")
    a_raised_tag(device, what="power", reporter="Piet Lomax", screen_text="LOW BATT")
    page = text(nurse, f"/tags/{tag.number}/")
    for told in ("Drops seen", "Piet Lomax", "LOW BATT", "It stopped by itself", "Battery or charging trouble"):
        assert told in page


def test_a_tag_is_found_however_its_number_is_typed(nurse: Client) -> None:
    """With its hyphen, in small letters: the same tag. Misread: no such page."""
    tag = an_open_tag(a_device())
    assert nurse.get(f"/tags/{tag.written.lower()}/").status_code == 200
    assert nurse.get(f"/tags/9{tag.number}/").status_code == 404


def test_the_slip_carries_what_the_bench_must_see(nurse: Client) -> None:
    """Number, driver, what, when, the last stated cleaning, and DO NOT USE."""
    device = a_device()
    tag = an_open_tag(device, decontamination="not_cleaned")
    a_raised_tag(device, decontamination="cleaned")
    a_raised_tag(device)
    page = text(nurse, f"/tags/{tag.number}/slip/")
    for told in ("DO NOT USE", tag.written, device.asset_number, "It stopped by itself", "Cleaned, stated by the ward"):
        assert told in page


def test_the_unknown_state_of_cleaning_stays_visible(nurse: Client) -> None:
    """Nothing stated is not the same as clean."""
    assert "Not stated" in text(nurse, f"/tags/{an_open_tag(a_device()).number}/slip/")


@pytest.mark.parametrize("page", ["sent", "slip"])
def test_a_cleared_tag_has_no_slip(nurse: Client, page: str) -> None:
    """DO NOT USE is not printed again for a driver that the bench has returned; the tag's own page says so."""
    tag = repaired(a_device())
    assert nurse.get(f"/tags/{tag.number}/{page}/").headers["Location"] == f"/tags/{tag.number}/"
    assert "W0001Z" in text(nurse, f"/tags/{tag.number}/")


def test_words_typed_by_a_ward_are_shown_as_words(nurse: Client) -> None:
    """Markup in a report is text."""
    tag = an_open_tag(a_device(), words="<script>alert(1)</script>", screen_text='"><b>x')
    page = text(nurse, f"/tags/{tag.number}/")
    assert "<script>alert" not in page
    assert "<b>x" not in page


def test_free_text_asks_for_no_patient_names(nurse: Client) -> None:
    """The request stands beside the free-text fields."""
    assert text(nurse, f"/tags/report/{a_device().asset_number}/").count("No patient names") >= 3


def test_a_manager_sees_all_wards_of_the_site(manager: Person) -> None:
    """The site's manager finds the tagged drivers of each ward."""
    devices = [a_device(home=a_ward(name, a_site())) for name in ("Ward 1", "Ward 2")]
    for device in devices:
        an_open_tag(device)
    page = text(signed_in(manager), "/tags/ours/")
    assert all(device.asset_number in page for device in devices)
