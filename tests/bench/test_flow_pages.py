"""The pages of flow and occlusion tests and of their limits."""

from decimal import Decimal
from http import HTTPStatus

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from fleet.bench.actions.flow import record_flow_test, record_occlusion_test
from fleet.bench.models import DeliveryLimit, FlowTest, OcclusionTest, Order
from fleet.people.models import Person
from fleet.people.roles import Role
from tests.bench.builders import as_actor, finish, received, work
from tests.bench.test_flow import BAD, CLOSED, GOOD, a_limit, log_at
from tests.builders import a_device, a_person
from tests.pages import page, signed_in, status

pytestmark = pytest.mark.django_db

TYPED = {
    "flow-rate": "5", "flow-syringe_ml": "50", "flow-density": "0,998", "flow-evaporation": "0",
    "flow-period": "after", "flow-stabilisation": "0",
}  # fmt: skip
CLOSED_TYPED = {
    "occlusion-rate": "5", "occlusion-syringe_ml": "50", "occlusion-level": "P3", "occlusion-minutes": "4,8",
    "occlusion-pressure": "300", "occlusion-unit": "mmHg", "occlusion-bolus_ml": "",
}  # fmt: skip


@pytest.fixture
def order(technician: Person) -> Order:
    """A repair on the bench with all its steps passed."""
    return work(received(a_device(), technician, kind="corrective"), technician)


def address(order: Order) -> str:
    return reverse("bench:flow", args=[order.number])


def test_a_pasted_log_becomes_a_test_with_figures(order: Order, technician: Person) -> None:
    """Pasted, recorded, and shown with numbers, figures and the words of its period."""
    a_limit(order)
    answer = signed_in(technician).post(address(order), {**TYPED, "flow-pasted": log_at(4.9)}, follow=True)
    shown = answer.content.decode()
    assert answer.status_code == HTTPStatus.OK
    assert "The flow test is on record: within the limits." in shown
    assert shown.count('class="plot flow-plot"') == 2
    assert "all after 0 min of stabilisation" in shown
    assert "A limit used here is not verified" in shown
    assert "\u22122\u00a0%" in shown
    assert "style=" not in shown


def test_a_file_is_read_and_can_be_had_back_as_it_came(order: Order, technician: Person) -> None:
    """The log is given back byte for byte, and its name is on record."""
    text = log_at(5.0, 150).replace(",", ";").replace(".", ",")
    file = SimpleUploadedFile("balance 3.csv", text.encode("utf-8-sig"), content_type="text/csv")
    signed_in(technician).post(address(order), {**TYPED, "flow-file": file})
    test = FlowTest.objects.get()
    assert test.log_name == "balance 3.csv"
    got = signed_in(technician).get(reverse("bench:flow_log", args=[test.pk]))
    assert got.content.decode() == text
    assert "attachment" in got["Content-Disposition"]
    assert "first two hours" in page(technician, reverse("bench:flow_test", args=[test.pk]))


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"flow-pasted": "0,0\n30,x\n60,1"}, "row 2 (“x”)"),
        ({"flow-pasted": ""}, "Choose the file of the balance, or paste"),
        ({"flow-pasted": log_at(5.0), "flow-stabilisation": ""}, "Say after how many minutes"),
        ({"flow-pasted": log_at(5.0), "flow-stabilisation": "90"}, "nothing is left after 90 min"),
        ({"flow-pasted": log_at(5.0, 30), "flow-period": "last_hour"}, "no last hour"),
        ({"flow-pasted": log_at(5.0), "flow-rate": ""}, "This field is required"),
    ],
)
def test_what_is_wrong_is_said_and_what_was_pasted_stays(
    changes: dict[str, str], words: str, order: Order, technician: Person
) -> None:
    """A refusal names the row or the field, keeps the form as typed and records nothing."""
    answer = signed_in(technician).post(address(order), {**TYPED, **changes})
    shown = answer.content.decode()
    assert answer.status_code == 422
    assert words in shown
    assert changes["flow-pasted"][:40] in shown
    assert not FlowTest.objects.exists()


def test_a_file_is_not_lost_with_a_refusal_of_another_field(order: Order, technician: Person) -> None:
    """Its text stands in the field for pasted logs, ready to be sent again."""
    file = SimpleUploadedFile("a.csv", log_at(5.0).encode())
    answer = signed_in(technician).post(address(order), {**TYPED, "flow-rate": "", "flow-file": file})
    assert answer.status_code == 422
    assert log_at(5.0)[:200] in answer.content.decode()


@pytest.mark.parametrize("content", [b"\x89PNG\0\0", "0,0\n30,1\n".encode("utf-16")[:-1]])
def test_a_file_that_is_no_text_is_refused(content: bytes, order: Order, technician: Person) -> None:
    """By its content, whatever its name says."""
    file = SimpleUploadedFile("a.csv", content)
    answer = signed_in(technician).post(address(order), {**TYPED, "flow-file": file})
    assert answer.status_code == 422
    assert "no text file" in answer.content.decode()


def test_a_failed_test_is_told_where_the_driver_is_to_be_returned(order: Order, technician: Person) -> None:
    """On the page of the tests and on the page that finishes the order; voided, it is gone from both."""
    a_limit(order)
    test = record_flow_test(order, BAD, by=as_actor(technician))
    assert "cannot go back to service with this" in page(technician, address(order))
    assert "1 flow or occlusion test has failed" in page(technician, reverse("bench:finish", args=[order.number]))
    own = reverse("bench:flow_test", args=[test.pk])
    assert signed_in(technician).post(own, {"why": ""}).status_code == 422
    signed_in(technician).post(own, {"why": "The vessel was knocked"})
    assert "This test is void" in page(technician, own)
    assert "cannot go back to service with this" not in page(technician, address(order))


