"""Each person sees only their places: the one rule that every list and every page applies."""

from collections.abc import Iterable, Iterator
from typing import Any, ClassVar, Self, TypeVar

from django.db import models
from django.db.models import Q

from fleet.people.models import Person

M_co = TypeVar("M_co", bound=models.Model, covariant=True)


def place_paths(person: Person) -> list[str] | None:
    """The paths of the person's places; None when the person sees everything. Read once a request."""
    if person.everywhere:
        return None
    held: list[str] | None = getattr(person, "_place_paths", None)
    if held is None:
        held = list(person.places.values_list("path", flat=True))
        person._place_paths = held  # type: ignore[attr-defined]  # noqa: SLF001 - a cache that lives as long as the request's person
    return held


class PlacedQuerySet(models.QuerySet[M_co]):
    """A queryset whose rows stand at places, by one or more path lookups."""

    path_lookups: ClassVar[tuple[str, ...]] = ("path",)

    def within(self, person: Person) -> Self:
        """Only the rows at the person's places (or below them)."""
        paths = place_paths(person)
        if paths is None:
            return self
        seen = Q(pk__in=[])
        for lookup in self.path_lookups:
            for path in paths:
                seen |= Q(**{f"{lookup}__startswith": path})
        return self.filter(seen)


def in_tree_order(places: Iterable[Any]) -> Iterator[tuple[Any, int]]:
    """Each place below its parent, sisters by name, with its depth (0 at the top). Reads nothing from the database.

    A place whose parent is not among them stands at the top: whoever sees one ward sees a tree of one.
    """
    rows = sorted(places, key=lambda place: place.name.casefold())
    known = {place.pk for place in rows}
    below: dict[int | None, list[Any]] = {}
    for place in rows:
        below.setdefault(place.parent_id if place.parent_id in known else None, []).append(place)
    yield from _branch(below, None, 0)


def _branch(below: dict[int | None, list[Any]], parent: int | None, depth: int) -> Iterator[tuple[Any, int]]:
    for place in below.get(parent, ()):
        yield place, depth
        yield from _branch(below, place.pk, depth + 1)
