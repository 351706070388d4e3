"""Reading seals, and holding the trail against them."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any, Final

from django.db.models import QuerySet, Sum

from fleet.audit.models import Seal, TrailEntry
from fleet.core.chain import Link, compare, unpack
from fleet.core.sealing import seal

#: What of an entry is sealed, by name. A field that a later version adds comes in by a migration and its own seals:
#: put into this list, it would break every seal before it.
SEALED: Final = (
    "id", "entered_at", "done_at", "late", "person_id", "actor", "source", "verb", "subject_kind", "subject_id",
    "subject_name", "device_ref", "before", "after", "why",
)  # fmt: skip
#: An entry that commits late is taken up by one of the next runs. No transaction lasts for more of them.
LATEST_RUNS: Final = 2
_CHUNK: Final = 2000
#: Ids named of one kind of flaw in one seal; the others are counted.
_NAMED: Final = 20

Progress = Callable[[int, int | None], None]


@dataclass(frozen=True, slots=True)
class Flaw:
    """Something that is not as it was recorded: where, and what."""

    where: str
    what: str


@dataclass(slots=True)
class Held:
    """The trail held against its seals. `holds_to` is the last seal up to which everything is as it was sealed."""

    seals: int = 0
    entries: int = 0
    late: int = 0
    unsealed: int = 0
    holds_to: int = 0
    head: str = ""
    flaws: list[Flaw] = field(default_factory=list)


def head() -> Seal | None:
    """The last seal; None before the first."""
    return Seal.objects.defer("leaves").first()


def sealed_entries() -> int:
    """How many entries the seals hold."""
    return int(Seal.objects.order_by().aggregate(all=Sum("count"))["all"] or 0)


def digests(rows: QuerySet[TrailEntry]) -> dict[int, str]:
    """The digest of each entry's content as the database holds it, by id."""
    found = rows.order_by("pk").values_list(*SEALED).iterator(chunk_size=_CHUNK)
    return {values[0]: seal(dict(zip(SEALED, values, strict=True))) for values in found}


def between(first: int, last: int) -> QuerySet[TrailEntry]:
    """The entries of a range of ids."""
    return TrailEntry.objects.filter(pk__gte=first, pk__lte=last)


def late_leaves() -> dict[int, tuple[str, Seal]]:
    """The entries that were taken up after their range was sealed: digest and seal, by id."""
    return {
        entry: (digest, row)
        for row in Seal.objects.filter(late__gt=0).iterator(chunk_size=20)
        for entry, digest in unpack(bytes(row.leaves)).items()
        if entry < row.first
    }


def held(progress: Progress = lambda _done, _total: None) -> Held:
    """Hold every seal against the one before it and every sealed entry against its seal."""
    found, late = Held(), late_leaves()
    total = Seal.objects.count()
    before: Seal | None = None
    for row in Seal.objects.order_by("number").iterator(chunk_size=20):
        flaws = [*_chain_flaws(row, before), *_entry_flaws(row, late)]
        found.flaws += [Flaw(f"seal {row.number}", what) for what in flaws]
        found.seals, found.entries, found.late = found.seals + 1, found.entries + row.count, found.late + row.late
        if not found.flaws:
            found.holds_to = row.number
        found.head, before = row.digest, row
        progress(found.seals, total)
    found.unsealed = TrailEntry.objects.filter(pk__gt=before.last if before else 0).count()
    return found


def _chain_flaws(row: Seal, before: Seal | None) -> Iterator[str]:
    number, last, previous = (before.number, before.last, before.digest) if before else (0, 0, "")
    if row.number != number + 1:
        yield f"follows seal {number}: those between are missing"
    elif row.previous != previous or row.first != last + 1:
        yield f"does not follow seal {number}" if number else "is not a first seal"
    if link_of(row).digest != row.digest or row.count != len(unpack(bytes(row.leaves))):
        yield "was altered: its digest is not that of its content"


def link_of(row: Seal) -> Link:
    """The seal as its digest binds it."""
    return Link(row.number, row.run, row.sealed_at, row.first, row.last, row.previous, bytes(row.leaves))


def _entry_flaws(row: Seal, late: dict[int, tuple[str, Seal]]) -> Iterator[str]:
    own = {entry: digest for entry, digest in unpack(bytes(row.leaves)).items() if entry >= row.first}
    here = {entry: told for entry, told in late.items() if row.first <= entry <= row.last}
    sealed = own | {entry: digest for entry, (digest, _seal) in here.items()}
    differ = compare(sealed, digests(between(row.first, row.last)))
    for what, entries in (
        ("altered since it was sealed", differ.altered),
        ("missing: it was sealed and is no longer there", differ.missing),
        ("added after its range was sealed", (*differ.added, *_too_late(row, here))),
    ):
        if entries:
            yield _named(entries, what)


def _too_late(row: Seal, here: dict[int, tuple[str, Seal]]) -> tuple[int, ...]:
    return tuple(entry for entry, (_digest, by) in here.items() if by.run > row.run + LATEST_RUNS)


def _named(entries: tuple[int, ...], what: str) -> str:
    named = ", ".join(f"{entry}{_told(entry)}" for entry in sorted(entries)[:_NAMED])
    more = f" and {len(entries) - _NAMED} more" if len(entries) > _NAMED else ""
    return f"entry {named}{more}: {what}"


def _told(entry: int) -> str:
    found: Any = TrailEntry.objects.filter(pk=entry).first()
    return f" ({found})" if found else ""


def is_chained(digest: str) -> int | None:
    """The number of the seal with that digest, as it was noted elsewhere; None when the chain holds no such seal."""
    plain = "".join(digest.split()).lower()
    return Seal.objects.filter(digest=plain).values_list("number", flat=True).first()
