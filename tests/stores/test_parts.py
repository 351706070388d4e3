"""Parts and the pages of their stock: who sees and does what."""

from datetime import timedelta

import pytest

from fleet.audit.changes import fingerprint
from fleet.core.errors import BadValueError, ConflictError, MoveRefusedError
from fleet.people.models import Person
from fleet.stores import actions, queries
from fleet.stores.labels import label_of
from fleet.stores.models import Part, Purchase, Shelf, Stock
from fleet.web import clock
from tests.builders import BY, a_bench, a_site, a_store, a_type, a_ward
from tests.pages import page, signed_in, status
from tests.stores.builders import a_part, in_stock, left

pytestmark = pytest.mark.django_db

LIST = "/parts/"


def test_what_is_under_its_minimum_stands_first(storekeeper: Person) -> None:
    """Of two parts the one that is short leads the list, is counted, and is what the filter leaves."""
    plenty, short = a_part("Clamp"), a_part("Knob")
    for part, many in ((plenty, 5), (short, 1)):
        in_stock(part, many)
        actions.keep_at(part, a_bench(), minimum=3, bin_="A1", by=BY)
    shown = page(storekeeper, LIST)
    assert shown.index("Knob") < shown.index("Clamp")
    assert "1 stock: see the <a" in " ".join(shown.split())
    assert "Clamp" not in page(storekeeper, f"{LIST}?state=under")
    assert "Knob" not in page(storekeeper, f"{LIST}?q=clam")
    lines = b"".join(signed_in(storekeeper).get(f"{LIST}?as=csv").streaming_content).decode().splitlines()
    assert len(lines) == 3


def test_expired_stock_is_not_in_stock(storekeeper: Person) -> None:
    """What has expired does not count towards the minimum and is told beside it."""
    part = a_part(keeps_expiry=True)
    stock = in_stock(part, 4, expires_on=clock.today())
    Stock.objects.filter(pk=stock.pk).update(expires_on=clock.today() - timedelta(days=1))
    row = queries.kept(clock.today()).get()
    assert (row.at_hand, row.expired) == (0, 4)
    assert "4 expired" in page(storekeeper, f"{LIST}?state=expired")


def test_stock_of_another_site_is_not_told(storekeeper: Person) -> None:
    """A part is shared, its stock is not: another site's place, bin and movements are on no page."""
    part = a_part()
    far = in_stock(part, 7, a_bench(a_site("Corran Vale")))
    shown = page(storekeeper, f"{LIST}{part.pk}/")
    assert "Corran Vale" not in shown
    assert "Nothing has come or gone yet" in shown
    assert part.name not in page(storekeeper, LIST)
    answer = signed_in(storekeeper).post(f"/parts/stock/{far.pk}/scrap/", {"scrap-quantity": 1, "scrap-why": "No"})
    assert answer.status_code == 404


def test_a_delivery_is_scanned_in(storekeeper: Person) -> None:
    """By label, by the maker's number with batch, and an unknown code is told beside its line."""
    first, second = a_part(), a_part("Seal", maker_number="09506000134352", keeps_batch=True, keeps_expiry=True)
    place = a_store()
    package = "(01)09506000134352(17)391231(10)B-77"
    sent = {"place": place.pk, "reference": "DN 5", "part_0": label_of(first).address, "quantity_0": 4}
    browser = signed_in(storekeeper)
    refused = browser.post("/parts/delivery/", {**sent, "part_1": "no such part"})
    assert refused.status_code == 422
    assert "No part is called" in refused.content.decode()
    assert not Stock.objects.exists()
    assert browser.post("/parts/delivery/", {**sent, "part_1": package}).status_code == 302
    seal = Stock.objects.get(shelf__part=second)
    assert (seal.batch, seal.expires_on.year, seal.quantity) == ("B-77", 2039, 1)
    assert Stock.objects.get(shelf__part=first).quantity == 4


def test_a_place_is_counted_from_its_sheet(storekeeper: Person) -> None:
    """A difference without a reason is refused with what was typed; with one it corrects the stock."""
    kept, other = in_stock(a_part("Keypad"), 5), in_stock(a_part("Seal"), 2)
    address = f"/parts/count/?place={a_bench().pk}"
    assert "Keypad" in page(storekeeper, address)
    browser, sent = signed_in(storekeeper), {f"found_{kept.pk}": 4, f"expected_{kept.pk}": 5}
    refused = browser.post(address, sent)
    assert refused.status_code == 422
    assert 'value="4"' in refused.content.decode()
    assert browser.post(address, {**sent, "why": "Nobody knows"}).status_code == 302
    assert (left(kept), left(other)) == (4, 2)
    assert browser.post(address, {f"expected_{kept.pk}": 4}).status_code == 422


