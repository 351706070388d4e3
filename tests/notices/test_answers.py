"""What is done about the drivers of a notice, and how its closure is counted."""

from datetime import timedelta

import pytest

from fleet.audit.models import TrailEntry
from fleet.bench.actions import cancel
from fleet.core.errors import BadValueError, ConflictError, MoveRefusedError, NotAllowedError
from fleet.core.lifecycle import Condition
from fleet.notices import actions, queries
from fleet.notices.models import Standing
from fleet.notices.queries import Counts
from fleet.people.models import Person
from fleet.people.queries import actor_for
from fleet.registry.models import Device
from fleet.tags.actions import report_found, report_missing
from fleet.web import clock
from tests.bench.builders import finish, fresh, received, work
from tests.builders import BY, a_device, a_site, a_ward
from tests.notices.builders import a_notice, done, line_of, matched_again

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize(
    ("of", "words", "affected"),
    [
        ({"done": 3, "open": 1}, "75.0 %", 4),
        ({"done": 2, "not_located": 1, "retired_before": 4}, "66.7 %", 3),
        ({"done": 2, "not_applying": 5}, "100.0 %", 2),
        ({"done": 2499, "open": 1}, "> 99.9 %", 2500),
        ({"done": 1, "open": 4999}, "< 0.1 %", 5000),
        ({"retired_before": 2}, "none affected", 0),
    ],
)
def test_closure_is_done_of_the_affected(of: dict[str, int], words: str, affected: int) -> None:
    """Without those retired before and those it does not apply to; not located ones stay in; never a false 100."""
    stand = Counts(of)
    assert (stand.closure, stand.affected) == (words, affected)


def test_several_drivers_are_answered_at_once_all_or_none(technician: Person) -> None:
    """One that cannot be answered keeps the others from it, and is named."""
    devices = [a_device() for _ in range(3)]
    notice = a_notice()
    lines = [line_of(notice, device) for device in devices]
    done(lines[0])
    given = actions.Answer(state="not_applying", what="Another drive is fitted", evidence="Plate read")
    with pytest.raises(ConflictError, match=devices[0].asset_number):
        actions.answer(lines, given, by=actor_for(technician))
    assert queries.counts([notice])[notice.pk].open == 2
    assert actions.answer(lines[1:], given, by=actor_for(technician)) == 2
    held = line_of(notice, devices[1])
    assert (held.stands, held.what, held.done_on) == ("not_applying", "Another drive is fitted", clock.today())
    assert held.answered_by == technician
    assert TrailEntry.objects.filter(device_ref=devices[1].pk, verb="answered safety notice").count() == 1


def test_an_answer_says_what_and_lies_in_the_past(technician: Person, ward_nurse: Person) -> None:
    """Without words, with a day to come, without a driver, or from a ward, nothing is written."""
    device = a_device()
    notice = a_notice()
    line, by = line_of(notice, device), actor_for(technician)
    tomorrow = clock.today() + timedelta(days=1)
    for field, given in (
        ("what", actions.Answer(state="done", what=" ")),
        ("state", actions.Answer(state="open", what="Nothing")),
        ("done_on", actions.Answer(state="done", what="Done", done_on=tomorrow)),
    ):
        with pytest.raises(BadValueError) as refused:
            actions.answer([line], given, by=by)
        assert refused.value.field == field
    with pytest.raises(BadValueError, match="Tick"):
        actions.answer([], actions.Answer(state="done", what="Done"), by=by)
    with pytest.raises(NotAllowedError):
        actions.answer([line], actions.Answer(state="done", what="Done"), by=actor_for(ward_nurse))
    assert line_of(notice, device).stands == "open"


def test_an_answer_is_taken_back_with_a_reason_and_stays_in_the_trail() -> None:
    """A slip of the thumb opens the driver again; what was said is not lost."""
    device = a_device()
    notice = a_notice()
    done(line_of(notice, device))
    with pytest.raises(BadValueError, match="Say why"):
        actions.take_back(line_of(notice, device), " ", by=BY)
    actions.take_back(line_of(notice, device), "Wrong driver", by=BY)
    assert line_of(notice, device).stands == "open"
    entry = TrailEntry.objects.get(verb="took back answer to safety notice")
    assert (entry.why, entry.before["what"]) == ("Wrong driver", "Half nut looked at, as new")


