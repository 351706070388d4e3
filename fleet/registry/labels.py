"""The label on a driver: its numbers in words, and a code that opens the ward's page without an account."""

from dataclasses import dataclass

import segno
from django.conf import settings
from django.urls import reverse

from fleet.registry.models import Device
from fleet.registry.queries import LABEL_PAGE, label_token


@dataclass(frozen=True, slots=True)
class Label:
    """What is printed for one driver. `image` is the code as an SVG in a data address."""

    asset_number: str
    serial_number: str
    type: str
    address: str
    image: str
    training: bool = False


def label_address(device: Device) -> str:
    """The address in the code: the ward's page of this driver, valid until its label is renewed."""
    return settings.ORIGIN + reverse(LABEL_PAGE, args=[label_token(device)])


def label_of(device: Device) -> Label:
    """The label of one driver.

    Error correction M (15 % of the code may be dirt or wear) and the quiet zone of four modules that ISO/IEC 18004
    asks for.
    """
    address = label_address(device)
    code = segno.make_qr(address, error="m")
    return Label(
        asset_number=device.asset_number,
        serial_number=device.serial_number,
        type=str(device.device_type),
        address=address,
        image=code.svg_data_uri(border=4, omitsize=True),
        training=device.pool == Device.Pool.TRAINING,
    )
