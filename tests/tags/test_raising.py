"""A ward's report: what it does to the driver, and what it never does twice."""

from datetime import timedelta
from typing import Any

import pytest

from fleet.alerts.models import Alert
from fleet.audit.models import TrailEntry
from fleet.core.errors import BadValueError, MoveRefusedError, NotAllowedError
from fleet.core.identifiers import read_tag_number
from fleet.core.lifecycle import Condition, WaitReason
from fleet.people.models import Person
from fleet.people.queries import actor_for
from fleet.registry.models import Device
from fleet.tags.actions import clear, raise_tag, report_found, report_missing
from fleet.tags.models import Quarantine, Tag, TagReport
from fleet.tags.report import Report
from fleet.web import clock
from tests.builders import BY, a_device, a_new_device, a_ward
from tests.tags.builders import a_raised_tag, a_report, alert_kind, an_open_tag, verbs

pytestmark = pytest.mark.django_db


def again(device: Device) -> Device:
    return Device.objects.get(pk=device.pk)


def test_a_report_takes_the_driver_out_of_use() -> None:
    """A driver in service that is reported is out of use under one open tag with a readable number."""
    device = a_device()
    raised = a_raised_tag(device)
    assert again(device).condition == Condition.OUT_OF_USE
    assert not raised.joined
    assert read_tag_number(raised.tag.written) > 0
    assert raised.tag.cleared_at is None


def test_the_trail_tells_who_tagged_and_what_was_said(ward_nurse: Person) -> None:
    """The trail keeps the person, the words and the time of the happening apart from the time of entry."""
    device = a_device()
    happened = clock.now() - timedelta(hours=2)
    raise_tag(device, a_report(words="It beeped twice.", happened_at=happened), by=actor_for(ward_nurse))
    entry = TrailEntry.objects.get(device_ref=device.pk, verb="raised tag")
    assert entry.person_id == ward_nurse.pk
    assert entry.after["words"] == "It beeped twice."
    assert entry.done_at == happened
    assert entry.late


def test_two_tags_have_two_numbers() -> None:
    """No tag number is given twice."""
    assert an_open_tag(a_device()).number != an_open_tag(a_device()).number


def test_the_same_form_sent_twice_counts_once() -> None:
    """The same key gives the same result again and writes neither a report nor a trail entry."""
    device, report = a_device(), a_report(harm="yes", alert_kinds=(alert_kind("battery-fault"),))
    first = raise_tag(device, report, by=BY)
    before = verbs(device)
    second = raise_tag(device, report, by=BY)
    assert (second.tag, second.joined, second.report) == (first.tag, False, first.report)
    assert TagReport.objects.count() == 1
    assert Alert.objects.get().times == 1
    assert verbs(device) == before


def test_a_joining_form_sent_twice_still_says_that_it_joined() -> None:
    """A second report posted twice is answered the same both times."""
    device, report = a_device(), a_report()
    a_raised_tag(device)
    assert raise_tag(device, report, by=BY).joined
    assert raise_tag(device, report, by=BY).joined
    assert TagReport.objects.count() == 2


def test_a_form_sent_for_another_driver_is_refused() -> None:
    """A key that was used for one driver cannot tag another."""
    report, other = a_report(), a_device()
    raise_tag(a_device(), report, by=BY)
    with pytest.raises(BadValueError, match="another driver"):
        raise_tag(other, report, by=BY)
    assert again(other).condition == Condition.IN_SERVICE


def test_a_second_report_joins_the_open_tag() -> None:
    """Somebody else's report on a tagged driver is kept under the same tag, and the trail says so."""
    device = a_device()
    tag = an_open_tag(device)
    joined = a_raised_tag(device, what="power", reporter="Piet Lomax")
    assert joined.joined
    assert joined.tag == tag
    assert tag.reports.count() == 2
    assert "reported on a tagged driver" in verbs(device)


def test_a_joining_report_of_harm_makes_the_tag_graver() -> None:
    """The tag carries the gravest answer to the harm question; a later "no" does not take it back."""
    device = a_device()
    a_raised_tag(device)
    a_raised_tag(device, harm="yes")
    assert a_raised_tag(device, harm="no").tag.harm == "yes"


