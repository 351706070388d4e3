"""The end of an order is signed: the password again, a meaning, and a seal that any later change breaks."""

from decimal import Decimal

import pytest
from django.test import Client

from fleet.audit.models import TrailEntry
from fleet.bench import actions as bench
from fleet.bench.models import Labour, Order, PartUse, Reading, ReadingFile, Signature
from fleet.bench.queries import digest_of, parts_of, signatures
from fleet.core.errors import ConflictError, MoveRefusedError, NotAllowedError
from fleet.core.orders import Outcome
from fleet.people.models import Person
from fleet.web.uploads import Upload
from tests.bench.builders import CHECK, a_procedure, again, as_actor, finish, fresh, put, received, signed_in, work
from tests.builders import BY, PASSWORD, a_device
from tests.tags.builders import an_open_tag

pytestmark = pytest.mark.django_db


@pytest.fixture
def worked(technician: Person) -> Order:
    """Give an order with every step passed and a part used."""
    order = received(a_device(), technician, kind="corrective")
    PartUse.objects.create(order=order, name="Plunger clamp", entered_at=order.raised_at)
    return work(order, technician)


def end(order: Order, **given: object) -> dict[str, object]:
    """What is typed to finish an order as it now stands."""
    now = fresh(order)
    typed = {"revision": now.revision, "outcome": "repaired", "action_taken": "Gear cleaned.", "password": PASSWORD}
    return {**typed, "returned_to": now.device.home_id, **given}


def sent(client: Client, order: Order, **given: object) -> object:
    return client.post(f"/bench/orders/{order}/finish/", end(order, **given))


def test_finishing_is_signed_with_name_time_and_meaning(worked: Order, technician: Person) -> None:
    """The right password finishes the order; name, server's time and meaning stand on the order, sheet and trail."""
    client = signed_in(technician)
    assert sent(client, worked).status_code == 302
    row = Signature.objects.get()
    assert (row.by, row.by_name, row.meaning) == (technician, str(technician), "done")
    assert row.signed_at >= fresh(worked).completed_at
    assert TrailEntry.objects.get(verb="signed").after["digest"] == row.digest
    for page in ("", "sheet/"):
        shown = client.get(f"/bench/orders/{worked}/{page}").content.decode()
        assert f"<strong>{technician}</strong> signed: work done as recorded" in shown
        assert "The record is as it was signed" in shown


def test_a_wrong_password_signs_nothing_and_loses_nothing(worked: Order, technician: Person) -> None:
    """The order stays open, the typing stands in the form, and the password itself is not shown again."""
    answer = sent(signed_in(technician), worked, password="not the right one", cause="Worn gear")
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "This is not your password" in page
    assert "Worn gear" in page
    assert "not the right one" not in page
    assert fresh(worked).state == "started"
    assert not Signature.objects.exists()


def test_guessing_passwords_is_throttled_and_the_typing_stays(worked: Order, technician: Person) -> None:
    """After five wrong ones even the right one is refused for a while, on the same page with what was typed."""
    client = signed_in(technician)
    for _ in range(5):
        sent(client, worked, password="guessed")
    answer = sent(client, worked, cause="Worn gear")
    assert answer.status_code == 422
    assert "Too many wrong passwords" in answer.content.decode()
    assert "Worn gear" in answer.content.decode()
    assert fresh(worked).state == "started"


def test_a_right_password_clears_the_slips_before_it(worked: Order, technician: Person) -> None:
    """Four slips today do not lock the signature of tomorrow: the right one starts the count anew."""
    client = signed_in(technician)
    for _ in range(4):
        sent(client, worked, password="slip")
    assert sent(client, worked).status_code == 302
    other = work(received(a_device(), technician, kind="corrective"), technician)
    for _ in range(2):
        sent(client, other, password="slip")
    assert sent(client, other).status_code == 302


def test_anothers_password_is_not_ones_own(worked: Order, technician: Person, manager: Person) -> None:
    """Who is signed in signs; a colleague's password does not stand for them."""
    manager.set_password("a quite different sign-in word")
    manager.save()
    sent(signed_in(technician), worked, password="a quite different sign-in word")
    assert not Signature.objects.exists()


def test_a_command_signs_nothing(technician: Person) -> None:
    """Only a person signs; what a command finished says that nobody signed it."""
    order = work(received(a_device(), technician, kind="corrective"), technician)
    finish(order, BY)
    assert signatures(order) == []
    assert "Nobody signed it" in signed_in(technician).get(f"/bench/orders/{order}/sheet/").content.decode()


