"""The pages of the instruments: who sees and does what."""

from datetime import timedelta

import pytest
from django.urls import reverse

from fleet.people.models import Person
from fleet.stores.models import Instrument
from fleet.web import clock
from tests.builders import a_bench, a_site
from tests.pages import page, signed_in, status
from tests.stores.builders import a_calibration, an_instrument, found_out

pytestmark = pytest.mark.django_db

LIST = "/instruments/"


def test_a_technician_sees_and_a_ward_does_not(technician: Person, storekeeper: Person, ward_nurse: Person) -> None:
    """Who works on the bench opens the instruments, from the menu under their name."""
    an_instrument(number="BAL-01")
    assert "BAL-01" in page(technician, LIST)
    assert 'href="/instruments/"' in page(technician, "/bench/")
    assert status(ward_nurse, LIST) == status(storekeeper, LIST) == 403


def test_only_instruments_of_ones_places_are_listed(technician: Person) -> None:
    """Another site's instrument is neither in the list nor at its address."""
    far = an_instrument(number="FAR-01", place=a_bench(a_site("Corran Vale")))
    assert "FAR-01" not in page(technician, LIST)
    assert status(technician, f"{LIST}{far.pk}/") == 404


def test_the_list_is_narrowed_sorted_and_taken_out(technician: Person) -> None:
    """By kind, by state, by number; in the order asked for; the same rows as CSV."""
    balance = an_instrument(number="BAL-01", name="Balance", kind="balance", calibrated=False)
    an_instrument(number="FLO-01")
    shown = page(technician, f"{LIST}?state=never")
    assert "BAL-01" in shown
    assert "FLO-01" not in shown
    assert "FLO-01" not in page(technician, f"{LIST}?kind=balance&q=bal&place={balance.place_id}")
    backwards = page(technician, f"{LIST}?sort=-number")
    assert backwards.index("FLO-01") < backwards.index("BAL-01")
    answer = signed_in(technician).get(f"{LIST}?kind=flow&as=csv")
    lines = b"".join(answer.streaming_content).decode().splitlines()
    assert len(lines) == 2
    assert lines[1].startswith("FLO-01,Flow analyser,Flow analyser")
    assert "In date" in lines[1]


def test_the_page_says_in_words_how_it_stands(technician: Person) -> None:
    """Overdue, with its certificate, the uncertainty and the rule it is used by."""
    row = an_instrument(calibrated=False)
    a_calibration(row, days_ago=400, certificate="C-7711", due_on=clock.today() - timedelta(days=35))
    shown = page(technician, f"{LIST}{row.pk}/")
    for words in ("Overdue", "C-7711", "0.5", "k = 2.0", "lower limit + U"):
        assert words in shown
    assert "Withdraw the instrument" not in shown


def test_a_calibration_is_recorded_and_one_found_out_leads_to_the_trace(technician: Person) -> None:
    """Within its limits leads back to the instrument, out of them to what was measured with it."""
    row, client = an_instrument(calibrated=False), signed_in(technician)
    address = reverse("stores:calibrate", args=[row.pk])
    sent = {"done_on": clock.today() - timedelta(days=9), "certificate": "C-1", "laboratory": "Ostrel", "usable": "on"}
    assert client.post(address, {**sent, "as_found": "within"}).url == f"/instruments/{row.pk}/"
    refused = client.post(address, {**sent, "certificate": "C-2", "as_found": "out"})
    assert refused.status_code == 422
    assert "Say what was found" in refused.content.decode()
    found = {**sent, "certificate": "C-2", "as_found": "out", "found_words": "3 % low"}
    gone = client.post(address, found)
    done = row.calibrations.get(certificate="C-2")
    assert gone.url == reverse("bench:trace", args=[done.pk])
    assert client.get(gone.url).status_code == 200


def test_a_manager_adds_edits_and_withdraws_by_pages_alone(manager: Person) -> None:
    """And is told beside the field what does not fit."""
    client = signed_in(manager)
    sent = {
        "number": "MET-01", "name": "Multimeter", "kind": "meter", "place": a_bench().pk, "every_months": "12",
        "coverage_factor": "2", "uncertainty": "0.2", "refused_when_overdue": "on",
    }  # fmt: skip
    bare = client.post(reverse("stores:new_instrument"), sent)
    assert "unit of the uncertainty" in bare.content.decode()
    added = client.post(reverse("stores:new_instrument"), {**sent, "uncertainty_unit": "V"})
    row = Instrument.objects.get(number="MET-01")
    assert added.url == f"/instruments/{row.pk}/"
    edit = reverse("stores:edit", args=[row.pk])
    opened = client.get(edit).context["form"].initial["opened"]
    changed = {**sent, "uncertainty_unit": "V", "name": "Bench multimeter", "opened": opened}
    assert client.post(edit, changed).status_code == 302
    stale = client.post(edit, {**changed, "name": "Third name"})
    assert "changed by somebody else" in stale.content.decode()
    withdraw = reverse("stores:withdraw", args=[row.pk])
    assert client.post(withdraw, {"withdraw-why": ""}).status_code == 422
    assert client.post(withdraw, {"withdraw-why": "Dropped"}).status_code == 302
    row.refresh_from_db()
    assert (row.name, row.withdrawn_why) == ("Bench multimeter", "Dropped")


def test_a_technician_voids_and_may_not_withdraw(technician: Person) -> None:
    """A mistaken calibration counts no more, with its reason on the page; withdrawing is for the register's keepers."""
    row, client = an_instrument(), signed_in(technician)
    wrong = found_out(row)
    void = reverse("stores:void", args=[wrong.pk])
    assert client.post(void, {"void-why": ""}).status_code == 422
    assert client.post(void, {"void-why": "Wrong certificate"}).url == f"/instruments/{row.pk}/"
    assert "Wrong certificate" in page(technician, f"/instruments/{row.pk}/")
    assert client.post(reverse("stores:withdraw", args=[row.pk]), {"withdraw-why": "x"}).status_code == 403