def test_an_occlusion_test_is_recorded_shown_and_voided(order: Order, technician: Person) -> None:
    """As typed, with its pressure in kPa beside it."""
    browser = signed_in(technician)
    browser.post(reverse("bench:occlusion", args=[order.number]), CLOSED_TYPED)
    test = OcclusionTest.objects.get()
    assert (test.seconds_to_alarm, test.pressure_kpa) == (288, Decimal("40.00"))
    shown = page(technician, address(order))
    assert "typed: 300 mmHg" in shown
    assert "not measured" in shown
    void = reverse("bench:void_occlusion", args=[test.pk])
    assert browser.post(void, {f"void-{test.pk}-why": ""}).status_code == 422
    browser.post(void, {f"void-{test.pk}-why": "The clamp slipped"})
    assert "Void: The clamp slipped" in page(technician, address(order))


@pytest.mark.parametrize("missing", ["occlusion-rate", "occlusion-syringe_ml", "occlusion-level"])
def test_an_occlusion_test_says_nothing_without_rate_syringe_and_level(
    missing: str, order: Order, technician: Person
) -> None:
    """It is refused without them."""
    answer = signed_in(technician).post(reverse("bench:occlusion", args=[order.number]), {**CLOSED_TYPED, missing: ""})
    assert answer.status_code == 422
    assert not OcclusionTest.objects.exists()


def test_the_order_leads_to_its_tests(order: Order, technician: Person) -> None:
    """The side of the order counts them and links to their page; its sheet prints them."""
    record_flow_test(order, GOOD, by=as_actor(technician))
    record_occlusion_test(order, CLOSED, by=as_actor(technician))
    shown = page(technician, reverse("bench:order", args=[order.number]))
    assert "1 flow test, 1 occlusion test." in shown
    assert address(order) in shown
    sheet = page(technician, reverse("bench:sheet", args=[order.number]))
    assert "at 5,8 psi; no limit is stated" in sheet
    assert "Flow and occlusion tests" in sheet


def test_a_finished_order_keeps_its_tests_and_takes_no_more(order: Order, technician: Person) -> None:
    """They are shown, and nothing is offered to be recorded or voided."""
    test = record_flow_test(order, GOOD, by=as_actor(technician))
    finish(order, technician)
    shown = page(technician, address(order))
    assert "Record a flow test" not in shown
    assert "No test is recorded now" in shown
    assert "This test does not count" not in page(technician, reverse("bench:flow_test", args=[test.pk]))
    assert signed_in(technician).post(address(order), {**TYPED, "flow-pasted": log_at(5.0)}).status_code == 422


def test_a_manager_sees_and_records_nothing(order: Order, manager: Person, ward_nurse: Person) -> None:
    """Who sees the fleet sees the tests; recording needs the bench's duty, and a ward sees none of it."""
    assert status(ward_nurse, address(order)) == HTTPStatus.FORBIDDEN
    assert "Flow tests" in page(manager, address(order))


def test_a_limit_is_stated_verified_and_dropped(order: Order, manager: Person, technician: Person) -> None:
    """Each on its page, by whoever keeps the registry."""
    browser, listed = signed_in(manager), reverse("bench:delivery_limits")
    typed = {
        "device_type": order.device.device_type_id, "quantity": "mean", "rate": "5", "low": "-2,5", "high": "2.5",
        "source": "Maker's manual", "edition": "C",
    }  # fmt: skip
    assert browser.post(reverse("bench:delivery_limit_new"), {**typed, "low": "", "high": ""}).status_code == 422
    browser.post(reverse("bench:delivery_limit_new"), typed)
    row = DeliveryLimit.objects.get()
    assert (row.low, row.verified_on) == (Decimal("-2.5"), None)
    assert "Not verified" in page(technician, listed)
    own = reverse("bench:delivery_limit", args=[row.pk])
    assert "You stated it" in page(manager, own)
    browser.post(own, {"verify": "1"})
    assert "Not verified" in page(technician, listed)
    second = a_person(Role.MANAGER)
    signed_in(second).post(own, {"verify": "1"})
    assert second.display_name in page(technician, listed)
    assert browser.post(own, {"drop": "1", "why": ""}).status_code == 422
    browser.post(own, {"drop": "1", "why": "A newer manual"})
    assert "Limits that hold no longer" in page(technician, listed)
    assert status(technician, reverse("bench:delivery_limit_new")) == HTTPStatus.FORBIDDEN
    assert status(manager, own) == HTTPStatus.NOT_FOUND


def test_a_limit_that_stands_already_is_refused_beside_its_field(order: Order, manager: Person) -> None:
    """A second one for the same rate and syringe."""
    typed = {
        "device_type": order.device.device_type_id, "quantity": "mean", "rate": "", "low": "-5", "high": "5",
        "source": "From memory",
    }  # fmt: skip
    browser = signed_in(manager)
    browser.post(reverse("bench:delivery_limit_new"), typed)
    assert DeliveryLimit.objects.get().verified_by == ""
    answer = browser.post(reverse("bench:delivery_limit_new"), typed)
    assert "stands already" in answer.content.decode()
