"""An answer is sent as often as it must be, counts once, and is never saved under another person's name."""

from datetime import timedelta

import pytest

from fleet.bench import actions as bench
from fleet.bench.models import Presence, Reading
from fleet.core.errors import ConflictError
from fleet.people.models import Person
from fleet.web import clock
from tests.bench.builders import as_actor, fresh, put, received, signed_in, step, verbs
from tests.builders import a_device
from tests.stores.builders import an_instrument

pytestmark = pytest.mark.django_db
KEPT = {"HTTP_X_KEPT": "1"}


def sent(order: object, key: str, value: str = "1.5", **more: object) -> dict[str, object]:
    """What the step's form sends."""
    return {"revision": fresh(order).revision, "key": key, "value": value, "verdict": "limits", **more}


def test_the_same_answer_sent_twice_is_one(technician: Person) -> None:
    """A lost reply lets a screen send again: the second is told what the first was, and nothing is written twice."""
    order = received(a_device(), technician, kind="corrective")
    client, address = signed_in(technician), f"/bench/orders/{order}/steps/2/"
    typed = sent(order, "k1")
    first, second = (client.post(address, typed, **KEPT).json() for _ in range(2))
    assert first["saved"]
    assert second["saved"]
    assert first["next"] == second["next"] == f"/bench/orders/{order}/?step=3"
    assert Reading.objects.count() == 1
    assert verbs(order).count("answered") == 1


def test_a_key_belongs_to_one_answer(technician: Person, second_technician: Person) -> None:
    """Another step, or another person, with a known key is refused and not taken for the same."""
    order = received(a_device(), technician, kind="corrective")
    first = bench.Sent(order.revision, key="k1")
    bench.answer_once(order, step(order, 1), bench.Answer(passed=True), first, by=as_actor(technician))
    for position, person in ((2, technician), (1, second_technician)):
        with pytest.raises(ConflictError, match="was sent before"):
            bench.answer_once(
                order, step(order, position), bench.Answer(passed=True, value="1"), first, by=as_actor(person)
            )


def test_an_answer_that_waited_was_taken_then_and_entered_now(technician: Person) -> None:
    """40 minutes without a connection: the time of the measurement and the server's time both stand on record."""
    order = received(a_device(), technician, kind="corrective", done_at=clock.now() - timedelta(hours=2))
    signed_in(technician).post(f"/bench/orders/{order}/steps/2/", sent(order, "k1", held="2400"), **KEPT)
    reading = Reading.objects.get()
    assert reading.entered_at - reading.taken_at == timedelta(minutes=40)
    assert clock.now() - reading.entered_at < timedelta(minutes=1)
    sheet = signed_in(technician).get(f"/bench/orders/{order}/sheet/").content.decode()
    assert "entered 40\xa0minutes later" in sheet


def test_no_answer_is_older_than_the_order(technician: Person) -> None:
    """A screen that claims to have waited for days dates nothing before the driver was received."""
    order = received(a_device(), technician, kind="corrective")
    signed_in(technician).post(f"/bench/orders/{order}/steps/2/", sent(order, "k1", held="999999"), **KEPT)
    assert Reading.objects.get().taken_at >= fresh(order).received_at


def test_what_another_typed_is_not_saved_under_ones_name(technician: Person, second_technician: Person) -> None:
    """A form opened by one and sent after another signed in is refused, and does not show what was typed."""
    order = received(a_device(), technician, kind="corrective")
    client, address = signed_in(second_technician), f"/bench/orders/{order}/steps/2/"
    typed = sent(order, "k1", value="4.25", person=technician.pk)
    answer = client.post(address, typed)
    assert answer.status_code == 403
    assert "not saved under your name" in answer.content.decode()
    assert "4.25" not in answer.content.decode()
    assert client.post(address, typed, **KEPT).json() == {"saved": False, "another": True}
    assert not Reading.objects.exists()


def test_a_refused_answer_is_told_with_the_page_that_says_why(technician: Person) -> None:
    """The screen gets what a plain form would get: the typing with the reason beside it."""
    order = received(a_device(), technician, kind="corrective")
    told = signed_in(technician).post(f"/bench/orders/{order}/steps/2/", sent(order, "k1", "about"), **KEPT).json()
    assert not told["saved"]
    assert "is not a number" in told["page"]
    assert 'value="about"' in told["page"]


def test_an_expired_sign_in_leads_back_to_the_step(technician: Person) -> None:
    """The sign-in page sends the person to the answer's address; that opens the step."""
    order = received(a_device(), technician, kind="corrective")
    client = signed_in(technician)
    assert client.get(f"/bench/orders/{order}/steps/2/").url == f"/bench/orders/{order}/?step=2"
    assert client.get(f"/bench/orders/{order}/steps/2/?full=1").url == f"/bench/orders/{order}/stepwise/?step=2"


