"""Reading the register: devices by any code, places in order, and the signed link on a driver's label."""

from django.core import signing
from django.db.models import Count, Q, QuerySet
from django.urls import Resolver404, resolve

from fleet.core.identifiers import Scan, ScanKind, read_any, without_separators
from fleet.people.models import Person
from fleet.people.scope import PlacedQuerySet
from fleet.registry.models import Device, DeviceQuerySet, DeviceType, Party, Place
from fleet.web import clock

#: The drivers with a value of their own where the type states one.
OWN_VALUES = (
    Q(own_charging_hours__isnull=False)
    | Q(own_replacement_level__isnull=False)
    | Q(own_service_life_months__isnull=False)
)
#: The ward's page of the tags room, which a label's code leads to.
LABEL_PAGE = "tags:label"
_LABEL = signing.Signer(salt="benchward.label", sep=".")


def devices() -> DeviceQuerySet:
    """All devices with what a list shows of them."""
    return Device.objects.select_related("device_type__maker", "home", "place", "last_seen_place")


def by_code(text: str) -> Device | None:
    """The device that a typed or scanned text names; None when it names none, or several.

    Read are asset and serial number, UDI, and the address in a label's code (only while that label is valid). Tag and
    order numbers belong to the rooms above. A number typed with spaces or dashes that it does not have is found too.
    """
    code = text.strip()
    if not code:
        return None
    found = _by_number(code) or _by_scan(read_any(text, clock.today().year))
    closed_up = without_separators(code)
    return found or (_by_number(closed_up) if closed_up != code else None)


def _by_number(code: str) -> Device | None:
    return _only(devices().filter(asset_number__iexact=code)) or _only(devices().filter(serial_number__iexact=code))


def unknown_words(text: str) -> str:
    """What is said where a text names no driver that the person may see; it does not tell whether another has it."""
    return (
        f"No driver of your places is known as “{text.strip()}”. Read the number again, or search. If the driver lies "
        "before you, it may be at home elsewhere, or not be on record: ask your manager or the administrator."
    )


def _by_scan(scan: Scan) -> Device | None:
    if scan.kind is ScanKind.LINK:
        return _by_link(scan.text)
    if found := _only(devices().filter(udi=scan.text.strip())):
        return found
    udi = scan.udi
    if udi is None or not udi.serial:
        return None
    return _only(devices().filter(Q(di=udi.di) | Q(device_type__di=udi.di), serial_number__iexact=udi.serial))


def _by_link(path: str) -> Device | None:
    try:
        match = resolve(path)
    except Resolver404:
        return None
    return device_of_token(match.kwargs["token"]) if match.view_name == LABEL_PAGE else None


def _only(rows: QuerySet[Device]) -> Device | None:
    first = list(rows[:2])
    return first[0] if len(first) == 1 else None


def types() -> QuerySet[DeviceType]:
    """All device types with their maker and rated runtimes."""
    return DeviceType.objects.select_related("maker").prefetch_related("rated_runtimes", "accessories")


def open_places(*kinds: Place.Kind) -> PlacedQuerySet[Place]:
    """Places in use, of the kinds asked for (all kinds when none is named), in order of their site and name."""
    rows = Place.objects.filter(closed_on__isnull=True).select_related("site", "parent")
    return (rows.filter(kind__in=kinds) if kinds else rows).order_by("site__name", "name")


def ward_places(person: Person) -> PlacedQuerySet[Place]:
    """The wards a person sees."""
    return open_places(Place.Kind.WARD).within(person)


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


def drivers_by_condition(person: Person) -> dict[int, dict[str, int]]:
    """For each place with a home driver the person sees: condition -> how many, drivers of places in it included."""
    rows = Device.objects.within(person).values_list("home__path", "condition").annotate(Count("id")).order_by()
    totals: dict[int, dict[str, int]] = {}
    for path, condition, many in rows:
        for place in map(int, path.strip("/").split("/")):
            held = totals.setdefault(place, {})
            held[condition] = held.get(condition, 0) + many
    return totals


def with_own_values(device_type: DeviceType) -> DeviceQuerySet:
    """The drivers of a type that have a value of their own where the type states one."""
    return devices().filter(OWN_VALUES, device_type=device_type)


def parties() -> QuerySet[Party]:
    """Makers, suppliers and service providers, with how many device types each makes (`type_count`)."""
    return Party.objects.annotate(type_count=Count("device_types")).order_by("name")


def type_of_di(di: str) -> DeviceType | None:
    """The type that carries this UDI device identifier, or was told to; None when none or several do."""
    rows = list(types().filter(Q(di=di) | Q(identifiers__di=di)).distinct()[:2]) if di else []
    return rows[0] if len(rows) == 1 else None


def is_astray(device: Device) -> bool:
    """Whether a training unit stands in a ward that is not its home, among drivers for patients."""
    in_ward = device.place.kind == Place.Kind.WARD and device.place_id != device.home_id
    return in_ward and device.pool == Device.Pool.TRAINING
