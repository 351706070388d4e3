"""What a job of each kind does. A room writes its handlers in `fleet/<room>/tasks.py`.

    @handler("roll_dues", words="Roll dues and mark what is late")
    def roll_dues(run: Run) -> dict[str, int]:
        ...
        return {"rolled": 12, "late": 3}

**A handler must be idempotent.** A worker can be killed after the last change and before the job is marked as done;
the job is then begun again from the start. Work in short transactions, each of which finds out what is still to do,
and call `run.progress` as you go: it stops a run whose claim has passed to another worker.
"""

import importlib
import importlib.util
import pkgutil
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date
from functools import cache
from typing import Any

import fleet
from fleet.core.errors import BadValueError, ConflictError


class ClaimLostError(ConflictError):
    """Another worker holds this job now: its lease ran out while this one was silent."""


@dataclass(frozen=True, slots=True)
class Run:
    """One attempt at a job, as its handler sees it."""

    job_id: int
    kind: str
    payload: Mapping[str, Any]
    #: The day the job is for: `payload["day"]`, or today at the hospital.
    day: date
    #: 1 at the first attempt.
    attempt: int
    tell: Callable[[int, int | None], None]

    def progress(self, done: int, total: int | None = None) -> None:
        """Say how far the run is, in whatever units the handler counts. Cheap: call it as often as you like.

        Raises ClaimLostError when the job has passed to another worker; let it through, and stop.
        """
        self.tell(done, total)


Handler = Callable[[Run], dict[str, int]]


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of job: its words for people, and the function that does it."""

    name: str
    words: str
    handle: Handler


_kinds: dict[str, Kind] = {}


def handler(kind: str, words: str = "") -> Callable[[Handler], Handler]:
    """Register the idempotent function that does jobs of this kind; raises ValueError if the kind is taken."""

    def register(handle: Handler) -> Handler:
        if kind in _kinds:
            raise ValueError(f"two handlers for jobs of kind {kind!r}: {_kinds[kind].handle} and {handle}")
        _kinds[kind] = Kind(kind, words or kind.replace("_", " ").capitalize(), handle)
        return handle

    return register


def kinds() -> dict[str, Kind]:
    """Every kind of job by name, in the order of registration."""
    load()
    return dict(_kinds)


def kind(name: str) -> Kind:
    """The kind of that name; raises BadValueError in words for one that no room does."""
    known = kinds()
    if name not in known:
        raise BadValueError(
            f"No room does jobs of kind {name!r}. Known kinds: {', '.join(sorted(known)) or 'none'}.", field="kind"
        )
    return known[name]


def words(name: str) -> str:
    """The kind in words; one that is no longer known is shown by its name."""
    found = kinds().get(name)
    return found.words if found else name.replace("_", " ").capitalize()


@cache
def load() -> None:
    """Import the `tasks` of every room, once, so that their handlers are registered."""
    for room in pkgutil.iter_modules(fleet.__path__, "fleet."):
        if room.ispkg and importlib.util.find_spec(f"{room.name}.tasks"):
            importlib.import_module(f"{room.name}.tasks")
