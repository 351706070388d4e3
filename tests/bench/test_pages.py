"""The bench's pages, by the roles that open them."""

from datetime import timedelta

from fleet.bench.models import Order, Reading
from fleet.core.orders import Outcome
from fleet.people.models import Person
from fleet.web import clock
from tests.bench.builders import again, finish, fresh, procedures, received, signed_in, verbs, work
from tests.builders import PASSWORD, a_bench, a_device, a_new_device, a_site, a_store, a_ward
from tests.tags.builders import an_open_tag


def test_a_tagged_driver_is_received_worked_and_returned_by_pages_alone(technician: Person) -> None:
    """From the queue to the ward: receive, answer each step, finish; the tag is cleared and the driver in service."""
    device = a_device()
    tag = an_open_tag(device, words="It beeped and stopped.")
    procedures()
    client = signed_in(technician)
    assert device.asset_number in client.get("/bench/").content.decode()
    assert "It beeped and stopped" in client.get("/bench/receive/", {"code": tag.number}).content.decode()
    sent = {"asset": device.asset_number, "kind": "corrective", "decontamination": "cleaned", "bench": a_bench().pk}
    order = Order.objects.get(number=client.post("/bench/receive/", sent).url.split("/")[-2])
    for position, answer in enumerate(
        (
            {"verdict": "pass"},
            {"value": "4,5", "verdict": "limits"},
            {"verdict": "pass"},
            {"note": "2.4.1", "verdict": "pass"},
        ),
        start=1,
    ):
        page = client.get(f"/bench/orders/{order}/")
        assert f"Step {position} of 4" in page.content.decode()
        given = {"revision": fresh(order).revision, **answer}
        assert client.post(f"/bench/orders/{order}/steps/{position}/", given).status_code == 302
    end = {"revision": fresh(order).revision, "outcome": "repaired", "returned_to": device.home_id, "minutes": "25"}
    end["password"] = PASSWORD
    bare = client.post(f"/bench/orders/{order}/finish/", end)
    assert bare.status_code == 422
    assert "Say what you did" in bare.content.decode()
    end["action_taken"] = "Drive cleaned."
    assert client.post(f"/bench/orders/{order}/finish/", end).url == "/bench/"
    assert again(device).condition == "in_service"
    assert fresh(order).tag.cleared_by_order == order.number
    assert fresh(order).labour.get().minutes == 25


def test_two_answers_to_one_step_show_both(technician: Person, second_technician: Person) -> None:
    """Who saves second sees the other's value beside their own, nothing is lost, and saving again counts."""
    order = received(a_device(), technician, kind="corrective")
    old = order.revision
    address = f"/bench/orders/{order}/steps/2/"
    signed_in(technician).post(address, {"revision": old, "value": "1.5", "verdict": "limits"})
    client = signed_in(second_technician)
    answer = client.post(address, {"revision": old, "value": "9.25", "verdict": "limits"})
    page = answer.content.decode()
    assert answer.status_code == 409
    assert "Tova Lindqvarn answered" in page
    assert "1.5 %, pass" in page
    assert 'value="9.25"' in page
    assert not Reading.objects.filter(as_typed="9.25").exists()
    again_sent = {"revision": fresh(order).revision, "value": "9.25", "verdict": "limits"}
    assert client.post(address, again_sent).status_code == 302
    assert Reading.objects.get(order=order, latest=True).as_typed == "9.25"


def test_a_quarantined_driver_shows_no_step_to_answer(technician: Person) -> None:
    """The page of a quarantined driver says why nothing may be done, and offers no form for a step."""
    device = a_device()
    an_open_tag(device, harm="yes")
    order = received(device, technician)
    page = signed_in(technician).get(f"/bench/orders/{order}/").content.decode()
    assert "Quarantine: no work on this driver" in page
    assert 'id="answer"' not in page


def test_a_refused_answer_keeps_what_was_typed(technician: Person) -> None:
    """A reading that is no number comes back with the words and the reason."""
    order = received(a_device(), technician, kind="corrective")
    sent = {"revision": order.revision, "value": "about 5", "note": "syringe A", "verdict": "limits"}
    answer = signed_in(technician).post(f"/bench/orders/{order}/steps/2/", sent)
    page = answer.content.decode()
    assert answer.status_code == 422
    assert "is not a number" in page
    assert 'value="about 5"' in page
    assert 'value="syringe A"' in page


def test_the_other_acts_work_from_the_order_page(technician: Person, second_technician: Person) -> None:
    """Minutes, a part, taking, waiting, taking up again and holding back are each one form on the order's page."""
    order = received(a_device(), technician, kind="corrective")
    client = signed_in(second_technician)
    act = f"/bench/orders/{order}/act/"
    for verb, typed in (
        ("take", {}),
        ("minutes", {"minutes-minutes": "12", "minutes-activity": "testing"}),
        ("part", {"part-name": "Plunger clamp", "part-quantity": "1"}),
        ("wait", {"wait-wait_reason": "parts", "wait-why": "ordered"}),
        ("resume", {}),
        ("hold-back", {"hold-back-place": a_store().pk, "hold-back-why": "asked by the manager"}),
    ):
        assert client.post(f"{act}{verb}/", typed).status_code == 302, verb
    assert fresh(order).assigned_to == second_technician
    assert again(order.device).condition == "out_of_use"
    assert again(order.device).place == a_store()
    assert verbs(order)[-3:] == ["set aside order", "took up order again", "held back driver"]


