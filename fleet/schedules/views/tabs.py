"""The tabs between the pages that say what is done how often, and why."""

from dataclasses import dataclass
from typing import Final

from django.urls import reverse

_PAGES: Final = (
    ("Plans", "plans"),
    ("Risk", "risk"),
    ("Other schedules", "alternative"),
    ("Days not worked", "days"),
    ("Rules", "rules"),
)


@dataclass(frozen=True, slots=True)
class Tab:
    """One of the pages; `current` is the one that is shown."""

    label: str
    url: str
    current: bool
    count: int | None = None


def tabs(current: str) -> list[Tab]:
    """The pages, with `current` marked by the name of its address."""
    return [Tab(label, reverse(f"schedules:{name}"), name == current) for label, name in _PAGES]


def above(name: str) -> list[tuple[str, str]]:
    """The way back to one of the pages, for crumbs."""
    return [(label, reverse(f"schedules:{key}")) for label, key in _PAGES if key == name]
