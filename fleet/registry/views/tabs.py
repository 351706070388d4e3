"""The tabs between the lists of the register."""

from dataclasses import dataclass
from typing import Final

from django.urls import reverse

_LISTS: Final = (("Drivers", "devices"), ("Places", "places"), ("Types", "types"), ("Companies", "parties"))


@dataclass(frozen=True, slots=True)
class Tab:
    """One list of the register; `current` is the one on the page."""

    label: str
    url: str
    current: bool
    count: int | None = None


def tabs(current: str) -> list[Tab]:
    """The lists, with `current` ("devices", "places", "types" or "parties") marked."""
    return [Tab(label, reverse(f"registry:{name}"), name == current) for label, name in _LISTS]


def above(name: str) -> list[tuple[str, str]]:
    """The way back to one of the lists, for crumbs."""
    return [(label, reverse(f"registry:{key}")) for label, key in _LISTS if key == name]
