"""The ward sees when the bench expects a driver back."""

from datetime import timedelta

from fleet.people.models import Person
from fleet.registry.queries import label_token
from fleet.tags.models import Tag
from fleet.web import clock
from fleet.web.phrases import day
from tests.bench.builders import received
from tests.builders import a_device
from tests.pages import page, signed_in
from tests.tags.builders import a_phone, an_open_tag, verbs


def test_the_ward_sees_the_day_that_the_bench_told(technician: Person, ward_nurse: Person) -> None:
    """A day told on the order stands on the ward's list, on the label's page and in the trail."""
    device = a_device()
    tag = an_open_tag(device)
    order = received(device, technician, kind="corrective")
    assert "has not said yet" in page(ward_nurse, "/tags/ours/")
    friday = clock.today() + timedelta(days=2)
    signed_in(technician).post(f"/bench/orders/{order}/act/expect/", {"expect-expected_back": friday.isoformat()})
    assert Tag.objects.get(pk=tag.pk).expected_back == friday
    assert "has not said yet" not in (ours := page(ward_nurse, "/tags/ours/"))
    assert day(friday) in ours
    assert day(friday) in a_phone().get(f"/r/{label_token(device)}/").content.decode()
    assert "told the ward when" in verbs(device)


def test_a_day_that_has_passed_is_refused(technician: Person) -> None:
    """Yesterday is refused beside the field, and nothing is told."""
    device = a_device()
    tag = an_open_tag(device)
    order = received(device, technician, kind="corrective")
    yesterday = clock.today() - timedelta(days=1)
    answer = signed_in(technician).post(
        f"/bench/orders/{order}/act/expect/", {"expect-expected_back": yesterday.isoformat()}
    )
    assert "This day has passed" in answer.content.decode()
    assert Tag.objects.get(pk=tag.pk).expected_back is None


def test_a_day_told_that_passes_says_so(technician: Person, ward_nurse: Person) -> None:
    """When the day told has gone by, the ward's list says so rather than promise it still."""
    device = a_device()
    an_open_tag(device)
    order = received(device, technician, kind="corrective")
    today = clock.today()
    signed_in(technician).post(f"/bench/orders/{order}/act/expect/", {"expect-expected_back": today.isoformat()})
    with clock.at(clock.now() + timedelta(days=3)):
        assert "that day has passed, ask the bench" in page(ward_nurse, "/tags/ours/")
