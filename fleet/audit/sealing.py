"""Writing seals over the trail, behind its writers: no act waits for a seal, and a seal waits for no act.

Ids are given out before their transactions commit, so an entry may appear below one that is there already. Two rules
see to it that none is missed: only what was entered some minutes ago is sealed, and each run counts whether an entry
has appeared in a sealed range; it is taken up as late. The database allows each number once, so of two runs one wins.
"""

from collections.abc import Iterable
from datetime import datetime, timedelta
from typing import Final

from django.db import IntegrityError, transaction
from django.db.models import Max, Min

from fleet.audit.models import Seal, TrailEntry
from fleet.audit.queries import between, digests, head, late_leaves, link_of, sealed_entries
from fleet.core.chain import pack, unpack
from fleet.core.errors import ConflictError
from fleet.web import clock

#: Younger entries wait for the next run: longer than a transaction of ours lasts.
MARGIN: Final = timedelta(minutes=10)
#: The most entries of one seal.
RANGE: Final = 2000


def seal_trail() -> dict[str, int]:
    """Seal what is old enough and not yet sealed; how many seals, entries and late ones among them.

    Raises ConflictError when another run seals at the same moment.
    """
    now, before = clock.now(), head()
    start = before.last + 1 if before else 1
    late, upto = _late(before), _upto(now, start)
    run = before.run + 1 if before else 1
    made: list[Seal] = []
    while start <= upto or late:
        last = _end(start, upto)
        found = digests(between(start, last)) | digests(TrailEntry.objects.filter(pk__in=late))
        before = _seal(now, run, (start, last), found, before)
        made.append(before)
        start, late = last + 1, []
    return {
        "seals": len(made),
        "entries": sum(row.count for row in made),
        "late": sum(row.late for row in made),
    }


def _upto(now: datetime, start: int) -> int:
    """The last id below every entry that may still have company to come; a clock once set wrong stops nothing."""
    waiting = TrailEntry.objects.filter(pk__gte=start)
    young = waiting.filter(entered_at__gt=now - MARGIN, entered_at__lte=now).aggregate(id=Min("pk"))["id"]
    if young is not None:
        return int(young) - 1
    return int(waiting.aggregate(id=Max("pk"))["id"] or 0)


def _end(start: int, upto: int) -> int:
    """The last id of the next seal: that of its last entry, or `upto` where what is left fits in one."""
    full = between(start, upto).order_by("pk").values_list("pk", flat=True)[RANGE - 1 : RANGE]
    return next(iter(full), max(upto, start - 1))


def _late(before: Seal | None) -> list[int]:
    """The entries in sealed ranges that no seal holds. Looked for one by one only when the numbers differ."""
    if before is None or TrailEntry.objects.filter(pk__lte=before.last).count() == sealed_entries():
        return []
    taken_up = set(late_leaves())
    return [entry for row in Seal.objects.order_by("number").iterator(chunk_size=20) for entry in _out(row, taken_up)][
        :RANGE
    ]


def _out(row: Seal, taken_up: set[int]) -> Iterable[int]:
    sealed = unpack(bytes(row.leaves))
    there = between(row.first, row.last).order_by("pk").values_list("pk", flat=True)
    return [entry for entry in there if entry not in sealed and entry not in taken_up]


def _seal(now: datetime, run: int, ids: tuple[int, int], found: dict[int, str], before: Seal | None) -> Seal:
    row = Seal(
        number=before.number + 1 if before else 1,
        run=run,
        sealed_at=now,
        first=ids[0],
        last=ids[1],
        count=len(found),
        late=sum(entry < ids[0] for entry in found),
        leaves=pack(found),
        previous=before.digest if before else "",
    )
    row.digest = link_of(row).digest
    try:
        with transaction.atomic():
            row.save(force_insert=True)
    except IntegrityError as error:
        raise ConflictError("The trail is being sealed by another run; the next one goes on.") from error
    return row