def test_who_did_not_work_on_it_signs_as_a_second_person(technician: Person, second_technician: Person) -> None:
    """Where somebody might have been harmed, "no fault found" bears the signature of one who answered no step."""
    device = a_device()
    an_open_tag(device)
    order = received(device, technician)
    order.tag.harm = "not_sure"
    order.tag.save()
    work(order, technician)
    refused = sent(signed_in(technician), order, outcome="no_fault_found")
    assert "needs a second person" in refused.content.decode()
    assert not Signature.objects.exists()
    page = signed_in(second_technician).get(f"/bench/orders/{order}/finish/").content.decode()
    assert "“Checked by a second person”" in page
    assert sent(signed_in(second_technician), order, outcome="no_fault_found").status_code == 302
    assert (Signature.objects.get().meaning, Signature.objects.get().by) == ("second", second_technician)
    assert again(device).condition == "in_service"


def test_nobody_is_a_second_person_before_a_first(technician: Person, second_technician: Person) -> None:
    """The meaning follows who answered steps, not whose order it is: with none answered, nobody checks a first."""
    order = received(a_device(), technician, kind="corrective")
    address = f"/bench/orders/{order}/finish/"
    for person in (technician, second_technician):
        assert "“Work done as recorded”" in signed_in(person).get(address).content.decode()
    put(order, 1, bench.Answer(passed=True), second_technician)
    assert "“Checked by a second person”" in signed_in(technician).get(address).content.decode()
    assert "“Work done as recorded”" in signed_in(second_technician).get(address).content.decode()


def test_who_did_the_work_signs_it_before_a_colleague_finishes(technician: Person, second_technician: Person) -> None:
    """Both signatures stand under the order; the first covers steps, tests and parts, which finishing leaves alone."""
    device = a_device()
    an_open_tag(device)
    order = received(device, technician)
    order.tag.harm = "not_sure"
    order.tag.save()
    work(order, technician)
    client, address = signed_in(technician), f"/bench/orders/{order}/sign/"
    assert "Sign your work" in client.get(f"/bench/orders/{order}/").content.decode()
    assert f'href="/bench/orders/{order}/?step=1"' in client.get(address).content.decode()
    assert client.post(address, {"revision": fresh(order).revision, "password": "wrong"}).status_code == 422
    assert client.post(address, {"revision": fresh(order).revision, "password": PASSWORD}).status_code == 302
    page = signed_in(second_technician).get(f"/bench/orders/{order}/finish/").content.decode()
    assert f"<strong>{technician}</strong> signed: work done as recorded" in page
    sent(signed_in(second_technician), order, outcome="no_fault_found", minutes="5")
    held = signatures(order)
    assert [(each.signature.meaning, each.holds) for each in held] == [("done", True), ("second", True)]


def test_a_step_answered_after_the_work_was_signed_voids_that_signature(worked: Order, technician: Person) -> None:
    """Whoever answers again after signing signs again; what was signed first shows that it no longer holds."""
    bench.sign_work(worked, revision=worked.revision, by=as_actor(technician))
    put(worked, 1, bench.Answer(passed=True, note="looked again"), technician)
    assert [each.changed for each in signatures(worked)] == [("step 1",)]
    bench.sign_work(worked, revision=fresh(worked).revision, by=as_actor(technician))
    assert [each.holds for each in signatures(worked)] == [False, True]


def test_nobody_signs_work_that_is_not_theirs_not_done_or_not_as_they_read_it(
    worked: Order, technician: Person, second_technician: Person
) -> None:
    """Refused in words: who did none of it, a step that is open, and a page older than the order."""
    with pytest.raises(NotAllowedError, match="answered a step"):
        bench.sign_work(worked, revision=worked.revision, by=as_actor(second_technician))
    put(worked, 1, bench.Answer(passed=True), second_technician)
    with pytest.raises(ConflictError):
        bench.sign_work(worked, revision=worked.revision, by=as_actor(technician))
    begun = received(a_device(), technician, kind="planned")
    put(begun, 1, bench.Answer(passed=True), technician)
    with pytest.raises(MoveRefusedError, match="2 still open"):
        bench.sign_work(begun, revision=fresh(begun).revision, by=as_actor(technician))


