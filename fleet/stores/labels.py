"""The label of a part's bin: its numbers in words, and a code that a scan at the bench issues it by."""

from dataclasses import dataclass

import segno
from django.conf import settings
from django.urls import reverse

from fleet.stores.models import Part
from fleet.stores.queries.parts import PART_PAGE


@dataclass(frozen=True, slots=True)
class PartLabel:
    """What is printed for one part. `image` is the code as an SVG in a data address."""

    number: str
    name: str
    maker_number: str
    address: str
    image: str


def label_of(part: Part) -> PartLabel:
    """The label of a part; error correction M and four modules of quiet zone, as the label of a driver has."""
    address = settings.ORIGIN + reverse(PART_PAGE, args=[part.pk])
    image = segno.make_qr(address, error="m").svg_data_uri(border=4, omitsize=True)
    return PartLabel(part.number, part.name, part.maker_number, address, image)
