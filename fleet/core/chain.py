"""Seals over a growing list of entries, each chained to the one before, so that any change can be told later.

A seal holds its leaves: for each entry its id as eight bytes, big-endian, and the SHA-256 of its content, in the order
of the ids. Its own digest binds the leaves to the digest of the seal before it (see docs/records.md).
"""

import struct
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from fleet.core.sealing import seal

_LEAF: Final = struct.Struct(">q32s")


@dataclass(frozen=True, slots=True)
class Link:
    """What the digest of a seal binds together. `previous` is the digest of the seal before; empty in the first."""

    number: int
    run: int
    sealed_at: datetime
    first: int
    last: int
    previous: str
    leaves: bytes

    @property
    def digest(self) -> str:
        """64 hexadecimal digits over all of it."""
        return seal((self.number, self.run, self.sealed_at, self.first, self.last, self.previous, self.leaves))


@dataclass(frozen=True, slots=True)
class Differences:
    """The ids of entries that are not as they were sealed."""

    altered: tuple[int, ...]
    missing: tuple[int, ...]
    added: tuple[int, ...]


def pack(digests: Mapping[int, str]) -> bytes:
    """The leaves of these entries, digests by id."""
    return b"".join(_LEAF.pack(entry, bytes.fromhex(digests[entry])) for entry in sorted(digests))


def unpack(leaves: bytes) -> dict[int, str]:
    """The digests by id. What is cut short or drawn out, which only tampering does, loses its odd end."""
    whole = len(leaves) - len(leaves) % _LEAF.size
    return {entry: digest.hex() for entry, digest in _LEAF.iter_unpack(leaves[:whole])}


def compare(sealed: Mapping[int, str], now: Mapping[int, str]) -> Differences:
    """How the entries that are there `now` differ from those that were sealed."""
    return Differences(
        altered=tuple(sorted(entry for entry in sealed.keys() & now.keys() if sealed[entry] != now[entry])),
        missing=tuple(sorted(sealed.keys() - now.keys())),
        added=tuple(sorted(now.keys() - sealed.keys())),
    )
