"""Training on record: recorded for several, withdrawn with a reason, never changed; a record, not an ability."""

import csv
import io

import pytest
from django.urls import reverse

from fleet.core.errors import BadValueError, ConflictError, NotAllowedError
from fleet.people.models import Person
from fleet.people.queries import actor_for
from fleet.staff.actions import Trained, record_training, set_training_policy, withdraw_training
from fleet.staff.models import Training, TrainingPolicy
from fleet.staff.queries import Rule, held_by, in_words, rule_at
from fleet.web import clock
from tests.builders import BY, a_bench, a_device, a_site, a_type
from tests.pages import page, signed_in, status
from tests.staff.builders import a_training, in_days

pytestmark = pytest.mark.django_db

MATRIX, RECORD = reverse("staff:matrix"), reverse("staff:record")
Work = Training.Work


def plain(html: str) -> str:
    return html.replace("\u00a0", " ")


def held(person: Person, work: Work = Work.ALL) -> str:
    return in_words(held_by([person.pk], a_type().pk, work, clock.today())[person.pk]).replace("\u00a0", " ")


def typed(*people: Person, **values: object) -> dict[str, object]:
    given = {"people": [person.pk for person in people], "types": [a_type().pk], "work": "all"}
    return {**given, "trained_on": clock.today().isoformat(), "by_whom": "Tarnwick Instruments", **values}


def test_a_manager_records_one_training_for_several(
    manager: Person, technician: Person, second_technician: Person
) -> None:
    """One form, a record for each person and type; the matrix then says until when, and never that anybody is able."""
    a_device()
    sent = typed(technician, second_technician, ends_on=in_days(400).isoformat())
    assert signed_in(manager).post(RECORD, sent)["Location"] == MATRIX
    assert Training.objects.count() == 2
    html = page(manager, MATRIX)
    assert html.count("In date") == 2
    assert "None on record" in html  # the manager's own
    assert "competent" not in html.lower()


@pytest.mark.parametrize(
    ("days", "words"), [(400, "In date"), (10, "Ends soon"), (-1, "Ended")], ids=["in date", "soon", "ended"]
)
def test_the_matrix_says_how_each_stands(manager: Person, technician: Person, days: int, words: str) -> None:
    """Each standing has its word, with the day beside it."""
    a_device()
    row = a_training(technician, ends_on=in_days(days))
    html = plain(page(manager, MATRIX))
    assert words in html.split("Tova Lindqvarn")[1]
    assert f"{row.ends_on.day} " in html


def test_training_for_some_work_covers_that_work_only(technician: Person) -> None:
    """Who was trained to repair is covered for repairs and not for services; for all work covers both."""
    a_training(technician, work=Work.REPAIR)
    assert held(technician, Work.REPAIR) == "training on record, without an end"
    assert held(technician, Work.SERVICE) == "no training on record"
    a_training(technician, trained_on=in_days(-5), ends_on=in_days(100))
    assert held(technician, Work.SERVICE).startswith("training on record until")


def test_nothing_is_overwritten(manager: Person, technician: Person) -> None:
    """A renewal stands beside the record before it; a withdrawn one stays with its reason and no longer counts."""
    old = a_training(technician, ends_on=in_days(-1))
    new = a_training(technician, trained_on=in_days(-2), ends_on=in_days(100))
    assert held(technician).startswith("training on record until")
    address = reverse("staff:withdraw", args=[new.pk])
    assert signed_in(manager).post(address, {f"{new.pk}-why": ""}).status_code == 422
    signed_in(manager).post(address, {f"{new.pk}-why": "Certificate of another person"})
    assert held(technician).startswith("training ended")
    html = page(manager, reverse("staff:person", args=[technician.pk]))
    assert "Certificate of another person" in html
    assert set(Training.objects.values_list("pk", flat=True)) == {old.pk, new.pk}
    with pytest.raises(ConflictError):
        withdraw_training(new, "again", by=BY)