def test_a_refused_act_shows_the_reason_beside_what_was_typed(technician: Person) -> None:
    """An act that the rules refuse is answered on the same page with the reason and the typed words."""
    order = received(a_device(), technician, kind="corrective")
    typed = {"part-name": "Plunger clamp", "part-quantity": "0"}
    answer = signed_in(technician).post(f"/bench/orders/{order}/act/part/", typed)
    assert answer.status_code == 422
    assert "give 1 or more" in answer.content.decode()
    assert "Plunger clamp" in answer.content.decode()


def test_nobody_outside_sees_an_order(outsider: Person, ward_nurse: Person, technician: Person) -> None:
    """An order of another site does not exist for an outsider; a ward may not open the bench at all."""
    order = received(a_device(), technician, kind="corrective")
    for path in ("", "finish/", "sheet/"):
        assert signed_in(outsider).get(f"/bench/orders/{order}/{path}").status_code == 404
        assert signed_in(ward_nurse).get(f"/bench/orders/{order}/{path}").status_code == 403
    assert order.device.asset_number not in signed_in(outsider).get("/bench/").content.decode()
    assert "No driver of your places" in signed_in(outsider).get(f"/bench/receive/?code={order}").content.decode()
    assert signed_in(outsider).post("/bench/receive/", {"asset": order.device.asset_number}).status_code == 404


def test_a_storekeeper_reads_an_order_and_changes_nothing(storekeeper: Person, technician: Person) -> None:
    """Who only sees the fleet sees the order without a form, and is refused when sending one."""
    order = received(a_device(), technician, kind="corrective")
    client = signed_in(storekeeper)
    page = client.get(f"/bench/orders/{order}/").content.decode()
    assert '<form method="post" action="/bench' not in page
    assert client.post(f"/bench/orders/{order}/act/take/").status_code == 403


def test_the_finishing_page_says_what_stands_against_it(technician: Person) -> None:
    """Before the steps are answered the page says so, and a release sent all the same is refused in words."""
    order = received(a_device(), technician, kind="corrective")
    client = signed_in(technician)
    page = client.get(f"/bench/orders/{order}/finish/").content.decode()
    assert "3 required steps are not answered" in page
    assert "It is not clearance to use the driver on a patient" in page
    sent = {"revision": order.revision, "outcome": "repaired", "returned_to": a_ward().pk, "found_words": "a crack"}
    sent["password"] = PASSWORD
    refused = client.post(f"/bench/orders/{order}/finish/", sent)
    assert refused.status_code == 422
    assert "3 required steps are not answered" in refused.content.decode()
    assert "a crack" in refused.content.decode()


def test_a_repair_is_not_sent_without_what_was_done(technician: Person) -> None:
    """The field says which outcome needs it, a refusal stands beside it, and what was typed stays."""
    order = work(received(a_device(), technician, kind="corrective"), technician)
    client, address = signed_in(technician), f"/bench/orders/{order}/finish/"
    page = client.get(address).content.decode()
    assert "Needed for “Repaired”" in page
    assert 'What you did <span class="optional">' not in page
    sent = {"revision": order.revision, "outcome": "repaired", "returned_to": a_ward().pk, "cause": "a crack"}
    refused = client.post(address, sent | {"password": PASSWORD})
    assert refused.status_code == 422
    assert list(refused.context["form"].errors) == ["action_taken"]
    assert 'value="a crack"' in refused.content.decode()
    assert fresh(order).state == "started"


def test_what_is_written_down_stands_before_its_verdict(technician: Person) -> None:
    """At a step of text the words come first; at the others the note comes after what is chosen."""
    order = received(a_device(), technician, kind="corrective")
    for address in (f"/bench/orders/{order}/", f"/bench/orders/{order}/stepwise/"):
        text, check = (signed_in(technician).get(f"{address}?step={at}").content.decode() for at in (4, 1))
        assert 0 < text.index("Write it down") < text.index("Is what you wrote as it should be?")
        assert check.index('name="verdict"') < check.index('id="id_note"')


def test_retiring_is_offered_only_to_those_who_may(technician: Person, manager: Person) -> None:
    """The outcome "retired" is no choice for a technician."""
    order = received(a_device(), technician, kind="corrective")
    assert 'value="retired"' not in signed_in(technician).get(f"/bench/orders/{order}/finish/").content.decode()
    assert 'value="retired"' in signed_in(manager).get(f"/bench/orders/{order}/finish/").content.decode()


