"""Reading deliveries: what a scan says, what stands against taking a delivery in, and what became of its drivers."""

from dataclasses import dataclass, field
from datetime import date

from django.db.models import Count, Exists, OuterRef, Q, QuerySet

from fleet.core.errors import BadValueError
from fleet.core.identifiers import ScanKind, read_any
from fleet.core.lifecycle import Condition
from fleet.core.numbering import run_from
from fleet.deliveries.models import Delivery, DeliveryLine, DeliveryQuerySet
from fleet.people.models import Person
from fleet.registry.models import Counter, Device, DeviceType, Party, Place
from fleet.registry.queries import by_code, open_places, type_of_di
from fleet.web import clock

_LONGEST_SERIAL = 40


@dataclass(frozen=True, slots=True, kw_only=True)
class Read:
    """What a scan says of a new driver. `problem`: why nothing can be made of it. `device_type` None: not known yet."""

    scanned: str
    serial_number: str = ""
    device_type: DeviceType | None = None
    di: str = ""
    lot: str = ""
    expires_on: date | None = None
    warnings: tuple[str, ...] = ()
    problem: str = ""


@dataclass(frozen=True, slots=True)
class Row:
    """One line of a delivery as its page shows it: the number it will bear, if known, and what is against it."""

    position: int
    line: DeliveryLine
    asset_number: str
    problem: str = ""


@dataclass(frozen=True, slots=True)
class DeliveryPage:
    """A delivery with its rows, last scanned first; `accepted` counts the drivers that passed acceptance."""

    delivery: Delivery
    rows: list[Row] = field(default_factory=list)
    accepted: int = 0

    @property
    def doubtful(self) -> int:
        """How many codes are to be compared with the label."""
        return sum(bool(row.line.warnings) for row in self.rows)

    @property
    def problems(self) -> list[Row]:
        """The rows that stand against taking it in, in the order of scanning."""
        return [row for row in reversed(self.rows) if row.problem]


def deliveries(person: Person) -> DeliveryQuerySet:
    """The deliveries to the person's places, newest first, with their drivers counted (`lines_in`, `accepted`)."""
    rows = Delivery.objects.select_related("device_type__maker", "place__site", "supplier").within(person)
    counted = rows.annotate(
        lines_in=Count("lines", filter=Q(lines__undone_at__isnull=True)),
        accepted=Count("lines", filter=Q(lines__device__accepted_on__isnull=False)),
    )
    return counted.order_by("-begun_at", "-id")


def found(rows: DeliveryQuerySet, words: str) -> DeliveryQuerySet:
    """The deliveries that a purchase order, a supplier, a type, a serial or an asset number names."""
    lines = DeliveryLine.objects.filter(delivery=OuterRef("pk"), undone_at__isnull=True).filter(
        Q(serial_number__icontains=words) | Q(device__asset_number__iexact=words)
    )
    named = Q(purchase_order__icontains=words) | Q(supplier__name__icontains=words)
    return rows.filter(named | Q(device_type__model__icontains=words) | Exists(lines))


def suppliers() -> QuerySet[Party]:
    """Companies that sell drivers."""
    return Party.objects.filter(supplies=True)


def homes(person: Person) -> QuerySet[Place]:
    """Where new drivers may belong."""
    return open_places(Place.Kind.WARD, Place.Kind.STORE, Place.Kind.BENCH).within(person)


def next_own_number() -> str:
    """The asset number that our own series would give next, for a hint; another may take it first."""
    last = Counter.objects.filter(name="asset").values_list("last", flat=True).first() or 0
    while Device.objects.filter(asset_number=f"SD{last + 1:05d}").exists():
        last += 1
    return f"SD{last + 1:05d}"


def lines(delivery: Delivery) -> QuerySet[DeliveryLine]:
    """The drivers scanned into a delivery and not undone, in the order of scanning."""
    return delivery.lines.filter(undone_at__isnull=True).select_related("device_type__maker", "device__device_type")


