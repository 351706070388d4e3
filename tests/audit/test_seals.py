"""The trail is sealed behind its writers, and what an owner of the database changes past the triggers is found."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from io import StringIO
from threading import Thread

import pytest
from django.core.management import CommandError, call_command
from django.db import DatabaseError, connection, transaction

from fleet.audit import guard
from fleet.audit.actions import Happening, record
from fleet.audit.models import Seal, TrailEntry
from fleet.audit.queries import SEALED, Flaw, held
from fleet.audit.sealing import MARGIN, seal_trail
from fleet.core.chain import pack, unpack
from fleet.core.errors import ConflictError
from fleet.core.sealing import seal
from fleet.people.models import Person
from fleet.registry.models import Place
from fleet.web import clock
from tests.builders import BY, a_site
from tests.pages import page

pytestmark = pytest.mark.django_db
SECRETS = 5


def act(words: str = "checked") -> TrailEntry:
    return record(Happening(words, a_site()), by=BY)


def later(minutes: int = 60) -> datetime:
    return clock.now() + timedelta(minutes=minutes)


def sealed(after_minutes: int = 60) -> dict[str, int]:
    with clock.at(later(after_minutes)):
        return seal_trail()


@contextmanager
def as_owner(ledger: guard.Ledger = guard.TRAIL) -> Iterator[None]:
    """What somebody can do who may alter tables."""
    guard.remove(connection, ledger)
    yield
    guard.install(connection, ledger)


@pytest.fixture
def entries() -> list[TrailEntry]:
    """Five acts, sealed."""
    made = [act(f"act {number}") for number in range(SECRETS)]
    sealed()
    return made


def test_what_was_entered_is_sealed_and_holds(entries: list[TrailEntry]) -> None:
    """Every entry is in one seal, the chain goes from seal to seal, and nothing is found."""
    act("one more")
    sealed()
    found = held()
    assert (found.flaws, found.seals, found.unsealed) == ([], 2, 0)
    assert found.entries == TrailEntry.objects.count()
    first, second = Seal.objects.order_by("number")
    assert second.previous == first.digest
    assert found.head == second.digest


def test_what_is_young_waits_so_that_none_is_passed_over() -> None:
    """An entry of the last minutes may have company with a lower id that is not committed yet; it waits."""
    old = act()
    with clock.at(later()):
        young = act()
        seal_trail()
        assert (held().entries, held().unsealed) == (TrailEntry.objects.filter(pk__lte=old.pk).count(), 1)
    with clock.at(young.entered_at + MARGIN + timedelta(seconds=1)):
        assert seal_trail()["entries"] == 1


def test_a_clock_once_set_wrong_stops_no_seal() -> None:
    """An entry from a year ahead is sealed with the others instead of holding them all up."""
    with clock.at(later(60 * 24 * 365)):
        act()
    act()
    assert sealed()["entries"] == TrailEntry.objects.count()


def test_sealing_again_does_nothing(entries: list[TrailEntry]) -> None:
    """The job may run twice."""
    assert sealed() == {"seals": 0, "entries": 0, "late": 0}


def test_many_entries_make_several_seals(monkeypatch: pytest.MonkeyPatch) -> None:
    """Seals stay small, and join without a gap."""
    monkeypatch.setattr("fleet.audit.sealing.RANGE", 2)
    for _ in range(SECRETS):
        act()
    sealed()
    assert held().flaws == []
    assert list(Seal.objects.values_list("count", flat=True).order_by("number"))[:3] == [2, 2, 2]


def flaw() -> str:
    flaws = held().flaws
    assert flaws
    assert all(isinstance(each, Flaw) for each in flaws)
    return "; ".join(f"{each.where}: {each.what}" for each in flaws)


@pytest.mark.parametrize("field", [name for name in SEALED if name != "id"])
def test_each_altered_field_is_found(field: str, entries: list[TrailEntry], technician: Person) -> None:
    """Whatever of an entry is changed with the triggers off, the seal and the entry are named; the rest holds."""
    values = {
        "entered_at": later(), "done_at": later(), "late": True, "person_id": technician.pk, "subject_id": 99,
        "device_ref": 99, "before": {"a": 1}, "after": {"a": 1},
    }  # fmt: skip
    act("sealed later")
    sealed()
    second = Seal.objects.order_by("number")[1]
    victim = TrailEntry.objects.filter(pk__lte=second.last, pk__gte=second.first).latest("pk")
    with as_owner():
        TrailEntry.objects.filter(pk=victim.pk).update(**{field: values.get(field, "forged")})
    assert f"seal 2: entry {victim.pk}" in flaw()
    assert "altered since it was sealed" in flaw()
    assert held().holds_to == 1


def test_a_missing_entry_is_found(entries: list[TrailEntry]) -> None:
    """An entry that was taken out is named by its id."""
    with as_owner():
        TrailEntry.objects.filter(pk=entries[2].pk).delete()
    assert f"entry {entries[2].pk}: missing" in flaw()
    assert held().holds_to == 0


def put_in(entries: list[TrailEntry]) -> TrailEntry:
    """An entry whose id lies in a sealed range: what a late transaction and a forger both leave."""
    victim = entries[1]
    with as_owner():
        TrailEntry.objects.filter(pk=victim.pk).delete()
        made = Seal.objects.get()
    with as_owner(guard.SEALS):
        leaves = unpack(bytes(made.leaves))
        del leaves[victim.pk]
        made.leaves, made.count = pack(leaves), made.count - 1
        made.digest = _digest(made)
        made.save()
    return victim


def _digest(row: Seal) -> str:
    return seal((row.number, row.run, row.sealed_at, row.first, row.last, row.previous, bytes(row.leaves)))


def test_an_entry_that_commits_late_is_taken_up_by_the_next_run_and_marked(entries: list[TrailEntry]) -> None:
    """A lower id that appears behind a seal is not missed: the next seal holds it, counted as late, and all holds."""
    late = put_in(entries)
    assert held().flaws == []
    late.save(force_insert=True)
    assert f"entry {late.pk}" in flaw()
    assert sealed()["late"] == 1
    assert (held().flaws, held().late) == ([], 1)
    with as_owner():
        TrailEntry.objects.filter(pk=late.pk).update(actor="forged")
    assert "altered since it was sealed" in flaw()


def test_an_entry_put_in_long_after_is_found_for_good(entries: list[TrailEntry]) -> None:
    """No transaction lasts for several runs: what appears after them was put in, and stays found once it is sealed."""
    late = put_in(entries)
    for _run in range(3):
        act()
        sealed()
    late.save(force_insert=True)
    assert "added after its range was sealed" in flaw()
    sealed()
    assert f"entry {late.pk}" in flaw()
    assert "added after its range was sealed" in flaw()


def test_an_altered_seal_is_found(entries: list[TrailEntry]) -> None:
    """Whoever alters an entry and the leaf of its seal breaks the digest; who mends the digest breaks the chain."""
    act()
    sealed()
    with as_owner(guard.SEALS):
        first = Seal.objects.get(number=1)
        first.leaves = pack({**unpack(bytes(first.leaves)), entries[0].pk: "0" * 64})
        first.save()
        assert "seal 1: was altered" in flaw()
        first.digest = _digest(first)
        first.save()
    assert "seal 2: does not follow seal 1" in flaw()


def test_a_seal_taken_out_of_the_middle_is_found(entries: list[TrailEntry]) -> None:
    """The numbers show the gap."""
    for _run in range(2):
        act()
        sealed()
    with as_owner(guard.SEALS):
        Seal.objects.filter(number=2).delete()
    assert "seal 3: follows seal 1: those between are missing" in flaw()


def test_seals_can_neither_be_changed_nor_deleted(entries: list[TrailEntry]) -> None:
    """The database refuses both, whoever asks."""
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
        Seal.objects.update(digest="")
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("DELETE FROM fleet_seal")


def test_the_encoding_of_an_entry_stays_what_the_documents_say() -> None:
    """Seals of years ago are verified by today's program: the digest of this entry must never change."""
    told = {
        "id": 7, "entered_at": datetime(2027, 3, 14, 9, 26, 53, 589793, tzinfo=UTC),
        "done_at": datetime(2027, 3, 14, tzinfo=UTC),
        "late": True, "person_id": None, "actor": "Tova Lindqvarn", "source": "page", "verb": "finished order",
        "subject_kind": "order", "subject_id": 3, "subject_name": "W-3", "device_ref": 12, "before": {},
        "after": {"minutes": 4.5, "words": "½ h"}, "why": "",
    }  # fmt: skip
    assert set(told) == set(SEALED)
    text = (
        '{"actor":"Tova Lindqvarn","after":{"minutes":4.5,"words":"½ h"},"before":{},"device_ref":12,'
        '"done_at":"2027-03-14T00:00:00+00:00","entered_at":"2027-03-14T09:26:53.589793+00:00","id":7,"late":true,'
        '"person_id":null,"source":"page","subject_id":3,"subject_kind":"order","subject_name":"W-3",'
        '"verb":"finished order","why":""}'
    )
    assert seal(told) == sha256(text.encode()).hexdigest()
    assert seal(told) == "3147ab16d7e66102aa0bacd41106f77fc39a36572ed2bd638e26e4d8b9b978c2"