def test_the_sheet_holds_the_whole_order(technician: Person) -> None:
    """The printed sheet has what was reported, every answer with who gave it, and the outcome."""
    order = received(a_device(), technician, kind="corrective", decontamination="cleaned")
    finish(work(order, technician), technician, Outcome.DAMAGE, found="case", cause="Dropped", action_taken="New case")
    page = signed_in(technician).get(f"/bench/orders/{order}/sheet/").content.decode()
    for words in ("-5.0000 %, pass", "Tova Lindqvarn", "Damage", "Dropped", "New case", "Cleaned, stated by the ward"):
        assert words in page


def test_orders_are_narrowed_and_leave_as_csv(technician: Person) -> None:
    """The list narrows by state and driver, and the same rows come as a file that runs nothing."""
    done = finish(work(received(a_device(), technician, kind="corrective"), technician), technician, cause="=1+1")
    raised = received(a_new_device(), technician)
    client = signed_in(technician)
    page = client.get("/bench/orders/?state=done").content.decode()
    assert done.number in page
    assert raised.number not in page
    lines = b"".join(client.get(f"/bench/orders/?q={done.device}&as=csv")).decode().splitlines()
    assert len(lines) == 2
    assert ",'=1+1," in lines[1]


def test_the_procedures_show_limits_with_their_source(technician: Person) -> None:
    """Whoever reads a procedure sees each limit beside where it comes from."""
    received(a_device(), technician, kind="corrective")
    client = signed_in(technician)
    assert "Our corrective list" in client.get("/bench/procedures/").content.decode()
    page = client.get("/bench/procedures/corrective-list/").content.decode()
    assert "-5 to 5 %" in page
    assert "common practice, no source" in page


def test_an_unknown_scan_says_what_to_do(technician: Person) -> None:
    """A number that names no driver is shown back with a way on, not an error page."""
    page = signed_in(technician).get("/bench/receive/?code=ZZ-404").content.decode()
    assert "No driver of your places is known as “ZZ-404”" in page


def test_a_scan_of_another_sites_driver_tells_the_truth_and_no_more(technician: Person) -> None:
    """It is not called unknown to all: whom to ask stands there, in the same words as for a number that nobody has."""
    elsewhere = a_device(home=a_ward("Far", site=a_site("Far Site")))
    client = signed_in(technician)
    shown = client.get(f"/bench/receive/?code={elsewhere}").context["unknown"]
    assert "it may be at home elsewhere, or not be on record: ask your manager" in shown
    nobodys = client.get("/bench/receive/?code=ZZ-404").context["unknown"]
    assert shown.replace(str(elsewhere), "ZZ-404") == nobodys
    assert client.get(f"/devices/{elsewhere}/").status_code == 404


def test_a_driver_that_was_here_before_says_so(technician: Person) -> None:
    """The order's page shows the driver's last orders with who finished them: a fault soon after work stands out."""
    device = a_device()
    first = finish(work(received(device, technician, kind="corrective"), technician), technician, found="drive")
    second = received(device, technician, kind="corrective")
    page = signed_in(technician).get(f"/bench/orders/{second}/").content.decode()
    assert first.number in page
    assert "Repaired: Drive or mechanics" in page


def test_orders_are_narrowed_by_the_days_of_their_completion(technician: Person) -> None:
    """Both days count whole: an order completed today is in from today to today and out up to yesterday."""
    done = finish(work(received(a_device(), technician, kind="corrective"), technician), technician)
    client, today = signed_in(technician), clock.today()
    inside = client.get(f"/bench/orders/?completed_min={today}&completed_max={today}")
    outside = client.get(f"/bench/orders/?completed_max={today - timedelta(days=1)}")
    assert done.number in inside.content.decode()
    assert done.number not in outside.content.decode()


def test_a_failed_reading_is_told_at_the_next_step(technician: Person) -> None:
    """A slip of the hand, -45 for -4.5, is read while the driver still stands there; a pass goes on in silence."""
    order = received(a_device(), technician, kind="corrective")
    client = signed_in(technician)
    address = f"/bench/orders/{order}/steps/2/"
    given = {"revision": order.revision, "value": "-45", "verdict": "limits"}
    said = client.post(address, given, follow=True).content.decode()
    assert "Step 2: -45 %, fail; its limits are" in said
    given = {"revision": fresh(order).revision, "value": "-4,5", "verdict": "limits"}
    assert "If that was a slip" not in client.post(address, given, follow=True).content.decode()


def test_no_step_is_shown_large_while_a_quarantine_is_open(technician: Person) -> None:
    """The page of a quarantined driver's order tells nobody to read its log or to try it."""
    order = received(a_device(), technician, kind="corrective")
    an_open_tag(order.device, harm="yes")
    page = signed_in(technician).get(f"/bench/orders/{order}/").content.decode()
    assert "No step is worked while the quarantine is open" in page
    assert 'id="answer"' not in page


def test_the_queue_takes_a_scan(technician: Person) -> None:
    """Whoever holds a driver scans it on the queue itself; its tag number is shown as the paper tag has it."""
    tag = an_open_tag(a_device())
    page = signed_in(technician).get("/bench/").content.decode()
    assert 'action="/bench/receive/"' in page
    assert "data-scan" in page
    assert tag.written in page
