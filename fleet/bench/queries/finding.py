"""What a scan or a typed number at the bench names: a driver, by its own numbers, its tag, its order or its label."""

from dataclasses import dataclass

from fleet.bench.models import Order
from fleet.core.identifiers import Scan, ScanKind, order_number, read_any, tag_number
from fleet.people.models import Person
from fleet.registry.models import Device
from fleet.registry.queries import by_code, device_of_token, unknown_words
from fleet.tags.models import Tag
from fleet.web import clock

LABEL_PATH = "/r/"


@dataclass(frozen=True, slots=True)
class Found:
    """The driver, if one was found within the person's places; else words that say what to do."""

    device: Device | None
    words: str = ""


def find(text: str, person: Person) -> Found:
    """Find the driver a text names. A driver outside the person's places is not found."""
    scan = read_any(text, clock.today().year)
    device = _named(scan, text)
    if device is not None and Device.objects.within(person).filter(pk=device.pk).exists():
        return Found(device)
    return Found(None, scan.problem or unknown_words(text))


def _named(scan: Scan, text: str) -> Device | None:
    if scan.kind is ScanKind.LINK:
        return device_of_token(scan.text.removeprefix(LABEL_PATH).strip("/"))
    return _by_number(scan) or by_code(text)


def _by_number(scan: Scan) -> Device | None:
    if scan.kind is ScanKind.TAG and scan.sequence:
        tag = Tag.objects.select_related("device").filter(number=tag_number(scan.sequence)).first()
        return tag.device if tag else None
    if scan.kind is ScanKind.ORDER and scan.sequence:
        order = Order.objects.select_related("device").filter(number=order_number(scan.sequence)).first()
        return order.device if order else None
    return None