def test_ones_own_later_answer_is_no_conflict(technician: Person) -> None:
    """Two answers of one person to one step, both typed without a connection, both stand; the later counts."""
    order = received(a_device(), technician, kind="corrective")
    opened, by = bench.Sent(order.revision, knows_own=True), as_actor(technician)
    bench.answer_once(order, step(order, 2), bench.Answer(value="1"), opened, by=by)
    bench.answer_once(order, step(order, 2), bench.Answer(value="2"), opened, by=by)
    assert [each.as_typed for each in Reading.objects.filter(latest=True)] == ["2"]
    assert Reading.objects.count() == 2


def test_a_conflict_names_both_with_who_and_when_and_asks(technician: Person, second_technician: Person) -> None:
    """The second is shown both values and chooses: let theirs count, or keep the saved one."""
    order = received(a_device(), technician, kind="corrective")
    typed = sent(order, "k1", value="9.25")
    put(order, 2, bench.Answer(value="1.5"), technician)
    page = signed_in(second_technician).post(f"/bench/orders/{order}/steps/2/?full=1", typed).content.decode()
    for words in ("Saved, by Tova Lindqvarn", "just now", "1.5 %", "9.25", "Let mine count", "Keep the saved one"):
        assert words in page


def test_two_at_one_order_see_each_other_and_their_answers(technician: Person, second_technician: Person) -> None:
    """Each page tells that it is open, and is told who else is there, at which step, and what they answered since."""
    order = received(a_device(), technician, kind="corrective")
    one, other = signed_in(technician), signed_in(second_technician)
    address = f"/bench/orders/{order}/together/?since={order.revision}&step="
    assert "has this order open" not in one.get(f"{address}1").content.decode()
    told = other.get(f"{address}3").content.decode()
    assert f"{technician}</strong> has this order open too, at step 1" in told
    put(order, 1, bench.Answer(passed=False, note="cracked"), technician)
    told = other.get(f"{address}3").content.decode()
    assert "step 1</a>: fail: cracked" in told
    assert "step 1</a>" not in one.get(f"{address}2").content.decode()
    with_time = clock.now() + timedelta(minutes=2)
    with clock.at(with_time):
        assert "has this order open" not in other.get(f"{address}3").content.decode()


def test_looking_often_writes_seldom(technician: Person) -> None:
    """A page that asks again within seconds writes nothing, so that many open pages cost no writes."""
    order = received(a_device(), technician, kind="corrective")
    bench.look_in(order, 1, by=as_actor(technician))
    seen = Presence.objects.get().seen_at
    bench.look_in(order, 1, by=as_actor(technician))
    assert Presence.objects.get().seen_at == seen


def scan(client: object, order: object, code: str, position: int = 2) -> dict[str, object]:
    answer = client.get(
        f"/bench/orders/{order}/scan/", {"code": code, "step": position}, HTTP_ACCEPT="application/json"
    )
    return answer.json()


def test_a_scan_knows_the_driver_from_another(technician: Person) -> None:
    """The order's own driver is confirmed; another is named as wrong; anything else was typing."""
    order, other = received(a_device(), technician, kind="corrective"), a_device()
    client = signed_in(technician)
    assert scan(client, order, str(order.device))["right"] is True
    wrong = scan(client, order, other.serial_number)
    assert wrong["right"] is False
    assert f"for {order.device}. Do not go on" in wrong["words"]
    assert scan(client, order, "2.4.1")["known"] is False


def test_a_scanned_instrument_is_named_with_what_stands_against_it(technician: Person) -> None:
    """Its label selects it; where nothing is measured, or it was never calibrated, the words say so."""
    order, analyser = (
        received(a_device(), technician, kind="corrective"),
        an_instrument(number="FLO-01", calibrated=False),
    )
    client = signed_in(technician)
    found = scan(client, order, "flo-01")
    assert found["instrument"] == analyser.pk
    assert "never calibrated" in found["words"]
    assert "nothing is measured" in scan(client, order, "FLO-01", position=1)["words"]


def test_without_a_script_a_scan_opens_the_step_with_the_instrument(technician: Person) -> None:
    """The plain form leads back to the step, says what was scanned, and the instrument is chosen there."""
    order, analyser = received(a_device(), technician, kind="corrective"), an_instrument(number="FLO-01")
    client = signed_in(technician)
    page = client.get(f"/bench/orders/{order}/scan/", {"code": "FLO-01", "step": "2"}, follow=True).content.decode()
    assert f'<option value="{analyser.pk}" selected>' in page
    assert "Measured with FLO-01" in page


def test_the_full_screen_carries_every_step_for_work_without_a_connection(technician: Person) -> None:
    """The other steps lie ready in the page, each with a form of its own; who may not work gets none."""
    order = received(a_device(), technician, kind="corrective")
    page = signed_in(technician).get(f"/bench/orders/{order}/stepwise/?step=2").content.decode()
    assert [f'data-step-ahead="{position}"' in page for position in (1, 2, 3, 4)] == [True, False, True, True]
    assert "Step 2 of 4" in page
