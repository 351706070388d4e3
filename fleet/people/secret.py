"""The secret of a second factor as an app takes it in: a code to scan, and the same to type in."""

from base64 import b32encode
from dataclasses import dataclass
from typing import Any, Final

import segno

_GROUP: Final = 4


@dataclass(frozen=True, slots=True)
class Drawn:
    """`image` is the code as an SVG in a data address, `address` what stands in it; `groups` the secret in base32."""

    image: str
    address: str
    groups: tuple[str, ...]
    plain: str


def drawn(begun: Any) -> Drawn:
    """The secret of a factor that was begun. Shown to its owner until a code confirms it, and never again."""
    plain = b32encode(begun.bin_key).decode()
    groups = tuple(plain[at : at + _GROUP] for at in range(0, len(plain), _GROUP))
    # The quiet zone of four modules that ISO/IEC 18004 asks for.
    image = segno.make_qr(begun.config_url, error="m").svg_data_uri(border=4, omitsize=True, light="white")
    return Drawn(image, begun.config_url, groups, plain)