def read(delivery: Delivery, text: str) -> Read:
    """Read a scan or typed serial number: a UDI says serial, lot, expiry and type, any other text is the serial."""
    scan = read_any(text, clock.today().year)
    if scan.kind is ScanKind.UDI:
        return _read_udi(text, scan.problem)
    serial = text.strip()
    if scan.kind is ScanKind.LINK:
        known = by_code(text)
        problem = f"This is the label of {known}, which is on record." if known else "This is an address, no serial."
        return Read(scanned=serial, problem=problem)
    if not serial or len(serial) > _LONGEST_SERIAL or not serial.isprintable():
        problem = f"A serial number has 1 to {_LONGEST_SERIAL} letters, digits and signs. Scan it again, or type it."
        return Read(scanned=serial[:_LONGEST_SERIAL], problem=problem)
    return Read(scanned=serial, serial_number=serial, device_type=delivery.device_type)


def _read_udi(text: str, problem: str) -> Read:
    udi = None if problem else read_any(text, clock.today().year).udi
    if udi is None:
        return Read(scanned=text.strip(), problem=problem)
    if not udi.serial:
        words = "This code names the type and no serial number. Scan the code with the serial, or type the serial."
        return Read(scanned=udi.raw, di=udi.di, problem=words)
    warnings = udi.warnings
    if udi.expiry and udi.expiry < clock.today():
        warnings += (f"The code says that it expired on {udi.expiry:%d %b %Y}. Ask the supplier before it is used.",)
    return Read(
        scanned=text.strip(),
        serial_number=udi.serial,
        device_type=type_of_di(udi.di),
        di=udi.di,
        lot=udi.lot,
        expires_on=udi.expiry,
        warnings=warnings,
    )


def same_on_record(device_type: DeviceType, serial: str) -> Device | None:
    """The driver of this type that bears the serial number already, whatever its condition."""
    return Device.objects.filter(device_type=device_type, serial_number__iexact=serial).first()


def in_another(delivery: Delivery, device_type: DeviceType, serial: str) -> Delivery | None:
    """Another open delivery into which the same driver was scanned."""
    waiting = DeliveryLine.objects.filter(device_type=device_type, serial_number__iexact=serial, undone_at=None)
    open_ones = waiting.filter(delivery__finished_at=None, delivery__dropped_at=None).exclude(delivery=delivery)
    line = open_ones.select_related("delivery").first()
    return line.delivery if line else None


def named_on_record(device: Device) -> str:
    """How a driver that is here already is told: its number and, if so, that it is retired."""
    retired = ", retired" if device.condition == Condition.RETIRED else ""
    return f"Serial {device.serial_number} is on record as {device.asset_number}{retired}"


def delivery_page(delivery: Delivery) -> DeliveryPage:
    """Read a delivery: five queries, however many drivers it has."""
    held = list(lines(delivery))
    numbers, wrong = _numbers(delivery, held)
    against = _against(held, numbers) if delivery.is_open else {}
    rows = [
        Row(place, line, number, against.get(line.pk, wrong))
        for place, (line, number) in enumerate(zip(held, numbers, strict=True), 1)
    ]
    accepted = sum(line.device is not None and line.device.accepted_on is not None for line in held)
    return DeliveryPage(delivery, rows[::-1], accepted)


def _numbers(delivery: Delivery, held: list[DeliveryLine]) -> tuple[list[str], str]:
    """The asset number of each line, empty where our own series gives it at the end; what is wrong with the first."""
    if not delivery.is_open:
        return [line.device.asset_number if line.device else "" for line in held], ""
    if not delivery.first_asset:
        return [""] * len(held), ""
    try:
        return run_from(delivery.first_asset, len(held)), ""
    except BadValueError as error:
        return [""] * len(held), str(error)


def _against(held: list[DeliveryLine], numbers: list[str]) -> dict[int, str]:
    serials = [line.serial_number for line in held]
    known = {(row.device_type_id, row.serial_number): row for row in Device.objects.filter(serial_number__in=serials)}
    taken = set(Device.objects.filter(asset_number__in=numbers).values_list("asset_number", flat=True))
    found: dict[int, str] = {}
    for line, number in zip(held, numbers, strict=True):
        if line.warnings:
            found[line.pk] = f"Compare serial {line.serial_number} with its label. {' '.join(line.warnings)}"
        if number in taken:
            found[line.pk] = f"Asset number {number} belongs to another driver. Give another first number."
        if same := known.get((line.device_type_id, line.serial_number)):
            found[line.pk] = f"{named_on_record(same)}. Take this row out."
    return found
