"""What a typed or scanned text names, within the places of whoever asks."""

from dataclasses import dataclass
from typing import Final

from django.db.models import Q

from fleet.batteries.models import Pack
from fleet.bench.models import Order
from fleet.core.identifiers import Scan, ScanKind, order_number, read_any, tag_number
from fleet.core.permissions import May
from fleet.people.models import Person
from fleet.registry.models import Device
from fleet.registry.queries import by_code, devices
from fleet.tags.models import Tag
from fleet.web import clock

#: A list longer than this is not read; a longer beginning is typed instead.
MOST: Final = 50
#: Fewer characters begin too many numbers.
SHORTEST: Final = 2


@dataclass(frozen=True, slots=True)
class Hits:
    """The drivers a text names. `exact`: by a whole number, not only its beginning. `more`: not all are listed.

    `tag` is a tag the person may see although its driver stands elsewhere; `pack` one whose number this is; `problem`
    says what is wrong with the text.
    """

    drivers: tuple[Device, ...]
    exact: bool = False
    more: bool = False
    tag: Tag | None = None
    pack: Pack | None = None
    problem: str = ""

    @property
    def only(self) -> Device | None:
        """The one driver that is meant, if there is no doubt."""
        return self.drivers[0] if self.exact and len(self.drivers) == 1 else None


def search(text: str, person: Person) -> Hits:
    """Find drivers by a whole asset, serial, tag or order number, UDI or label link; else a pack by its number.

    Else drivers by how their number begins.
    """
    code = text.strip()
    if not code:
        return Hits(())
    scan = read_any(text, clock.today().year)
    tag = _tag(scan, person)
    named = _seen(_named(text, code) | _numbered(scan, tag), person)
    if named or tag:
        return Hits(tuple(named), exact=True, tag=tag)
    if pack := _pack(code, person):
        return Hits((), pack=pack)
    begun = _begun(code, person)
    return Hits(tuple(begun[:MOST]), more=len(begun) > MOST, problem=scan.problem)


def _tag(scan: Scan, person: Person) -> Tag | None:
    if scan.kind is not ScanKind.TAG or scan.sequence is None:
        return None
    return Tag.objects.within(person).filter(number=tag_number(scan.sequence)).first()


def _pack(code: str, person: Person) -> Pack | None:
    if not person.may(May.SEE_FLEET):
        return None
    return Pack.objects.within(person).filter(number__iexact=code).first()


def _named(text: str, code: str) -> set[int]:
    whole = Q(asset_number__iexact=code) | Q(serial_number__iexact=code)
    found = set(Device.objects.filter(whole).values_list("pk", flat=True))
    scanned = None if found else by_code(text)
    return {scanned.pk} if scanned else found


def _numbered(scan: Scan, tag: Tag | None) -> set[int]:
    if scan.kind is ScanKind.ORDER and scan.sequence is not None:
        number = order_number(scan.sequence)
        return set(Order.objects.filter(number=number).values_list("device", flat=True))
    return {tag.device_id} if tag else set()


def _seen(ids: set[int], person: Person) -> list[Device]:
    return list(devices().within(person).filter(pk__in=ids)[:MOST]) if ids else []


def _begun(code: str, person: Person) -> list[Device]:
    if len(code) < SHORTEST:
        return []
    begins = Q(asset_number__istartswith=code) | Q(serial_number__istartswith=code)
    rows = devices().within(person).filter(begins)
    return list(rows.order_by("asset_number")[: MOST + 1])
