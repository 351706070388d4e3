"""One box finds a driver by whatever number somebody holds in their hand."""

import pytest
from django.urls import reverse

from fleet.batteries.queries import fitted_pack
from fleet.core.identifiers import CHECK_LETTERS
from fleet.people.models import Person
from fleet.registry.actions import see
from fleet.registry.models import Device
from fleet.registry.queries import label_token
from tests.batteries.builders import a_fitted_device
from tests.bench.builders import received
from tests.builders import BY, a_device, a_site, a_type, a_ward
from tests.reports.builders import signed_in, the_tag, words
from tests.tags.builders import an_open_tag

pytestmark = pytest.mark.django_db
SEARCH = "/search/"
UDI = "(01)05012345678900(21)SN-UDI-1"


def lands_on(person: Person, text: str) -> str:
    """The address a search leads to, or the search page's own."""
    answer = signed_in(person).get(SEARCH, {"q": text})
    return answer.headers.get("Location", SEARCH)


def page_of(device: Device) -> str:
    return reverse("reports:device", args=[device.asset_number])


def test_each_whole_number_leads_straight_to_the_driver(technician: Person) -> None:
    """Asset and serial in any case, tag number with and without hyphen, order number, label link and UDI."""
    device = a_device(asset_number="MG-0041", serial_number="tw100041", udi=UDI, di="05012345678900")
    tag = an_open_tag(device)
    order = received(device, technician)
    link = f"https://benchward.example/r/{label_token(device)}/"
    for text in ("MG-0041", "mg-0041", " TW100041 ", tag.number, tag.written, f"tag {tag.written}", order.number, link):
        assert lands_on(technician, text) == page_of(device), text
    assert lands_on(technician, UDI) == page_of(device)


def test_a_serial_of_two_types_lists_both_with_their_condition(technician: Person) -> None:
    """A serial number is unique only within its type; the reader chooses."""
    tagged = a_device(serial_number="0007")
    an_open_tag(tagged)
    other = a_device(device_type=a_type("Sable"), serial_number="0007")
    text = words(technician, SEARCH, q="0007")
    assert "More than one driver has this number" in text
    assert page_of(tagged) in text
    assert page_of(other) in text
    assert "Out of use (tagged)" in text


def test_the_beginning_of_a_number_lists_what_begins_so(technician: Person) -> None:
    """A part of an asset or serial number is enough, even if only one driver begins so: a list is looked at first."""
    near = a_device(asset_number="QQ0041")
    a_device(asset_number="XQQ0042")
    text = words(technician, SEARCH, q="qq00")
    assert page_of(near) in text
    assert "XQQ0042" not in text


def test_one_character_lists_nothing(technician: Person) -> None:
    """Too much begins with one character."""
    a_device(asset_number="Q1")
    assert "No driver for “Q”" in words(technician, SEARCH, q="Q")


def test_a_wrong_check_letter_is_said_in_words(technician: Person) -> None:
    """A misread tag number says that its letter does not fit, and not which one would."""
    number = the_tag_number()
    wrong = number[:-1] + next(letter for letter in CHECK_LETTERS if letter != number[-1])
    text = words(technician, SEARCH, q=wrong)
    assert "its check letter does not fit" in text
    assert number not in text


def the_tag_number() -> str:
    device = a_device()
    an_open_tag(device)
    return the_tag(device).number


def test_no_hit_says_what_to_try(technician: Person) -> None:
    """Whoever finds nothing reads which numbers may be typed."""
    text = words(technician, SEARCH, q="nothing like it")
    assert "The asset number on the driver" in text
    assert "number on a paper tag" in text


def test_nobody_finds_a_driver_of_elsewhere(technician: Person, outsider: Person) -> None:
    """Asset, serial, beginning, tag, order and label of a driver outside one's places find nothing."""
    device = a_device(asset_number="MG-0099", serial_number="S-0099")
    order = received(device, technician, kind="corrective")
    tag = an_open_tag(a_device(asset_number="MG-0098"))
    link = f"http://x/r/{label_token(device)}/"
    for text in ("MG-0099", "S-0099", "MG-00", order.number, tag.number, link):
        answer = words(outsider, SEARCH, q=text)
        assert "No driver for" in answer, text


def test_a_ward_finds_its_tag_on_a_driver_that_belongs_elsewhere(ward_nurse: Person) -> None:
    """A stray driver tagged on the ward and taken away leads to the tag, since the driver's page is not the ward's."""
    stray = a_device(a_ward("Ward 9", a_site("Corran Vale")))
    tag = an_open_tag(stray, place=a_ward())
    see(stray, stray.home, "ward", by=BY)
    assert lands_on(ward_nurse, tag.written) == reverse("tags:tag", args=[tag.number])


def test_search_asks_the_database_the_same_however_many_match(
    technician: Person, django_assert_max_num_queries: object
) -> None:
    """A list of thirty costs no more questions than a list of one."""
    for number in range(30):
        a_device(asset_number=f"ZZ{number:03d}")
    client = signed_in(technician)
    with django_assert_max_num_queries(15):
        assert "30 drivers" in client.get(SEARCH, {"q": "ZZ"}).content.decode()


def test_a_packs_number_leads_to_the_pack(technician: Person, ward_nurse: Person, outsider: Person) -> None:
    """Who holds a pack in the hand comes to its page; a ward, and somebody of elsewhere, find nothing."""
    pack = fitted_pack(a_fitted_device())
    assert pack is not None
    assert lands_on(technician, pack.number.lower()) == reverse("batteries:pack", args=[pack.number])
    assert lands_on(ward_nurse, pack.number) == SEARCH
    assert lands_on(outsider, pack.number) == SEARCH