def verify(**options: str) -> tuple[str, str]:
    out = StringIO()
    try:
        call_command("verify", stdout=out, **options)
    except CommandError as error:
        return out.getvalue(), str(error)
    return out.getvalue(), ""


def test_the_command_says_what_holds_and_names_the_last_seal(entries: list[TrailEntry]) -> None:
    """Nothing found: it ends well, with the digest to note; noted elsewhere, the digest is found again."""
    out, error = verify()
    assert error == ""
    assert Seal.objects.latest("number").digest in out
    assert "is that of seal 1" in verify(head=Seal.objects.get().digest)[0]


def test_the_command_fails_and_names_the_altered_entry(entries: list[TrailEntry]) -> None:
    """It ends with an error, names seal and entry, and says what still holds."""
    act()
    sealed()
    with as_owner():
        TrailEntry.objects.filter(pk=entries[0].pk).update(why="forged")
    out, error = verify()
    assert f"does not hold: seal 1: entry {entries[0].pk}" in out
    assert "the whole trail is in doubt" in out
    assert "1 found" in error


def test_a_record_written_anew_is_told_by_a_digest_noted_elsewhere(entries: list[TrailEntry]) -> None:
    """All seals thrown away and made again over a forged trail hold in themselves; the noted digest shows it."""
    noted = Seal.objects.get().digest
    with as_owner(), as_owner(guard.SEALS):
        TrailEntry.objects.filter(pk=entries[0].pk).update(actor="forged")
        Seal.objects.all().delete()
    sealed()
    assert verify()[1] == ""
    out, error = verify(head=noted)
    assert "made anew or cut off" in out
    assert error