@pytest.mark.parametrize(
    ("facts", "field"),
    [
        ({"trained_on": in_days(1)}, "trained_on"),
        ({"ends_on": in_days(-40)}, "ends_on"),
        ({"by_whom": " "}, "by_whom"),
        ({}, "people"),
    ],
)
def test_what_does_not_fit_is_refused(technician: Person, facts: dict[str, object], field: str) -> None:
    """A day to come, an end before its day, no proof, the same again: refused beside the field, none recorded."""
    if field == "people":
        a_training(technician)
    before = Training.objects.count()
    with pytest.raises(BadValueError) as refused:
        a_training(technician, **facts)
    assert refused.value.field == field
    assert Training.objects.count() == before


def test_all_or_none_is_recorded(technician: Person, second_technician: Person) -> None:
    """Where one of several has the record already, nobody gets it, and it says whose it is."""
    a_training(second_technician)
    trained = Trained(types=(a_type(),), trained_on=in_days(-30), by_whom="Tarnwick Instruments")
    with pytest.raises(BadValueError, match="Bram Ostley"):
        record_training([technician, second_technician], trained, by=BY)
    assert Training.objects.count() == 1


def test_everybody_reads_their_own_and_only_keepers_others(
    manager: Person, technician: Person, second_technician: Person, outsider: Person
) -> None:
    """One's own page is there for oneself and one's manager, 404 for a colleague and for a manager of elsewhere."""
    row = a_training(technician)
    own = reverse("staff:person", args=[technician.pk])
    assert "Tarnwick Instruments" in page(technician, own)
    assert "Withdraw" not in page(technician, own)
    assert "Withdraw" in page(manager, own)
    assert status(second_technician, own) == status(outsider, own) == 404
    assert status(technician, MATRIX) == status(technician, RECORD) == 403
    assert signed_in(outsider).post(reverse("staff:withdraw", args=[row.pk])).status_code == 404
    with pytest.raises(NotAllowedError):
        withdraw_training(row, "why", by=actor_for(technician))


def test_a_stranger_cannot_be_chosen(manager: Person, outsider: Person) -> None:
    """A person of another site is no choice of the form."""
    a_device()
    assert signed_in(manager).post(RECORD, typed(outsider)).status_code == 422
    assert not Training.objects.exists()


def test_the_file_holds_every_record(manager: Person, technician: Person) -> None:
    """A line for each record, the withdrawn with its reason; a formula stays text."""
    withdraw_training(a_training(technician, evidence="=1+1"), "Slip", by=BY)
    answer = signed_in(manager).get(reverse("staff:records_csv"))
    lines = list(csv.DictReader(io.StringIO(answer.getvalue().decode("utf-8-sig"))))
    assert [(line["Person"], line["Evidence"], line["Why"]) for line in lines] == [("Tova Lindqvarn", "'=1+1", "Slip")]


def test_a_place_takes_its_rule_from_above(manager: Person) -> None:
    """Marked unless stated; what a site states holds at its bench until the bench states something itself."""
    bench = a_bench()
    assert rule_at(bench).rule is Rule.MARK
    set_training_policy(a_site(), "refuse", by=BY)
    assert (rule_at(bench).rule, rule_at(bench).origin) == (Rule.REFUSE, "Mereford General")
    signed_in(manager).post(
        reverse("staff:policy", args=[bench.pk]),
        {"rule": "mark", "opened": opened(manager, bench.pk), "why": "Nights are short of people"},
    )
    assert rule_at(bench).rule is Rule.MARK
    assert "Work is refused" in page(manager, reverse("staff:policies"))


def test_two_who_state_a_rule_do_not_overwrite_each_other(manager: Person) -> None:
    """The second, whose page shows the older rule, is told; nothing is saved."""
    bench = a_bench()
    before = opened(manager, bench.pk)
    set_training_policy(bench, "refuse", by=BY)
    answer = signed_in(manager).post(
        reverse("staff:policy", args=[bench.pk]), {"rule": "", "opened": before, "why": ""}
    )
    assert "was changed by somebody else" in answer.content.decode()
    assert TrainingPolicy.objects.get(place=bench).rule == "refuse"


def opened(manager: Person, pk: int) -> str:
    """What the form of a place carries along."""
    form = signed_in(manager).get(reverse("staff:policy", args=[pk])).context["form"]
    return str(form.initial["opened"])
