"""The pages on which procedures are written: who sees what, and what a refusal keeps."""

import pytest
from django.test import Client

from fleet.bench.actions import drafts
from fleet.bench.models import Procedure, ProcedureVersion
from fleet.bench.queries.lines import lines_of
from fleet.people.models import Person
from fleet.web import clock, phrases
from tests.bench.builders import CHECK, FLOW, NOTE, a_procedure, as_actor, signed_in
from tests.bench.test_drafts import a_draft, sent
from tests.builders import a_type

pytestmark = pytest.mark.django_db

PAGE = "/bench/procedures/our-service/draft/"


def read(client: Client, address: str = PAGE) -> str:
    return client.get(address, follow=True).content.decode()


def post(client: Client, address: str, draft: ProcedureVersion, **typed: object) -> str:
    """What the page says after an act on the draft as it stands."""
    draft.refresh_from_db()
    answer = client.post(f"{PAGE}{address}", {"revision": draft.revision, **typed}, follow=True)
    return answer.content.decode()


def test_the_shelf_tells_what_waits_comes_and_is_in_force(technician: Person, manager: Person) -> None:
    """A waiting draft stands first; approved for later it is to come while the old one is in force."""
    a_procedure("battery")
    draft = sent(technician)
    shelf = read(signed_in(manager), "/bench/procedures/")
    assert "1 being written" in shelf
    assert "Waits for approval" in shelf
    day = clock.today().replace(year=clock.today().year + 1)
    said = post(signed_in(manager), "act/approve/", draft, **{"approve-in_force_from": day.isoformat()})
    assert "Approved." in said
    assert f"Version 1</a> from {phrases.day(day)}" in read(signed_in(manager), "/bench/procedures/")
    assert "No procedure is like that." in read(signed_in(manager), "/bench/procedures/?q=nowhere")


def test_the_list_is_narrowed_to_what_waits_for_approval(technician: Person, manager: Person) -> None:
    """Only what waits stands there, and neither a draft nor what is worked by; the overview's number leads there."""
    a_procedure("battery")
    sent(technician)
    drafts.begin_procedure("Half written", "cleaning", None, source="s", by=as_actor(technician))
    client = signed_in(manager)
    shelf = read(client, "/bench/procedures/?state=waiting")
    assert "1 being written" in shelf
    assert "Waits for approval" in shelf
    assert "Half written" not in shelf
    assert "to work by" not in shelf
    assert "Half written" in read(client, "/bench/procedures/?state=draft")
    assert "/bench/procedures/?state=waiting" in read(client, "/reports/")


def test_only_whoever_may_approve_is_asked_to(technician: Person, manager: Person, second_technician: Person) -> None:
    """The writer and another technician read who approves; the manager gets the button."""
    sent(technician)
    for person, words in (
        (technician, "somebody else approves it"),
        (second_technician, "A manager who wrote nothing"),
    ):
        page = read(signed_in(person))
        assert words in page
        assert "Approve this version" not in page
    assert "Approve this version" in read(signed_in(manager))


def test_a_step_of_each_kind_is_typed_and_comes_back_as_typed(technician: Person) -> None:
    """What is saved of a reading with limits by type, and of a choice, stands in its form again."""
    draft, client = a_draft(technician, CHECK), signed_in(technician)
    reading = {
        "words": "Flow", "unit": "%", "decimals": "1", "key": "flow", "low": "-2,5", "high": "2.5", "limit_source": "s",
        "required": "on", "own-TOTAL_FORMS": "1", "own-INITIAL_FORMS": "0", "own-0-device_type": a_type().pk,
        "own-0-low": "-1", "own-0-high": "1", "own-0-source": "manual, page 3",
    }  # fmt: skip
    post(client, "steps/new/?kind=reading", draft, **reading)
    post(client, "steps/new/?kind=choice&after=0", draft, words="Lamp", passing="green\n\n", failing="red\ndark")
    choice, _, flow = lines_of(draft)
    assert (choice.passing, choice.failing, choice.required) == (("green",), ("red", "dark"), False)
    assert (str(flow.low), flow.key, flow.limits[0].source) == ("-2.5", "flow", "manual, page 3")
    form = read(client, f"{PAGE}steps/3/")
    for value in ('value="-2.5"', "manual, page 3", 'value="flow"'):
        assert value in form


