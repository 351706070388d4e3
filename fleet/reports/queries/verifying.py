"""Verifying the record: the trail against its seals, orders against their signatures, stocks against their ledgers.

It finds what was altered inside the database. Whoever owns the database could write everything anew, seals included;
only a digest that was noted elsewhere, on paper or in a mail, tells that.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from django.db.models import QuerySet

from fleet.audit.models import Seal, TrailEntry
from fleet.audit.queries import Flaw, Held, Progress, head, held, is_chained
from fleet.bench.queries import Signed, is_told, signatures, signed_orders, unsigned_digests
from fleet.stores.queries import ledger_faults
from fleet.web import clock

#: The act of the trail that tells of a verification.
VERIFIED: Final = "verified the record"
#: Without a seal for so long the page asks whether the job worker runs.
_SEALED_WITHIN: Final = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Verified:
    """What a verification found. `notes` are changes that were made openly, and tell of no tampering."""

    trail: Held
    signatures: int
    flaws: tuple[Flaw, ...]
    notes: tuple[Flaw, ...]


@dataclass(frozen=True, slots=True)
class Sealing:
    """How the seals stand: the last one, those before it, what is not sealed yet, and the last verification."""

    head: Seal | None
    recent: tuple[Seal, ...]
    unsealed: int
    overdue: bool
    verification: TrailEntry | None


def verified(progress: Progress = lambda _done, _total: None) -> Verified:
    """Everything held against everything. Reads the whole trail and every signed order; `progress` counts seals."""
    trail = held(progress)
    count, flaws, notes = _signatures()
    flaws += [Flaw(where, what) for where, what in ledger_faults()]
    return Verified(trail, count, (*trail.flaws, *_lost_heads(), *flaws), tuple(notes))


def _lost_heads() -> Iterator[Flaw]:
    """Verifications whose last seal is no longer in the chain: seals were taken off its end, or made anew."""
    for entry in _verifications().iterator(chunk_size=200):
        digest = str(entry.after.get("head", ""))
        if digest and is_chained(digest) is None:
            words = f"found {digest} as the last seal; the chain holds no such seal any more"
            yield Flaw(f"the verification of {entry.entered_at:%Y-%m-%d %H:%M} UTC", words)


def _signatures() -> tuple[int, list[Flaw], list[Flaw]]:
    count = 0
    flaws: list[Flaw] = []
    notes: list[Flaw] = []
    for order in signed_orders().iterator(chunk_size=200):
        for signed in signatures(order):
            count += 1
            if not signed.holds:
                told = not signed.forged and is_told(signed)
                (notes if told else flaws).append(Flaw(f"order {order.number}", _broken(signed, told=told)))
    gone = [Flaw(f"order {name}", f"a signature is missing: {digest}") for name, digest in unsigned_digests()]
    return count, flaws + gone, notes


def _broken(signed: Signed, *, told: bool) -> str:
    who = f"the signature of {signed.signature.by_name} ({signed.signature.get_meaning_display().lower()})"
    if signed.forged:
        return f"{who} is not the one that the trail tells of"
    openly = "; the trail tells of acts on the order since" if told else "; the trail tells of no act since"
    return f"{who} no longer holds, changed since: {', '.join(signed.changed)}{openly}"


def _verifications() -> QuerySet[TrailEntry]:
    return TrailEntry.objects.filter(subject_kind="seal", verb=VERIFIED)


def last_verification() -> TrailEntry | None:
    """The last time somebody or a job verified the record; None when nobody has."""
    return _verifications().order_by("-id").first()


def sealing() -> Sealing:
    """How the seals stand now."""
    last = head()
    since: datetime = clock.now() - _SEALED_WITHIN
    waiting = TrailEntry.objects.filter(pk__gt=last.last if last else 0)
    return Sealing(
        head=last,
        recent=tuple(Seal.objects.defer("leaves")[:25]),
        unsealed=waiting.count(),
        overdue=waiting.filter(entered_at__lt=since).exists(),
        verification=last_verification(),
    )