@pytest.mark.parametrize("harm", ["yes", "not_sure"])
def test_harm_or_doubt_opens_a_quarantine(harm: str) -> None:
    """Harm, or not being sure of it, keeps the driver as it is, with the incident number and the spot."""
    device = a_device()
    tag = an_open_tag(device, harm=harm, incident_reference="INC-7", where="Sluice, Ward 4")
    quarantine = Quarantine.objects.get()
    assert (quarantine.tag, quarantine.incident_reference, quarantine.kept_where) == (tag, "INC-7", "Sluice, Ward 4")
    assert quarantine.aware_on == clock.today()
    assert again(device).quarantined
    assert "opened quarantine" in verbs(device)


def test_no_harm_opens_no_quarantine() -> None:
    """A plain "no" leaves the driver free to be worked on."""
    device = a_device()
    a_raised_tag(device)
    assert not again(device).quarantined
    assert not Quarantine.objects.exists()


def test_a_joining_report_of_harm_opens_the_quarantine() -> None:
    """The second person may know what the first did not."""
    device = a_device()
    a_raised_tag(device)
    a_raised_tag(device, harm="not_sure")
    assert again(device).quarantined


def test_a_later_report_adds_the_incident_number_to_the_open_quarantine() -> None:
    """One quarantine is enough; the incident number that was not known yet is added to it, and kept from then on."""
    device = a_device()
    a_raised_tag(device, harm="yes")
    a_raised_tag(device, harm="yes", incident_reference="INC-8")
    a_raised_tag(device, harm="yes", incident_reference="INC-9")
    assert Quarantine.objects.get().incident_reference == "INC-8"


def test_a_retired_driver_is_refused_in_words() -> None:
    """A retired driver gets no tag: it must be kept apart, and the bench told."""
    device = a_device(condition="retired", retired_on=clock.today())
    with pytest.raises(MoveRefusedError, match="retired and must not be in a ward"):
        a_raised_tag(device)
    assert not Tag.objects.exists()
    assert not TagReport.objects.exists()


def test_a_driver_on_the_bench_gets_its_tag_without_a_move() -> None:
    """A report on a driver that is on the bench for other work opens a tag and leaves the driver where it is."""
    device = a_new_device()
    tag = an_open_tag(device, place=a_ward("Ward 9"))
    device = again(device)
    assert (device.condition, device.wait_reason) == (Condition.WAITING, WaitReason.ACCEPTANCE)
    assert device.place.name == "Ward 4"
    assert tag.cleared_at is None


def test_a_missing_driver_that_is_reported_is_out_of_use_again() -> None:
    """Whoever reports a missing driver has found it; its open tag goes on."""
    device = a_device()
    tag = an_open_tag(device)
    report_missing(device, why="Looked in all bays.", by=BY)
    raised = a_raised_tag(device, place=a_ward("Ward 9"))
    device = again(device)
    assert (raised.tag, raised.joined) == (tag, True)
    assert (device.condition, device.place.name) == (Condition.OUT_OF_USE, "Ward 9")


def test_the_report_says_where_the_driver_was_seen() -> None:
    """The ward named in the report becomes the driver's place and its last sighting; its home stays."""
    device = a_device()
    raised = a_raised_tag(device, place=a_ward("Ward 9"))
    device = again(device)
    assert (device.place.name, device.home.name) == ("Ward 9", "Ward 4")
    assert device.last_seen_source == "ward report"
    assert raised.tag.place.name == "Ward 9"


def test_alerts_are_recorded_with_the_tag() -> None:
    """What the driver raised is an open alert of its own, linked to the tag, in the words of its screen."""
    device = a_device()
    tag = an_open_tag(device, alert_kinds=(alert_kind("battery-fault"),), screen_text="BATT 3")
    alert = tag.alerts.get()
    assert (alert.kind.code, alert.screen_text, alert.source) == ("battery-fault", "BATT 3", Alert.Source.WARD)
    assert alert.seen_by == "Nora Teasdale"