def test_an_order_that_ends_without_a_return_says_so(technician: Person) -> None:
    """Not located is signed as an end, not as work done."""
    order = received(a_device(), technician, kind="corrective")
    finish(order, technician, Outcome.NOT_LOCATED)
    assert Signature.objects.get().meaning == "ended"


CHANGES = {
    "step 2": lambda order: Reading.objects.filter(order=order, step__position=2).update(value=Decimal("4.9")),
    "step 1": lambda order: Reading.objects.filter(order=order, step__position=1).update(note="looked sound"),
    "the order": lambda order: Order.objects.filter(pk=order.pk).update(cause="Dropped"),
    "minutes": lambda order: Labour.objects.filter(order=order).update(minutes=5),
    "parts used": lambda order: PartUse.objects.filter(order=order).delete(),
    "the procedure": lambda order: order.procedure_version.steps.filter(position=2).update(high=50),
}


@pytest.mark.parametrize("part", CHANGES)
def test_any_later_change_voids_the_signature_visibly(worked: Order, technician: Person, part: str) -> None:
    """Changed past every rule of the house, right in the database: the page names the part, and the sheet too."""
    finish(worked, technician, minutes=30)
    assert signatures(worked)[0].holds
    CHANGES[part](worked)
    held = signatures(worked)[0]
    assert (held.holds, held.changed) == (False, (part,))
    for page in ("", "sheet/"):
        shown = signed_in(technician).get(f"/bench/orders/{worked}/{page}").content.decode()
        assert "This signature no longer holds" in shown
        assert f"Changed since: {part}." in shown


def test_an_answer_added_to_a_signed_order_voids_it(worked: Order, technician: Person) -> None:
    """Also what is new since was not signed."""
    finish(worked, technician)
    step = worked.procedure_version.steps.get(position=3)
    Reading.objects.filter(order=worked, step=step).update(latest=False)
    Reading.objects.create(order=worked, step=step, verdict="pass", taken_at=worked.raised_at)
    assert signatures(worked)[0].changed == ("step 3",)


def test_an_attached_file_is_part_of_what_is_signed(technician: Person) -> None:
    """Another photo in place of the one that was signed is seen."""
    a_procedure("corrective", (CHECK, bench.NewStep(words="Photo of the holder", kind="file")))
    order = received(a_device(), technician, kind="corrective")
    put(order, 1, bench.Answer(passed=True), technician)
    photo = Upload("holder.png", b"\x89PNG\r\n\x1a\n" + bytes(40))
    put(order, 2, bench.Answer(passed=True, file=photo), technician)
    finish(order, technician)
    assert signatures(order)[0].holds
    ReadingFile.objects.update(sha256="0" * 64)
    assert signatures(order)[0].changed == ("step 2",)


@pytest.mark.parametrize("field", ["by_name", "meaning", "signed_at", "parts"])
def test_the_signature_itself_cannot_be_changed_unseen(worked: Order, technician: Person, field: str) -> None:
    """Name, meaning, time and parts are bound by the seal, and the seal by the trail that nobody can change."""
    finish(worked, technician)
    row = Signature.objects.get()
    other = {"by_name": "Bram Ostley", "meaning": "second", "signed_at": worked.raised_at, "parts": {}}
    setattr(row, field, other[field])
    row.save()
    assert signatures(worked)[0].forged


def test_a_new_seal_over_changed_content_is_not_the_one_the_trail_tells_of(worked: Order, technician: Person) -> None:
    """Whoever changes the record and computes the seal anew is found out by the trail."""
    finish(worked, technician)
    Order.objects.filter(pk=worked.pk).update(cause="Dropped")
    row = Signature.objects.get()
    row.parts = parts_of(worked)
    row.digest = digest_of(row)
    row.save()
    held = signatures(worked)[0]
    assert (held.changed, held.forged) == ((), True)


def test_the_second_to_finish_sees_both_endings(worked: Order, technician: Person, second_technician: Person) -> None:
    """Closed by another meanwhile: what stands on record is shown beside what was typed; nothing is overwritten."""
    finish(worked, technician, Outcome.DAMAGE, cause="Dropped")
    typed = end(worked, cause="Worn gear")
    answer = signed_in(second_technician).post(f"/bench/orders/{worked}/finish/", typed)
    page = answer.content.decode()
    assert answer.status_code == 409
    assert "Dropped" in page
    assert "Worn gear" in page
    assert "Repaired" in page
    assert fresh(worked).cause == "Dropped"