def test_seals_cut_off_the_end_are_told_by_an_earlier_verification(entries: list[TrailEntry]) -> None:
    """The trail holds the last seal that each verification saw: gone, it is found without a note elsewhere."""
    act()
    sealed()
    verify()
    with as_owner(guard.SEALS):
        Seal.objects.filter(number=2).delete()
    out, error = verify()
    assert "holds no such seal any more" in out
    assert error


def test_the_page_says_when_it_was_sealed_and_verified(entries: list[TrailEntry], administrator: Person) -> None:
    """The digest to be noted, the last verification and what it found stand on one page."""
    assert "never yet" in page(administrator, "/reports/trail/seals/")
    verify()
    shown = page(administrator, "/reports/trail/seals/")
    assert Seal.objects.get().digest in shown
    assert "everything as it was recorded" in shown
    with as_owner():
        TrailEntry.objects.filter(pk=entries[0].pk).update(actor="Mallory")
    verify()
    shown = page(administrator, "/reports/trail/seals/")
    assert "does not hold" in shown
    assert f"entry {entries[0].pk}" in shown


def test_before_the_first_seal_the_page_says_what_to_expect(administrator: Person) -> None:
    """An empty page tells when there will be something."""
    assert "within an hour" in page(administrator, "/reports/trail/seals/")


@pytest.mark.postgres
@pytest.mark.django_db(transaction=True)
def test_a_transaction_that_commits_behind_a_seal_is_not_missed() -> None:
    """An id given out first and committed last, in two real transactions, is taken up by the next seal."""
    a_site()
    with transaction.atomic():
        slow = record(Happening("slow", Place.objects.get()), by=BY)
        _in_another_connection(lambda: (record(Happening("quick", Place.objects.get()), by=BY), sealed()))
    assert Seal.objects.get().last > slow.pk
    assert sealed()["late"] == 1
    assert held().flaws == []


@pytest.mark.postgres
@pytest.mark.django_db(transaction=True)
def test_of_two_that_seal_at_once_one_wins() -> None:
    """Both would write the same number; the second is told so, and the chain stays one."""
    act()
    caught: list[Exception] = []

    def second() -> None:
        try:
            sealed()
        except ConflictError as error:
            caught.append(error)

    with transaction.atomic():
        sealed()
        other = Thread(target=_closing(second))
        other.start()
        other.join(timeout=0.5)
    other.join()
    assert len(caught) == 1
    assert held().flaws == []


def _closing(do: Callable[[], object]) -> Callable[[], None]:
    def run() -> None:
        try:
            do()
        finally:
            connection.close()

    return run


def _in_another_connection(do: Callable[[], object]) -> None:
    thread = Thread(target=_closing(do))
    thread.start()
    thread.join()