def test_move_scrap_and_order_from_the_part_s_page(storekeeper: Person) -> None:
    """Each act is one form; a refusal brings the page back with what is wrong."""
    part = a_part()
    stock, browser = in_stock(part, 5), signed_in(storekeeper)
    moved = browser.post(f"/parts/stock/{stock.pk}/move/", {"move-quantity": 2, "move-place": a_store().pk})
    assert moved.status_code == 302
    assert (
        browser.post(f"/parts/stock/{stock.pk}/scrap/", {"scrap-quantity": 9, "scrap-why": "Bent"}).status_code == 422
    )
    soon = clock.today() + timedelta(days=5)
    sent = {"ordered-quantity": 10, "ordered-expected_on": soon.isoformat(), "ordered-place": a_store().pk}
    assert browser.post(f"{LIST}{part.pk}/act/ordered/", sent).status_code == 302
    shown = page(storekeeper, f"{LIST}{part.pk}/")
    assert "10 for Store" in shown
    assert "Moved here" in shown
    row = Purchase.objects.get()
    assert browser.post(f"/parts/purchases/{row.pk}/call-off/", {"call_off-why": "Not made"}).status_code == 302


def test_a_technician_reads_and_a_ward_does_not(technician: Person, ward_nurse: Person) -> None:
    """Who works on the bench sees parts and labels and finds no form of the storekeeper's."""
    part = a_part()
    in_stock(part, 1)
    shown = page(technician, f"{LIST}{part.pk}/")
    assert "Scrap" not in shown
    assert "Saved from a retired driver" in shown
    assert status(technician, "/parts/new/") == status(ward_nurse, LIST) == 403
    assert 'href="/parts/"' in page(technician, "/bench/")
    assert part.number in page(technician, "/parts/labels/")


def test_the_search_of_every_page_finds_a_part(technician: Person, ward_nurse: Person) -> None:
    """By its stock number or its label, for those who see parts; a ward's search knows of none."""
    part = a_part(number="KP-77")
    for code in ("kp-77", label_of(part).address):
        answer = signed_in(technician).get("/search/", {"q": code})
        assert (answer.status_code, answer["Location"]) == (302, f"{LIST}{part.pk}/")
    assert signed_in(ward_nurse).get("/search/", {"q": "KP-77"}).status_code == 200


def test_a_part_is_added_edited_and_dropped(storekeeper: Person) -> None:
    """Added with the types it fits; a form opened before another change is told; dropped only when none is left."""
    maker_type, browser = a_type(), signed_in(storekeeper)
    sent = {"number": "K-1", "name": "Knob", "reorder_quantity": 5, "lead_days": 7, "types": [maker_type.pk]}
    assert browser.post("/parts/new/", sent).status_code == 302
    part = Part.objects.get(number="K-1")
    assert list(part.types.all()) == [maker_type]
    assert browser.post("/parts/new/", sent).status_code == 422
    opened = fingerprint(part, actions.PART_FACTS)
    assert browser.post(f"{LIST}{part.pk}/edit/", {**sent, "name": "Clamp knob", "opened": opened}).status_code == 302
    with pytest.raises(ConflictError):
        actions.edit_part(part, {"name": "Screw"}, opened=opened, by=BY)
    stock = in_stock(part, 1)
    with pytest.raises(MoveRefusedError, match="lie in stock"):
        actions.drop_part(part, "Not made any more", by=BY)
    actions.scrap(stock, 1, "Not made any more", by=BY)
    actions.drop_part(part, "Not made any more", by=BY)
    assert "Kept no more" in page(storekeeper, f"{LIST}{part.pk}/")
    with pytest.raises(MoveRefusedError, match="kept no more"):
        in_stock(Part.objects.get(pk=part.pk), 1)


def test_parts_are_kept_at_a_bench_or_store_only() -> None:
    """A ward keeps no parts."""
    with pytest.raises(BadValueError) as refused:
        actions.keep_at(a_part(), a_ward(), by=BY)
    assert refused.value.field == "place"
    assert not Shelf.objects.exists()