def test_a_driver_that_asked_for_maintenance_has_that_alert() -> None:
    """A driver that asked for maintenance has raised an alert, whether or not the alert was ticked too."""
    asked = alert_kind("asked-for-maintenance")
    assert [alert.kind for alert in an_open_tag(a_device(), what="asked").alerts.all()] == [asked]
    ticked = an_open_tag(a_device(), what="asked", alert_kinds=(asked,))
    assert [(alert.kind, alert.times) for alert in ticked.alerts.all()] == [(asked, 1)]


@pytest.mark.parametrize(
    ("field", "value", "words"),
    [
        ("what", "exploded", "what happened"),
        ("connected", "", "connected"),
        ("harm", "perhaps", "harmed"),
        ("decontamination", "boiled", "cleaned"),
        ("where", "  ", "where the driver is"),
        ("reporter", "", "who reports"),
        ("reach", "", "reach you"),
        ("screen_text", "x" * 201, "200 characters"),
        ("happened_at", clock.now() + timedelta(days=1), "later than now"),
    ],
)
def test_a_value_that_cannot_be_used_is_named(field: str, value: Any, words: str) -> None:
    """Nothing is written, and the message names the field and says what would be right."""
    device = a_device()
    with pytest.raises(BadValueError, match=words) as refused:
        a_raised_tag(device, **{field: value})
    assert refused.value.field == field
    assert again(device).condition == Condition.IN_SERVICE


def test_a_phone_clock_a_little_ahead_counts_as_now() -> None:
    """Two minutes ahead is a phone's clock, not a mistake, and nothing is kept as of the future."""
    report: Report = a_report(happened_at=clock.now() + timedelta(minutes=2))
    assert raise_tag(a_device(), report, by=BY).report.happened_at <= clock.now()


def test_reporting_needs_the_duty(ward_nurse: Person) -> None:
    """Somebody whose role was taken away may not tag."""
    ward_nurse.groups.clear()
    with pytest.raises(NotAllowedError):
        raise_tag(a_device(), a_report(), by=actor_for(ward_nurse))


def test_the_bench_clears_a_tag_with_its_order(technician: Person) -> None:
    """A tag is cleared once, by an order that is named, and the trail says so."""
    device = a_device()
    cleared = clear(an_open_tag(device), order_number="W0001Z", by=actor_for(technician))
    assert cleared.cleared_by_order == "W0001Z"
    assert verbs(device)[-1] == "cleared tag"


def test_a_ward_cannot_clear_a_tag(ward_nurse: Person) -> None:
    """Only the workshop releases a driver, even if it "seems fine now"."""
    with pytest.raises(NotAllowedError):
        clear(an_open_tag(a_device()), order_number="W0001Z", by=actor_for(ward_nurse))


def test_a_tag_under_quarantine_cannot_be_cleared() -> None:
    """The quarantine is lifted first, with a reason."""
    tag = an_open_tag(a_device(), harm="yes")
    with pytest.raises(MoveRefusedError, match="quarantine"):
        clear(tag, order_number="W0001Z", by=BY)


def test_a_new_report_after_clearing_opens_a_new_tag() -> None:
    """A cleared tag is history; the next fault has its own number."""
    device = a_device()
    old = an_open_tag(device)
    clear(old, order_number="W0001Z", by=BY)
    assert an_open_tag(device) != old


def test_missing_needs_words_and_found_needs_a_place() -> None:
    """Where was looked is kept in the trail; a found driver stays out of use, at the place where it was found."""
    device = a_device()
    with pytest.raises(BadValueError, match="where you looked"):
        report_missing(device, why=" ", by=BY)
    report_missing(device, why="All bays and the store.", by=BY)
    assert again(device).condition == Condition.NOT_LOCATED
    assert TrailEntry.objects.get(verb="reported as not located").why == "All bays and the store."
    found = report_found(device, a_ward("Ward 9"), by=BY)
    assert (found.condition, found.last_seen_place) == (Condition.OUT_OF_USE, a_ward("Ward 9"))


def test_a_driver_that_is_not_missing_cannot_be_found() -> None:
    """The refusal says what the driver is at."""
    with pytest.raises(MoveRefusedError, match="in service"):
        report_found(a_device(), a_ward(), by=BY)