def test_a_wrong_step_is_told_beside_its_fields_and_nothing_is_saved(technician: Person) -> None:
    """A reading without a unit, a bad name and a formula that is none are refused, each at its field."""
    draft, client = a_draft(technician, CHECK), signed_in(technician)
    own = {"own-TOTAL_FORMS": "0", "own-INITIAL_FORMS": "0"}
    assert "A reading needs its unit." in post(client, "steps/new/?kind=reading", draft, words="Flow", **own)
    said = post(client, "steps/new/?kind=reading", draft, words="Flow", unit="%", key="My flow", **own)
    assert "can&#x27;t stand in a formula" in said
    said = post(client, "steps/new/?kind=computed", draft, words="Flow", unit="%", formula="open(1)", **own)
    assert "is no function" in said
    assert len(lines_of(draft)) == 1


def test_the_second_writer_sees_both_versions_of_a_step(technician: Person, second_technician: Person) -> None:
    """On an older page the second is told what was saved meanwhile, keeps what was typed, and may then save it."""
    draft = a_draft(technician, CHECK, FLOW)
    old = draft.revision
    drafts.change_step(draft, 1, NOTE, revision=old, by=as_actor(second_technician))
    client = signed_in(technician)
    refused = client.post(f"{PAGE}steps/1/?kind=check", {"revision": old, "words": "Look at the case"})
    said = refused.content.decode()
    assert refused.status_code == 409
    for words in ("Bram Ostley changed step 1", NOTE.words, "Look at the case"):
        assert words in said
    draft.refresh_from_db()
    assert f'value="{draft.revision}"' in said
    post(client, "steps/1/?kind=check", draft, words="Look at the case")
    assert lines_of(draft)[0].words == "Look at the case"


def test_an_older_page_moves_nothing(technician: Person) -> None:
    """A key pressed on a page that is no longer true is refused in words."""
    draft, client = a_draft(technician, CHECK, FLOW), signed_in(technician)
    said = client.post(f"{PAGE}steps/1/down/", {"revision": 1}, follow=True).content.decode()
    assert "was changed after you opened it" in said
    assert [line.words for line in lines_of(draft)] == [CHECK.words, FLOW.words]


def test_what_stands_against_sending_is_listed_and_refused(technician: Person) -> None:
    """A draft without a step says so; sent all the same, it is refused and stays a draft."""
    draft = drafts.begin_procedure("Our service", "planned", None, by=as_actor(technician))
    client = signed_in(technician)
    page = read(client)
    assert "at least one step that must pass" in page
    assert "Say where the procedure comes from" in page
    post(client, "act/submit/", draft, **{"submit-changes": "x"})
    draft.refresh_from_db()
    assert draft.state == "draft"


def test_sent_back_and_given_up(technician: Person, manager: Person) -> None:
    """The writer reads why it came back; given up, it stays on record, and the next version begins anew."""
    draft = sent(technician)
    post(signed_in(manager), "act/send-back/", draft, **{"send-back-why": "Name the page"})
    client = signed_in(technician)
    assert "Name the page" in read(client)
    post(client, "act/withdraw/", draft, **{"withdraw-why": "Not needed"})
    assert ProcedureVersion.objects.get().state == "withdrawn"
    assert "1 given up" in read(client, "/bench/procedures/")
    assert "Not to be worked by" in read(client, "/bench/procedures/our-service/")
    begun = client.post("/bench/procedures/our-service/begin/", follow=True)
    assert begun.status_code == 200
    assert ProcedureVersion.objects.filter(state="draft").get().number == 2


def test_the_sheet_has_a_place_for_every_answer(technician: Person) -> None:
    """On paper each step has its limits and boxes, and a version not in force says so."""
    sent(technician, CHECK, FLOW)
    page = read(signed_in(technician), "/bench/procedures/our-service/sheet/?version=1")
    assert page.count("not applicable, because") == 2
    assert "-5 to 5 %" in page
    assert "Not in force" in page


def test_a_ward_sees_no_procedure(ward_nurse: Person) -> None:
    """The pages are the bench's."""
    a_procedure("planned")
    client = signed_in(ward_nurse)
    for address in ("/bench/procedures/", "/bench/procedures/new/", "/bench/procedures/planned-list/draft/"):
        assert client.get(address).status_code == 403
    assert Procedure.objects.count() == 1
