"""The QR code on a driver: works without an account, shows no more than the tag status."""

import re

import pytest

from fleet.audit.actors import Source
from fleet.audit.models import TrailEntry
from fleet.core.lifecycle import Condition
from fleet.people.models import Person
from fleet.registry.actions import renew_label
from fleet.registry.models import Device
from fleet.registry.queries import label_token
from fleet.tags.models import Tag, TagReport
from fleet.tags.views.label import SENT_IN_SPAN
from fleet.web import clock
from tests.builders import BY, a_device, a_ward
from tests.tags.builders import a_phone, a_raised_tag, an_open_tag, signed_in, typed

pytestmark = pytest.mark.django_db


def link(device: Device) -> str:
    return f"/r/{label_token(device)}/"


def test_the_label_opens_the_form_without_an_account() -> None:
    """Whoever stands at the driver can report it; the cautions stand before the form."""
    page = a_phone().get(link(a_device())).content.decode()
    assert "See to the patient" in page
    assert page.index("See to the patient") < page.index('id="report"')
    assert "Never return a tagged driver to use yourself" in page
    assert "not an emergency channel" in page
    assert "not an incident report" in page


def test_a_report_without_javascript_tags_the_driver() -> None:
    """A plain post of the page's own form, with its own key, is all it takes."""
    device, phone = a_device(), a_phone()
    page = phone.get(link(device)).content.decode()
    key = re.search(r'name="key" value="([^"]+)"', page)
    assert key
    answer = phone.post(link(device), typed(key=key[1]), follow=True)
    tag = Tag.objects.get()
    assert tag.written in answer.content.decode()
    assert Device.objects.get(pk=device.pk).condition == Condition.OUT_OF_USE


def test_the_trail_says_that_a_label_was_used() -> None:
    """No person is on record, but the door is, and the name the reporter gave."""
    device = a_device()
    a_phone().post(link(device), typed())
    entry = TrailEntry.objects.get(verb="raised tag")
    assert (entry.source, entry.person_id) == (Source.LABEL_LINK, None)
    assert entry.after["reporter"] == "Nora Teasdale"


def test_the_same_form_posted_twice_shows_the_same_number() -> None:
    """A shaky network sends twice; the ward sees one tag."""
    device, phone, form = a_device(), a_phone(), typed()
    first = phone.post(link(device), form, follow=True).content
    second = phone.post(link(device), form, follow=True).content
    assert TagReport.objects.count() == 1
    assert Tag.objects.get().written.encode() in first
    assert Tag.objects.get().written.encode() in second


def test_the_form_of_a_page_opened_twice_is_not_the_same_report() -> None:
    """Each opened page carries a key of its own."""
    device, phone = a_device(), a_phone()
    keys = {re.findall(r'name="key" value="([^"]+)"', phone.get(link(device)).content.decode())[0] for _ in range(2)}
    assert len(keys) == 2


@pytest.mark.parametrize("address", ["", "sent/", "slip/"])
def test_a_stranger_sees_no_more_than_the_tag_status(address: str) -> None:
    """Number and day of the tag are shown; no serial number, name, reach, place or words of others."""
    device = a_device(serial_number="SECRET-77", home=a_ward("Ward Xylo"))
    tag = an_open_tag(device, words="Drops seen", reporter="Piet Lomax", reach="bleep 9", screen_text="E-41")
    page = a_phone().get(link(device) + address, follow=True).content.decode()
    assert tag.written in page
    for told in ("SECRET-77", "Ward Xylo", "Drops seen", "Piet Lomax", "bleep 9", "E-41", "stopped by itself</d"):
        assert told not in page


@pytest.mark.parametrize("address", ["tags/", "tags/ours/", "tags/0001B/", "tags/0001B/slip/", "tags/quarantines/"])
def test_a_label_opens_no_other_page(address: str) -> None:
    """Reporting by label signs nobody in."""
    device, phone = a_device(), a_phone()
    phone.post(link(device), typed())
    assert phone.get(f"/{address}").status_code == 302


@pytest.mark.parametrize("address", ["", "sent/", "slip/"])
@pytest.mark.parametrize("broken", ["forged", "one letter off", "nonsense", "no number"])
def test_a_forged_link_is_answered_with_help(broken: str, address: str) -> None:
    """Nothing is told of any driver; the page says what to do instead."""
    token = label_token(a_device())
    tokens = {
        "forged": "1-1." + token.partition(".")[2][::-1],
        "one letter off": token[:-1] + ("A" if token[-1] != "A" else "B"),
        "nonsense": "hello",
        "no number": "..",
    }
    answer = a_phone().get(f"/r/{tokens[broken]}/{address}")
    assert answer.status_code == 404
    assert "This label does not work" in answer.content.decode()


def test_a_renewed_label_stops_the_old_one() -> None:
    """After a new label is printed, the old link neither shows nor takes anything."""
    device = a_device()
    old = link(device)
    renew_label(device, by=BY)
    assert a_phone().post(old, typed()).status_code == 404
    assert not Tag.objects.exists()
    assert a_phone().get(link(Device.objects.get(pk=device.pk))).status_code == 200


def test_a_retired_driver_shows_no_form() -> None:
    """The page says to keep it apart and ring the bench; a post is refused."""
    device = a_device(condition="retired", retired_on=clock.today())
    page = a_phone().get(link(device)).content.decode()
    assert "keep it apart and ring the bench" in page
    assert 'id="report"' not in page
    assert a_phone().post(link(device), typed()).status_code == 200
    assert not Tag.objects.exists()