def test_a_driver_not_located_is_told_apart_and_comes_up_when_found() -> None:
    """It is no open work and cannot be answered; found again it is open, without anybody telling the notice."""
    device, other = a_device(), a_device()
    notice = a_notice()
    report_missing(device, why="Looked everywhere", by=BY)
    stand = queries.counts([notice])[notice.pk]
    assert (stand.open, stand.not_located, stand.affected) == (1, 1, 2)
    with pytest.raises(MoveRefusedError, match="not located"):
        done(line_of(notice, device))
    done(line_of(notice, other))
    with pytest.raises(BadValueError, match="1 not located"):
        actions.close(notice, "done", by=BY)
    actions.close(notice, "done", why="Looked for three times, its ward has another now", by=BY)
    report_found(device, a_ward(), by=BY)
    assert [line.notice for line in queries.open_lines(Device.objects.filter(pk=device.pk))] == [notice]


def test_a_notice_is_not_closed_over_an_open_driver_of_any_place(manager: Person) -> None:
    """Also where the manager does not see it; taken back by its issuer it closes with a reason and concerns nobody."""
    device = a_device(a_ward("Ward 9", a_site("Corran Vale")))
    notice = a_notice()
    with pytest.raises(MoveRefusedError, match="1 driver is still open"):
        actions.close(notice, "done", by=actor_for(manager))
    with pytest.raises(BadValueError):
        actions.close(notice, "unused", by=actor_for(manager))
    with pytest.raises(BadValueError, match="Say why"):
        actions.close(notice, "withdrawn", by=actor_for(manager))
    actions.close(notice, "withdrawn", why="Sent in error", by=actor_for(manager))
    assert not queries.open_lines(Device.objects.filter(pk=device.pk))
    a_device()
    assert matched_again()["notices"] == 0
    with pytest.raises(ConflictError, match="closed already"):
        actions.close(notice, "done", by=actor_for(manager))


def test_the_order_a_notice_asks_for_answers_the_driver(technician: Person) -> None:
    """It is raised when the notice is opened, bears its words, keeps the driver, and its end is the answer."""
    device, lost = a_device(), a_device()
    report_missing(lost, why="Looked everywhere", by=BY)
    notice = a_notice(said={"raises_orders": True})
    order = device.orders.get()
    assert (order.kind, order.state) == ("notice", "raised")
    assert order.reported.startswith(f"Safety notice {notice}, Drive may slip: look it over or test it.")
    assert not lost.orders.exists()
    received(device, technician)
    work(fresh(order), technician)
    finish(fresh(order), technician)
    line = line_of(notice, device)
    assert line.stands == Standing.DONE
    assert queries.counts([notice])[notice.pk].done == 1
    device.refresh_from_db()
    assert device.condition == Condition.IN_SERVICE
    report_found(lost, a_ward(), by=BY)
    assert matched_again()["orders"] == 1
    assert lost.orders.get().kind == "notice"


def test_two_notices_share_the_order_of_a_driver_and_a_cancelled_one_is_raised_anew() -> None:
    """One order of a kind is open on a driver: the second notice stands on it too; cancelled, both ask again."""
    device = a_device()
    first = a_notice(said={"raises_orders": True})
    second = a_notice(said={"raises_orders": True, "title": "Case may crack"})
    order = device.orders.get()
    assert [str(first) in order.reported, str(second) in order.reported] == [True, True]
    cancel(order, "Raised too early", by=BY)
    assert line_of(first, device).stands == "open"
    assert matched_again()["orders"] == 2
    assert device.orders.exclude(pk=order.pk).count() == 1


def test_a_notice_that_says_stop_tags_its_drivers_in_one_step(manager: Person) -> None:
    """Each is out of use with the notice's words on its tag; twice is once; without a reason not at all."""
    devices = [a_device(), a_device()]
    notice = a_notice(said={"action": "stop", "gravity": "grave"})
    lines = list(queries.lines().filter(notice=notice))
    with pytest.raises(BadValueError, match="Say why"):
        actions.tag(lines, "", by=actor_for(manager))
    assert len(actions.tag(lines, "Until the maker has answered.", by=actor_for(manager))) == 2
    assert actions.tag(lines, "Again", by=actor_for(manager)) == []
    for device in devices:
        device.refresh_from_db()
        assert device.condition == Condition.OUT_OF_USE
        report = device.tags.get().reports.get()
        assert report.words == f"Safety notice {notice}, Drive may slip: stop using it. Until the maker has answered."
        assert line_of(notice, device).stands == "open"
        assert line_of(notice, device).tag == device.tags.get()
    assert [line.notice for line in queries.to_stop(devices[0])] == [notice]
