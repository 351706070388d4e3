"""Reading the register: devices by any code, places in order, and the signed link on a driver's label."""

from django.core import signing
from django.db.models import Q, QuerySet

from fleet.core.errors import BadValueError
from fleet.core.udi import parse_udi
from fleet.people.models import Person
from fleet.registry.models import Device, DeviceType, Place
from fleet.web import clock

_LABEL = signing.Signer(salt="benchward.label", sep=".")


def devices() -> QuerySet[Device]:
    """All devices with what a list shows of them."""
    return Device.objects.select_related("device_type__maker", "home", "place", "last_seen_place")


def by_code(text: str) -> Device | None:
    """The device that a typed or scanned text names (asset, serial number or UDI); None when none or several."""
    code = text.strip()
    if not code:
        return None
    found = _only(devices().filter(asset_number__iexact=code)) or _only(devices().filter(serial_number__iexact=code))
    return found or _by_udi(code)


def _by_udi(code: str) -> Device | None:
    if found := _only(devices().filter(udi=code)):
        return found
    try:
        udi = parse_udi(code, clock.today().year)
    except BadValueError:
        return None
    if not udi.serial:
        return None
    return _only(devices().filter(Q(di=udi.di) | Q(device_type__di=udi.di), serial_number__iexact=udi.serial))


def _only(rows: QuerySet[Device]) -> Device | None:
    first = list(rows[:2])
    return first[0] if len(first) == 1 else None


def types() -> QuerySet[DeviceType]:
    """All device types with their maker and rated runtimes."""
    return DeviceType.objects.select_related("maker").prefetch_related("rated_runtimes", "accessories")


def open_places(*kinds: Place.Kind) -> QuerySet[Place]:
    """Places in use, of the kinds asked for (all kinds when none is named), in order of their site and name."""
    rows = Place.objects.filter(closed_on__isnull=True).select_related("site", "parent")
    return (rows.filter(kind__in=kinds) if kinds else rows).order_by("site__name", "name")


def ward_places(person: Person) -> QuerySet[Place]:
    """The wards a person sees."""
    return open_places(Place.Kind.WARD).within(person)  # type: ignore[attr-defined, no-any-return]


def label_token(device: Device) -> str:
    """What the QR code on the label carries: the device and the issue of its label, signed with the server's key."""
    return _LABEL.sign(f"{device.pk}-{device.label_issue}")


def device_of_token(token: str) -> Device | None:
    """The device whose current label carries this token; None for a forged or an outdated one."""
    try:
        pk, issue = _LABEL.unsign(token).split("-")
    except (signing.BadSignature, ValueError):
        return None
    return devices().filter(pk=pk, label_issue=issue).first()