def test_harm_brings_the_instructions_again_after_sending_and_on_the_slip() -> None:
    """Who reports harm, or doubt, is told three times to keep the driver as it is."""
    device, phone = a_device(), a_phone()
    assert "take out the battery" in phone.get(link(device)).content.decode()
    sent = phone.post(link(device), typed(harm="not_sure"), follow=True).content.decode()
    slip = phone.get(link(device) + "slip/").content.decode()
    for page in (sent, slip):
        assert "take out the battery" in page
        assert "local policy names" in page


def test_without_harm_the_slip_says_who_returns_it() -> None:
    """No quarantine, no instructions to keep: the driver is cleaned, and the bench returns it."""
    device, phone = a_device(), a_phone()
    phone.post(link(device), typed())
    slip = phone.get(link(device) + "slip/").content.decode()
    assert "DO NOT USE" in slip
    assert "take out the battery" not in slip
    assert "Only the bench returns" in slip


def test_whoever_scans_a_quarantined_driver_is_told_to_keep_it() -> None:
    """The instructions are for everybody who touches the driver, not only for the one who reported."""
    device = a_device()
    an_open_tag(device, harm="yes")
    assert "Keep this driver exactly as it is" in a_phone().get(link(device)).content.decode()


def test_the_slip_shows_the_reporters_own_words_only() -> None:
    """A second reporter's slip carries what they said, not what the first did."""
    device, phone = a_device(), a_phone()
    a_raised_tag(device, what="dropped")
    phone.post(link(device), typed(what="screen"))
    slip = phone.get(link(device) + "slip/").content.decode()
    assert "Screen, keys or sound" in slip
    assert "Dropped" not in slip


def test_the_next_form_of_the_session_is_filled_in() -> None:
    """The second driver of the night needs no name typed again; another phone starts empty."""
    phone = a_phone()
    phone.post(link(a_device()), typed())
    other = link(a_device())
    assert "Nora Teasdale" in phone.get(other).content.decode()
    assert "Nora Teasdale" not in a_phone().get(other).content.decode()


def test_where_a_driver_is_does_not_pass_to_the_next() -> None:
    """The bed of the first driver would send the bench to the wrong one for the second."""
    phone = a_phone()
    phone.post(link(a_device()), typed(where="Side room 6"))
    assert "Side room 6" not in phone.get(link(a_device())).content.decode()


def test_a_second_report_is_told_that_it_joins() -> None:
    """The button names the tag, and after sending nobody is told to write a second paper tag."""
    device, phone = a_device(), a_phone()
    tag = an_open_tag(device)
    form = phone.get(link(device)).content.decode()
    assert f"Add to tag {tag.written}" in form
    assert "Tag this driver" not in form
    sent = phone.post(link(device), typed(), follow=True).content.decode()
    assert "Your report is on the tag" in sent
    assert "Write this on the paper tag" not in sent


def test_the_slip_of_a_quarantined_driver_asks_for_no_cleaning() -> None:
    """The words "Cleaned? Not stated" alone would send somebody for a cloth."""
    device, phone = a_device(), a_phone()
    phone.post(link(device), typed(harm="yes"))
    assert "Do not clean it now" in phone.get(link(device) + "slip/").content.decode()


def test_the_ward_is_read_out_of_the_words() -> None:
    """A ward of the driver's site that is named in the words is where it was seen; other words move nothing."""
    a_ward("Ward 9")
    seen, unknown = a_device(), a_device()
    a_phone().post(link(seen), typed(where="in the sluice of ward 9"))
    a_phone().post(link(unknown), typed(where="in the lift"))
    assert Device.objects.get(pk=seen.pk).place.name == "Ward 9"
    assert Device.objects.get(pk=unknown.pk).place.name == "Ward 4"


def test_a_ward_with_a_longer_name_is_not_taken_for_another() -> None:
    """Ward 41, which is on no record here, is not Ward 4 with a slip of the pen."""
    a_ward("Ward 4")
    device = a_device(a_ward("Ward 9"))
    a_phone().post(link(device), typed(where="Bay 2, Ward 41"))
    assert Device.objects.get(pk=device.pk).place.name == "Ward 9"


def test_a_form_with_something_missing_says_what_and_loses_nothing() -> None:
    """The page names the field, and what was typed is still there."""
    device = a_device()
    page = a_phone().post(link(device), typed(what="", where="In the blue cupboard")).content.decode()
    assert "What happened?" in page
    assert "Nothing was saved yet" in page
    assert "In the blue cupboard" in page
    assert not Tag.objects.exists()


def test_too_many_reports_from_one_phone_are_stopped_in_words() -> None:
    """One phone and one label send so many times in ten minutes; another phone is not held up by it."""
    device, phone = a_device(), a_phone()
    answers = [phone.post(link(device), typed()).status_code for _ in range(SENT_IN_SPAN + 1)]
    assert answers == [302] * SENT_IN_SPAN + [429]
    busy = phone.post(link(device), typed())
    assert "Wait 10 minutes" in busy.content.decode()
    assert a_phone().post(link(device), typed()).status_code == 302


def test_somebody_signed_in_who_looks_after_it_gets_the_full_page(ward_nurse: Person) -> None:
    """Scanning the label with one's own phone leads to the page with the wards to choose from."""
    device = a_device()
    answer = signed_in(ward_nurse).get(link(device))
    assert answer.headers["Location"] == f"/tags/report/{device.asset_number}/"


def test_somebody_signed_in_elsewhere_stays_on_the_label_page(outsider: Person) -> None:
    """A driver that wandered is reported by its label, whoever finds it."""
    device = a_device()
    assert signed_in(outsider).get(link(device)).status_code == 200
    assert signed_in(outsider).post(link(device), typed()).status_code == 302
    assert Tag.objects.get().device == device
